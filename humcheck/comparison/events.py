"""Takes in which something was done meanwhile: their clicks count, their noise is that of a hand at a plug."""

from __future__ import annotations

from dataclasses import replace

from humcheck.analyzers.clicks import CLICK_RATE, THUMP
from humcheck.comparison.material import MeasuredTake


def clicks_alone(take: MeasuredTake) -> MeasuredTake:
    """Return a take with its clicks and thumps alone."""
    return replace(
        take,
        measures=tuple(row for row in take.measures if row.quantity in (CLICK_RATE, THUMP)),
        curves=(),
        traces=(),
        lines=(),
        not_measured=tuple(row for row in take.not_measured if row.quantity in (CLICK_RATE, THUMP)),
        tones=None,
        responses=(),
        quiet=None,
        coded_rows=None,
    )
