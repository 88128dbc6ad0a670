"""Levels of a bench at a glance: hum, buzz and hiss of every use, a small panel for each device."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from humcheck.report.figures import marks, svg
from humcheck.report.figures.figure import Figure, LegendItem, drawing, panel_title, swatch
from humcheck.report.figures.frame import FRAMES, Box, Frame, Scale, nice_range, value_axis, value_scale
from humcheck.report.figures.multiples import LEAST_USES, small_boxes
from humcheck.report.side_by_side import Column, SideBySide, SideCell, SideRow

_KEY = "ports-levels"
_TITLE = "Hum, buzz and hiss of every use, all on one scale"
_NOISES = ("hum", "buzz", "hiss")
_MOST_PANELS = 48


@dataclass(frozen=True, slots=True, kw_only=True)
class _Panel:
    device: str
    column: Column
    rows: list[SideRow]
    direct: tuple[float, ...]

    def cell(self, row: SideRow) -> SideCell:
        return row.cells[self.column.key]


def level_multiples(side: SideBySide) -> Figure | None:
    """Return the figure, or None where there are too few uses."""
    panels = _panels(side)
    if sum(len(panel.rows) for panel in panels if panel.column.key == panels[0].column.key) < LEAST_USES:
        return None
    by_port = len({row.port for panel in panels for row in panel.rows}) > 1
    words = "port" if by_port else "picture"
    description = " ".join(_described(panel) for panel in panels[:12])
    return Figure(
        key=_KEY,
        title=_TITLE,
        reading=f"Each mark is one use of the device: the further up, the stronger. Across stands the {words}. The "
        "dashed lines are the direct recordings, one for each picture; marks on them mean that the device adds little "
        "or nothing.",
        legend=tuple(_legend(panels)),
        drawings=tuple(_draw(frame, panels, by_port, description) for frame in FRAMES),
        note="The worse channel is shown. All values stand in the table side by side.",
    )


def _panels(side: SideBySide) -> list[_Panel]:
    """Return a panel for each device and noise, the noises of a device together."""
    columns = [column for column in side.columns if column.key in _NOISES]
    first: dict[tuple[str, str], SideRow] = {}
    for row in side.rows:
        # The first row of a use is that of its worse channel.
        first.setdefault((row.title, f"{row.port}|{row.picture}|{row.condition}|{row.fix}"), row)
    devices = dict.fromkeys(row.title for row in side.rows if not row.is_control)
    panels = []
    for device in devices:
        for column in columns:
            rows = [row for (title, _), row in first.items() if title == device and column.key in row.cells]
            levels = [
                row.cells[column.key].number for row in first.values() if row.is_control and column.key in row.cells
            ]
            if rows:
                panels.append(_Panel(device=device, column=column, rows=rows, direct=tuple(dict.fromkeys(levels))))
    return panels[:_MOST_PANELS]


def _described(panel: _Panel) -> str:
    cells = [panel.cell(row) for row in panel.rows]
    least, most = (choose(cells, key=lambda cell: cell.number) for choose in (min, max))
    return f"{panel.device}, {panel.column.title}: from {least.value} to {most.value} {panel.column.unit}."


def _legend(panels: Sequence[_Panel]) -> list[LegendItem]:
    rows = [row for panel in panels for row in panel.rows]
    items = [LegendItem(swatch=swatch(svg.path(marks.shape("circle", 17, 8, 3.4), "filled ink")), words="one use")]
    if any(row.fix for row in rows):
        circle = swatch(svg.path(marks.shape("circle", 17, 8, 3.4), "open ink"))
        items.append(LegendItem(swatch=circle, words="one use with a fix"))
    if any(panel.cell(row).low is None for panel in panels for row in panel.rows):
        arrow = swatch(svg.path(marks.arrow_upright(17, 3, 3.4, down=True), "bound ink"))
        items.append(LegendItem(swatch=arrow, words="at most: hidden by noise, may lie anywhere below"))
    if any(panel.direct for panel in panels):
        items.append(LegendItem(swatch=swatch(svg.path("M2 8H32", "curve bench")), words="direct"))
    return items


def _draw(frame: Frame, panels: Sequence[_Panel], by_port: bool, description: str) -> Markup:
    boxes, height = small_boxes(frame, len(panels), height=110.0, most=len({panel.column.key for panel in panels}))
    values = [panel.cell(row).number for panel in panels for row in panel.rows]
    values += [level for panel in panels for level in panel.direct]
    low, high, step = nice_range(min(values) - 4, max(values) + 4, least_span=40.0, most_ticks=5)
    parts = [_draw_panel(panel, box, by_port, (low, high, step)) for panel, box in zip(panels, boxes, strict=True)]
    return drawing(frame, _KEY, height, _TITLE, description, *parts)


def _draw_panel(panel: _Panel, box: Box, by_port: bool, ends: tuple[float, float, float]) -> Markup:
    low, high, step = ends
    up = value_scale(low, high, box)
    parts = [
        panel_title(box.x, box.y - 10, panel.device, panel.column.title.lower(), box.width),
        value_axis(box, up, step, panel.column.unit),
    ]
    for level in panel.direct:
        y = up(level)
        parts.append(svg.path(svg.polyline([(box.x, y), (box.right, y)]), "curve bench"))
    kinds = list(dict.fromkeys(_kind(row, by_port) for row in panel.rows))
    for index, kind in enumerate(kinds):
        room = box.width / len(kinds)
        middle = box.x + room * (index + 0.5)
        label = svg.shorten(kind or "–", room, per_character=6.8)
        parts.append(svg.text(middle, box.bottom + 15, label, "tick", anchor="middle"))
        parts += _marks(panel, [row for row in panel.rows if _kind(row, by_port) == kind], middle, room, up)
    parts.append(svg.text(box.right, box.bottom + 30, "port" if by_port else "picture", "axis", anchor="end"))
    return svg.join(parts)


def _kind(row: SideRow, by_port: bool) -> str:
    return row.port if by_port else row.picture


def _marks(panel: _Panel, rows: Sequence[SideRow], middle: float, room: float, up: Scale) -> list[Markup]:
    """Return the marks of one port side by side, as far as there is room, so that none hides another."""
    apart = min(8.0, 0.8 * room / len(rows))
    parts = []
    for index, row in enumerate(rows):
        cell = panel.cell(row)
        x, y = middle + apart * (index - (len(rows) - 1) / 2), up(cell.number)
        if cell.low is None:
            parts.append(svg.path(marks.arrow_upright(x, y, 2.6, down=True), "bound ink"))
        else:
            look = "open ink" if row.fix else "filled ink"
            parts.append(svg.path(marks.shape("circle", x, y, 2.8), look))
    return parts
