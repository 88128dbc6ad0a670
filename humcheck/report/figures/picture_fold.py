"""The buzz folded over one field, with the picture's rows beside it: time runs down, as the screen is drawn."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from markupsafe import Markup

from humcheck.report.catalogue import Catalogue, channels_in_order
from humcheck.report.figures import svg
from humcheck.report.figures.figure import Figure, LegendItem, ValueTable, drawing, panel_title, swatch
from humcheck.report.figures.frame import (
    FRAMES,
    Box,
    Frame,
    Scale,
    panel_boxes,
    tick_text,
    ticks,
)
from humcheck.report.figures.picture_fold_panels import FoldPanel, fold_panels, largest_of, stands_out
from humcheck.report.figures.picture_strip import strip
from humcheck.report.text import PAGE, unit_words
from humcheck.results import Trace

MOST_PANELS = 6
_TITLE = "The buzz, folded over one picture: sound beside the rows that are drawn meanwhile"
_READING = (
    "Time runs down, as the screen is drawn: the strip is the picture, row by row, the lines beside it are the sound "
    "that repeats with every picture, the mean over all pictures of the quiet passage. Where the sound follows the "
    "rows, it comes from the picture: through a small capacitance it jumps where black turns to white and back, by a "
    "shared ground it follows the brightness itself. A jolt in the dark part is the pulse that tells the screen to "
    "begin anew. \u00b5FS are millionths of the strongest sound that the recording can hold."
)
_STRIP, _GAP = 26.0, 12.0
_TABLE_STEPS = 20
#: A channel this wide has room for the labels of both sides.
_ROOM_FOR_BOTH = 170.0


def picture_fold_figure(catalogue: Catalogue, key: str) -> Figure | None:
    """Return the figure of folded sound, or None where no field was folded."""
    found = list(fold_panels(catalogue))
    # What shows nothing but noise is shown only where there is nothing else.
    clear = [panel for panel in found if stands_out(panel)] or found[:1]
    panels = clear[:MOST_PANELS]
    if not panels:
        return None
    boxes: dict[str, list[list[float]]] = {}
    description = _description(panels)
    notes = []
    if any(panel.rows is None for panel in panels):
        notes.append("Where the strip is missing, the sound does not tell when the picture begins.")
    if len(clear) > len(panels):
        notes.append(f"{len(clear) - len(panels)} more are not drawn.")
    if len(found) > len(clear):
        notes.append(f"{len(found) - len(clear)} more hold nothing but noise.")
    return Figure(
        key=key,
        title=_TITLE,
        reading=_READING,
        legend=tuple(_legend(panels)),
        drawings=tuple(_draw(frame, key, description, panels, boxes) for frame in FRAMES),
        data=_data(panels, boxes),
        values=_values(panels),
        note=" ".join(notes),
        setups=frozenset(panel.setup for panel in panels),
    )


def _description(panels: Sequence[FoldPanel]) -> str:
    parts = []
    for panel in panels:
        for channel, trace in panel.folds.items():
            ends = f"{PAGE.number(min(trace.y), 1)} to {PAGE.with_unit(PAGE.number(max(trace.y), 1), trace.unit)}"
            parts.append(f"{panel.name}, {channel}: from {ends} over {PAGE.number(panel.whole_ms, 2)} ms.")
    return " ".join(parts)


def _legend(panels: Sequence[FoldPanel]) -> Iterable[LegendItem]:
    channels = channels_in_order(channel for panel in panels for channel in panel.folds)
    for channel in channels:
        yield LegendItem(swatch=swatch(svg.path("M2 8L9 3L16 13L23 3L32 8", f"fold {channel}")), words=channel)
    if any(panel.direct for panel in panels):
        yield LegendItem(swatch=swatch(svg.path("M2 8H32", "fold direct")), words="direct, the same picture")
    yield LegendItem(
        swatch=swatch(svg.rectangle(3, 3, 28, 10, f"range {channels[0]}")),
        words="what noise alone leaves (19 of 20 points)",
    )
    if any(panel.rows is not None for panel in panels):
        grey = swatch(svg.tag("rect", x=9, y=1, width=16, height=14, fill="#000000", stroke="#808080"))
        yield LegendItem(swatch=grey, words="the picture's rows")


def _draw(
    frame: Frame, key: str, description: str, panels: Sequence[FoldPanel], boxes_by_frame: dict[str, list[list[float]]]
) -> Markup:
    boxes, height = panel_boxes(frame, len(panels), height=400.0, single_height=420.0)
    boxes_by_frame[frame.name] = [box.as_list() for box in boxes]
    parts = [_draw_panel(panel, box) for panel, box in zip(panels, boxes, strict=True)]
    return drawing(frame, key, height, _TITLE, description, *parts)


def _draw_panel(panel: FoldPanel, box: Box) -> Markup:
    down = Scale(0.0, panel.whole_ms, box.y, box.bottom)
    parts = [panel_title(box.x, box.y - 22, panel.title, panel.where, box.width), _time_axis(box, down)]
    left = box.x
    if panel.rows is not None:
        parts.append(strip(panel.rows, Box(box.x, box.y, _STRIP, box.height), down))
        left += _STRIP + _GAP
    largest = largest_of(panel)
    high = 1.08 * largest or 1.0
    width = (box.right - left - _GAP * (len(panel.folds) - 1)) / len(panel.folds)
    for index, channel in enumerate(channels_in_order(panel.folds)):
        inner = Box(left + index * (width + _GAP), box.y, width, box.height)
        parts.append(_channel(panel, channel, inner, Scale(-high, high, inner.x, inner.right), down))
    return svg.join(parts)


def _time_axis(box: Box, down: Scale) -> Markup:
    parts = [svg.text(box.x - 8, box.y - 22, "ms", "axis", anchor="end")]
    for value in ticks(0.0, down.high, 2.0):
        parts.append(svg.text(box.x - 8, down(value) + 4, tick_text(value, 1.0), "tick", anchor="end"))
    return svg.join(parts)


def _channel(panel: FoldPanel, channel: str, box: Box, across: Scale, down: Scale) -> Markup:
    trace = panel.folds[channel]
    parts = [svg.line((box.x, down(value)), (box.right, down(value)), "grid") for value in ticks(0.0, down.high, 2.0)]
    step = _largest_round(across.high)
    for value in (-step, 0.0, step):
        parts.append(svg.line((across(value), box.y), (across(value), box.bottom), "grid" if value else "zero"))
        if value >= 0 or box.width > _ROOM_FOR_BOTH:
            parts.append(svg.text(across(value), box.bottom + 16, tick_text(value, step), "tick", anchor="middle"))
    noise = 2 * panel.noise.get(channel, 0.0)
    parts.append(svg.rectangle(across(-noise), box.y, across(noise) - across(-noise), box.height, f"range {channel}"))
    parts.append(_fold(trace, across, down, channel))
    if channel in panel.direct:
        parts.append(_fold(panel.direct[channel], across, down, "direct"))
    parts.append(svg.text(box.x, box.y - 6, "" if channel == "mono" else channel, "tick"))
    parts.append(svg.text(box.right, box.bottom + 32, unit_words(trace.unit), "axis", anchor="end"))
    return svg.join(parts)


def _largest_round(most: float) -> float:
    """Return the largest of 1, 2, 5 times a power of ten that is not above `most`."""
    power = 10.0 ** math.floor(math.log10(most))
    return max(factor * power for factor in (1, 2, 5) if factor * power <= most)


def _fold(trace: Trace, across: Scale, down: Scale, class_: str) -> Markup:
    points = [(across(y), down(x)) for x, y in zip(trace.x, trace.y, strict=True)]
    return svg.path(svg.polyline(points), f"fold {class_}")


def _data(panels: Sequence[FoldPanel], boxes: dict[str, list[list[float]]]) -> dict[str, object]:
    """Return the drawn points for the script, which reads them by time."""
    first = next(iter(panels[0].folds.values()))
    series: list[dict[str, object]] = []
    for panel in panels:
        if panel.rows is not None:
            shown = [round(100 * _brightness(panel, index / len(first.x))) for index in range(len(first.x))]
            series.append({"name": f"{panel.name}, picture", "y": shown, "unit": "% white", "decimals": 0})
        for kind, folds in (("", panel.folds), (", direct", panel.direct)):
            for channel in channels_in_order(folds):
                name = f"{panel.name}, {channel}{kind}"
                series.append({"name": name, "y": [round(value, 2) for value in folds[channel].y]})
    return {
        "kind": "time",
        "unit": unit_words(first.unit),
        "decimals": 1,
        "boxes": boxes,
        "x": [round(value, 3) for value in first.x],
        "whole": round(panels[0].whole_ms, 4),
        "series": series,
    }


def _brightness(panel: FoldPanel, share: float) -> float:
    """Return how bright the line is that is drawn at a share of the field."""
    assert panel.rows is not None
    n_lines = len(panel.rows.y)
    return panel.rows.y[min(n_lines - 1, int(share * n_lines))]


def _values(panels: Sequence[FoldPanel]) -> ValueTable:
    """Return the first panels at evenly spread times."""
    columns: list[tuple[str, Sequence[float], int]] = []
    for panel in panels[:3]:
        for channel in channels_in_order(panel.folds):
            trace = panel.folds[channel]
            columns.append((f"{panel.name}, {channel}, {unit_words(trace.unit)}", trace.y, 1))
    first = next(iter(panels[0].folds.values()))
    every = max(1, len(first.x) // _TABLE_STEPS)
    rows = [
        (
            PAGE.with_unit(PAGE.number(first.x[index], 2), "ms"),
            *(PAGE.number(values[index], decimals) for _, values, decimals in columns),
        )
        for index in range(0, len(first.x), every)
    ]
    return ValueTable(
        headings=("Time in the picture", *(name for name, _, _ in columns)),
        rows=tuple(rows),
        caption="The same as numbers, at twenty times",
    )
