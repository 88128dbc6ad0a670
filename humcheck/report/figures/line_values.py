"""Lines as numbers: for the script that reads values, and for the table below the figure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from humcheck.report.figures.figure import ValueTable, distinct_names
from humcheck.report.figures.frame import Scale
from humcheck.report.figures.line_panels import Identity, LinePanel, drawn_lines, identity
from humcheck.report.order import FAMILY_WORDS
from humcheck.report.text import PAGE, bound_of
from humcheck.results import Line

_TABLED_LINES = 24


def line_data(panels: Sequence[LinePanel], boxes: dict[str, list[list[float]]]) -> dict[str, Any]:
    """Return the drawn lines for the script: an item for each line, a series for each panel and path."""
    items: dict[Identity, float] = {}
    series = []
    across = Scale(20.0, 20000.0, 0.0, 760.0, logarithmic=True)
    for panel in panels:
        for role, lines in (("direct", panel.direct), ("through", panel.through)):
            if not lines:
                continue
            drawn = drawn_lines(lines, across)
            for line in drawn:
                items.setdefault(identity(line), line.frequency_hz)
            series.append(((*panel.name_parts, role), {identity(line): line for line in drawn}))
    ordered = sorted(items, key=lambda item: items[item])
    names = distinct_names([parts for parts, _ in series])
    return {
        "kind": "lines",
        "unit": "dBFS",
        "decimals": 1,
        "boxes": boxes,
        "items": [[round(items[item], 3), _item_words(item)] for item in ordered],
        "series": [
            {"name": name, **_columns([lines.get(item) for item in ordered])}
            for name, (_, lines) in zip(names, series, strict=True)
        ],
    }


def _item_words(item: Identity) -> str:
    family, harmonic, sideband, _ = item
    words = FAMILY_WORDS[family]  # type: ignore[index]
    if harmonic is not None:
        words += f" ×{harmonic}"
    return words if sideband is None else f"{words}, sideband {sideband}"


def _columns(lines: Sequence[Line | None]) -> dict[str, list[Any]]:
    def rounded(value: float | None) -> float | None:
        return None if value is None else round(value, 3)

    return {
        "y": [None if line is None else rounded(line.level_dbfs) for line in lines],
        "low": [None if line is None else rounded(line.low) for line in lines],
        "high": [None if line is None else rounded(line.high) for line in lines],
        "bound": [None if line is None else line.bound for line in lines],
    }


def line_values(panels: Sequence[LinePanel]) -> ValueTable | None:
    """Return the strongest lines as numbers."""
    rows: list[tuple[str, ...]] = []
    names = distinct_names([panel.name_parts for panel in panels])
    for panel, name in zip(panels, names, strict=True):
        beside = {identity(line): line for line in panel.direct}
        strongest = sorted((line for line in panel.through if line.bound is None), key=lambda line: -line.level_dbfs)
        for line in strongest[: max(3, _TABLED_LINES // len(panels))]:
            rows.append(
                (
                    name,
                    _item_words(identity(line)),
                    PAGE.with_unit(PAGE.number(line.frequency_hz, 2), "Hz"),
                    _level(beside.get(identity(line))),
                    _level(line),
                )
            )
    if not rows:
        return None
    paired = any(panel.direct for panel in panels)
    headings = ("Where", "Family", "Frequency", "Direct", "Through" if paired else "Level")
    if not paired:
        rows = [(*row[:3], row[4]) for row in rows]
    shown = headings if paired else (*headings[:3], headings[4])
    return ValueTable(headings=shown, rows=tuple(rows), caption="The strongest tones as numbers")


def _level(line: Line | None) -> str:
    if line is None:
        return "not sought"
    if line.bound is not None:
        sign, limit = bound_of(line.bound, line.level_dbfs, 1)
        return PAGE.with_unit(f"{sign}{PAGE.space}{PAGE.number(limit, 1)}", "dBFS")
    level = PAGE.with_unit(PAGE.number(line.level_dbfs, 1), "dBFS")
    if line.low is None or line.high is None:
        return level
    return f"{level} ({PAGE.number(line.low, 1)} to {PAGE.number(line.high, 1)})"
