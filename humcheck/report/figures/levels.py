"""Level charts: a mark for direct and for through on one scale, a row for each set-up and channel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from humcheck.report.catalogue import Catalogue
from humcheck.report.figures import marks, svg
from humcheck.report.figures.figure import Figure, LegendItem, drawing, swatch
from humcheck.report.figures.frame import (
    FRAMES,
    Box,
    Frame,
    Scale,
    decade_ticks,
    decades,
    nice_range,
    tick_text,
    ticks,
)
from humcheck.report.figures.level_marks import mark, narrow_row, row_places, wide_row
from humcheck.report.figures.level_rows import LevelRow, is_logarithmic, level_rows, says_change
from humcheck.report.order import Group
from humcheck.report.text import PAGE, unit_words
from humcheck.results import quantity

_LEGEND = {
    "recorder": "the recorder alone",
    "source_off": "the source connected but off",
    "direct": "direct, without the device",
    "through": "through the device",
    "added": "what the device itself adds (bar: where it lies, 95\u00a0%)",
    "change": "change through the device (bar: where it lies, 95\u00a0%)",
    "single": "measured",
}


@dataclass(frozen=True, slots=True)
class _Panel:
    quantity: str
    title: str
    rows: list[LevelRow]


def level_figure(catalogue: Catalogue, group: Group) -> Figure | None:
    """Return the level chart of a group, or None where there is nothing to chart."""
    panels, left_out = [], 0
    for name in group.charted:
        rows, missing = level_rows(catalogue, name)
        if any(row.marks for row in rows):
            panels.append(_Panel(name, quantity(name).title, rows))
            left_out += missing
    if not panels:
        return None
    key = f"{group.key}-levels"
    title = _title(group, panels)
    description = _description(panels)
    return Figure(
        key=key,
        title=title,
        reading=_reading(panels),
        legend=tuple(_legend(panels)),
        drawings=tuple(_draw(frame, key, title, description, panels) for frame in FRAMES),
        note=_note(left_out),
    )


def _note(left_out: int) -> str:
    if not left_out:
        return ""
    return (
        "Each device's worst set-up is drawn, the pale bar spans all its set-ups; "
        f"{left_out} further rows stand in the tables."
    )


def _title(group: Group, panels: Sequence[_Panel]) -> str:
    if group.key == "level":
        return "Change of level and balance against direct"
    if group.key == "distortion":
        return "Distortion of test tones"
    return f"{panels[0].title}: how strong it is"


def _reading(panels: Sequence[_Panel]) -> str:
    kinds = {kind for panel in panels for row in panel.rows for kind in row.marks}
    if "change" in kinds:
        return (
            "Each row is one channel. The line at zero means no change: marks to the left of it are quieter, "
            "to the right louder."
        )
    if "through" in kinds:
        return (
            "Each row is one channel. The further right, the stronger. Where the filled mark stands right of the open "
            "one, the device makes it worse; where they stand together, it adds little or nothing."
        )
    return "Each row is one channel of a recording. The further right, the stronger."


def _description(panels: Sequence[_Panel]) -> str:
    parts = []
    for panel in panels:
        for row in panel.rows[:6]:
            said = "; ".join(f"{kind.replace('_', ' ')} {PAGE.full(reading)}" for kind, reading in row.marks.items())
            parts.append(f"{panel.title}, {_row_words(row)}: {said}.")
        if len(panel.rows) > 6:
            parts.append(f"{len(panel.rows) - 6} more rows follow.")
    return " ".join(parts)


def _row_words(row: LevelRow) -> str:
    return ", ".join(part for part in (row.subject, row.where, row.channel) if part)


def _legend(panels: Sequence[_Panel]) -> list[LegendItem]:
    rows = [row for panel in panels for row in panel.rows]
    kinds = {kind for row in rows for kind in row.marks}
    readings = [reading for row in rows for reading in row.marks.values()]
    channel = rows[0].channel
    items = [
        LegendItem(swatch=swatch(mark(kind, 17, 8, channel)), words=words)
        for kind, words in _LEGEND.items()
        if kind in kinds
    ]
    for bound, words, start in (
        ("upper", "at most: lies somewhere to the left", 26),
        ("lower", "at least: lies somewhere to the right", 8),
    ):
        if any(reading.bound == bound for reading in readings):
            arrow = marks.arrow_sideways(start, 8, 4.5, left=bound == "upper")
            items.append(LegendItem(swatch=swatch(svg.path(arrow, "bound")), words=words))
    return items


def _draw(frame: Frame, key: str, title: str, description: str, panels: Sequence[_Panel]) -> Markup:
    wide = frame.name == "wide"
    left, right = (frame.width * 0.285, frame.width * 0.695) if wide else (8.0, frame.width - 8.0)
    low, high, step, logarithmic = _ends(panels, narrow=not wide)
    draw_row = wide_row if wide else narrow_row
    parts: list[Markup] = []
    y = 2.0
    for panel in panels:
        if len(panels) > 1:
            parts.append(svg.text(0 if wide else left, y + 12, panel.title, "panel strong"))
            y += 20
        places, height = row_places(panel.rows, wide=wide)
        box = Box(left, y, right - left, height)
        scale = Scale(low, high, box.x, box.right, logarithmic=logarithmic)
        parts.append(_axis(box, scale, step, panel.quantity, wide=wide))
        parts += [draw_row(row, place.moved(y), box, scale) for row, place in zip(panel.rows, places, strict=True)]
        y = box.bottom + (32 if wide else 46)
    return drawing(frame, key, y, title, description, *parts)


def _ends(panels: Sequence[_Panel], *, narrow: bool) -> tuple[float, float, float, bool]:
    """Return the ends and the step of the scale that all panels of a figure share."""
    values = [
        value
        for panel in panels
        for row in panel.rows
        for reading in row.marks.values()
        for value in (reading.value, reading.low, reading.high, *(row.spread or ()))
        if value is not None
    ]
    name = panels[0].quantity
    if is_logarithmic(name):
        return (*decades(values), 0.0, True)
    most_ticks = 5 if narrow else 7
    if says_change(name):
        return (*nice_range(min(*values, 0.0), max(*values, 0.0), least_span=2.0, most_ticks=most_ticks), False)
    # An arrow needs room to its left.
    return (*nice_range(min(values) - 6, max(values) + 4, least_span=40, most_ticks=most_ticks), False)


def _axis(box: Box, scale: Scale, step: float, name: str, *, wide: bool) -> Markup:
    """Return the grid, its labels below, and the unit beside (or, where there is no room, below) them."""
    parts = []
    for place, label in _places(scale, step):
        x = scale(place)
        zero = says_change(name) and abs(place) < 1e-9
        parts.append(svg.line((x, box.y), (x, box.bottom), "zero" if zero else "grid"))
        if label:
            parts.append(svg.text(x, box.bottom + 16, label, "tick", anchor="middle"))
    unit = unit_words(quantity(name).unit)
    if wide:
        parts.append(svg.text(box.right + 18, box.bottom + 16, unit, "axis"))
    else:
        parts.append(svg.text(box.right, box.bottom + 31, unit, "axis", anchor="end"))
    return svg.join(parts)


def _places(scale: Scale, step: float) -> list[tuple[float, str]]:
    if scale.logarithmic:
        return decade_ticks(scale.low, scale.high)
    return [(value, tick_text(value, step)) for value in ticks(scale.low, scale.high, step)]
