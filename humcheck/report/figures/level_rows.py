"""What a level chart shows: a row for each set-up and channel, with its marks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from humcheck.report.catalogue import Catalogue, Numbered, Setup, channel_rank, worst
from humcheck.results import quantity

#: More rows of one quantity than these stand for each device as its worst one, with the spread of the others.
MOST_ROWS = 8
#: Quantities whose change re direct is the answer, not their two values.
_BY_CHANGE = ("gain", "balance")


@dataclass(slots=True, kw_only=True)
class LevelRow:
    """One row: what it is about, and the readings to mark, by kind.

    Attributes
    ----------
    marks : dict
        ``"recorder"``, ``"source_off"``, ``"direct"``, ``"through"``, ``"added"``, ``"change"`` or ``"single"`` to the
        reading.
    spread : tuple of float or None
        Smallest and largest value over all set-ups, where this row stands for several.
    """

    subject: str
    where: str
    channel: str
    marks: dict[str, Numbered] = field(default_factory=dict)
    spread: tuple[float, float] | None = None

    @property
    def main(self) -> Numbered | None:
        """The reading that the row's number shows."""
        kinds = ("change", "through", "single", "direct", "added")
        return next((self.marks[kind] for kind in kinds if kind in self.marks), None)


def level_rows(catalogue: Catalogue, name: str) -> tuple[list[LevelRow], int]:
    """Return the rows of a quantity and how many were left out because there are too many to read."""
    rows = list(_all_rows(catalogue, name))
    if len(rows) <= MOST_ROWS:
        return rows, 0
    kept = list(_worst_of_each(rows, by_size=name in _BY_CHANGE))[:MOST_ROWS]
    return kept, len(rows) - len(kept)


def _all_rows(catalogue: Catalogue, name: str) -> Iterable[LevelRow]:
    for subject in catalogue.devices:
        yield from _rows_of(catalogue, name, subject)
    for subject in catalogue.singles:
        for measure in catalogue.measures(name, "single", subject):
            row = LevelRow(subject=catalogue.title(subject), where=catalogue.where(measure), channel=measure.channel)
            row.marks["single"] = measure
            yield row
    if not catalogue.devices and name not in _BY_CHANGE:
        for measure in catalogue.measures(name, "direct"):
            yield LevelRow(
                subject="Direct", where=catalogue.where(measure), channel=measure.channel, marks={"direct": measure}
            )


def _rows_of(catalogue: Catalogue, name: str, subject: str) -> list[LevelRow]:
    found: dict[tuple[Setup, str], LevelRow] = {}
    for kind, reading in _readings(catalogue, name, subject):
        place = (Setup.of(reading), reading.channel)
        if place not in found:
            found[place] = LevelRow(
                subject=catalogue.title(subject), where=catalogue.where(reading), channel=reading.channel
            )
        found[place].marks[kind] = reading
    separate = [row for row in found.values() if row.channel != "both"] or list(found.values())
    if name not in _BY_CHANGE:
        _add_controls(catalogue, name, separate)
    return sorted(separate, key=lambda row: (row.where, channel_rank(row.channel)))


def _readings(catalogue: Catalogue, name: str, subject: str) -> Iterable[tuple[str, Numbered]]:
    if name in _BY_CHANGE:
        for change in catalogue.changes(name, subject):
            yield "change", change
        return
    for role in ("through", "added"):
        for measure in catalogue.measures(name, role, subject):
            yield role, measure


def _add_controls(catalogue: Catalogue, name: str, rows: Sequence[LevelRow]) -> None:
    direct = catalogue.measures(name, "direct")
    floors = [(role, catalogue.measures(name, role)) for role in catalogue.floors]
    for row in rows:
        control = catalogue.control(next(iter(row.marks.values())), direct)
        if control is not None:
            row.marks["direct"] = control
        for role, measures in floors:
            floor = next((measure for measure in measures if measure.channel == row.channel), None)
            if floor is not None:
                row.marks[role] = floor


def _worst_of_each(rows: Sequence[LevelRow], *, by_size: bool) -> Iterable[LevelRow]:
    """Yield the worst row of each subject and channel, with the spread of the others."""
    subjects: dict[tuple[str, str], list[LevelRow]] = {}
    for row in rows:
        subjects.setdefault((row.subject, row.channel), []).append(row)
    for same in subjects.values():
        by_reading: dict[int, LevelRow] = {id(row.main): row for row in same if row.main is not None}
        readings = [row.main for row in same if row.main is not None]
        reading = worst(readings, by_size=by_size)
        if reading is None:
            continue
        chosen = by_reading[id(reading)]
        if len(readings) > 1:
            chosen.spread = (min(row.value for row in readings), max(row.value for row in readings))
        yield chosen


def says_change(name: str) -> bool:
    """Return whether a quantity is shown as a change re direct."""
    return name in _BY_CHANGE


def is_logarithmic(name: str) -> bool:
    """Return whether a quantity needs a logarithmic scale, as percents of distortion do."""
    return quantity(name).kind == "percent"
