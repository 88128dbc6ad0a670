"""Curves over frequency: response, crosstalk and noise spectrum, with their 95\u00a0% bands and valid ranges."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from markupsafe import Markup

from humcheck.report.catalogue import Catalogue
from humcheck.report.figures import svg
from humcheck.report.figures.curve_panels import CurvePanel, Drawn, curve_panels
from humcheck.report.figures.curve_values import curve_data, curve_values
from humcheck.report.figures.figure import Figure, LegendItem, drawing, panel_title, swatch
from humcheck.report.figures.frame import (
    FRAMES,
    HIGHEST_HZ,
    LOWEST_HZ,
    Box,
    Frame,
    Scale,
    decades,
    hz_axis,
    hz_scale,
    nice_range,
    panel_boxes,
    value_axis,
    value_scale,
)
from humcheck.report.figures.thin import audible, thinned
from humcheck.report.text import PAGE, hertz, visible
from humcheck.results import Curve, quantity

_BEHIND_POINTS = 60
_LEAST_SPAN = {"response_delta": 2.0}

_TITLES = {
    "response_delta": "Response: how loud each note comes through, against direct",
    "crosstalk": "Crosstalk: one side heard in the other, note by note",
    "noise_spectrum": "Noise spectrum: where in the range of notes the noise lies",
    "thd": "Harmonic distortion, note by note",
}
_READINGS = {
    "response_delta": "Low notes are left, high notes right. A level line means that all notes are treated alike; "
    "where it dips, those notes come out softer. The line at zero is the direct connection.",
    "crosstalk": "Only the other side is playing. The lower the curve, the less of it is heard in this one. The title "
    "of each panel names the silent side.",
    "noise_spectrum": "The noise of the quiet passage in bands of a third of an octave, deep rumble left, sharp hiss "
    "right. Each step up of 20 dB is ten times as strong.",
    "thd": "Overtones that each note of the sweep picks up, low notes left, high notes right. Where a curve ends, "
    "noise hides what there may be.",
}


def curve_figure(catalogue: Catalogue, name: str, key: str) -> Figure | None:
    """Return the figure of a curve quantity, or None where there is no curve."""
    panels, others = curve_panels(catalogue, name)
    panels = [panel for panel in panels if any(item.chosen for item in panel.curves)]
    if not panels:
        return None
    title = visible(_TITLES.get(name, quantity(name).title))
    description = _description(panels)
    boxes: dict[str, list[list[float]]] = {}
    drawings = tuple(_draw(frame, key, title, description, name, panels, boxes) for frame in FRAMES)
    return Figure(
        key=key,
        title=title,
        reading=_READINGS.get(name, "Low notes are left, high notes right."),
        legend=tuple(_legend(panels)),
        drawings=drawings,
        data=curve_data(panels, boxes),
        values=curve_values(panels, third_octaves=name == "noise_spectrum"),
        note=_note(panels, others),
    )


def _note(panels: Sequence[CurvePanel], others: int) -> str:
    if not others:
        return ""
    rest = "thin grey lines behind it are" if any(panel.behind for panel in panels) else "not drawn are"
    return f"The worst set-up of each device is drawn in full; {rest} the {others} others."


def _description(panels: Sequence[CurvePanel]) -> str:
    parts = []
    for panel in panels[:8]:
        for item in panel.curves:
            curve = item.curve
            low, high = min(curve.value), max(curve.value)
            name = ", ".join(part for part in panel.name_parts(item) if part)
            ends = []
            for end in (low, high):
                at = curve.frequency_hz[curve.value.index(end)]
                ends.append(f"{PAGE.with_unit(PAGE.number(end, 1), curve.unit)} at {hertz(at)}")
            parts.append(f"{name}: from {ends[0]} to {ends[1]}.")
    return " ".join(parts)


def _legend(panels: Sequence[CurvePanel]) -> list[LegendItem]:
    kinds = {(item.kind, item.curve.channel): item for panel in panels for item in panel.curves}
    paired = any(kind == "direct" for kind, _ in kinds)
    items = []
    if any(kind == "recorder" for kind, _ in kinds):
        items.append(_line_item("curve bench", "the recorder alone"))
    if paired:
        items.append(_line_item("curve direct", "direct"))
    for kind, channel in kinds:
        if kind == "through":
            items.append(_line_item(f"curve {channel}", f"{channel}, through" if paired else channel))
    curves = [item.curve for panel in panels for item in panel.curves]
    if any(curve.low and curve.high for curve in curves):
        first = next(channel for kind, channel in kinds if kind == "through")
        items.append(LegendItem(swatch=swatch(svg.rectangle(3, 3, 28, 10, f"band {first}")), words="95\u00a0% band"))
    if any(curve.bound and "upper" in curve.bound for curve in curves):
        items.append(_line_item("curve masked ink", "at most: hidden by noise, may lie anywhere below"))
    if any(_has_gap(curve) for curve in curves):
        items.append(LegendItem(swatch=swatch(svg.rectangle(3, 2, 28, 12, "invalid")), words="outside the valid band"))
    if any(panel.behind for panel in panels):
        items.append(_line_item("curve behind", "other set-ups"))
    return items


def _line_item(class_: str, words: str) -> LegendItem:
    return LegendItem(swatch=swatch(svg.path("M2 8H32", class_)), words=words)


def _draw(
    frame: Frame,
    key: str,
    title: str,
    description: str,
    name: str,
    panels: Sequence[CurvePanel],
    boxes_by_frame: dict[str, list[list[float]]],
) -> Markup:
    boxes, height = panel_boxes(frame, len(panels), height=210.0, single_height=290.0)
    boxes_by_frame[frame.name] = [box.as_list() for box in boxes]
    low, high, step = _ends(name, panels)
    parts = [_panel(panel, box, low, high, step) for panel, box in zip(panels, boxes, strict=True)]
    return drawing(frame, key, height, title, description, *parts)


def _ends(name: str, panels: Sequence[CurvePanel]) -> tuple[float, float, float]:
    """Return the ends of the vertical scale and its step; 0 stands for a logarithmic one."""
    values: list[float] = []
    for panel in panels:
        for item in panel.curves:
            curve = item.curve
            for index in item.chosen:
                values += [curve.value[index], *(ends[index] for ends in (curve.low, curve.high) if ends)]
        for curve in panel.behind:
            values += [curve.value[index] for index in audible(curve.frequency_hz)]
    if quantity(name).kind == "percent":
        return (*decades(values), 0.0)
    if quantity(name).lower_is_better is None:
        values.append(0.0)
    low, high = min(values), max(values)
    margin = 0.04 * (high - low)
    return nice_range(low - margin, high + margin, least_span=_LEAST_SPAN.get(name, 20.0), most_ticks=6)


def _panel(panel: CurvePanel, box: Box, low: float, high: float, step: float) -> Markup:
    across, up = hz_scale(box), value_scale(low, high, box, logarithmic=step == 0)
    unit = panel.curves[0].curve.unit
    valid = panel.curves[-1].curve
    rest = ", ".join(part for part in (panel.where, panel.channel) if part)
    parts = [
        panel_title(box.x, box.y - 22, panel.subject, rest, box.width),
        hz_axis(box, across),
        value_axis(box, up, step, unit, zero_line=True),
    ]
    field = [_invalid(valid, across, box)]
    field += [_faint(curve, across, up) for curve in panel.behind]
    field += [_band(item, across, up) for item in panel.curves]
    field += [_line(item, across, up) for item in panel.curves]
    return svg.join([*parts, svg.tag("g", *field, class_="field")])


def _has_gap(curve: Curve) -> bool:
    start, end = _valid_ends(curve)
    return start > LOWEST_HZ * 1.001 or end < HIGHEST_HZ * 0.999


def _valid_ends(curve: Curve) -> tuple[float, float]:
    start = LOWEST_HZ if curve.valid_from_hz is None else max(curve.valid_from_hz, LOWEST_HZ)
    end = HIGHEST_HZ if curve.valid_to_hz is None else min(curve.valid_to_hz, HIGHEST_HZ)
    return start, end


def _invalid(curve: Curve, across: Scale, box: Box) -> Markup:
    """Return pale areas where the curve's figures are not taken."""
    start, end = (across(hz) for hz in _valid_ends(curve))
    parts = []
    if start - box.x > 0.5:
        parts.append(svg.rectangle(box.x, box.y, start - box.x, box.height, "invalid"))
    if box.right - end > 0.5:
        parts.append(svg.rectangle(end, box.y, box.right - end, box.height, "invalid"))
    return svg.join(parts)


