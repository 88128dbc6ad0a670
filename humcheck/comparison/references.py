"""Which direct row a row is set against, and which quantities are compared at all."""

from __future__ import annotations

from collections.abc import Iterable

from humcheck.results import QUANTITIES, Key, Measure, quantity

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
