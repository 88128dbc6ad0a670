"""Soft edges: amplitude as a smooth function of time or of frequency, and its derivative.

The edge rises as the integral of the fourth power of a sine. Four derivatives are continuous, so that a
faded tone splatters little and a resampler has nothing sharp to ring on.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Sound is left whole up to this share of the sampling rate and is gone at the other one.
PASS_SHARE = 0.48
STOP_SHARE = 0.49


def edge(position: Array) -> Array:
    """Return the soft edge: 0 up to position 0, 1 from position 1 on."""
    x = np.clip(position, 0.0, 1.0)
    return x - (2.0 / (3.0 * np.pi)) * np.sin(2.0 * np.pi * x) + (1.0 / (12.0 * np.pi)) * np.sin(4.0 * np.pi * x)


def edge_slope(position: Array) -> Array:
    """Return the derivative of `edge` by its position."""
    x = np.clip(position, 0.0, 1.0)
    return (8.0 / 3.0) * np.sin(np.pi * x) ** 4


def fade(time_s: Array, duration_s: float, fade_in_s: float, fade_out_s: float) -> tuple[Array, Array]:
    """Return the envelope of a faded section and its derivative.

    Parameters
    ----------
    time_s : numpy.ndarray, shape (n,)
        Time from the start of the section.
    duration_s, fade_in_s, fade_out_s : float
        Length of the section and of its edges, in seconds.

    Returns
    -------
    envelope, slope : numpy.ndarray, shape (n,)
        Between 0 and 1; 0 outside the section. The slope is per second.
    """
    envelope = np.ones_like(time_s)
    slope = np.zeros_like(time_s)
    rising = time_s < fade_in_s
    position = time_s[rising] / fade_in_s
    envelope[rising] = edge(position)
    slope[rising] = edge_slope(position) / fade_in_s
    falling = time_s > duration_s - fade_out_s
    position = (duration_s - time_s[falling]) / fade_out_s
    envelope[falling] *= edge(position)
    slope[falling] -= edge_slope(position) / fade_out_s
    return envelope, slope


def band_gain(frequency_hz: Array, rate_hz: float) -> tuple[Array, Array]:
    """Return the gain that keeps sound below half the sampling rate, and its derivative by frequency.

    Parameters
    ----------
    frequency_hz : numpy.ndarray, shape (n,)
        Instantaneous frequency.
    rate_hz : float
        Sampling rate; infinity for no limit.

    Returns
    -------
    gain, slope : numpy.ndarray, shape (n,)
        1 up to `PASS_SHARE` of the rate, 0 from `STOP_SHARE` on; the slope is per hertz.
    """
    width_hz = (STOP_SHARE - PASS_SHARE) * rate_hz
    if not np.isfinite(width_hz) or frequency_hz.size == 0 or frequency_hz.max() <= PASS_SHARE * rate_hz:
        return np.ones_like(frequency_hz), np.zeros_like(frequency_hz)
    position = (STOP_SHARE * rate_hz - frequency_hz) / width_hz
    return edge(position), -edge_slope(position) / width_hz
