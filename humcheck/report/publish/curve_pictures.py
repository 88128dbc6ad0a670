"""Pictures of one device over frequency: its response, and how far left and right are kept apart."""

from __future__ import annotations

from collections.abc import Sequence

from humcheck.report.catalogue import Catalogue, Setup
from humcheck.report.figures.curve_panels import CurvePanel, Drawn, curve_panels
from humcheck.report.figures.frame import HIGHEST_HZ, LOWEST_HZ, Box, Scale, hz_scale, nice_range, value_scale
from humcheck.report.order import SEVERITY_ORDER
from humcheck.report.publish.canvas import CHANNELS, DIRECT, INK, Canvas
from humcheck.report.publish.frame import Explained, footer, heading, hz_grid, legend, value_grid
from humcheck.report.publish.spoken import about, full_words

_BOX = (210.0, 1620.0)
_DASHED = (0, (4, 1.8))


def response_picture(catalogue: Catalogue) -> bytes | None:
    """Return how a device passes low and high notes, left and right, the direct path being the line at 0 dB."""
    panels = [panel for panel in curve_panels(catalogue, "response_delta")[0] if panel.curves]
    if not panels:
        return None
    curves = [item for panel in panels for item in panel.curves if item.kind == "through"]
    values = [value for item in curves for value in _points(item)]
    if not values:
        return None
    use = Setup.of(curves[0].curve)
    title = _title(catalogue, use, ("response_span", "gain", "balance"), "passes on low and high notes")
    reading = "The line at 0 dB is the direct path: below it is quieter, above it louder; level means all notes alike."
    canvas = Canvas()
    box = _box(heading(canvas, title, reading))
    low, high, step = nice_range(max(-40.0, min(0.0, *values)), max(0.0, *values), least_span=6.0, most_ticks=7)
    up = value_scale(low, high, box)
    hz_grid(canvas, box, hz_scale(box))
    value_grid(canvas, box, up, step, unit="dB", where=panels[0].where, zero=True)
    canvas.text(box.right + 14, up(0.0) + 11, "direct", 30, color=INK)
    for item in curves:
        _curve(canvas, item, box, up, CHANNELS.get(item.curve.channel, INK), dashed=item.curve.channel == "right")
    items = [_explained(item.curve.channel) for item in curves]
    legend(canvas, items, 978)
    footer(canvas, catalogue)
    return canvas.png()


def bleed_picture(catalogue: Catalogue) -> bytes | None:
    """Return how strongly one channel is heard in the other, the direct path beside it."""
    panels = [panel for panel in curve_panels(catalogue, "crosstalk")[0] if any(_through(panel))]
    if not panels:
        return None
    panel = max(panels, key=lambda one: max(max(item.curve.value) for item in _through(one)))
    values = [value for item in panel.curves for value in _points(item)]
    if not values:
        return None
    use = Setup.of(_through(panel)[0].curve)
    title = _title(catalogue, use, ("crosstalk_1k", "crosstalk_worst"), "keeps left and right apart")
    into = {"left": "right into left", "right": "left into right"}.get(panel.channel, "one side into the other")
    reading = f"What comes over from {into}; the lower, the better. Each 20 dB further down is ten times weaker."
    canvas = Canvas()
    box = _box(heading(canvas, title, reading))
    low, high, step = nice_range(min(values), max(0.0, *values), least_span=60.0, most_ticks=7)
    up = value_scale(low, high, box)
    hz_grid(canvas, box, hz_scale(box))
    value_grid(canvas, box, up, step, unit="dB", where=panel.where)
    shown = [item for item in panel.curves if item.kind in ("direct", "through")]
    for item in shown:
        mine = CHANNELS.get(item.curve.channel, INK) if item.kind == "through" else DIRECT
        _curve(canvas, item, box, up, mine, dashed=item.kind == "direct")
    items = [
        Explained("line", DIRECT, "direct, without the device", filled=False)
        if item.kind == "direct"
        else Explained("line", CHANNELS.get(item.curve.channel, INK), "through the device")
        for item in shown
    ]
    legend(canvas, items, 978)
    footer(canvas, catalogue)
    return canvas.png()


def _box(top: float) -> Box:
    x, width = _BOX
    return Box(x, top + 46, width - 60, 838 - top - 46)


def _title(catalogue: Catalogue, use: Setup, quantities: Sequence[str], otherwise: str) -> str:
    """Return the most serious finding about the use that is drawn; of equal ones the first quantity's."""
    found = [row for row in about(catalogue, quantities, use.subject) if Setup.of(row) == use]
    if not found:
        return f"How {catalogue.title(use.subject)} {otherwise}"
    weight = SEVERITY_ORDER.index(found[0].severity)
    same = [row for row in found if SEVERITY_ORDER.index(row.severity) == weight]
    return full_words(catalogue, min(same, key=lambda row: quantities.index(row.quantity.removesuffix("_rel"))))


def _through(panel: CurvePanel) -> list[Drawn]:
    return [item for item in panel.curves if item.kind == "through"]


def _points(item: Drawn) -> list[float]:
    return [value for hz, value in zip(item.curve.frequency_hz, item.curve.value, strict=True) if _is_heard(hz)]


def _is_heard(frequency_hz: float) -> bool:
    return LOWEST_HZ * 0.999 <= frequency_hz <= HIGHEST_HZ * 1.001


def _curve(canvas: Canvas, item: Drawn, box: Box, up: Scale, color: str, *, dashed: bool) -> None:
    curve, across = item.curve, hz_scale(box)
    chosen = [index for index in item.chosen if _is_heard(curve.frequency_hz[index])]
    x = [across(curve.frequency_hz[index]) for index in chosen]
    if curve.low is not None and curve.high is not None:
        low, high = curve.low, curve.high
        canvas.band(x, [up(low[index]) for index in chosen], [up(high[index]) for index in chosen], color)
    canvas.line(x, [up(curve.value[index]) for index in chosen], color, 7, _DASHED if dashed else "-")


def _explained(channel: str) -> Explained:
    words = {"left": "left", "right": "right", "mono": "through the device"}.get(channel, channel)
    return Explained("line", CHANNELS.get(channel, INK), words, filled=channel != "right")
