"""Several uses of a device in few words: ``ports 1, 2 and 4, white picture``."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import replace

from humcheck.report.catalogue import Catalogue, Setup
from humcheck.report.text import visible

_MOST_GROUPS = 4
_FIELDS = ("port", "picture", "condition", "fix")


def uses_words(catalogue: Catalogue, uses: Iterable[Setup]) -> str:
    """Return where all of some uses were, what is the same for the whole bench left out.

    Parameters
    ----------
    catalogue : Catalogue
        Of the bench.
    uses : iterable of Setup
        Of one device; their listening is not told.
    """
    wanted = list(dict.fromkeys(replace(use, listening=None) for use in uses))
    if len(wanted) < 2:
        return "".join(catalogue.where(use) for use in wanted)
    if set(wanted) == set(catalogue.uses(wanted[0].subject)):
        return f"in all {len(wanted)} ways it was used"
    return _told(catalogue, wanted)


def _told(catalogue: Catalogue, wanted: list[Setup]) -> str:
    if len(wanted) == 1:
        return catalogue.where(wanted[0])
    values = {name: list(dict.fromkeys(getattr(use, name) for use in wanted)) for name in _FIELDS}
    if _is_product(wanted, values):
        return ", ".join(part for name in _FIELDS if (part := _part(catalogue, name, values[name])))
    by_rest: dict[Setup, list[Setup]] = {}
    for use in wanted:
        by_rest.setdefault(replace(use, port=None), []).append(use)
    if len(by_rest) == len(wanted):
        groups = [catalogue.where(use) for use in wanted]
    else:
        groups = [_told(catalogue, same) for same in by_rest.values()]
    said = [group or "the plain use" for group in groups]
    if len(said) > _MOST_GROUPS:
        return f"{'; '.join(said[: _MOST_GROUPS - 1])}; and {len(said) - _MOST_GROUPS + 1} other ways"
    return "; ".join(said)


def _is_product(uses: Sequence[Setup], values: dict[str, list[object]]) -> bool:
    """Return whether the uses are all combinations of their ports, pictures, conditions and fixes."""
    product = set(itertools.product(*(values[name] for name in _FIELDS)))
    return product == {tuple(getattr(use, name) for name in _FIELDS) for use in uses}


def _part(catalogue: Catalogue, name: str, values: Sequence[object]) -> str:
    if name == "condition":
        return _listed(["with nothing said" if not value else _condition(value) for value in values], catalogue)
    if len(values) == 1 and values[0] is None:
        return ""
    shown = ["no" if value is None else visible(str(value)) for value in values]
    if name == "port":
        return _listed([f"port {shown[0]}"], catalogue) if len(shown) == 1 else f"ports {_ports(shown)}"
    if name == "picture":
        return _listed([f"{shown[0]} picture"], catalogue) if len(shown) == 1 else f"{joined(shown)} picture"
    if len(shown) == 1:
        return _listed([f"with {shown[0]}"], catalogue)
    return f"with {joined(['no fix' if value is None else text for value, text in zip(values, shown, strict=True)])}"


def _ports(names: Sequence[str]) -> str:
    """Return ``1 to 4`` for three and more numbers in a row, else a list."""
    numbers = sorted(int(name) for name in names if name.isdecimal())
    if len(numbers) == len(names) > 2 and numbers == list(range(numbers[0], numbers[-1] + 1)):
        return f"{numbers[0]} to {numbers[-1]}"
    return joined(names)


def _condition(value: object) -> str:
    assert isinstance(value, tuple)
    return visible(", ".join(f"{name} {item}" for name, item in value))


def _listed(texts: Sequence[str], catalogue: Catalogue) -> str:
    if len(texts) == 1 and (
        texts[0] == "with nothing said" or all(p in catalogue.common for p in texts[0].split(", "))
    ):
        return ""
    return joined(texts)


def joined(texts: Sequence[str]) -> str:
    """Return ``1, 2 and 4``."""
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"
