"""A picture's canvas: marks, lines and text placed by pixel, drawn by matplotlib without a window.

Colours are those of the page in daylight; shapes and words tell things apart where colours do not.
"""

from __future__ import annotations

import io
import logging
import unicodedata
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from typing import Any

from humcheck.audio.writing import MARK
from humcheck.version import __version__

PAPER, INK, SOFT, GRID, HAIR = "#fcfbf8", "#1c2128", "#59616b", "#e4e0d6", "#cfcabf"
DIRECT = "#6a717b"
CHANNELS = {"left": "#0a64a4", "right": "#b44a00", "mono": "#0b7558", "both": "#0b7558"}
SEVERITIES = {"strong": "#8f1446", "clear": "#8a4a00", "slight": "#3c5a86", "none": "#3d6254"}
DOTS = {"strong": "●●●", "clear": "●●○", "slight": "●○○", "none": "○○○"}
WIDE, SQUARE = (1920, 1080), (1080, 1080)

_DPI = 120
_POINTS = 72 / _DPI
#: Comes with matplotlib.
_FONT = "DejaVu Sans"
#: Text in a line or a name of the user's is no formula; what a user set for plots of other programs does not count.
_RC: Any = {
    "text.parse_math": False,
    "text.usetex": False,
    "font.family": _FONT,
    "path.sketch": None,
    "path.effects": [],
    "lines.solid_capstyle": "butt",
    "lines.antialiased": True,
    "text.antialiased": True,
}
_SHAPES = {"circle": "o", "square": "s", "diamond": "D", "triangle": "^", "pentagon": "p", "bar": "|"}


class Canvas:
    """One picture of a fixed size; x to the right and y down, in pixels. To be used inside `quiet`.

    Parameters
    ----------
    size : (int, int)
        Width and height.
    """

    def __init__(self, size: tuple[int, int] = WIDE) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self.width, self.height = size
        figure = Figure((size[0] / _DPI, size[1] / _DPI), dpi=_DPI, facecolor=PAPER)
        self._canvas: Any = FigureCanvasAgg(figure)
        self._axes = figure.add_axes((0, 0, 1, 1))
        self._axes.set_axis_off()
        self._axes.set_xlim(0, size[0])
        self._axes.set_ylim(size[1], 0)
        self._axes.autoscale(False)
        self._layer = 10

    def text(
        self,
        x: float,
        y: float,
        content: str,
        size: float,
        *,
        color: str = INK,
        bold: bool = False,
        align: str = "left",
    ) -> None:
        """Write one line; `y` is its baseline, `size` the height of its letters' body in pixels."""
        self._axes.text(
            x, y, _from_left(drawable(content)), fontsize=size * _POINTS, color=color, family=_FONT, ha=align,
            va="baseline", fontweight="bold" if bold else "normal", parse_math=False, zorder=self._next(),
        )  # fmt: skip

    def line(
        self, x: Sequence[float], y: Sequence[float], color: str, width: float = 3.0, dashes: str | Any = "-"
    ) -> None:
        """Draw a line through points; it is broken where a point is not a number."""
        self._axes.plot(
            x, y, color=color, linewidth=width * _POINTS, linestyle=dashes, solid_joinstyle="round",
            zorder=self._next(),
        )  # fmt: skip

    def marks(
        self, x: Sequence[float], y: Sequence[float], shape: str, half: float, color: str, *, filled: bool = True
    ) -> None:
        """Draw one of the page's shapes at every point."""
        self._axes.plot(
            x, y, marker=_SHAPES[shape], markersize=2 * half * _POINTS, color=color, linestyle="none",
            markerfacecolor=color if filled else PAPER, markeredgewidth=3.5 * _POINTS, zorder=self._next(),
        )  # fmt: skip

    def arrow(self, x: float, y: float, half: float, color: str, *, left: bool) -> None:
        """Draw ``at most here`` (to the left) or ``at least``."""
        way = -1 if left else 1
        tip, nan = x + way * 3.6 * half, float("nan")
        self.line(
            [x, x, nan, x, tip, nan, tip - way * half, tip, tip - way * half],
            [y - half, y + half, nan, y, y, nan, y - 0.8 * half, y, y + 0.8 * half],
            color,
            4,
        )

    def rectangle(self, x: float, y: float, width: float, height: float, color: str) -> None:
        """Fill a pale rectangle."""
        ends = [x, x + width, x + width, x], [y, y, y + height, y + height]
        self._axes.fill(*ends, color=color, alpha=0.35, lw=0, zorder=self._next())

    def band(self, x: Sequence[float], low: Sequence[float], high: Sequence[float], color: str) -> None:
        """Fill between two lines."""
        self._axes.fill_between(x, low, high, color=color, alpha=0.22, linewidth=0, zorder=self._next())

    def png(self) -> bytes:
        """Return the picture as a PNG file that carries the mark of this tool's own output."""
        written = io.BytesIO()
        self._canvas.print_png(
            written, metadata={"Software": f"{MARK} {__version__}"}, pil_kwargs={"compress_level": 4}
        )
        return written.getvalue()

    def _next(self) -> int:
        """Return the layer on top of all that was drawn before."""
        self._layer += 1
        return self._layer


