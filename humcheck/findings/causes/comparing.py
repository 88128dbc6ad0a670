"""Takes of the same device in which one thing was changed: what the change took away of a noise."""

from __future__ import annotations

from dataclasses import dataclass, field

from humcheck.findings.index import Use, worst
from humcheck.results import Evidence, Key


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A change of one thing.

    Attributes
    ----------
    name : str
        What was changed, in words to begin a clause: ``the isolating transformer``.
    drop_db : float
        How much weaker the noise is with the change; negative where it is stronger.
    is_least : bool
        Whether it is at least that much: the noise is gone.
    use : Use
        The use before the change.
    evidence : tuple of Evidence
        The levels that are compared.
    """

    name: str
    drop_db: float
    use: Use
    is_least: bool = False
    evidence: tuple[Evidence, ...] = field(default=())


def fixes(use: Use, quantity: str) -> list[Comparison]:
    """Return what each fix, and each change of one condition, did to a level of this use."""
    found = []
    for other in use.siblings(lambda key: _one_thing(use.key, key) is not None):
        name = _one_thing(use.key, other.key)
        comparison = None if name is None else compare(use, other, quantity, name)
        if comparison is not None:
            found.append(comparison)
    return found


def pictures(use: Use, quantity: str) -> Comparison | None:
    """Return how much less of a level a black picture leaves than another one; None without such takes.

    `use` may be the one with the black picture or one with another picture.
    """
    others = use.siblings(lambda key: _only_picture(use.key, key))
    black = use if _is_black(use.key) else next((other for other in others if _is_black(other.key)), None)
    lit = next((other for other in others if not _is_black(other.key)), None) if _is_black(use.key) else use
    if black is None or lit is None or lit.key.picture is None:
        return None
    return compare(lit, black, quantity, f"a {black.key.picture} picture in place of the {lit.key.picture} one")


def compare(use: Use, changed: Use, quantity: str, name: str) -> Comparison | None:
    """Return how much weaker a level is in `changed` than in `use`; None where that cannot be said."""
    before = worst(use.measures(quantity, use.key.role))
    after = None if before is None else changed.measures(quantity, changed.key.role).get(before.channel)
    if before is None or after is None or before.bound is not None:
        return None
    return Comparison(
        name=name,
        drop_db=before.value - after.value,
        use=use,
        is_least=after.bound == "upper",
        evidence=tuple(Evidence(measure=row.id) for row in (before, after) if row.id),
    )


def _one_thing(use: Key, other: Key) -> str | None:
    """Return in words what alone was changed from `use` to `other`: a fix put in, or one condition."""
    if use.picture != other.picture:
        return None
    if use.fix != other.fix:
        return f"the {other.fix}" if use.fix is None and use.condition == other.condition else None
    names = [
        name for name in {*use.condition, *other.condition} if use.condition.get(name) != other.condition.get(name)
    ]
    if len(names) != 1:
        return None
    name = names[0]
    return f"{name} {other.condition.get(name, 'as usual')} in place of {use.condition.get(name, 'as usual')}"


def _only_picture(use: Key, other: Key) -> bool:
    return use.picture != other.picture and use.condition == other.condition and use.fix == other.fix


def _is_black(key: Key) -> bool:
    return key.picture is not None and key.picture.lower() in ("black", "blank", "none", "off")
