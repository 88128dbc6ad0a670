"""What changes it: the same sound with one thing changed, and how sure that is, in words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from humcheck.report.catalogue import Catalogue, Setup
from humcheck.report.order import GROUPS, group_of, rank, title_of
from humcheck.report.text import PAGE, NumberStyle, visible
from humcheck.report.use_words import joined
from humcheck.results import Change, quantity

#: More rows than this are not listed in one table; what stands out comes first.
MOST_ROWS = 120
_NEVER_TOLD = ("hum_frequency", "hum_wander", "buzz_frequency", "whistle_frequency", "tone_level", "peak_level")


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of contrast and its heading."""

    name: str
    title: str
    plain: str


_KINDS = (
    Kind(
        name="picture",
        title="Another picture",
        plain="The same use with another picture on the screen. What grows with a bright picture comes from it.",
    ),
    Kind(
        name="condition",
        title="Another condition",
        plain="The same use with one condition changed, such as the supply.",
    ),
    Kind(
        name="fix",
        title="With a fix",
        plain="The same use with a remedy in the path. Less hum with it says that the remedy helps, and what it helps "
        "against.",
    ),
    Kind(
        name="port",
        title="Another port",
        plain="The same device under the same conditions: one port against the median of the others (of two, against "
        "the other), and how far all of them lie apart.",
    ),
    Kind(
        name="device",
        title="One device against another",
        plain="Both in the same use. The direct recordings cancel, so the bench's own scatter weighs less here.",
    ),
)

