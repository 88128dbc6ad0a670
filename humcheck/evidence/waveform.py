"""Families of lines made to sound again from what was measured: amplitudes, rates, and the wander of the mains."""

from __future__ import annotations

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.estimates.lines import FamilyEstimate

#: Points of one period's table for each period of the highest line: cubic interpolation is then good to -120 dB.
_POINTS_PER_PERIOD = 48


def phase_of(family: FamilyEstimate, time_s: Floats, duration_s: float) -> Floats:
    """Return the phase of a comb's fundamental.

    Parameters
    ----------
    family : FamilyEstimate
        A comb.
    time_s : numpy.ndarray, shape (n,)
        Times from the start of the section that was measured.
    duration_s : float
        Length of that section.

    Returns
    -------
    numpy.ndarray, shape (n,)
        In radians, 0 at the section's middle.
    """
    return 2.0 * np.pi * family.fundamental_hz * (time_s - 0.5 * duration_s) + wander_of(family, time_s, duration_s)


def wander_of(family: FamilyEstimate, time_s: Floats, duration_s: float) -> Floats:
    """Return the phase of a comb's fundamental beside that of its mean frequency, shape (n,); as for `phase_of`."""
    if family.phase is None:
        return np.zeros(len(time_s))
    return np.interp(time_s, np.linspace(0.0, duration_s, len(family.phase)), family.phase)


def comb_waveform(family: FamilyEstimate, time_s: Floats, duration_s: float) -> Floats:
    """Return the sound of a comb's detected lines, shape (n, n_channels).

    A comb repeats with its fundamental, however that wanders: one period is tabled and read along the phase. The lines
    between the harmonics of an interlaced picture repeat with half of it.
    """
    orders = np.rint(2.0 * family.frequency_hz / family.fundamental_hz).astype(np.int64)
    amplitude = np.where(family.detected, family.amplitude, 0.0)
    size = 1 << int(np.ceil(np.log2(_POINTS_PER_PERIOD * max(int(orders.max(initial=1)), 64))))
    table = _table(orders, amplitude, size)
    place = np.mod(phase_of(family, time_s, duration_s) / (4.0 * np.pi), 1.0) * size
    return _interpolated(table, place)


def _table(orders: np.ndarray, amplitude: np.ndarray, size: int) -> Floats:
    """Return two periods of the fundamental, shape (size + 3, n_channels), with a point before and two after."""
    import scipy.fft

    bins = np.zeros((size // 2 + 1, amplitude.shape[1]), dtype=np.complex128)
    np.add.at(bins, orders, amplitude)
    period = scipy.fft.irfft(bins, size, axis=0) * (size / 2)
    return np.concatenate([period[-1:], period, period[:2]])


def _interpolated(table: Floats, place: Floats) -> Floats:
    """Return the table at fractional places by the cubic through four points."""
    # A phase a hair below zero has its place at the very end.
    first = np.minimum(place.astype(np.int64), len(table) - 4)
    u = (place - first)[:, np.newaxis]
    before, here, after, beyond = (table[first + step] for step in range(4))
    slope, next_slope = 0.5 * (after - before), 0.5 * (beyond - here)
    rise = after - here
    square, cube = 3 * rise - 2 * slope - next_slope, slope + next_slope - 2 * rise
    return np.asarray(here + u * (slope + u * (square + u * cube)))
