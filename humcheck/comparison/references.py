"""Which direct row a row is set against, and which quantities are compared at all."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import lru_cache
from operator import attrgetter
from typing import Any

from humcheck.results import QUANTITIES, Key, Measure, quantity
from humcheck.results.rows import KEY_FIELDS

#: Set against each other as they are; what has a comparison of its own (polarity, response) is not here.
_RATIOS = (
    "gain",
    "balance",
    "crosstalk_1k",
    "crosstalk_worst",
    "thd",
    "thd_n",
    "imd_smpte",
    "imd_difference",
    "dynamic_range",
    "dynamic_range_a",
)


def is_compared(name: str) -> bool:
    """Return whether a quantity of one take is set against the same of another: levels with a dBr twin, and ratios."""
    return name in _RATIOS or is_level(name)


def is_level(name: str) -> bool:
    """Return whether a quantity is a level that exists in dBr too."""
    return f"{name}_rel" in QUANTITIES and quantity(name).kind == "level"


def place_of(row: Key, *without: str) -> tuple[Any, ...]:
    """Return a row's key as a hashable tuple, some fields left out: `Key.identity`, quicker."""
    fields = _getter(without)(row)
    return fields if "condition" in without or not row.condition else (*fields, *sorted(row.condition.items()))


@lru_cache(maxsize=64)
def _getter(without: tuple[str, ...]) -> Callable[[Key], tuple[Any, ...]]:
    return attrgetter(*(name for name in KEY_FIELDS if name != "condition" and name not in without))


def in_single_channels(rows: Iterable[Measure]) -> list[Measure]:
    """Return the rows without those of both channels together that the channels have each on its own."""
    listed = list(rows)
    single = {place_of(row, "channel") for row in listed if row.channel != "both"}
    return [row for row in listed if row.channel != "both" or place_of(row, "channel") not in single]


def reference_for(row: Key, references: Iterable[Measure]) -> Measure | None:
    """Return the direct measure that `row` is to be set against: same quantity and channel, best the same picture."""
    return References(references).of(row)


class References:
    """Direct measures by quantity and channel."""

    def __init__(self, measures: Iterable[Measure]) -> None:
        self._rows: dict[tuple[str, str], list[Measure]] = {}
        for row in measures:
            self._rows.setdefault((row.quantity, row.channel), []).append(row)

    def of(self, row: Key) -> Measure | None:
        """Return the one for `row`: best the same picture, then the same condition, then the most takes."""
        same = self._rows.get((row.quantity, row.channel), ())
        return min(
            same, key=lambda r: (r.picture != row.picture, r.condition != row.condition, -r.n_takes), default=None
        )