#: Verdicts in order, with their words for the filter.
VERDICTS = {
    "apart": "stands out",
    "unknown": "not judged",
    "open": "cannot be told apart",
    "same": "shown to be the same",
}
#: Why it is not known how well a change repeats, by what the reference says.
_UNKNOWN = {
    "borrowed": "one take only on some side; how well such takes repeat is known from others alone",
    "replugging unknown": "nothing was unplugged between the takes",
}
_COUNTED = {
    "apart": ("stands out", "stand out"),
    "unknown": ("not judged", "not judged"),
    "open": ("cannot be told apart", "cannot be told apart"),
    "same": ("shown to be the same", "shown to be the same"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """One change as shown."""

    what: str
    device: str
    where: str
    title: str
    channel: str
    value: str
    interval: str
    number: float
    verdict: str
    certainty: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeTable:
    """All of one kind.

    Attributes
    ----------
    left_out : int
        Rows that stand in the results file only; none of them stands out more than those listed.
    """

    kind: Kind
    rows: tuple[Changed, ...]
    left_out: int

    @property
    def counts(self) -> str:
        """How many there are of each verdict, ``3 stand out, 4 cannot be told apart``."""
        found = {name: sum(row.verdict == name for row in self.rows) for name in _COUNTED}
        said = [f"{count} {_COUNTED[name][count > 1]}" for name, count in found.items() if count]
        return ", ".join(said)


def change_tables(catalogue: Catalogue, style: NumberStyle = PAGE) -> list[ChangeTable]:
    """Return a table for each kind of contrast that has rows."""
    made = []
    for kind in _KINDS:
        rows = list(_worse_channels(row for row in catalogue.results.changes if row.contrast == kind.name))
        rows.sort(key=lambda row: (tuple(VERDICTS).index(verdict_of(row)), rank(_told(row))))
        if rows:
            shown = tuple(_changed(catalogue, row, style) for row in rows[:MOST_ROWS])
            made.append(ChangeTable(kind=kind, rows=shown, left_out=len(rows) - len(shown)))
    return made


def _told(row: Change) -> str:
    """Return the quantity that a row is about: that whose spread it is."""
    return str(row.reference.get("quantity", row.quantity)) if row.quantity == "port_spread" else row.quantity


def _worse_channels(rows: Iterable[Change]) -> Iterable[Change]:
    """Yield the larger change of both channels, of what is a main figure; a level's twin in dBr only in its absence."""
    chosen: dict[tuple[Any, ...], Change] = {}
    listed = [row for row in rows if _is_main(row)]
    plain = {row.quantity for row in listed}
    for row in listed:
        if row.quantity.removesuffix("_rel") in plain - {row.quantity}:
            continue
        place = (*row.identity("channel"), repr(sorted(row.reference.items(), key=str)))
        other = chosen.get(place)
        if other is None or _weight(row) > _weight(other):
            chosen[place] = row
    return chosen.values()


def _weight(row: Change) -> tuple[bool, bool, float]:
    return row.distinguishable is True, row.channel != "both", abs(row.value)


def _is_main(row: Change) -> bool:
    name = _told(row).removesuffix("_rel")
    if name in _NEVER_TOLD:
        return False
    group = group_of(name)
    return group not in GROUPS or name in (*group.quantities, *group.headline)


def verdict_of(row: Change) -> str:
    """Return which of `VERDICTS` a change gets."""
    if row.distinguishable:
        return "apart"
    if row.equivalent:
        return "same"
    return "unknown" if row.distinguishable is None else "open"


def certainty_words(row: Change, style: NumberStyle = PAGE) -> str:
    """Return how sure a change is, as a sentence for people."""
    margin = "" if row.margin is None else style.with_unit(_number(row, row.margin, style), row.unit)
    if row.distinguishable:
        within = f", but is shown to be less than {margin}" if row.equivalent and margin else ""
        return f"stands out of the scatter{within}"
    if row.equivalent:
        return f"shown to be the same{f' within {margin}' if margin else ''}"
    if row.distinguishable is None:
        why = _UNKNOWN.get(str(row.reference.get("repeatability")), "how well it repeats is not known")
        return f"not judged: {why}"
    if row.takes_needed:
        same = f" to show that it is less than {margin}" if margin else ""
        return f"cannot be told apart with so few takes; {row.takes_needed} takes of each would probably do{same}"
    return "cannot be told apart"


def _number(row: Change, value: float, style: NumberStyle) -> str:
    return style.number(value, quantity(_told(row)).decimals)


def _changed(catalogue: Catalogue, row: Change, style: NumberStyle) -> Changed:
    what, rest = _what(catalogue, row)
    value = style.value(row)
    spread = row.quantity == "port_spread"
    return Changed(
        what=what,
        device=catalogue.title(row.subject),
        where=catalogue.where(rest),
        title=f"{title_of(_told(row))}, spread" if spread else title_of(row.quantity),
        channel="" if row.channel == "mono" else row.channel,
        value=f"+{value}" if row.value > 0 and row.bound is None and not spread else value,
        interval=style.interval(row),
        number=row.value,
        verdict=verdict_of(row),
        certainty=certainty_words(row, style),
    )


def _what(catalogue: Catalogue, row: Change) -> tuple[str, Setup]:
    """Return what was changed, in words, and what else is to be said of the use."""
    use = Setup.of(row)
    if row.quantity == "port_spread":
        largest, smallest = (visible(str(row.reference.get(name, "?"))) for name in ("largest", "smallest"))
        return f"all ports: largest at port {largest}, smallest at port {smallest}", replace(use, port=None)
    if row.contrast == "device":
        other = visible(str(row.reference.get("subject", "another")))
        return f"{catalogue.title(row.subject)} instead of {other}", use
    if row.contrast == "condition":
        new, old = dict(use.condition), row.reference.get("condition") or {}
        return _condition_words(new, old), replace(use, condition=tuple(sorted(_same(new, old).items())))
    before = row.reference.get(row.contrast)
    now = getattr(use, row.contrast, None)
    if row.contrast == "fix":
        return f"{_fix(now)} instead of {_fix(before)}", replace(use, fix=None)
    if row.contrast == "port":
        return f"port {visible(str(now))} {_other_ports(row)}", replace(use, port=None)
    return f"{visible(str(now))} picture instead of {visible(str(before))}", replace(use, picture=None)


def _other_ports(row: Change) -> str:
    """Return what a port is set against: one other, or the median of all others."""
    others = row.reference.get("ports")
    if not others:
        return f"instead of port {visible(str(row.reference.get('port')))}"
    return f"against the median of ports {joined([visible(str(name)) for name in others])}"


def _fix(name: object) -> str:
    return "no fix" if name is None else f"with {visible(str(name))}"


def _same(new: dict[str, str], old: dict[str, str]) -> dict[str, str]:
    return {name: value for name, value in new.items() if old.get(name) == value}


def _condition_words(new: dict[str, str], old: dict[str, str]) -> str:
    names = [name for name in {**new, **old} if new.get(name) != old.get(name)]
    told: Sequence[str] = [
        f"{name} {new.get(name, 'not said')} instead of {old.get(name, 'not said')}" for name in names
    ]
    return visible(", ".join(told)) or "another condition"
