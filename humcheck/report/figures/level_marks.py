"""The rows of a level chart: label, marks on a track, number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from markupsafe import Markup

from humcheck.report.catalogue import Numbered
from humcheck.report.figures import marks, svg
from humcheck.report.figures.frame import Box, Scale
from humcheck.report.figures.level_rows import LevelRow
from humcheck.report.text import PAGE

#: The open mark is the larger one: where both stand at one place, both are seen.
_HALF, _OPEN_HALF = 4.0, 6.0
#: More rows than this stand closer together.
_ROOMY_ROWS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class RowPlace:
    """Where a row stands and how much of its label it says.

    Attributes
    ----------
    top, height : float
        The row without its heading.
    heading : float or None
        Baseline of the subject's name, where it stands above the row.
    subject, where : bool
        Whether the row's own label names the subject and the set-up.
    roomy : bool
        Whether there is room for a second line of numbers.
    """

    top: float
    height: float
    heading: float | None
    subject: bool
    where: bool
    roomy: bool

    def moved(self, down: float) -> RowPlace:
        """Return the place further down."""
        heading = None if self.heading is None else self.heading + down
        return replace(self, top=self.top + down, heading=heading)


def row_places(rows: Sequence[LevelRow], *, wide: bool) -> tuple[list[RowPlace], float]:
    """Return the place of each row below the panel's top, and the height of all.

    Where a subject has several set-ups its name stands above them; many rows stand closer together.
    """
    roomy = len(rows) <= _ROOMY_ROWS
    lanes = 2 if any("added" in row.marks for row in rows) else 1
    height = (16.0 if roomy else 10.0) + (14.0 if roomy else 9.0) * lanes + (0.0 if wide else 16.0)
    y = 4.0
    places = []
    for before, row in zip([None, *rows], rows, strict=False):
        new = before is None or before.subject != row.subject
        heading = None
        if new and row.where:
            heading, y = y + 14, y + 20
        places.append(
            RowPlace(
                top=y,
                height=height,
                heading=heading,
                subject=new and heading is None,
                where=new or before is None or before.where != row.where,
                roomy=roomy,
            )
        )
        y += height
    return places, y + 4


def wide_row(row: LevelRow, place: RowPlace, box: Box, scale: Scale) -> Markup:
    """Return a row with its label left of the scale and its numbers right of it."""
    y, lower = _lanes(row, place.top, place.height)
    beside = row.marks.get("added") if place.roomy else None
    text_y = (place.top + place.height / 2 if beside is None else y) + 4
    label = row.subject if place.subject else row.where if place.where else ""
    parts = [_heading(row, place, 0)]
    if label:
        parts.append(_label(label, text_y, box.x - 56, strong=place.subject, two_lines=beside is not None))
    parts.append(svg.text(box.x - 14, text_y, row.channel, "tick", anchor="end"))
    parts.append(_track(row, y, lower, box, scale))
    if row.main is not None:
        parts.append(_number(row.main, box.right + 18, text_y))
    if beside is not None and lower is not None and beside is not row.main:
        parts.append(svg.text(box.right + 18, lower + 5, f"added {PAGE.full(beside)}", "value muted"))
    return svg.join(parts)


def narrow_row(row: LevelRow, place: RowPlace, box: Box, scale: Scale) -> Markup:
    """Return a row with its label and its number above the scale."""
    y, lower = _lanes(row, place.top + 16, place.height - 16)
    said = (row.where, row.channel) if row.where else (row.subject, row.channel)
    label = ", ".join(part for part in said if part)
    parts = [_heading(row, place, box.x)]
    parts.append(svg.text(box.x, place.top + 14, svg.shorten(label, box.width * 0.62), "row"))
    if row.main is not None:
        parts.append(svg.text(box.right, place.top + 14, PAGE.value(row.main), "value strong", anchor="end"))
    return svg.join([*parts, _track(row, y, lower, box, scale)])


def _label(label: str, y: float, room: float, *, strong: bool, two_lines: bool) -> Markup:
    """Return a label, broken after a comma where it is too long and there is room for a second line."""
    style = "row strong" if strong else "row"
    fits = svg.shorten(label, room)
    head, comma, tail = label.partition(", ")
    if fits == label or not two_lines or not comma:
        return svg.text(0, y, fits, style)
    lines = [svg.shorten(head + ",", room), svg.shorten(tail, room)]
    return svg.join([svg.text(0, y, lines[0], style), svg.text(0, y + 15, lines[1], style)])


def _heading(row: LevelRow, place: RowPlace, x: float) -> Markup:
    if place.heading is None:
        return Markup("")
    return svg.text(x, place.heading, svg.shorten(row.subject, 220, per_character=7.4), "row strong")


def mark(kind: str, x: float, y: float, channel: str) -> Markup:
    """Return the mark of a kind of reading."""
    if kind in ("recorder", "source_off"):
        return svg.path(f"M{svg.number(x)} {svg.number(y - 7)}v14", f"floor {kind.replace('_', '-')}")
    if kind == "direct":
        return svg.path(marks.shape("circle", x, y, _OPEN_HALF), "open direct")
    if kind == "added":
        return svg.path(marks.shape("diamond", x, y, 4.0), f"open added {channel}")
    return svg.path(marks.shape("circle", x, y, _HALF), f"filled {channel}")


def _lanes(row: LevelRow, top: float, height: float) -> tuple[float, float | None]:
    """Return the middle of the upper lane, and of the lower one where the device's own part is shown."""
    middle = top + height / 2
    if "added" not in row.marks:
        return middle, None
    apart = 8 if height > 40 else 6
    return middle - apart, middle + apart


def _number(reading: Numbered, x: float, y: float) -> Markup:
    interval = PAGE.interval(reading)
    parts: list[Markup | str] = [svg.tag("tspan", PAGE.value(reading), class_="strong")]
    if interval:
        parts.append(svg.tag("tspan", f"({interval})", dx=8, class_="muted"))
    return svg.tag("text", *parts, x=x, y=y, class_="value")


def _track(row: LevelRow, y: float, lower: float | None, box: Box, scale: Scale) -> Markup:
    parts = [svg.line((box.x, y), (box.right, y), "track")]
    if row.spread is not None:
        start, end = (scale(value) for value in row.spread)
        parts.append(svg.rectangle(start, y - 7, end - start, 14, "spread"))
    for kind in ("recorder", "source_off", "direct", "through", "change", "single"):
        reading = row.marks.get(kind)
        if reading is not None:
            parts.append(_placed(kind, reading, y, scale, row.channel))
    added = row.marks.get("added")
    if added is not None and lower is not None:
        parts.append(_placed("added", added, lower, scale, row.channel))
    return svg.join(parts)


def _placed(kind: str, reading: Numbered, y: float, scale: Scale, channel: str) -> Markup:
    """Return a reading's mark with its range; a bound is an arrow."""
    x = scale(reading.value)
    if reading.bound is not None:
        style = "bound direct" if kind in ("direct", "recorder", "source_off") else f"bound {channel}"
        return svg.path(marks.arrow_sideways(x, y, 4.5, left=reading.bound == "upper"), style)
    drawn = mark(kind, x, y, channel)
    if reading.low is None or reading.high is None or kind in ("recorder", "source_off", "direct"):
        return drawn
    start, end = scale(reading.low), scale(reading.high)
    if kind in ("added", "change"):
        return svg.join([svg.rectangle(start, y - 5, max(2.0, end - start), 10, f"range {channel}"), drawn])
    return svg.join([svg.line((start, y), (end, y), f"whisker {channel}"), drawn])
