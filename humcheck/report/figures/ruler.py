"""A ruler of decibels, for readers who meet them for the first time."""

from __future__ import annotations

from dataclasses import replace

from markupsafe import Markup

from humcheck.report.figures import svg
from humcheck.report.figures.figure import drawing
from humcheck.report.figures.frame import FRAMES, Frame, Scale
from humcheck.report.text import PAGE

#: Level and words. The disc's figure is 16-bit dither, q²/4 re a full-scale sine: -93.3 dBFS (computed); the others are
#: the ratios that the decibel is defined by.
_PLACES = (
    (0.0, "the strongest tone", "a recording can hold"),
    (-20.0, "a tenth", "of it"),
    (-40.0, "a hundredth", ""),
    (-60.0, "a thousandth", ""),
    (-93.3, "the hiss of", "a 16-bit disc"),
    (-120.0, "a millionth", ""),
)


def ruler() -> tuple[Markup, ...]:
    """Return the ruler in both widths."""
    title = "A ruler of levels"
    description = " ".join(
        f"{PAGE.number(level, 1 if level % 1 else 0)} dBFS: {' '.join((first, second)).strip()}."
        for level, first, second in _PLACES
    )
    return tuple(_draw(frame, title, description) for frame in FRAMES)


def _draw(frame: Frame, title: str, description: str) -> Markup:
    return (_across if frame.name == "wide" else _down)(frame, title, description)


def _label(level: float) -> str:
    return PAGE.number(level, 1 if level % 1 else 0)


def _across(frame: Frame, title: str, description: str) -> Markup:
    scale = Scale(-130.0, 0.0, 20.0, frame.width - 62)
    parts = [svg.line((scale(-130), 34), (scale(0), 34), "rule")]
    for level, first, second in _PLACES:
        x = scale(level)
        parts.append(svg.line((x, 27), (x, 41), "rule"))
        parts.append(svg.text(x, 18, _label(level), "tick strong", anchor="middle"))
        parts.append(svg.text(x, 58, first, "tick", anchor="middle"))
        if second:
            parts.append(svg.text(x, 73, second, "tick", anchor="middle"))
    parts.append(svg.text(frame.width, 18, "dBFS", "axis", anchor="end"))
    return drawing(frame, "ruler", 80, title, description, *parts)


def _down(frame: Frame, title: str, description: str) -> Markup:
    scale = Scale(-130.0, 0.0, 216.0, 24.0)
    parts = [
        svg.text(38, 10, "dBFS", "axis", anchor="end"),
        svg.line((50, scale(-130)), (50, scale(0)), "rule"),
    ]
    for level, first, second in _PLACES:
        y = scale(level)
        parts.append(svg.line((43, y), (57, y), "rule"))
        parts.append(svg.text(38, y + 4, _label(level), "tick strong", anchor="end"))
        parts.append(svg.text(66, y + 4, " ".join((first, second)).strip(), "tick"))
    # It stands inside a box, which leaves less width than the page has.
    return drawing(replace(frame, width=300.0), "ruler", 222, title, description, *parts)
