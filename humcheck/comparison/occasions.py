"""When and how each take was made: its plugging, and its place in the day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from humcheck.results import TakeRow


@dataclass(frozen=True, slots=True, kw_only=True)
class Occasion:
    """One take's place in the day.

    Attributes
    ----------
    plugging : str or None
        Takes of one key that share it are mere repeats; None where it is not known, and the take then counts as
        plugged anew, as the checklist asks.
    block : int
        Direct takes with nothing between them share a block: they say nothing about the day's drift against each other.
    """

    plugging: str | None = None
    block: int = 0


Occasions = Mapping[str, Occasion]


def occasions_of(takes: Iterable[TakeRow]) -> dict[str, Occasion]:
    """Return the occasion of each take by its id.

    Parameters
    ----------
    takes : iterable of TakeRow
        In the order in which they were made. Where all direct takes stand together their order says nothing, and each
        plugging of the direct path counts as a moment of its own.
    """
    rows = list(takes)
    blocks = _blocks(rows)
    if len(set(blocks.values())) == 1:
        pluggings: dict[object, int] = {}
        for row in rows:
            if row.id in blocks:
                place = row.id if row.plugging is None else (row.plugging,)
                blocks[row.id] = pluggings.setdefault(place, len(pluggings))
    return {row.id: Occasion(plugging=row.plugging, block=blocks.get(row.id, 0)) for row in rows}


def _blocks(rows: Iterable[TakeRow]) -> dict[str, int]:
    """Return of each direct take how many others were made before it."""
    others = 0
    blocks: dict[str, int] = {}
    for row in rows:
        if row.role == "direct":
            blocks[row.id] = others
        else:
            others += 1
    return blocks
