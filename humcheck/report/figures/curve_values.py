"""Curves as numbers: for the script that reads values, and for the table below the figure."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from typing import Any

from humcheck.report.figures.curve_panels import CurvePanel, Drawn
from humcheck.report.figures.figure import ValueTable, distinct_names
from humcheck.report.text import PAGE, bound_of, unit_words
from humcheck.results import Curve, quantity

_OCTAVES_HZ = (20, 31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000, 20000)
_MOST_COLUMNS = 8
#: A point this far away, as a ratio, still stands for a tabled frequency.
_NEAREST_RATIO = 1.08


def curve_data(panels: Sequence[CurvePanel], boxes: dict[str, list[list[float]]]) -> dict[str, Any]:
    """Return the drawn points for the script, rounded to what is worth showing."""
    first = panels[0].curves[0].curve
    items = [(panel, item) for panel in panels for item in panel.curves]
    names = distinct_names([panel.name_parts(item) for panel, item in items])
    return {
        "kind": "curves",
        "unit": unit_words(first.unit),
        "decimals": _decimals(first),
        "boxes": boxes,
        "series": [_series(name, item) for name, (_, item) in zip(names, items, strict=True)],
    }


def curve_values(panels: Sequence[CurvePanel], *, third_octaves: bool) -> ValueTable | None:
    """Return the curves at chosen frequencies: octaves and both ends, or every band of a spectrum."""
    items = [(panel, item) for panel in panels for item in panel.curves][:_MOST_COLUMNS]
    chosen = _OCTAVES_HZ if not third_octaves else tuple(items[0][1].curve.frequency_hz)
    rows = []
    for hz in chosen:
        texts = [_at(item.curve, hz) for _, item in items]
        if any(texts):
            shown = PAGE.with_unit(PAGE.number(hz, 0 if hz >= 100 else 1).removesuffix(".0"), "Hz")
            rows.append((shown, *(text or "not valid here" for text in texts)))
    if not rows:
        return None
    unit = unit_words(items[0][1].curve.unit)
    names = distinct_names([panel.name_parts(item) for panel, item in items])
    return ValueTable(
        headings=("Frequency", *(f"{name}, {unit}" for name in names)),
        rows=tuple(rows),
        caption="The same as numbers",
    )


def _series(name: str, item: Drawn) -> dict[str, Any]:
    curve, chosen = item.curve, item.chosen
    # Two digits more than are shown, or rounding twice would shift the last one.
    decimals = _decimals(curve) + 2

    def picked(values: Sequence[float] | None) -> list[float] | None:
        return None if values is None else [round(values[index], decimals) for index in chosen]

    return {
        "name": name,
        "x": [float(f"{curve.frequency_hz[index]:.5g}") for index in chosen],
        "y": picked(curve.value),
        "low": picked(curve.low),
        "high": picked(curve.high),
        "bound": None if curve.bound is None else [curve.bound[index] for index in chosen],
    }


def _decimals(curve: Curve) -> int:
    entry = quantity(curve.quantity)
    return {"dB": min(2, entry.decimals), "percent": entry.decimals}.get(entry.unit, 1)


def _at(curve: Curve, hz: float) -> str:
    """Return a curve's value at the point nearest to a frequency, or nothing where no point is near."""
    after = bisect_left(curve.frequency_hz, hz)
    around = range(max(0, after - 1), min(len(curve.frequency_hz), after + 1))
    nearest = min(around, key=lambda i: abs(math.log(curve.frequency_hz[i] / hz)))
    ratio = curve.frequency_hz[nearest] / hz
    if not 1 / _NEAREST_RATIO <= ratio <= _NEAREST_RATIO:
        return ""
    decimals = _decimals(curve)
    bound = None if curve.bound is None else curve.bound[nearest]
    if bound is not None:
        sign, value = bound_of(bound, curve.value[nearest], decimals)
        return f"{sign}{PAGE.space}{PAGE.number(value, decimals)}"
    text = PAGE.number(curve.value[nearest], decimals)
    if curve.low is None or curve.high is None:
        return text
    return f"{text} ({PAGE.number(curve.low[nearest], decimals)} to {PAGE.number(curve.high[nearest], decimals)})"
