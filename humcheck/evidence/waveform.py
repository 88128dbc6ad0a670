"""Families of lines made to sound again from what was measured: amplitudes, rates, and the wander of the mains."""

from __future__ import annotations

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.estimates.lines import FamilyEstimate

#: Points of a table of two periods. Straight lines between them are good to -139 dB for the tenth harmonic, and to
#: -78 dB for the 320th, which itself lies far below the strong ones: (2 pi order / points)^2 / 8.
_POINTS = 1 << 17


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


def comb_waveform(family: FamilyEstimate, time_s: Floats, duration_s: float, highest_hz: float) -> Floats:
    """Return the sound of a comb's detected lines, shape (n, n_channels).

    A comb repeats with its fundamental, however that wanders: one period is tabled and read along the phase. The lines
    between the harmonics of an interlaced picture repeat with half of it.

    Parameters
    ----------
    family : FamilyEstimate
        A comb whose lines have phases.
    time_s, duration_s
        As for `phase_of`.
    highest_hz : float
        Lines above are left out.
    """
    used = family.frequency_hz < highest_hz
    orders = np.rint(2.0 * family.frequency_hz[used] / family.fundamental_hz).astype(np.int64)
    table = _table(orders, np.where(family.detected, family.amplitude, 0.0)[used])
    place = np.mod(phase_of(family, time_s, duration_s) / (4.0 * np.pi), 1.0) * _POINTS
    # A phase a hair below zero has its place at the very end.
    first = np.minimum(place.astype(np.int64), _POINTS - 1)
    return table[first] + (place - first)[:, np.newaxis] * (table[1:] - table[:-1])[first]


def _table(orders: np.ndarray, amplitude: np.ndarray) -> Floats:
    """Return two periods of the fundamental and the first point again, shape (_POINTS + 1, n_channels)."""
    import scipy.fft

    bins = np.zeros((_POINTS // 2 + 1, amplitude.shape[1]), dtype=np.complex128)
    np.add.at(bins, orders, amplitude)
    periods = scipy.fft.irfft(bins, _POINTS, axis=0) * (_POINTS / 2)
    return np.concatenate([periods, periods[:1]])
