"""Levels in dBr, and levels that the bench's own floor hides."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from humcheck.results import QUANTITIES, Measure

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
    """Return `measures` with every level that lies within 3 dB of the bench's own floor turned into an upper bound."""
    floors = {(row.channel, row.quantity): row for row in floor if row.unit.startswith("dBFS") and row.bound is None}
    return [_bounded(measure, floors.get((measure.channel, measure.quantity))) for measure in measures]


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
