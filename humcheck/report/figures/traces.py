"""Any other line to draw: delay over time, level over level."""

from __future__ import annotations

from markupsafe import Markup

from humcheck.report.catalogue import Catalogue, is_over_frequency
from humcheck.report.figures import svg
from humcheck.report.figures.figure import Figure, drawing, panel_title
from humcheck.report.figures.frame import (
    FRAMES,
    Frame,
    Scale,
    nice_range,
    panel_boxes,
    tick_text,
    ticks,
    value_axis,
    value_scale,
)
from humcheck.report.figures.picture_fold_panels import FOLD_TRACES
from humcheck.report.figures.thin import MOST_POINTS
from humcheck.report.text import PAGE, visible
from humcheck.results import Trace, quantity

MOST_PANELS = 12


def trace_figures(catalogue: Catalogue) -> list[Figure]:
    """Return a figure for each quantity that has traces."""
    by_quantity: dict[str, list[Trace]] = {}
    for trace in catalogue.results.traces:
        drawn_elsewhere = trace.quantity in FOLD_TRACES or is_over_frequency(trace)
        if trace.x and len(trace.x) == len(trace.y) and not drawn_elsewhere:
            by_quantity.setdefault(trace.quantity, []).append(trace)
    return [
        _figure(catalogue, name, traces, f"trace-{index}") for index, (name, traces) in enumerate(by_quantity.items())
    ]


def _figure(catalogue: Catalogue, name: str, traces: list[Trace], key: str) -> Figure:
    shown = traces[:MOST_PANELS]
    title = visible(quantity(name).title)
    description = " ".join(
        f"{catalogue.title(trace.subject)}, {trace.channel}: from {PAGE.number(min(trace.y), 2)} to "
        f"{PAGE.with_unit(PAGE.number(max(trace.y), 2), visible(trace.unit))}."
        for trace in shown
    )
    left_out = len(traces) - len(shown)
    return Figure(
        key=key,
        title=title,
        reading=f"Each panel is one channel; across runs {visible(shown[0].x_unit)}.",
        legend=(),
        drawings=tuple(_draw(frame, key, title, description, catalogue, shown) for frame in FRAMES),
        note="" if not left_out else f"{left_out} more are not drawn.",
    )


def _draw(frame: Frame, key: str, title: str, description: str, catalogue: Catalogue, traces: list[Trace]) -> Markup:
    boxes, height = panel_boxes(frame, len(traces), height=160.0, single_height=200.0)
    parts: list[Markup] = []
    for trace, box in zip(traces, boxes, strict=True):
        low, high, step = nice_range(min(trace.y), max(trace.y), most_ticks=5)
        x_low, x_high, x_step = nice_range(min(trace.x), max(trace.x), most_ticks=6)
        across, up = Scale(x_low, x_high, box.x, box.right), value_scale(low, high, box)
        rest = ", ".join(part for part in (catalogue.where(trace), trace.role, trace.channel) if part)
        parts.append(panel_title(box.x, box.y - 22, catalogue.title(trace.subject), rest, box.width))
        parts.append(value_axis(box, up, step, visible(trace.unit)))
        for value in ticks(x_low, x_high, x_step):
            parts.append(svg.text(across(value), box.bottom + 16, tick_text(value, x_step), "tick", anchor="middle"))
        parts.append(svg.text(box.right, box.bottom + 32, visible(trace.x_unit), "axis", anchor="end"))
        every = max(1, -(-len(trace.x) // MOST_POINTS))
        points = [(across(x), up(y)) for x, y in zip(trace.x[::every], trace.y[::every], strict=True)]
        parts.append(svg.path(svg.polyline(points), f"curve {trace.channel}"))
    return drawing(frame, key, height, title, description, *parts)