def width_of(content: str, size: float, *, bold: bool = False) -> float:
    """Return how wide a line of text would be, in pixels."""
    return sum(_letter_width(letter, bold) for letter in drawable(content)) * size


def shortened(content: str, size: float, room: float, *, bold: bool = False) -> str:
    """Return text cut to the room there is, with an ellipsis where it was cut."""
    if width_of(content, size, bold=bold) <= room:
        return content
    left, count = room - width_of("…", size, bold=bold), 0
    for letter in content:
        left -= width_of(letter, size, bold=bold)
        if left < 0:
            break
        count += 1
    return content[:count].rstrip() + "…"


def shortened_name(name: str, size: float, room: float) -> str:
    """Return a bold name cut in its middle: what tells one long name from another stands as often at the end."""
    if width_of(name, size, bold=True) <= room:
        return name
    for kept in range(len(name) - 1, 1, -1):
        tail = kept // 3
        cut = f"{name[: kept - tail].rstrip()}…{name[len(name) - tail :].lstrip()}"
        if width_of(cut, size, bold=True) <= room:
            return cut
    return "…"


def wrapped(content: str, size: float, room: float, most: int, *, bold: bool = False) -> list[str]:
    """Return text in at most so many lines of the room there is; the last is cut if need be."""
    lines: list[str] = []
    words = content.split(" ")
    while words and len(lines) < most:
        count = len(words) if len(lines) == most - 1 else 1
        while count < len(words) and width_of(" ".join(words[: count + 1]), size, bold=bold) <= room:
            count += 1
        lines.append(shortened(" ".join(words[:count]), size, room, bold=bold))
        words = words[count:]
    return lines


@contextmanager
def quiet() -> Iterator[None]:
    """Keep matplotlib's words about its font cache and missing letters to itself, and its settings to ours."""
    log = logging.getLogger("matplotlib")
    before = log.level
    log.setLevel(logging.ERROR)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import matplotlib

            with matplotlib.rc_context(_RC):
                yield
    finally:
        log.setLevel(before)


def drawable(content: str) -> str:
    """Return text with a box for each letter that the font lacks."""
    known = _letters()
    return "".join(letter if ord(letter) in known else "□" for letter in content)


def can_draw(name: str) -> bool:
    """Return whether a name can be drawn as it is read: its letters are there, and set in their direction."""
    return all(ord(letter) in _letters() for letter in name) and (_sets_both_directions() or not _from_right(name))


@lru_cache(maxsize=2)
def _font(bold: bool) -> Any:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return get_font(findfont(FontProperties(family=_FONT, weight="bold" if bold else "normal")))


@lru_cache(maxsize=1024)
def _letter_width(letter: str, bold: bool) -> float:
    """Return the advance of a letter, in parts of the font's size."""
    font = _font(bold)
    font.set_size(100.0, 72.0)
    # The advance without hinting, in 65536ths of a pixel.
    return float(font.load_char(ord(letter)).linearHoriAdvance) / 65536.0 / 100.0


@lru_cache(maxsize=1)
def _letters() -> frozenset[int]:
    """Return the characters that the font has, in both weights."""
    return frozenset(_font(False).get_charmap()) & frozenset(_font(True).get_charmap())


@lru_cache(maxsize=1)
def _sets_both_directions() -> bool:
    """Return whether matplotlib sets text from right to left: since 3.11."""
    import matplotlib

    return tuple(matplotlib.__version_info__[:2]) >= (3, 11)


def _from_left(content: str) -> str:
    """Return a line that runs from left to right, whatever the name it begins with."""
    return f"\u200e{content}" if _from_right(content) and 0x200E in _letters() else content


def _from_right(name: str) -> bool:
    return any(unicodedata.bidirectional(letter) in ("R", "AL", "AN") for letter in name)
