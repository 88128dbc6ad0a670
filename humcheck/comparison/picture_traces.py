"""Traces of repeated takes: of the folded field one take of each key is enough."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from humcheck.analyzers.picture_curves import FOLD_NAME, NOISE_NAME, ROWS_NAME
from humcheck.comparison.material import MeasuredTake
from humcheck.results import Trace

_OF_FOLD = (FOLD_NAME, NOISE_NAME, ROWS_NAME)


def traces_of(takes: Sequence[MeasuredTake]) -> Iterable[Trace]:
    """Yield the traces of all takes; folded fields, which are long, of the first take of each key alone.

    Parameters
    ----------
    takes : sequence of MeasuredTake
        In the order of the requests.
    """
    told: dict[tuple[Any, ...], str] = {}
    for take in takes:
        for trace in take.traces:
            if trace.quantity not in _OF_FOLD or told.setdefault(trace.identity(), take.row.id) == take.row.id:
                yield trace
