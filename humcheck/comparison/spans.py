"""What may be said of a change of tone: its figure cannot be negative, so it has tests of its own."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import msgspec

from humcheck.comparison.certainty import CertaintySettings
from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.occasions import Occasions
from humcheck.comparison.references import place_of
from humcheck.results import Change, Key

_FIGURES = ("response_span", "low_corner", "high_corner")


def judged_spans(
    changes: Iterable[Change], takes: Sequence[MeasuredTake], occasions: Occasions, certainty: CertaintySettings
) -> list[Change]:
    """Return changes, those of the response judged: told apart, and shown to be the same.

    Parameters
    ----------
    changes : iterable of Change
        Of which `response_span` and the corners are looked at, through against direct or port against ports.
    takes, occasions
        All takes of the bench, and when they were made.
    certainty : CertaintySettings
        What counts as the same.

    Notes
    -----
    A span is told apart where noise alone would reach it less than one time in twenty; that is not adjusted for the
    number of ports. It is shown to be the same where the upper end of its interval, or its bound, is below the margin.
    Neither is said where one side was plugged only once.
    """
    pluggings = _pluggings(takes, occasions)
    direct = len(pluggings.get(("direct",), ()))
    judged = []
    for row in changes:
        if row.quantity in _FIGURES and row.role == "through":
            # Of ports the other side is several ports, plugged each.
            other = direct if row.contrast == "direct" else int(row.reference["n_takes"])
            replugged = min(len(pluggings.get(_use(row), ())), other) > 1
            row = _judged(row, replugged=replugged, certainty=certainty)
        judged.append(row)
    return judged


def _judged(row: Change, *, replugged: bool, certainty: CertaintySettings) -> Change:
    margin = certainty.margin(row.quantity, row.unit)
    row = msgspec.structs.replace(row, reference=row.reference | {"repeatability": "own" if replugged else "unknown"})
    if not replugged:
        return msgspec.structs.replace(row, distinguishable=None)
    if margin is None or row.quantity != "response_span":
        return row
    end = row.value if row.bound == "upper" else row.high
    return msgspec.structs.replace(row, equivalent=None if end is None else end < margin, margin=margin)


def _pluggings(takes: Sequence[MeasuredTake], occasions: Occasions) -> dict[tuple[Any, ...], set[object]]:
    """Return the pluggings of each use in which a sweep could be read, and of all direct takes together."""
    found: dict[tuple[Any, ...], set[object]] = {}
    for take in takes:
        if not take.responses or take.role not in ("direct", "through"):
            continue
        occasion = occasions[take.row.id]
        plugging = take.row.id if occasion.plugging is None else (occasion.plugging, occasion.block)
        use = ("direct",) if take.role == "direct" else _use(take.key)
        found.setdefault(use, set()).add(plugging)
    return found


def _use(row: Key) -> tuple[Any, ...]:
    return place_of(row, "quantity", "channel", "listening")
