"""The drawing area: two widths, scales, ticks and axes.

Every figure is drawn twice, for wide and for narrow screens, so that its text stays readable on a telephone; the
style sheet shows one of the two.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from markupsafe import Markup

from humcheck.report.figures import svg
from humcheck.report.text import PAGE, unit_words

LOWEST_HZ = 20.0
HIGHEST_HZ = 20000.0


@dataclass(frozen=True, slots=True)
class Frame:
    """One of the two widths.

    Attributes
    ----------
    name : str
        ``"wide"`` or ``"narrow"``; also the class that the style sheet shows or hides.
    width : float
        Width in user units; text is set in the same units.
    columns : int
        How many panels stand side by side at most.
    """

    name: str
    width: float
    columns: int


WIDE = Frame("wide", 840.0, 2)
NARROW = Frame("narrow", 360.0, 1)
FRAMES = (WIDE, NARROW)

_HZ_TICKS = {
    True: (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000),
    False: (20, 100, 1000, 10000),
}


@dataclass(frozen=True, slots=True)
class Box:
    """A panel's plotting area in user units."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Right edge."""
        return self.x + self.width

    @property
    def bottom(self) -> float:
        """Lower edge."""
        return self.y + self.height

    def as_list(self) -> list[float]:
        """Return x, y, width, height, for the script."""
        return [round(value, 1) for value in (self.x, self.y, self.width, self.height)]


@dataclass(frozen=True, slots=True)
class Scale:
    """A linear or logarithmic scale from values to user units."""

    low: float
    high: float
    start: float
    end: float
    logarithmic: bool = False

    def __call__(self, value: float) -> float:
        """Return the place of a value, kept inside the scale's ends."""
        low, high, at = self.low, self.high, min(max(value, self.low), self.high)
        if self.logarithmic:
            low, high, at = math.log(low), math.log(high), math.log(at)
        return self.start + (self.end - self.start) * (at - low) / (high - low)

    def holds(self, value: float) -> bool:
        """Return whether a value lies on the scale."""
        return self.low <= value <= self.high


def hz_scale(box: Box) -> Scale:
    """Return the scale of audible frequencies, 20 Hz to 20 kHz."""
    return Scale(LOWEST_HZ, HIGHEST_HZ, box.x, box.right, logarithmic=True)


def value_scale(low: float, high: float, box: Box, *, logarithmic: bool = False) -> Scale:
    """Return a vertical scale, larger values up."""
    return Scale(low, high, box.bottom, box.y, logarithmic=logarithmic)


def decades(values: Iterable[float]) -> tuple[float, float]:
    """Return powers of ten that hold all values above zero, one decade at least."""
    positive = [value for value in values if value > 0] or [0.01]
    low = 10.0 ** math.floor(math.log10(max(min(positive) / 1.5, 1e-6)))
    return low, 10.0 ** math.ceil(math.log10(max(max(positive) * 1.5, low * 10)))


def decade_ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Return 1, 2 and 5 of each decade with the labels of the powers of ten."""
    places = []
    for power in range(round(math.log10(low)), round(math.log10(high)) + 1):
        for factor in (1, 2, 5):
            if factor * 10.0**power <= high * 1.001:
                places.append((factor * 10.0**power, PAGE.number(10.0**power, max(0, -power)) if factor == 1 else ""))
    return places


def nice_range(low: float, high: float, *, least_span: float = 0.0, most_ticks: int = 7) -> tuple[float, float, float]:
    """Return ends and step of a scale that holds both values, in steps of 1, 2 or 5."""
    if high - low < least_span:
        middle = (low + high) / 2
        low, high = middle - least_span / 2, middle + least_span / 2
    if high - low <= 1e-9 * max(1.0, abs(low), abs(high)):
        low, high = low - 1, high + 1
    step = nice_step((high - low) / most_ticks)
    return math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step, step


def nice_step(rough: float) -> float:
    """Return the smallest of 1, 2, 5 times a power of ten that is not below `rough`."""
    power: float = 10.0 ** math.floor(math.log10(rough))
    return next((factor * power for factor in (1, 2, 5, 10) if factor * power >= rough * (1 - 1e-9)), 10 * power)


def ticks(low: float, high: float, step: float) -> list[float]:
    """Return the multiples of `step` from `low` to `high`."""
    first, last = math.ceil(low / step - 1e-6), math.floor(high / step + 1e-6)
    return [index * step for index in range(first, last + 1)]


def tick_text(value: float, step: float) -> str:
    """Return a tick's label with the digits that the step needs."""
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    return PAGE.number(round(value, decimals) + 0.0, decimals)


def hz_axis(box: Box, scale: Scale, *, labels: bool = True) -> Markup:
    """Return grid lines and labels of the frequency axis."""
    roomy = box.width > 330
    crowded = box.width < 500
    parts = []
    for hz in _HZ_TICKS[roomy]:
        x = scale(hz)
        parts.append(svg.line((x, box.y), (x, box.bottom), "grid"))
        if labels:
            shown = f"{hz / 1000:g}k" if hz >= 1000 else f"{hz:g}"
            if not (crowded and hz == HIGHEST_HZ):
                parts.append(svg.text(x, box.bottom + 16, shown, "tick", anchor="middle"))
    if labels:
        parts.append(svg.text(box.right, box.bottom + 32, "frequency, Hz", "axis", anchor="end"))
    return svg.tag("g", *parts, class_="hz")


def value_axis(box: Box, scale: Scale, step: float, unit: str, *, zero_line: bool = False) -> Markup:
    """Return grid lines and labels of the vertical axis; the unit stands above it."""
    parts = [svg.text(box.x - 8, box.y - 22, unit_words(unit), "axis", anchor="end")]
    if scale.logarithmic:
        places = decade_ticks(scale.low, scale.high)
    else:
        places = [(value, tick_text(value, step)) for value in ticks(scale.low, scale.high, step)]
    for value, label in places:
        y = scale(value)
        is_zero = zero_line and abs(value) < step / 1000
        parts.append(svg.line((box.x, y), (box.right, y), "zero" if is_zero else "grid"))
        if label:
            parts.append(svg.text(box.x - 8, y + 4, label, "tick", anchor="end"))
    return svg.join(parts)


def panel_boxes(frame: Frame, count: int, *, height: float, single_height: float) -> tuple[list[Box], float]:
    """Return the plotting areas of `count` panels and the whole height; one panel alone takes the full width."""
    columns = min(frame.columns, count) or 1
    left, right, top, bottom, gap = 50.0, 10.0, 40.0, 42.0, 14.0
    cell_width = (frame.width - (columns - 1) * gap) / columns
    inner = single_height if columns == 1 and frame.columns > 1 else height
    cell_height = top + inner + bottom
    boxes = [
        Box(
            (index % columns) * (cell_width + gap) + left,
            (index // columns) * cell_height + top,
            cell_width - left - right,
            inner,
        )
        for index in range(count)
    ]
    return boxes, cell_height * math.ceil(count / columns)
