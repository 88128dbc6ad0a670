"""Shapes of marks: a family of lines is known by its shape, never by colour alone."""

from __future__ import annotations

from humcheck.report.figures.svg import Point, number

#: Path data of each shape around the origin, for a mark of half-width 1.
_CORNERS: dict[str, tuple[Point, ...]] = {
    "square": ((-0.85, -0.85), (0.85, -0.85), (0.85, 0.85), (-0.85, 0.85)),
    "diamond": ((0, -1.2), (1.2, 0), (0, 1.2), (-1.2, 0)),
    "triangle": ((0, -1.15), (1.1, 0.85), (-1.1, 0.85)),
    "pentagon": ((0, -1.1), (1.05, -0.34), (0.65, 0.9), (-0.65, 0.9), (-1.05, -0.34)),
    "bar": ((-0.4, -1.2), (0.4, -1.2), (0.4, 1.2), (-0.4, 1.2)),
}

FAMILY_SHAPES = {
    "mains": "circle",
    "field": "square",
    "mains_or_field": "diamond",
    "line_rate": "triangle",
    "digital": "pentagon",
    "other": "bar",
}


def shape(name: str, x: float, y: float, half: float) -> str:
    """Return path data of a closed mark; many marks go into one path."""
    if name == "circle":
        r, across = number(half), number(2 * half)
        return f"M{number(x - half)} {number(y)}a{r} {r} 0 1 0 {across} 0a{r} {r} 0 1 0 -{across} 0z"
    corners = [(half * dx, half * dy) for dx, dy in _CORNERS[name]]
    first = f"M{number(x + corners[0][0])} {number(y + corners[0][1])}"
    return first + "".join(f"L{number(x + dx)} {number(y + dy)}" for dx, dy in corners[1:]) + "z"


def arrow_upright(x: float, y: float, half: float, *, down: bool) -> str:
    """Return path data of ``at most here``, a bar with an open arrow below it, or of ``at least``, above it."""
    sign = 1 if down else -1
    tip, barb, back = y + sign * 2.4 * half, number(0.8 * half), number(-sign * 0.9 * half)
    bar = f"M{number(x - half)} {number(y)}h{number(2 * half)}"
    return f"{bar}M{number(x)} {number(y)}V{number(tip)}m-{barb} {back}L{number(x)} {number(tip)}l{barb} {back}"


def arrow_sideways(x: float, y: float, half: float, *, left: bool) -> str:
    """Return path data of ``at most`` (to the left) or ``at least`` on a horizontal scale."""
    sign = -1 if left else 1
    tip, barb, back = x + sign * 4.0 * half, number(0.8 * half), number(-sign * 1.1 * half)
    bar = f"M{number(x)} {number(y - half)}v{number(2 * half)}"
    return f"{bar}M{number(x)} {number(y)}H{number(tip)}m{back} -{barb}L{number(tip)} {number(y)}l{back} {barb}"
