"""A picture as a narrow strip of rows, black to white, in the order in which they are drawn."""

from __future__ import annotations

from itertools import groupby

from markupsafe import Markup

from humcheck.report.figures import svg
from humcheck.report.figures.frame import Box, Scale
from humcheck.results import Trace

_STEPS = 8


def strip(rows: Trace, box: Box, down: Scale) -> Markup:
    """Return the strip; its greys are the picture's, no theme's colours.

    Parameters
    ----------
    rows : Trace
        Brightness, 0 to 1, at the middle of each line.
    box : Box
        Where it stands.
    down : Scale
        Of time.
    """
    half = (rows.x[1] - rows.x[0]) / 2
    by_grey: dict[int, list[str]] = {}
    levels = [round(min(1.0, max(0.0, value)) * _STEPS) for value in rows.y]
    place = 0
    for level, members in groupby(levels):
        count = len(list(members))
        if level:
            top, bottom = down(rows.x[place] - half), down(rows.x[place + count - 1] + half)
            by_grey.setdefault(level, []).append(
                f"M{svg.number(box.x)} {top:.2f}h{svg.number(box.width)}V{bottom:.2f}h-{svg.number(box.width)}z"
            )
        place += count
    place_and_size = {"x": box.x, "y": box.y, "width": box.width, "height": box.height}
    parts = [svg.tag("rect", **place_and_size, fill="#000000", stroke="#808080")]
    for level, paths in by_grey.items():
        grey = f"{round(255 * level / _STEPS):02x}"
        parts.append(svg.tag("path", d="".join(paths), fill=f"#{3 * grey}"))
    return svg.join(parts)
