"""What may be said of a change of tone: its figure cannot be negative, so it has tests of its own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import msgspec
import numpy as np

from humcheck.comparison.certainty import CertaintySettings
from humcheck.comparison.changes import SIGNIFICANCE
from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.multiplicity import adjusted_in_families
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
    Told apart: noise alone makes such a span or such a corner less than one time in twenty, all uses, ports and
    channels of a contrast together (Holm's procedure, see `multiplicity`; a bound counts as a question that was asked).
    A span is shown to be the same where the upper end of its interval, or its bound, is below the margin. Neither is
    said where one side was plugged only once.
    """
    pluggings = _pluggings(takes, occasions)
    direct = len(pluggings.get(("direct",), ()))
    rows = list(changes)
    places = [index for index, row in enumerate(rows) if _told_of(row) in _FIGURES and row.role == "through"]
    if not places:
        return rows
    asked = [rows[index] for index in places]
    replugged = [_fewest(row, pluggings, direct) > 1 for row in asked]
    p_values = np.array([1.0 if row.p_value is None else row.p_value for row in asked])
    adjusted = adjusted_in_families(asked, p_values, np.array(replugged))
    for index, row, known, p_adjusted in zip(places, asked, replugged, adjusted.tolist(), strict=True):
        rows[index] = _judged(row, p_adjusted, replugged=known, certainty=certainty)
    return rows


def _told_of(row: Change) -> str:
    return str(row.reference.get("quantity", row.quantity)) if row.quantity == "port_spread" else row.quantity


def _fewest(row: Change, pluggings: Mapping[tuple[Any, ...], set[object]], direct: int) -> int:
    """Return how often the side that was plugged least often was plugged."""
    if row.quantity == "port_spread":
        every = [_use(msgspec.structs.replace(row, port=port)) for port in row.reference["ports"]]
        return min(len(pluggings.get(use, ())) for use in every)
    # Of a port against the others the other side is several ports, plugged each.
    other = direct if row.contrast == "direct" else int(row.reference["n_takes"])
    return min(len(pluggings.get(_use(row), ())), other)


def _judged(row: Change, p_adjusted: float, *, replugged: bool, certainty: CertaintySettings) -> Change:
    margin = certainty.margin(_told_of(row), row.unit)
    row = msgspec.structs.replace(row, reference=row.reference | {"repeatability": "own" if replugged else "unknown"})
    if row.p_value is not None:
        row = msgspec.structs.replace(row, p_adjusted=p_adjusted)
    if not replugged:
        # Noise of the sweeps is all that is known: another plugging may do as much.
        return msgspec.structs.replace(row, distinguishable=None, p_value=None, p_adjusted=None)
    if row.distinguishable is not None:
        row = msgspec.structs.replace(row, distinguishable=p_adjusted < SIGNIFICANCE)
    if margin is None or _told_of(row) != "response_span":
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
