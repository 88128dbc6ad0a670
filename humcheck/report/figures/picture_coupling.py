"""The picture in the sound over frequency: direct, through and added, beside what two simple circuits would do."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from markupsafe import Markup

from humcheck.report.catalogue import Catalogue, Setup, channels_in_order
from humcheck.report.figures import svg
from humcheck.report.figures.curve_panels import MOST_DEVICES, CurvePanel, Drawn
from humcheck.report.figures.curve_values import curve_data, curve_values
from humcheck.report.figures.figure import Figure, LegendItem, drawing, panel_title, swatch
from humcheck.report.figures.frame import (
    FRAMES,
    HIGHEST_HZ,
    LOWEST_HZ,
    Box,
    Frame,
    Scale,
    hz_axis,
    hz_scale,
    nice_range,
    panel_boxes,
    value_axis,
    value_scale,
)
from humcheck.report.text import PAGE, hertz
from humcheck.results import Curve

CURVE = "picture_coupling_curve"
_SLOPE = "picture_coupling_slope"
_TITLE = "The picture in the sound: how strongly it leaks, note by note"
_READING = (
    "If the screen swung from black to white and back at the pitch of a note, this is how loud the note would stand in "
    "the sound: low notes left, high notes right. Two thin guides run through each curve at 1\u00a0kHz. Along the "
    "slanting one lies a small capacitance between two wires that run side by side (twice as strong for each octave "
    "up); along the level one a ground that picture and sound share. The slope written in each panel says by how many "
    "decibels the leak grows where the pitch doubles (6: a capacitance; 0: a shared ground), the bend by how much the "
    "slope itself changes meanwhile."
)
#: How far the guides are drawn to either side of 1 kHz, in octaves, and by how much one of them rises in each.
_GUIDE_OCTAVES, _CAPACITANCE_DB = 3.2, 6.0206
_WORDS = {"direct": "direct", "through": "through", "added": "added by the device"}


def picture_coupling_figure(catalogue: Catalogue, key: str) -> Figure | None:
    """Return the figure of coupling over frequency, or None where coded rows were sought in no take."""
    panels = list(_panels(catalogue))
    if not panels:
        return None
    slopes = [_slope_words(catalogue, panel) for panel in panels]
    description = _description(panels, slopes)
    boxes: dict[str, list[list[float]]] = {}
    drawings = tuple(_draw(frame, key, description, panels, slopes, boxes) for frame in FRAMES)
    return Figure(
        key=key,
        title=_TITLE,
        reading=_READING,
        legend=tuple(_legend(panels)),
        drawings=drawings,
        data=curve_data(panels, boxes),
        values=curve_values(panels, third_octaves=False),
        setups=frozenset(Setup.of(item.curve) for panel in panels for item in panel.curves),
    )


def _panels(catalogue: Catalogue) -> Iterable[CurvePanel]:
    direct = catalogue.curves(CURVE, "direct")
    devices = [(role, subject) for role, subjects in _subjects(catalogue) for subject in subjects[:MOST_DEVICES]]
    made = [panel for role, subject in devices for panel in _of_subject(catalogue, role, subject, direct)]
    if made or not direct:
        return made
    return [
        CurvePanel(
            subject="Direct", where=catalogue.where(curve), channel=curve.channel, curves=[Drawn.of("direct", curve)]
        )
        for curve in direct
    ]


def _subjects(catalogue: Catalogue) -> tuple[tuple[str, list[str]], ...]:
    return ("through", catalogue.devices), ("single", catalogue.singles)


def _of_subject(catalogue: Catalogue, role: str, subject: str, direct: Sequence[Curve]) -> list[CurvePanel]:
    """Return a panel for each channel of the set-up that leaks most."""
    curves = catalogue.curves(CURVE, role, subject)
    if not curves:
        return []
    chosen = Setup.of(max(curves, key=lambda curve: (curve.bound is None, max(curve.value))))
    mine = [curve for curve in curves if Setup.of(curve) == chosen]
    added = [curve for curve in catalogue.curves(CURVE, "added", subject) if Setup.of(curve) == chosen]
    panels = []
    for channel in channels_in_order(curve.channel for curve in mine):
        own = next(curve for curve in mine if curve.channel == channel)
        panel = CurvePanel(subject=catalogue.title(subject), where=catalogue.where(chosen), channel=channel)
        control = catalogue.control(own, direct) if role == "through" else None
        if control is not None:
            panel.curves.append(Drawn.of("direct", control))
        panel.curves.append(Drawn.of("through", own))
        panel.curves += [Drawn.of("added", curve) for curve in added if curve.channel == channel]
        panels.append(panel)
    return panels


def _slope_words(catalogue: Catalogue, panel: CurvePanel) -> str:
    """Return the slope and the bend of a panel's own curve in words; empty where there are none."""
    own = next((item.curve for item in panel.curves if item.kind == "through"), panel.curves[0].curve)
    slope = next(
        (
            row
            for row in catalogue.measures(_SLOPE, own.role, own.subject)
            if row.channel == own.channel and Setup.of(row) == Setup.of(own)
        ),
        None,
    )
    if slope is None:
        return ""
    bend = slope.detail.get("bend")
    said = f"slope {PAGE.with_unit(PAGE.number(slope.value, 1), slope.unit)}"
    return said if bend is None else f"{said}, bend {PAGE.number(round(bend, 1) + 0.0, 1)}"


