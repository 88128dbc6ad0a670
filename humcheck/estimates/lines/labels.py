"""Which lone lines are the picture's line rate, which are frame noise of a digital link."""

from __future__ import annotations

import numpy as np

from humcheck.estimates.lines.joint import Booleans
from humcheck.estimates.lines.lone_lines import LoneLines
from humcheck.estimates.lines.naming import LINES_PER_FIELD
from humcheck.estimates.lines.spectrum import Floats

#: Line rates of pictures, with room for clocks.
LINE_RATES_HZ = (15_500.0, 15_800.0)
#: Sidebands that are looked for on either side of the line rate.
MOST_SIDEBANDS = 12
#: Frames of digital links come at 1 kHz (micro-frames at 8 kHz); the link's and the recorder's clock are within this.
FRAME_HZ = 1000.0
FRAME_PPM = 200.0


def line_rate(lines: LoneLines) -> Floats:
    """Return the strongest line near the line rates of pictures, shape (0,) or (1,)."""
    inside = (lines.frequency_hz > LINE_RATES_HZ[0]) & (lines.frequency_hz < LINE_RATES_HZ[1])
    if not inside.any():
        return np.zeros(0)
    power = np.where(inside, lines.mean_square.sum(axis=1), -np.inf)
    return lines.frequency_hz[[int(power.argmax())]]


def sidebands(lines: LoneLines, line_hz: float, reach_hz: float) -> tuple[Booleans, np.ndarray]:
    """Return which lines are the line rate's or its sidebands', and each line's number (0 for the line rate itself).

    Sidebands lie at multiples of the field rate of some usual raster, on either side.
    """
    offset_hz = lines.frequency_hz - line_hz
    near = np.abs(offset_hz) <= reach_hz
    number = np.zeros(offset_hz.size, dtype=np.int64)
    for n_lines in LINES_PER_FIELD:
        field_hz = line_hz / n_lines
        order = np.round(offset_hz / field_hz).astype(np.int64)
        fits = (np.abs(order) <= MOST_SIDEBANDS) & (np.abs(offset_hz - order * field_hz) <= reach_hz) & ~near
        number[fits], near = order[fits], near | fits
    return near, number


def frame_numbers(lines: LoneLines, reach_hz: float) -> np.ndarray:
    """Return which multiple of 1 kHz each line is, 0 where none; all share one clock's error.

    Parameters
    ----------
    lines : LoneLines
        Lines.
    reach_hz : float
        How far a frequency may be off.
    """
    number = np.round(lines.frequency_hz / FRAME_HZ).astype(np.int64)
    off = lines.frequency_hz - number * FRAME_HZ
    near = (number >= 1) & (np.abs(off) < FRAME_PPM * 1e-6 * lines.frequency_hz + reach_hz)
    if not near.any():
        return np.zeros(number.size, dtype=np.int64)
    shared = off / np.maximum(number * FRAME_HZ, 1.0)
    strongest = int(np.where(near, lines.mean_square.sum(axis=1), -np.inf).argmax())
    near &= np.abs(off - shared[strongest] * number * FRAME_HZ) < reach_hz * (1 + number / max(number[strongest], 1))
    return np.where(near, number, 0)
