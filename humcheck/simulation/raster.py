"""A picture as a voltage in time: rows of brightness, drawn line by line, field by field, as an exact Fourier series.

References
----------
.. [1] Recommendation ITU-R BT.1700 / SMPTE 170M: 525 lines at 4.5 MHz/286 (15734.27 Hz), 625 lines at 15625 Hz;
   blanking 10.9 us and 12 us, sync 4.7 us (common tables, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.simulation.components import Complexes, high_pass
from humcheck.tracks.pictures_code import row_code

LINE_RATE_525_HZ = 4.5e6 / 286
LINE_RATE_625_HZ = 15625.0

#: Sync tip below blanking, black to white being 1: 0.3 V to 0.7 V.
COMPOSITE_SYNC = -0.3 / 0.7


@dataclass(frozen=True, slots=True, kw_only=True)
class RasterTiming:
    """How a picture is drawn.

    Attributes
    ----------
    line_rate_hz : float
        Lines per second in true time.
    lines_per_field : float
        A whole number without interlace; a whole number and a half with it.
    n_rows : int
        Lines of a field that show picture.
    first_row : int
        Line of the field at which they begin.
    active_start, active_share : float
        Where in a line the picture begins, and its share of the line.
    sync_level : float
        0 for component video; `COMPOSITE_SYNC` adds line and field sync pulses.
    """

    line_rate_hz: float = LINE_RATE_625_HZ
    lines_per_field: float = 312.5
    n_rows: int = 288
    first_row: int = 23
    active_start: float = 10.5e-6 * LINE_RATE_625_HZ
    active_share: float = 52.0e-6 * LINE_RATE_625_HZ
    sync_level: float = 0.0

    @property
    def field_rate_hz(self) -> float:
        """Fields per second."""
        return self.line_rate_hz / self.lines_per_field

    @property
    def fields_per_period(self) -> int:
        """1 without interlace, 2 with it."""
        return 1 if float(self.lines_per_field).is_integer() else 2

    @property
    def repeat_rate_hz(self) -> float:
        """How often the whole drawing repeats: field rate without interlace, frame rate with it."""
        return self.field_rate_hz / self.fields_per_period

    @property
    def lines_per_period(self) -> int:
        """Lines until the drawing repeats."""
        return round(self.lines_per_field * self.fields_per_period)


#: 625 lines interlaced, and the two of home computers: whole lines per field.
TIMING_625 = RasterTiming()
TIMING_312 = RasterTiming(lines_per_field=312, n_rows=240, first_row=40)
TIMING_525 = RasterTiming(
    line_rate_hz=LINE_RATE_525_HZ,
    lines_per_field=262.5,
    n_rows=240,
    first_row=21,
    active_start=9.4e-6 * LINE_RATE_525_HZ,
    active_share=52.66e-6 * LINE_RATE_525_HZ,
)
TIMING_262 = RasterTiming(
    line_rate_hz=LINE_RATE_525_HZ,
    lines_per_field=262,
    n_rows=240,
    first_row=18,
    active_start=9.4e-6 * LINE_RATE_525_HZ,
    active_share=52.66e-6 * LINE_RATE_525_HZ,
)


def picture_rows(name: str, n_rows: int) -> Floats:
    """Return brightness 0-1 by row: ``"black"``, ``"white"``, ``"top-half"``, ``"bars"`` or ``"rows"``.

    ``"rows"`` is the test picture of coded rows, whose code is public.

    Raises
    ------
    ValueError
        If there is no such picture.
    """
    row = np.arange(n_rows)
    if name == "black":
        return np.zeros(n_rows)
    if name == "white":
        return np.ones(n_rows)
    if name == "top-half":
        return np.where(row < n_rows // 2, 1.0, 0.0)
    if name == "bars":
        return np.where(row // 12 % 2 == 0, 1.0, 0.0)
    if name == "rows":
        return row_code(n_rows).astype(np.float64)
    raise ValueError(f"name={name!r}: expected black, white, top-half, bars or rows")


def luma_series(rows: Floats | Sequence[float], timing: RasterTiming, n_harmonics: int) -> Complexes:
    """Return the Fourier series of the luma voltage, black to white being 1.

    Parameters
    ----------
    rows : numpy.ndarray, shape (n_rows,)
        Brightness of each row, 0 black to 1 white, resampled to the nearest of the timing's rows.
    timing : RasterTiming
        How it is drawn.
    n_harmonics : int
        Highest multiple of the repeat rate.

    Returns
    -------
    numpy.ndarray, shape (n_harmonics,), complex
        Peak amplitudes of harmonics 1, 2, ... of `timing.repeat_rate_hz`; phase 0 is the start of the first field.
    """
    given = np.asarray(rows, dtype=np.float64)
    shown = given[(np.arange(timing.n_rows) * given.size) // timing.n_rows]
    pulses = [_row_pulses(shown, timing, index) for index in range(timing.fields_per_period)]
    if timing.sync_level != 0:
        pulses.append(_sync_pulses(timing))
    start, stop, level = np.concatenate(pulses, axis=1)
    return _pulse_series(start, stop, level, timing.lines_per_period, n_harmonics)


def _row_pulses(rows: Floats, timing: RasterTiming, field_index: int) -> Floats:
    """Return starts, stops and levels of the rows of one field, in lines, shape (3, n_rows)."""
    # The second field starts in the middle of a line; its rows stay on whole lines of the frame.
    first_line = np.ceil(field_index * timing.lines_per_field) + timing.first_row
    start = first_line + np.arange(timing.n_rows) + timing.active_start
    return np.stack([start, start + timing.active_share, rows])


def _sync_pulses(timing: RasterTiming) -> Floats:
    """Return starts, stops and levels of the sync pulses of one period, in lines, shape (3, n_pulses)."""
    line = np.arange(timing.lines_per_period, dtype=np.float64)
    width = np.full(line.size, 4.7e-6 * timing.line_rate_hz)
    for index in range(timing.fields_per_period):
        # Field sync: about three lines whose pulses are nearly as long as the line.
        first = int(np.ceil(index * timing.lines_per_field))
        width[first : first + 3] = 0.85
    return np.stack([line, line + width, np.full(line.size, timing.sync_level)])


def _pulse_series(start: Floats, stop: Floats, level: Floats, period: float, n_harmonics: int) -> Complexes:
    """Return the Fourier series of rectangular pulses, all given in the unit of `period`."""
    order = np.arange(1, n_harmonics + 1)
    factor = -2j * np.pi * order[:, np.newaxis] / period
    change = (np.exp(factor * start) - np.exp(factor * stop)) @ level
    # Twice the two-sided coefficient: the peak amplitude of a real line.
    return np.asarray(2 * change / (2j * np.pi * order))


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureLeak:
    """A way by which the picture gets into the sound.

    Attributes
    ----------
    level_dbfs_at_1k : float
        Level at which a luma sine of full swing at 1 kHz would stand in the sound.
    kind : str
        ``"capacitive"`` rises 6.02 dB per octave up to `corner_hz`; ``"shared"`` is the same everywhere.
    corner_hz : float
        Where a capacitive leak stops rising.
    left, right : float
        Factors by which the channels receive it.
    """

    level_dbfs_at_1k: float
    kind: str = "capacitive"
    corner_hz: float = 1e6
    left: float = 1.0
    right: float = 1.0

    def gain(self, frequency_hz: Floats) -> Complexes:
        """Return sound (full scale = 1) over luma (black to white = 1), shape (n, 2)."""
        # A luma sine of full swing has an amplitude of one half.
        wanted = 2 * 10 ** (self.level_dbfs_at_1k / 20)
        if self.kind == "shared":
            gain = np.full(np.shape(frequency_hz), wanted, dtype=np.complex128)
        elif self.kind == "capacitive":
            at_1k = abs(complex(high_pass(np.array([1000.0]), self.corner_hz)[0]))
            gain = high_pass(frequency_hz, self.corner_hz) * (wanted / at_1k)
        else:
            raise ValueError(f"kind={self.kind!r}: expected capacitive or shared")
        return np.asarray(gain[..., np.newaxis] * np.array([self.left, self.right]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """What is on the screen, and how it leaks.

    Attributes
    ----------
    rows : tuple of float
        Brightness of each row, 0 to 1.
    timing : RasterTiming
        How it is drawn.
    leaks : tuple of PictureLeak
        The ways into the sound; they add.
    """

    rows: tuple[float, ...]
    timing: RasterTiming = TIMING_625
    leaks: tuple[PictureLeak, ...] = ()

    @classmethod
    def plain(cls, name: str, timing: RasterTiming, *leaks: PictureLeak) -> Picture:
        """Return one of the plain pictures of `picture_rows`."""
        rows = picture_rows(name, timing.n_rows)
        return cls(rows=tuple(float(row) for row in rows), timing=timing, leaks=leaks)

    def amplitudes(self, highest_hz: float) -> Complexes:
        """Return peak amplitudes in the sound at multiples of the repeat rate up to a frequency, shape (n, 2)."""
        n_harmonics = int(highest_hz / self.timing.repeat_rate_hz)
        frequency_hz: Floats = self.timing.repeat_rate_hz * np.arange(1, n_harmonics + 1, dtype=np.float64)
        luma = luma_series(self.rows, self.timing, n_harmonics)
        gain = np.zeros((n_harmonics, 2), dtype=np.complex128)
        for leak in self.leaks:
            gain += leak.gain(frequency_hz)
        return np.asarray(luma[:, np.newaxis] * gain)
