"""What every wide picture has: a sentence on top, how to read it, marks explained, bench and date below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from humcheck.report.catalogue import Catalogue
from humcheck.report.figures.frame import Box, Scale, tick_text, ticks
from humcheck.report.page import when_words
from humcheck.report.publish.canvas import GRID, INK, SOFT, Canvas, shortened, width_of, wrapped
from humcheck.report.text import visible

EDGE = 90.0
_HZ = ((20, "20"), (100, "100"), (1000, "1000"), (10000, "10 000"), (20000, ""))


@dataclass(frozen=True, slots=True)
class Explained:
    """One entry of the legend: a shape, ``line`` or ``arrow``, its colour and words; open or dashed if not filled."""

    shape: str
    color: str
    words: str
    filled: bool = True


def heading(canvas: Canvas, title: str, reading: str) -> float:
    """Write the title and how to read the picture; return where the rest may begin."""
    room = canvas.width - 2 * EDGE
    # One line if it can be, not much smaller; else two.
    for size, most in ((62.0, 1), (56.0, 1), (62.0, 2), (54.0, 2), (46.0, 2)):
        lines = wrapped(title, size, room, most, bold=True)
        if not lines[-1].endswith("…"):
            break
    y = 48.0
    for line in lines:
        y += 1.2 * size
        canvas.text(EDGE, y, line, size, bold=True)
    y += 18
    for line in wrapped(reading, 33, room, 2):
        y += 45
        canvas.text(EDGE, y, line, 33, color=SOFT)
    return y + 30


def footer(canvas: Canvas, catalogue: Catalogue) -> None:
    """Write date, bench and what made the picture."""
    results = catalogue.results
    common = f" ({', '.join(catalogue.common)})" if catalogue.common else ""
    said = f"{when_words(results.created).partition(',')[0]}, {visible(results.bench.name)}{common}"
    right = "measured with humcheck"
    y, size = canvas.height - 36, 26
    room = canvas.width - 2 * EDGE - width_of(right, size) - 40
    canvas.text(EDGE, y, shortened(said, size, room), size, color=SOFT)
    canvas.text(canvas.width - EDGE, y, right, size, color=SOFT, align="right")


def legend(canvas: Canvas, items: Sequence[Explained], y: float) -> None:
    """Explain the marks in one line."""
    room = canvas.width - 2 * EDGE
    most = 1.0 if not items else sum(width_of(item.words, 30) + 130 for item in items) / room
    x, size = EDGE, 30 if most <= 1 else 30 / most
    for item in items:
        if item.shape == "line":
            canvas.line([x, x + 56], [y - 10, y - 10], item.color, 6, "-" if item.filled else (0, (3, 1.6)))
            x += 72
        elif item.shape == "arrow":
            canvas.arrow(x + 46, y - 10, 11, item.color, left=True)
            x += 64
        else:
            canvas.marks([x + 14], [y - 10], item.shape, 12, item.color, filled=item.filled)
            x += 42
        canvas.text(x, y, item.words, size)
        x += width_of(item.words, size) + 52 * size / 30


def hz_grid(canvas: Canvas, box: Box, across: Scale) -> None:
    """Draw the frequency axis with words for its ends."""
    for hz, label in _HZ:
        canvas.line([across(hz)] * 2, [box.y, box.bottom], GRID, 2)
        if label:
            canvas.text(across(hz), box.bottom + 42, f"{label} Hz", 30, color=SOFT, align="center")
    canvas.text(box.x, box.bottom + 82, "← low notes", 28, color=SOFT)
    canvas.text(box.right, box.bottom + 82, "high notes →", 28, color=SOFT, align="right")


def value_grid(canvas: Canvas, box: Box, up: Scale, step: float, *, unit: str, where: str, zero: bool = False) -> None:
    """Draw the vertical axis, its unit above it; on the right what use of the device is shown."""
    canvas.text(box.right, box.y - 26, shortened(where, 30, box.width - 100), 30, color=SOFT, align="right")
    for value in ticks(up.low, up.high, step):
        is_zero = zero and abs(value) < step / 1000
        canvas.line([box.x, box.right], [up(value)] * 2, INK if is_zero else GRID, 3 if is_zero else 2)
        canvas.text(box.x - 18, up(value) + 11, tick_text(value, step), 30, color=SOFT, align="right")
    canvas.text(box.x - 18, box.y - 26, unit, 30, color=SOFT, align="right")
