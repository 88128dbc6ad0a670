"""Elements of inline SVG, every text and attribute escaped. Only the figures make `Markup`."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from markupsafe import Markup, escape

from humcheck.report.text import visible

Attribute = str | float | int | None
Point = tuple[float, float]


def tag(name: str, *children: Markup | str, **attributes: Attribute) -> Markup:
    """Return an element.

    Parameters
    ----------
    name : str
        Element name; from the program, never from outside.
    *children : Markup or str
        Content; plain strings are escaped.
    **attributes : str, float or None
        Underscores become hyphens, a trailing one is dropped (``class_``), None leaves the attribute out.
    """
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{_text(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    if not children:
        return Markup(f"<{name}{written}/>")
    return Markup(f"<{name}{written}>{''.join(_text(child) for child in children)}</{name}>")


def join(parts: Iterable[Markup]) -> Markup:
    """Return elements one after another."""
    return Markup("").join(parts)


def number(value: float) -> str:
    """Return a coordinate with one decimal, as short as it goes."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def text(x: float, y: float, content: str, class_: str = "", *, anchor: str | None = None) -> Markup:
    """Return a text element; `anchor` is ``"middle"`` or ``"end"``."""
    return tag("text", content, x=x, y=y, class_=class_ or None, text_anchor=anchor)


def line(start: Point, end: Point, class_: str) -> Markup:
    """Return a straight line."""
    return tag("line", x1=start[0], y1=start[1], x2=end[0], y2=end[1], class_=class_)


def rectangle(x: float, y: float, width: float, height: float, class_: str) -> Markup:
    """Return a rectangle."""
    return tag("rect", x=x, y=y, width=max(0.0, width), height=max(0.0, height), class_=class_)


def path(data: str, class_: str) -> Markup:
    """Return a path, or nothing where there is nothing to draw."""
    return tag("path", d=data, class_=class_) if data else Markup("")


def polyline(points: Sequence[Point]) -> str:
    """Return path data through points."""
    if not points:
        return ""
    return "M" + "L".join([f"{x:.1f} {y:.1f}" for x, y in points])


def simplified(points: Sequence[Point], tolerance: float = 0.12) -> list[Point]:
    """Return the corners of a line that runs from left to right, none of the others further off than `tolerance`.

    From each corner the directions that pass every later point closely enough are narrowed point by point; where none
    is left, the point before becomes the next corner.
    """
    if len(points) < 3:
        return list(points)
    kept = [points[0]]
    (x0, y0), previous = points[0], points[0]
    low, high = -math.inf, math.inf
    for x, y in points[1:]:
        run = x - x0
        slope = (y - y0) / run if run > 0 else math.inf
        if not low <= slope <= high:
            kept.append(previous)
            (x0, y0), low, high = previous, -math.inf, math.inf
            run = x - x0
        if run > 0:
            low = max(low, (y - tolerance - y0) / run)
            high = min(high, (y + tolerance - y0) / run)
        previous = (x, y)
    kept.append(points[-1])
    return kept


def shorten(content: str, room: float, *, per_character: float = 6.4) -> str:
    """Return text cut to the room there is, with an ellipsis where it was cut."""
    most = max(4, int(room / per_character))
    return content if len(content) <= most else content[: most - 1].rstrip() + "…"


def _text(value: Attribute | Markup) -> str:
    if isinstance(value, Markup):
        return str(value)
    if isinstance(value, float):
        return number(value)
    if isinstance(value, int):
        return str(value)
    return str(escape(visible(str(value))))