def _class(item: Drawn) -> str:
    if item.kind == "recorder":
        return "bench"
    return f"direct {item.curve.channel}" if item.kind == "direct" else item.curve.channel


def _faint(curve: Curve, across: Scale, up: Scale) -> Markup:
    chosen = thinned(curve.frequency_hz, curve.value, _BEHIND_POINTS)
    points = [(across(curve.frequency_hz[i]), up(curve.value[i])) for i in chosen]
    return svg.path(svg.polyline(svg.simplified(points, 0.3)), "curve behind")


def _band(item: Drawn, across: Scale, up: Scale) -> Markup:
    curve = item.curve
    if not curve.low or not curve.high or item.kind == "recorder":
        return Markup("")
    places = [across(curve.frequency_hz[i]) for i in item.chosen]
    top = svg.simplified([(x, up(curve.high[i])) for x, i in zip(places, item.chosen, strict=True)])
    bottom = svg.simplified([(x, up(curve.low[i])) for x, i in zip(places, item.chosen, strict=True)])
    return svg.path(svg.polyline([*top, *reversed(bottom)]) + "z", f"band {_class(item)}")


def _line(item: Drawn, across: Scale, up: Scale) -> Markup:
    """Return a curve; stretches that are only bounds are drawn dotted."""
    curve = item.curve

    def hidden(index: int) -> bool:
        return curve.bound is not None and curve.bound[index] is not None

    parts = []
    previous: int | None = None
    for is_hidden, members in groupby(item.chosen, key=hidden):
        stretch = list(members)
        # A stretch begins where the one before it ended, or the curve would have gaps.
        whole = stretch if previous is None else [previous, *stretch]
        previous = stretch[-1]
        points = [(across(curve.frequency_hz[i]), up(curve.value[i])) for i in whole]
        if len(points) == 1:
            points = [(points[0][0] - 2, points[0][1]), (points[0][0] + 2, points[0][1])]
        parts.append(
            svg.path(svg.polyline(svg.simplified(points)), f"curve {_class(item)}{' masked' if is_hidden else ''}")
        )
    return svg.join(parts)
