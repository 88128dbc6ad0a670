"""Rows drawn: a label, marks on one scale, a number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from humcheck.report.catalogue import Catalogue, Numbered
from humcheck.report.figures.frame import Box, Scale, nice_range, tick_text, ticks
from humcheck.report.publish.canvas import (
    CHANNELS,
    DIRECT,
    GRID,
    INK,
    SOFT,
    Canvas,
    shortened,
    shortened_name,
    width_of,
    wrapped,
)
from humcheck.report.publish.frame import EDGE, Explained, footer, heading, legend
from humcheck.report.text import PAGE

#: More rows than this are not drawn.
MOST_ROWS = 12
_LEGEND = {"single": "in the recording", "direct": "direct, without a device"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row: label, second label, the reading, and the control's.

    Attributes
    ----------
    reading, direct : Measure or Change
        What is marked, and what stands beside it.
    """

    name: str
    where: str
    channel: str
    reading: Numbered
    direct: Numbered | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """What is said around the rows.

    Attributes
    ----------
    left, right : str
        What it means to stand left or right of zero.
    zero : str
        What zero means; empty where it means nothing on this scale.
    """

    title: str
    reading: str
    left: str
    right: str
    unit: str
    zero: str = ""


def draw_rows(catalogue: Catalogue, rows: Sequence[Row], words: Words) -> bytes:
    """Return the picture as a PNG file."""
    canvas = Canvas()
    top = heading(canvas, words.title, words.reading)
    box = Box(640, top + (44 if words.zero else 16), 920, 838 - top - (44 if words.zero else 16))
    low, high, step = _ends(rows, zero=bool(words.zero))
    scale = Scale(low, high, box.x, box.right)
    _axis(canvas, box, scale, step, words)
    height = min(150.0, box.height / len(rows))
    first = box.y + (box.height - height * len(rows)) / 2
    for index, row in enumerate(rows):
        _row(canvas, row, first + (index + 0.5) * height, height, box, scale)
    legend(canvas, _legend(rows, words), 978)
    footer(canvas, catalogue)
    return canvas.png()


def _ends(rows: Sequence[Row], *, zero: bool) -> tuple[float, float, float]:
    values = [0.0] if zero else []
    for row in rows:
        values.append(row.reading.value)
        values += [end for end in (row.reading.low, row.reading.high) if end is not None]
        values += [] if row.direct is None else [row.direct.value]
    # An arrow needs room to its left.
    return nice_range(min(values) - 8, max(values) + 5, least_span=40, most_ticks=6)


def _axis(canvas: Canvas, box: Box, scale: Scale, step: float, words: Words) -> None:
    for value in ticks(scale.low, scale.high, step):
        x = scale(value)
        canvas.line([x, x], [box.y, box.bottom], GRID, 2)
        canvas.text(x, box.bottom + 40, tick_text(value, step), 29, color=SOFT, align="center")
    canvas.text(box.right + 60, box.bottom + 40, "dB", 29, color=SOFT)
    if words.zero:
        x = scale(0.0)
        canvas.line([x, x], [box.y - 8, box.bottom], INK, 4)
        canvas.text(x, box.y - 22, words.zero, 30, bold=True, align="center")
        for side, text in ((-1, f"{words.left} ←"), (1, f"→ {words.right}")):
            at = x + side * (width_of(words.zero, 30, bold=True) / 2 + 30)
            canvas.text(at, box.y - 22, text, 30, color=SOFT, align="right" if side < 0 else "left")


def _row(canvas: Canvas, row: Row, y: float, height: float, box: Box, scale: Scale) -> None:
    roomy = height >= 82
    size = min(44.0, 0.62 * height) if not roomy else min(44.0, 0.46 * height)
    room = box.x - EDGE - 36
    second = ", ".join(part for part in (row.where, row.channel if row.channel in ("left", "right") else "") if part)
    if roomy and second:
        lines = wrapped(second, 28, room, 2 if height > 100 else 1)
        lift = 14 if len(lines) > 1 else 0
        canvas.text(EDGE, y - 2 - lift, shortened_name(row.name, size, room), size, bold=True)
        for number, line in enumerate(lines):
            canvas.text(EDGE, y + 32 - lift + 34 * number, line, 28, color=SOFT)
    else:
        name = shortened_name(row.name, size, room)
        canvas.text(EDGE, y + 0.36 * size, name, size, bold=True)
        left = room - width_of(name, size, bold=True) - 16
        if left > 80:
            canvas.text(EDGE + room - left, y + 0.36 * size, shortened(second, 26, left), 26, color=SOFT)
    canvas.line([box.x, box.right], [y, y], GRID, 2)
    color = CHANNELS.get(row.channel, INK)
    if row.direct is not None and row.direct.bound is None and row.reading.bound is None:
        canvas.line([scale(row.direct.value), scale(row.reading.value)], [y, y], color, 5)
    half = min(17.0, 0.3 * height)
    if row.direct is not None:
        _place(canvas, row.direct, y, scale, DIRECT, half * 1.25, filled=False)
    _place(canvas, row.reading, y, scale, color, half, filled=True)
    _numbers(canvas, row, y, size, roomy, box)


def _numbers(canvas: Canvas, row: Row, y: float, size: float, roomy: bool, box: Box) -> None:
    x = box.right + 34
    value = _number(row.reading)
    beside = "" if row.direct is None else f"direct {_number(row.direct)}"
    if roomy and beside:
        canvas.text(x, y - 2, value, size, bold=True)
        canvas.text(x, y + 32, shortened(beside, 28, canvas.width - x - 20), 28, color=SOFT)
    else:
        canvas.text(x, y + 0.36 * size, value, size, bold=True)


def _number(reading: Numbered) -> str:
    sign = {"upper": "<\u00a0", "lower": ">\u00a0"}.get(reading.bound or "", "")
    return f"{sign}{PAGE.number(reading.value, 0)}\u00a0dB"


def _place(canvas: Canvas, reading: Numbered, y: float, scale: Scale, color: str, half: float, *, filled: bool) -> None:
    x = scale(reading.value)
    if reading.bound is not None:
        canvas.arrow(x, y, half * 0.9, color, left=reading.bound == "upper")
        return
    if filled and reading.low is not None and reading.high is not None:
        start, end = scale(reading.low), scale(reading.high)
        canvas.rectangle(start, y - 0.55 * half, max(2.0, end - start), 1.1 * half, color)
    canvas.marks([x], [y], "circle", half, color, filled=filled)


def _legend(rows: Sequence[Row], words: Words) -> list[Explained]:
    channels = dict.fromkeys(row.channel for row in rows)
    items = []
    if any(row.direct is not None for row in rows):
        items.append(Explained("circle", DIRECT, "direct, without the device", filled=False))
    role = getattr(rows[0].reading, "role", "through")
    what = "what it adds" if role == "added" else _LEGEND.get(role, "through the device")
    for channel in channels:
        told = f"{what}, {channel}" if channel in ("left", "right") and len(channels) > 1 else what
        items.append(Explained("circle", CHANNELS.get(channel, INK), told))
    bounds = [row.reading for row in rows] + [row.direct for row in rows if row.direct is not None]
    if any(reading.bound == "upper" for reading in bounds):
        items.append(Explained("arrow", SOFT, "at most this: not found"))
    return items
