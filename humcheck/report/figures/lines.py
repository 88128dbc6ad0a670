"""Line spectra: every steady tone of a family at its frequency, through beside direct."""

from __future__ import annotations

import math
from collections.abc import Sequence

from markupsafe import Markup

from humcheck.report.catalogue import Catalogue
from humcheck.report.figures import marks, svg
from humcheck.report.figures.figure import Figure, LegendItem, drawing, panel_title, swatch
from humcheck.report.figures.frame import (
    FRAMES,
    Box,
    Frame,
    Scale,
    hz_axis,
    hz_scale,
    panel_boxes,
    value_axis,
    value_scale,
)
from humcheck.report.figures.line_panels import (
    LOWEST_DBFS,
    Identity,
    LinePanel,
    drawn_lines,
    identity,
    line_panels,
)
from humcheck.report.figures.line_values import line_data, line_values
from humcheck.report.order import FAMILY_WORDS, Group
from humcheck.report.text import PAGE, hertz
from humcheck.results import Line

_STEP_DB = 20.0
_NAMED_LINES = 3
_MOST_NAMES = 9
#: Lines further under the strongest are not named.
_NAMED_DEPTH_DB = 50.0


def line_figure(catalogue: Catalogue, group: Group) -> Figure | None:
    """Return the line spectrum of a group's families, or None where no line was sought."""
    panels, left_out = line_panels(catalogue, group)
    if not panels:
        return None
    key = f"{group.key}-lines"
    paired = any(panel.direct for panel in panels)
    title = f"{group.title}: tone by tone" + (", direct beside through" if paired else "")
    description = _description(panels)
    boxes: dict[str, list[list[float]]] = {}
    drawings = tuple(_draw(frame, key, title, description, panels, boxes) for frame in FRAMES)
    return Figure(
        key=key,
        title=title,
        reading=_reading(panels, paired),
        legend=tuple(_legend(panels)),
        drawings=drawings,
        data=line_data(panels, boxes),
        values=line_values(panels),
        note=_note(left_out),
        setups=frozenset(panel.setup for panel in panels),
    )


def _note(left_out: int) -> str:
    if not left_out:
        return ""
    rest = "1 other is" if left_out == 1 else f"{left_out} others are"
    return f"Drawn are the set-ups that a finding is about, or a device's worst one; {rest} not."


def _reading(panels: Sequence[LinePanel], paired: bool) -> str:
    words = "Each mark is one steady tone: low notes left, high notes right, strong ones up."
    if paired:
        words += (
            " Open grey marks are the direct recording, filled ones the same tone through the device; the longer the "
            "stem between them, the more was added."
        )
    if any(line.harmonic for panel in panels for line in panel.through):
        words += " The shape tells the family; ×3 is the tone at three times the family's rate."
    return words


def _description(panels: Sequence[LinePanel]) -> str:
    parts = []
    for panel in panels[:8]:
        found = sorted((line for line in panel.through if line.bound is None), key=lambda line: -line.level_dbfs)
        named = ", ".join(
            f"{hertz(line.frequency_hz)} at {PAGE.with_unit(PAGE.number(line.level_dbfs, 1), 'dBFS')}"
            for line in found[:_NAMED_LINES]
        )
        strongest = f", the strongest {named}" if named else ""
        parts.append(f"{panel.words}: {len(found)} of {len(panel.through)} tones found{strongest}.")
    return " ".join(parts)


def _legend(panels: Sequence[LinePanel]) -> list[LegendItem]:
    lines = [line for panel in panels for line in (*panel.through, *panel.direct)]
    items = []
    channel = panels[0].channel
    first = marks.FAMILY_SHAPES[lines[0].family]
    if any(panel.direct for panel in panels):
        for words, style in (("direct", "open direct"), ("through", f"filled {channel}")):
            drawn = svg.path(marks.shape(first, 17, 8, 4), style)
            items.append(LegendItem(swatch=swatch(drawn), words=words))
    families = {line.family for line in lines}
    beside = {line.family for panel in panels for line in panel.context}
    for family, words in FAMILY_WORDS.items():
        if family in families:
            drawn = svg.path(marks.shape(marks.FAMILY_SHAPES[family], 17, 8, 4.4), "filled ink")
            items.append(LegendItem(swatch=swatch(drawn), words=words))
        elif family in beside:
            drawn = svg.path(marks.shape(marks.FAMILY_SHAPES[family], 17, 8, 2.6), "context")
            items.append(LegendItem(swatch=swatch(drawn), words=f"{words}, to compare"))
    if any(line.bound == "upper" for line in lines):
        arrow = swatch(svg.path(marks.arrow_upright(17, 3, 4, down=True), "bound"))
        items.append(LegendItem(swatch=arrow, words="at most: not found, may lie anywhere below"))
    return items


