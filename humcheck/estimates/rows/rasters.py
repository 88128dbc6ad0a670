"""Rasters in which a picture may be drawn, and the code's rows as their lines show them.

References
----------
.. [1] ITU-R BT.1700 and SMPTE 170M: 525 lines at 4.5 MHz/286, blanking 10.9 us; 625 lines at 15625 Hz, blanking 12 us
   (common tables). Pictures without interlace have a whole number of lines in a field.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from humcheck.tracks.pictures_code import row_code

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Orders = npt.NDArray[np.int64]

_LINE_RATE_525_HZ = 4.5e6 / 286
_LINE_RATE_625_HZ = 15625.0
_SHARE_525 = 52.66e-6 * _LINE_RATE_525_HZ
_SHARE_625 = 52.0e-6 * _LINE_RATE_625_HZ


@dataclass(frozen=True, slots=True, kw_only=True)
class Raster:
    """How lines make up a picture.

    Attributes
    ----------
    n_lines : int
        Lines until everything repeats: of a field, or of the two fields of a frame.
    n_fields : int
        1 without interlace, 2 with it.
    line_rate_hz : float
        Nominal line rate.
    active_share : float
        Share of a line that shows picture.
    n_visible : int
        Lines of a field that show picture.
    """

    n_lines: int
    n_fields: int
    line_rate_hz: float
    active_share: float
    n_visible: int

    @property
    def lines_per_field(self) -> float:
        """Lines of a field; a whole number and a half with interlace."""
        return self.n_lines / self.n_fields


def _raster(n_lines: int, n_fields: int = 1) -> Raster:
    if n_lines / n_fields < 300:
        rate_hz, share, n_visible = _LINE_RATE_525_HZ, _SHARE_525, 240
    else:
        rate_hz, share, n_visible = _LINE_RATE_625_HZ, _SHARE_625, 288
    return Raster(n_lines=n_lines, n_fields=n_fields, line_rate_hz=rate_hz, active_share=share, n_visible=n_visible)


RASTERS = (_raster(262), _raster(263), _raster(525, 2), _raster(312), _raster(313), _raster(625, 2))


@dataclass(frozen=True, slots=True, order=True)
class Shown:
    """How the code is shown: its number of rows, and how many lines of a field each of them is high."""

    n_rows: int
    scale: float


def usual_ways(raster: Raster) -> tuple[Shown, ...]:
    """Return how the code is shown where nothing scales it, or where it fills the other standard's screen."""
    if raster.n_visible == 240:
        return Shown(240, 1.0), Shown(288, 240 / 288)
    return Shown(288, 1.0), Shown(240, 1.0), Shown(240, 288 / 240)


def scaled_ways(raster: Raster) -> Iterator[Shown]:
    """Yield what players make of it: every scale in steps of 1 %, which costs half a row at the edges at most."""
    for n_rows in (240, 288):
        full = raster.n_visible / n_rows
        low, high = (0.88, 1.12) if n_rows == raster.n_visible else (0.9, 1.1)
        if n_rows < raster.n_visible:
            low = 0.8
        for scale in np.exp(np.arange(np.log(low), np.log(high), 0.01)):
            yield Shown(n_rows, float(full * scale))


@lru_cache(maxsize=512)
def pattern(raster: Raster, shown: Shown) -> Floats:
    """Return the brightness of each line of a raster, shape (n_lines,), 0 black to 1 white.

    The first line that shows the picture is line 0; what does not fit on the screen is cut off on both sides alike.
    """
    code = row_code(shown.n_rows).astype(np.float64)
    n_shown = min(raster.n_visible, max(1, round(shown.n_rows * shown.scale)))
    edges = (np.arange(n_shown + 1) - n_shown / 2) / shown.scale + shown.n_rows / 2
    # A line shows the mean of the rows that it covers.
    total = np.concatenate([[0.0], np.cumsum(code)])
    covered = np.interp(np.clip(edges, 0, shown.n_rows), np.arange(shown.n_rows + 1), total)
    lines = np.diff(covered) / np.diff(edges)
    drawn = np.zeros(raster.n_lines)
    for index in range(raster.n_fields):
        first = int(np.ceil(index * raster.lines_per_field))
        drawn[first : first + n_shown] = lines
    return drawn


def harmonics(raster: Raster, brightness: Floats, order: Orders) -> Complexes:
    """Return the peak amplitudes of a raster's luma at multiples of its repeat rate.

    Parameters
    ----------
    raster : Raster
        How it is drawn.
    brightness : numpy.ndarray, shape (n_lines,)
        Of each line.
    order : numpy.ndarray of int, shape (n,)
        Multiples of the repeat rate.

    Returns
    -------
    numpy.ndarray, shape (n,), complex
        Phases count from the middle of the picture's first line.
    """
    share = raster.active_share
    of_lines = np.fft.fft(brightness)[order % raster.n_lines]
    return np.asarray(2 * share / raster.n_lines * np.sinc(order * share / raster.n_lines) * of_lines)
