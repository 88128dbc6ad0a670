"""Small multiples of a bench: one small panel for each port or device, all on one scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from markupsafe import Markup

from humcheck.report.catalogue import Catalogue, Setup, channels_in_order
from humcheck.report.figures import svg
from humcheck.report.figures.curve_panels import CurvePanel, Drawn
from humcheck.report.figures.curve_values import curve_data
from humcheck.report.figures.figure import Figure, LegendItem, drawing, panel_title, swatch
from humcheck.report.figures.frame import (
    FRAMES,
    Box,
    Frame,
    Scale,
    hz_axis,
    hz_scale,
    nice_range,
    value_axis,
    value_scale,
)
from humcheck.report.figures.thin import audible, thinned
from humcheck.report.order import Group
from humcheck.report.text import PAGE
from humcheck.results import Curve

PORTS = Group(
    key="ports",
    title="Port by port",
    question="Does every port measure the same?",
    plain="Small panels on one scale: what differs from panel to panel differs from port to port or from device to "
    "device. The input farthest from the output is often the worst.",
    quantities=(),
)
#: Fewer uses are seen well enough in the other figures.
LEAST_USES = 4
_MOST_PANELS = 64
_PER_OCTAVE = 12
_BEHIND_POINTS = 40
_MOST_BEHIND = 12
_COLUMNS = {"wide": 4, "narrow": 2}
_KEY = "ports-response"
_TITLE = "Response port by port, all on one scale"


def small_boxes(frame: Frame, count: int, *, height: float, most: int = 4) -> tuple[list[Box], float]:
    """Return the plotting areas of many small panels, at most so many side by side, and the height of all."""
    most = min(_COLUMNS[frame.name], most)
    columns = min(most, count) or 1
    left, right, top, bottom = 40.0, 4.0, 30.0, 38.0
    cell = frame.width / most
    boxes = [
        Box(
            (index % columns) * cell + left,
            (index // columns) * (top + height + bottom) + top,
            cell - left - right,
            height,
        )
        for index in range(count)
    ]
    return boxes, (top + height + bottom) * math.ceil(count / columns)


def response_multiples(catalogue: Catalogue) -> Figure | None:
    """Return a small panel of the response for each port of each device, or None where there are too few."""
    places = _places(catalogue)
    panels = [_panel_of(catalogue, curves) for curves in places.values()]
    if sum(len({Setup.of(curve) for curve in curves}) for curves in places.values()) < LEAST_USES or len(panels) < 2:
        return None
    shown, left_out = panels[:_MOST_PANELS], panels[_MOST_PANELS:]
    boxes: dict[str, list[list[float]]] = {}
    drawings = tuple(_draw(frame, shown, boxes) for frame in FRAMES)
    return Figure(
        key=_KEY,
        title=_TITLE,
        reading="Low notes left, high notes right; a level line means that all notes are treated alike. In each panel "
        "the use without a fix whose curve is least flat is drawn in full, the other uses of that port faintly behind.",
        legend=tuple(_legend(shown)),
        drawings=drawings,
        data=curve_data(shown, boxes),
        note=f"{len(left_out)} more ports are not drawn." if left_out else "",
    )


def _places(catalogue: Catalogue) -> dict[tuple[str, str | None], list[Curve]]:
    """Return the curves of each port of each device."""
    places: dict[tuple[str, str | None], list[Curve]] = {}
    for subject in catalogue.devices:
        for curve in catalogue.curves("response_delta", "through", subject):
            places.setdefault((subject, curve.port), []).append(curve)
    return places


def _panel_of(catalogue: Catalogue, curves: Sequence[Curve]) -> CurvePanel:
    plain = [curve for curve in curves if curve.fix is None] or curves
    worst = Setup.of(max(plain, key=lambda curve: max(curve.value) - min(curve.value)))
    mine = [curve for curve in curves if Setup.of(curve) == worst]
    order = channels_in_order(curve.channel for curve in mine)
    mine.sort(key=lambda curve: order.index(curve.channel))
    apart = [curve for curve in mine if curve.channel != "both"] or mine
    port = replace(worst, picture=None, condition=(), fix=None)
    return CurvePanel(
        subject=catalogue.title(worst.subject),
        where=", ".join(port.parts),
        curves=[Drawn(kind="through", curve=curve, chosen=_evenly(curve.frequency_hz)) for curve in apart],
        behind=[curve for curve in curves if Setup.of(curve) != worst][:_MOST_BEHIND],
    )


def _evenly(frequency_hz: Sequence[float]) -> list[int]:
    """Return the audible points, at most twelve for each octave: near enough for every place to be read."""
    steps: dict[int, int] = {}
    for index in audible(frequency_hz):
        steps.setdefault(round(_PER_OCTAVE * math.log2(frequency_hz[index] / 1000.0)), index)
    return list(steps.values())


def _legend(panels: Sequence[CurvePanel]) -> list[LegendItem]:
    channels = channels_in_order(item.curve.channel for panel in panels for item in panel.curves)
    items = [
        LegendItem(swatch=swatch(svg.path("M2 8H32", f"curve {channel}")), words=channel)
        for channel in channels
        if channel != "mono"
    ]
    if any(panel.behind for panel in panels):
        items.append(
            LegendItem(swatch=swatch(svg.path("M2 8H32", "curve behind")), words="other uses of the same port")
        )
    return items


def _ends(panels: Sequence[CurvePanel]) -> tuple[float, float, float]:
    values = [item.curve.value[index] for panel in panels for item in panel.curves for index in item.chosen]
    return nice_range(min(*values, 0.0), max(*values, 0.0), least_span=2.0, most_ticks=4)


def _draw(frame: Frame, panels: Sequence[CurvePanel], boxes_by_frame: dict[str, list[list[float]]]) -> Markup:
    boxes, height = small_boxes(frame, len(panels), height=84.0)
    boxes_by_frame[frame.name] = [box.as_list() for box in boxes]
    low, high, step = _ends(panels)
    parts = [_draw_panel(panel, box, low, high, step) for panel, box in zip(panels, boxes, strict=True)]
    return drawing(frame, _KEY, height, _TITLE, _description(panels), *parts)


def _description(panels: Sequence[CurvePanel]) -> str:
    said = []
    for panel in panels[:12]:
        values = [item.curve.value[index] for item in panel.curves for index in item.chosen]
        ends = f"{PAGE.number(min(values), 1)} to {PAGE.with_unit(PAGE.number(max(values), 1), 'dB')}"
        said.append(f"{panel.subject}, {panel.where}: {ends}." if panel.where else f"{panel.subject}: {ends}.")
    return " ".join(said)


def _draw_panel(panel: CurvePanel, box: Box, low: float, high: float, step: float) -> Markup:
    across, up = hz_scale(box), value_scale(low, high, box)
    field = [_path(curve, thinned(curve.frequency_hz, curve.value, _BEHIND_POINTS), across, up, "behind")
             for curve in panel.behind]  # fmt: skip
    field += [_path(item.curve, item.chosen, across, up, item.curve.channel) for item in panel.curves]
    unit = panel.curves[0].curve.unit
    return svg.join(
        [
            panel_title(box.x, box.y - 10, panel.subject, panel.where, box.width),
            hz_axis(box, across),
            value_axis(box, up, step, unit, zero_line=True),
            svg.tag("g", *field, class_="field"),
        ]
    )


def _path(curve: Curve, chosen: Sequence[int], across: Scale, up: Scale, class_: str) -> Markup:
    points = [(across(curve.frequency_hz[index]), up(curve.value[index])) for index in chosen]
    return svg.path(svg.polyline(svg.simplified(points, 0.3)), f"curve {class_}")
