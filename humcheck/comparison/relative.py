"""Levels in dBr, and levels that the bench's own floor hides."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import msgspec

from humcheck.results import QUANTITIES, Line, Measure

#: A value this close to the level with the recorder's input terminated says nothing about the source or the device.
FLOOR_MARGIN_DB = 3.0


def relative_levels(measures: Iterable[Measure], full_scale_dbfs: Mapping[str, float]) -> list[Measure]:
    """Return the ``_rel`` twin of every level.

    Parameters
    ----------
    measures : iterable of Measure
        Levels in dBFS; other quantities are passed over.
    full_scale_dbfs : mapping of str to float
        Level in dBFS at which the track's full scale arrives in the direct take, by channel name.
    """
    return [
        _shifted(measure, -full_scale_dbfs[measure.channel])
        for measure in measures
        if f"{measure.quantity}_rel" in QUANTITIES and measure.channel in full_scale_dbfs
    ]


def _shifted(measure: Measure, by_db: float) -> Measure:
    entry = QUANTITIES[f"{measure.quantity}_rel"]
    return Measure(
        **measure.fields(quantity=entry.name),
        value=measure.value + by_db,
        unit=entry.unit,
        low=None if measure.low is None else measure.low + by_db,
        high=None if measure.high is None else measure.high + by_db,
        bound=measure.bound,
        interval=measure.interval,
        n_takes=measure.n_takes,
        takes=measure.takes,
        detail=measure.detail,
    )


def bounded_by_floor(measures: Iterable[Measure], floor: Iterable[Measure]) -> list[Measure]:
    """Return `measures` with every level that lies within 3 dB of the bench's own floor turned into an upper bound.

    Parameters
    ----------
    measures : iterable of Measure
        Of all takes that are no floor.
    floor : iterable of Measure
        Of recorder and source-off takes; where there are several of a quantity the highest one counts.
    """
    floors: dict[tuple[str, str], Measure] = {}
    for row in floor:
        place = (row.channel, row.quantity)
        if (
            row.unit.startswith("dBFS")
            and row.bound is None
            and (place not in floors or row.value > floors[place].value)
        ):
            floors[place] = row
    return [_bounded(measure, _floor_of(measure.channel, measure.quantity, floors)) for measure in measures]


def lines_bounded_by_floor(lines: Iterable[Line], floor: Iterable[Line]) -> list[Line]:
    """Return `lines` with every one within 3 dB of the same line of the bench's own floor turned into an upper bound.

    Lines are the same by their place in their family, those without a place by their frequency within 0.01 %.
    """
    rows = [row for row in floor if row.bound is None]
    return [_bounded_line(line, [row for row in rows if _same_line(line, row)]) for line in lines]


def _floor_of(channel: str, name: str, floors: Mapping[tuple[str, str], Measure]) -> Measure | None:
    """Return the floor of a channel; a recorder take in mono or a bench in mono is better than none."""
    for candidate in (channel, "mono", "both"):
        if (candidate, name) in floors:
            return floors[candidate, name]
    return None


def _same_line(line: Line, other: Line) -> bool:
    if line.family != other.family or (line.channel != other.channel and "mono" not in (line.channel, other.channel)):
        return False
    if line.harmonic is not None or other.harmonic is not None:
        return (line.harmonic, line.sideband) == (other.harmonic, other.sideband)
    return abs(line.frequency_hz - other.frequency_hz) <= 1e-4 * line.frequency_hz


def _bounded_line(line: Line, floors: Sequence[Line]) -> Line:
    floor_dbfs = max((row.level_dbfs for row in floors), default=-math.inf)
    if line.bound is not None or line.level_dbfs > floor_dbfs + FLOOR_MARGIN_DB:
        return line
    top_dbfs = line.level_dbfs if line.high is None else line.high
    return msgspec.structs.replace(line, level_dbfs=top_dbfs, low=None, high=None, bound="upper")


def _bounded(measure: Measure, floor: Measure | None) -> Measure:
    if floor is None or measure.bound is not None or measure.value > floor.value + FLOOR_MARGIN_DB:
        return measure
    return Measure(
        **measure.fields(),
        value=measure.value if measure.high is None else measure.high,
        unit=measure.unit,
        bound="upper",
        n_takes=measure.n_takes,
        takes=measure.takes,
        detail=measure.detail | {"floor_dbfs": floor.value},
    )