def _draw(
    frame: Frame,
    key: str,
    title: str,
    description: str,
    panels: Sequence[LinePanel],
    boxes_by_frame: dict[str, list[list[float]]],
) -> Markup:
    boxes, height = panel_boxes(frame, len(panels), height=220.0, single_height=280.0)
    boxes_by_frame[frame.name] = [box.as_list() for box in boxes]
    low, high = _ends(panels)
    parts = [_panel(panel, box, low, high) for panel, box in zip(panels, boxes, strict=True)]
    return drawing(frame, key, height, title, description, *parts)


def _ends(panels: Sequence[LinePanel]) -> tuple[float, float]:
    levels = [
        max(line.level_dbfs, LOWEST_DBFS)
        for panel in panels
        for line in (*panel.through, *panel.direct, *panel.context)
    ]
    return math.floor((min(levels) - 5) / 10) * 10.0, math.ceil((max(levels) + 8) / 10) * 10.0


def _panel(panel: LinePanel, box: Box, low: float, high: float) -> Markup:
    across, up = hz_scale(box), value_scale(low, high, box)
    rest = ", ".join(part for part in (panel.where, panel.channel) if part)
    return svg.join(
        [
            panel_title(box.x, box.y - 22, panel.subject, rest, box.width),
            hz_axis(box, across),
            value_axis(box, up, _STEP_DB, "dBFS"),
            svg.tag("g", *_field(panel, across, up, box), class_="field"),
        ]
    )


def _field(panel: LinePanel, across: Scale, up: Scale, box: Box) -> list[Markup]:
    through, direct = drawn_lines(panel.through, across), drawn_lines(panel.direct, across)
    return [
        _marks_of(drawn_lines(panel.context, across), across, up, "context", "context", 2.2),
        _stems(through, panel.direct, across, up, box, panel.channel),
        _marks_of(direct, across, up, "open direct", "bound direct", 3.8),
        _marks_of(through, across, up, f"filled {panel.channel}", f"bound {panel.channel}", 2.8),
        _names(through, across, up, box),
    ]


def _stems(through: Sequence[Line], direct: Sequence[Line], across: Scale, up: Scale, box: Box, channel: str) -> Markup:
    beside: dict[Identity, Line] = {identity(line): line for line in direct}
    data = []
    for line in through:
        if line.bound is not None:
            continue
        other = beside.get(identity(line))
        start = box.bottom if other is None else up(other.level_dbfs)
        data.append(f"M{svg.number(across(line.frequency_hz))} {svg.number(start)}V{svg.number(up(line.level_dbfs))}")
    return svg.path("".join(data), f"stem {channel}")


def _marks_of(lines: Sequence[Line], across: Scale, up: Scale, found: str, bound: str, half: float) -> Markup:
    """Return all marks of one kind in two paths: those found, and the bounds."""
    shapes, arrows = [], []
    for line in lines:
        x, y = across(line.frequency_hz), up(line.level_dbfs)
        if line.bound is None:
            shapes.append(marks.shape(marks.FAMILY_SHAPES[line.family], x, y, half))
        else:
            arrows.append(marks.arrow_upright(x, y, half * 0.8, down=line.bound == "upper"))
    return svg.join([svg.path("".join(arrows), bound + " faint"), svg.path("".join(shapes), found)])


def _names(lines: Sequence[Line], across: Scale, up: Scale, box: Box) -> Markup:
    """Return names of the strongest lines, as far as they do not run into each other or into marks.

    The strongest, the first of a family and lines without a place in one are named by frequency, others by their
    multiple.
    """
    parts: list[Markup] = []
    taken: list[tuple[float, float, float]] = []
    found = sorted((line for line in lines if line.bound is None), key=lambda line: -line.level_dbfs)
    places = [(across(line.frequency_hz), up(line.level_dbfs)) for line in found]
    found = [line for line in found if line.level_dbfs > found[0].level_dbfs - _NAMED_DEPTH_DB]
    for line, (x, y) in zip(found[: 3 * _MOST_NAMES], places, strict=False):
        by_multiple = taken and line.harmonic not in (None, 1)
        words = f"×{line.harmonic}" if by_multiple else hertz(line.frequency_hz)
        half = 3.4 * len(words) + 3
        hides = any(abs(x - other) < half and y - 24 < height < y - 2 for other, height in places)
        meets = any(abs(x - other) < half + its and abs(y - height) < 14 for other, height, its in taken)
        if len(taken) == _MOST_NAMES or hides or meets:
            continue
        taken.append((x, y, half))
        inside = min(max(x, box.x + half), box.right - half)
        parts.append(svg.text(inside, y - 8, words, "callout", anchor="middle"))
    return svg.join(parts)