def _description(panels: Sequence[CurvePanel], slopes: Sequence[str]) -> str:
    parts = []
    for panel, slope in zip(panels[:6], slopes, strict=False):
        for item in panel.curves:
            curve = item.curve
            ends = [
                f"{PAGE.with_unit(PAGE.number(curve.value[i], 1), curve.unit)} at {hertz(curve.frequency_hz[i])}"
                for i in (0, len(curve.value) // 2, -1)
            ]
            at_most = "at most " if curve.bound and "upper" in curve.bound else ""
            parts.append(f"{', '.join(part for part in panel.name_parts(item) if part)}: {at_most}{', '.join(ends)}.")
        parts.append(f"{panel.subject}, {panel.channel}: {slope}." if slope else "")
    return " ".join(part for part in parts if part)


def _legend(panels: Sequence[CurvePanel]) -> Iterable[LegendItem]:
    drawn = [item for panel in panels for item in panel.curves]
    seen = {(item.kind, item.curve.channel if item.kind == "through" else ""): item for item in drawn}
    alone = len({kind for kind, _ in seen}) == 1
    for (kind, channel), item in sorted(seen.items(), key=lambda pair: list(_WORDS).index(pair[0][0])):
        words = channel if kind == "through" and alone else ", ".join(w for w in (channel, _WORDS[kind]) if w)
        yield LegendItem(swatch=swatch(svg.path("M2 8H32", f"curve {_class(item)}")), words=words)
    curves = [item.curve for panel in panels for item in panel.curves]
    if any(curve.low for curve in curves):
        band = svg.rectangle(3, 3, 28, 10, f"band {_class(panels[0].curves[-1])}")
        yield LegendItem(swatch=swatch(band), words="95\u00a0% band")
    if any(curve.bound and "upper" in curve.bound for curve in curves):
        hidden = swatch(svg.path("M2 8H32", "curve masked ink"))
        yield LegendItem(swatch=hidden, words="at most: hidden by noise, may lie anywhere below")
    guides = svg.path("M2 13L32 3M2 8H32", "context")
    yield LegendItem(swatch=swatch(guides), words="what a stray capacitance (slanting) and a shared ground (level) do")


def _draw(
    frame: Frame,
    key: str,
    description: str,
    panels: Sequence[CurvePanel],
    slopes: Sequence[str],
    boxes_by_frame: dict[str, list[list[float]]],
) -> Markup:
    boxes, height = panel_boxes(frame, len(panels), height=230.0, single_height=290.0)
    boxes_by_frame[frame.name] = [box.as_list() for box in boxes]
    values = [
        value
        for panel in panels
        for item in panel.curves
        for ends in (item.curve.value, item.curve.low, item.curve.high)
        for value in ends or ()
    ]
    ends = nice_range(min(values) - 2, max(values) + 2, least_span=40.0, most_ticks=8)
    parts = [_panel(panel, box, said, *ends) for panel, said, box in zip(panels, slopes, boxes, strict=True)]
    return drawing(frame, key, height, _TITLE, description, *parts)


def _panel(panel: CurvePanel, box: Box, slope: str, low: float, high: float, step: float) -> Markup:
    across, up = hz_scale(box), value_scale(low, high, box)
    rest = ", ".join(part for part in (panel.where, panel.channel) if part and part != "mono")
    parts = [
        panel_title(box.x, box.y - 22, panel.subject, rest, box.width),
        hz_axis(box, across),
        value_axis(box, up, step, panel.curves[0].curve.unit),
    ]
    shown = [item for item in panel.curves if item.kind != "added"]
    field = [_guides(item.curve, across, up) for item in shown if item.curve.bound is None]
    field += [_band(item, across, up) for item in panel.curves]
    field += [_line(item, across, up) for item in panel.curves]
    parts.append(svg.tag("g", *field, class_="field"))
    parts.append(svg.text(box.right - 6, box.bottom - 10, slope, "callout", anchor="end"))
    return svg.join(parts)


def _class(item: Drawn) -> str:
    """Return the look of a curve: what is added is drawn in ink over the rest, dashed, so that both are seen."""
    return {"direct": "direct", "added": "ink added"}.get(item.kind, item.curve.channel)


def _guides(curve: Curve, across: Scale, up: Scale) -> Markup:
    """Return faint lines of 6 dB per octave and of none through the curve at 1 kHz."""
    place = min(range(len(curve.value)), key=lambda i: abs(curve.frequency_hz[i] - 1000.0))
    middle = curve.value[place]
    parts = []
    for per_octave in (_CAPACITANCE_DB, 0.0):
        reach = [-_GUIDE_OCTAVES, _GUIDE_OCTAVES]
        if per_octave:
            # Only as far as the scale goes: beyond, the line would bend along its edge.
            ends = [(up.low - middle) / per_octave, (up.high - middle) / per_octave]
            reach = [max(reach[0], ends[0]), min(reach[1], ends[1])]
        points = [
            (across(min(max(1000.0 * 2**octaves, LOWEST_HZ), HIGHEST_HZ)), up(middle + per_octave * octaves))
            for octaves in reach
        ]
        parts.append(svg.path(svg.polyline(points), "context"))
    return svg.join(parts)


def _band(item: Drawn, across: Scale, up: Scale) -> Markup:
    curve = item.curve
    if not curve.low or not curve.high:
        return Markup("")
    top = [(across(curve.frequency_hz[i]), up(curve.high[i])) for i in item.chosen]
    bottom = [(across(curve.frequency_hz[i]), up(curve.low[i])) for i in item.chosen]
    return svg.path(svg.polyline([*top, *reversed(bottom)]) + "z", f"band {_class(item)}")


def _line(item: Drawn, across: Scale, up: Scale) -> Markup:
    curve, parts = item.curve, []
    previous: int | None = None
    for hidden, members in groupby(item.chosen, key=lambda i: curve.bound is not None and curve.bound[i] is not None):
        stretch = list(members)
        whole = stretch if previous is None else [previous, *stretch]
        previous = stretch[-1]
        points = [(across(curve.frequency_hz[i]), up(curve.value[i])) for i in whole]
        parts.append(svg.path(svg.polyline(points), f"curve {_class(item)}{' masked' if hidden else ''}"))
    return svg.join(parts)
