"""The line rate of a picture, read from its tone in the sound, and a grid of whole lines and samples."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.errors import MeasurementError

#: Line rates of the standards, and how far old machines lie beside them.
LINE_RATES_HZ = (15734.2657, 15625.0)
_LINE_REACH = 0.005
#: How far the clocks of sound and of the frames' time stamps may part.
_CLOCK_REACH = 200e-6
_LINES_PER_FIELD = {15734.2657: (262, 262.5, 263), 15625.0: (312, 312.5, 313)}
#: Rows that a field shows, and the visible share of a line (ITU-R BT.1700 / SMPTE 170M).
ROWS = {15734.2657: 240, 15625.0: 288}
ACTIVE_S = {15734.2657: 52.66e-6, 15625.0: 52.0e-6}
#: A tone this much weaker than the strongest is not the line tone.
_RIVAL = 0.25
#: What a grid may lose of a sample until its end.
_GRID_ERROR = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """How a picture is drawn.

    Attributes
    ----------
    line_rate_hz : float
        In the clock of the sound.
    lines_per_field : float
        Whole numbers and a half with interlace.
    standard_hz : float
        Line rate of the standard that it belongs to.
    fields_per_frame : int
        How many fields pass for each frame of the file.
    tone_height : float
        Power of its tone over the median of what lies beside it.
    """

    line_rate_hz: float
    lines_per_field: float
    standard_hz: float
    fields_per_frame: int
    tone_height: float = 0.0

    @property
    def field_hz(self) -> float:
        """Fields per second."""
        return self.line_rate_hz / self.lines_per_field

    @property
    def interlaced(self) -> bool:
        """Whether a field ends in the middle of a line."""
        return not float(self.lines_per_field).is_integer()

    @property
    def lines_per_repeat(self) -> int:
        """Lines after which a standing picture repeats."""
        return round(self.lines_per_field * (2 if self.interlaced else 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A stretch of sound that is a whole number of lines and of samples long, so that both have one spectrum."""

    n_lines: int
    n_samples: int
    rate_hz: float

    @property
    def line_rate_hz(self) -> float:
        """Line rate that the grid stands for."""
        return self.n_lines * self.rate_hz / self.n_samples


def frame_rate_hz(times_s: Floats) -> float:
    """Return the rate of the frames, lost ones counted."""
    steps = np.diff(times_s)
    step = float(np.mean(steps[steps < 1.5 * np.median(steps)]))
    # Of stamps in whole milliseconds the mean of steps is rough where frames were lost: count them, then divide.
    count = float(np.rint(steps / step).sum())
    return count / float(times_s[-1] - times_s[0])


def read_drawings(power: Floats, bin_hz: float, times_s: Floats) -> list[Drawing]:
    """Return how the picture may be drawn, the likeliest first: line tones that go with the frames' rate.

    Parameters
    ----------
    power : numpy.ndarray, shape (n_bins,)
        Power spectrum of the whole sound, what plays weighed down.
    bin_hz : float
        Width of its bins.
    times_s : numpy.ndarray, shape (n_frames,)
        When each frame was captured.

    Raises
    ------
    MeasurementError
        If no standard picture has such a frame rate.
    """
    frame_hz = frame_rate_hz(times_s)
    found: list[tuple[float, Drawing]] = []
    for standard_hz, per_field in _LINES_PER_FIELD.items():
        for lines, fields in itertools.product(per_field, (1, 2)):
            expected_hz = frame_hz * fields * lines
            if abs(expected_hz / standard_hz - 1) > _LINE_REACH:
                continue
            line_hz, height = _tone(power, bin_hz, expected_hz)
            drawing = Drawing(
                line_rate_hz=line_hz,
                lines_per_field=float(lines),
                standard_hz=standard_hz,
                fields_per_frame=fields,
                tone_height=height,
            )
            found.append((height, drawing))
    if not found:
        raise MeasurementError("The file's frame rate is that of no standard picture, so its lines cannot be placed.")
    found.sort(key=lambda pair: -pair[0])
    return [drawing for height, drawing in found if height > _RIVAL * found[0][0]]


def _tone(power: Floats, bin_hz: float, expected_hz: float) -> tuple[float, float]:
    """Return the strongest tone near a rate, and its height over the median beside it."""
    first, last = (int(expected_hz * (1 + side * _CLOCK_REACH) / bin_hz) for side in (-1, 1))
    part = power[first:last]
    peak = int(part[1:-1].argmax()) + 1
    below, at, above = np.log(part[peak - 1 : peak + 2] + 1e-300)
    curvature = below - 2 * at + above
    shift = 0.5 * (below - above) / curvature if curvature < 0 else 0.0
    return float((first + peak + shift) * bin_hz), float(part[peak] / np.median(part))


def grid_for(n_samples: int, rate_hz: float, line_rate_hz: float) -> Grid:
    """Return the longest grid, nearly, within a number of samples, whose lengths have small factors."""
    most = int(n_samples * line_rate_hz / rate_hz)
    lines = np.arange(most, max(most - 1500, 1), -1)
    length = lines * rate_hz / line_rate_hz
    error = np.abs(length - np.rint(length))
    near = np.flatnonzero(error <= max(_GRID_ERROR, float(error.min())))
    pairs = [(int(lines[index]), round(float(length[index]))) for index in near]
    n_lines, n_audio = min(pairs, key=lambda pair: max(_largest_factor(pair[0]), _largest_factor(pair[1])))
    return Grid(n_lines=n_lines, n_samples=n_audio, rate_hz=rate_hz)


def _largest_factor(number: int) -> int:
    factor, largest = 2, 1
    while factor * factor <= number:
        while number % factor == 0:
            number //= factor
            largest = factor
        factor += 1
    return max(largest, number)
