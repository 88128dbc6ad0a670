"""Moving pictures of an old game and their leak: every edge of brightness sends its own short pulse into the sound.

A stray capacitance passes on the slope of the video voltage: where a row begins and ends it steps, and each step
becomes an impulse, which is drawn at its own place between the samples. No spectrum of rows is used.
"""

from __future__ import annotations

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.simulation.raster import RasterTiming

_HALF_TAPS = 32
_KAISER = 9.0


def game_rows(n_fields: int, n_rows: int, rng: np.random.Generator) -> Floats:
    """Return brightness 0-1 by field and row, shape (n_fields, n_rows): scenes that scroll, sprites, a status bar.

    Parameters
    ----------
    n_fields, n_rows : int
        How many.
    rng : numpy.random.Generator
        Draws the scenes.
    """
    rows = np.empty((n_fields, n_rows))
    place = np.arange(n_rows)
    start = 0
    while start < n_fields:
        stop = min(n_fields, start + int(rng.integers(60, 400)))
        scene = np.repeat(rng.uniform(0.0, 0.8, 4 * n_rows), rng.integers(1, 24, 4 * n_rows))[: 4 * n_rows]
        speed = rng.choice([0.0, 0.5, 1.0, 2.0])
        height, swing = rng.uniform(0.2, 0.8, 3) * n_rows, rng.uniform(0.5, 3.0, 3)
        for field in range(start, stop):
            shown = scene[(place + int(speed * (field - start))) % scene.size]
            for middle, rate_hz in zip(height, swing, strict=True):
                centre = middle + 0.15 * n_rows * np.sin(2 * np.pi * rate_hz * field / 60)
                shown = np.where(np.abs(place - centre) < 8, np.minimum(shown + 0.15, 1.0), shown)
            shown[-24:] = 0.1 + 0.4 * (place[-24:] // 8 % 2)
            rows[field] = shown
        start = stop
    return rows


def leak_of_fields(
    rows: Floats, timing: RasterTiming, rate_hz: float, n_samples: int, start_s: float, level_dbfs_at_1k: float
) -> Floats:
    """Return the sound of a capacitive leak of fields drawn one after the other, shape (n_samples,).

    Parameters
    ----------
    rows : numpy.ndarray, shape (n_fields, timing.n_rows)
        Brightness 0-1.
    timing : RasterTiming
        Without interlace.
    rate_hz : float
        Sampling rate.
    n_samples : int
        Length.
    start_s : float
        When the first field starts.
    level_dbfs_at_1k : float
        Level at which a luma sine of full swing at 1 kHz would stand in the sound.
    """
    field, row = np.indices(rows.shape)
    line = field * timing.lines_per_field + timing.first_row + row + timing.active_start
    begin_s = start_s + line.ravel() / timing.line_rate_hz
    end_s = begin_s + timing.active_share / timing.line_rate_hz
    # A differentiator that passes 1 kHz by the wanted gain; a sine of full swing has an amplitude of one half.
    gain = 2 * 10 ** (level_dbfs_at_1k / 20) / (2 * np.pi * 1000.0)
    steps = gain * rate_hz * rows.ravel()
    return _impulses(begin_s * rate_hz, steps, n_samples) - _impulses(end_s * rate_hz, steps, n_samples)


def _impulses(place: Floats, size: Floats, n_samples: int) -> Floats:
    """Return impulses between the samples, band-limited by a windowed sinc."""
    sound = np.zeros(n_samples + 2 * _HALF_TAPS)
    first = np.floor(place).astype(np.int64)
    offset = place - first
    for tap in range(1 - _HALF_TAPS, _HALF_TAPS + 1):
        distance = tap - offset
        window = np.i0(_KAISER * np.sqrt(np.maximum(1 - (distance / _HALF_TAPS) ** 2, 0.0))) / np.i0(_KAISER)
        index = first + tap + _HALF_TAPS
        inside = (index >= 0) & (index < sound.size)
        value = size * np.sinc(distance) * window
        sound += np.bincount(index[inside], weights=value[inside], minlength=sound.size)
    return sound[_HALF_TAPS : _HALF_TAPS + n_samples]
