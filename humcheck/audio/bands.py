"""Fractional-octave bands with the base-10 octave ratio.

References
----------
.. [1] IEC 61260-1:2014: octave ratio G = 10**0.3 (eq. 1), midbands (eq. 2 and 3), band edges (eq. 4 and 5).
.. [2] ISO 266:1997, nominal (preferred) frequencies.
"""

from __future__ import annotations

import math

import numpy as np

from humcheck.audio.levels import Floats

#: G of [1], eq. 1.
OCTAVE_RATIO = 10.0**0.3

# [2]: the ten preferred numbers of a decade.
_PREFERRED = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)


def fractional_octave_centres_hz(f_low_hz: float, f_high_hz: float, bands_per_octave: int = 3) -> Floats:
    """Return the exact midband frequencies of the bands whose nominal place lies between two frequencies.

    Parameters
    ----------
    f_low_hz, f_high_hz : float
        Range in Hz. A band counts when its midband lies no farther outside than half a band, so that 20 Hz
        (exactly 19.953) to 20000 Hz gives the 31 third octaves everybody expects.
    bands_per_octave : int
        b of [1]; 3 for third octaves.

    Returns
    -------
    numpy.ndarray, shape (n_bands,)
    """
    if not 0.0 < f_low_hz <= f_high_hz:
        raise ValueError(f"the range must be positive and in order, got {f_low_hz} to {f_high_hz} Hz")
    if bands_per_octave < 1:
        raise ValueError(f"bands_per_octave must be at least 1, got {bands_per_octave}")
    # Eq. 2 for odd b, eq. 3 for even b: then no midband falls on 1 kHz.
    shift = 0.0 if bands_per_octave % 2 else 0.5
    bands_per_log = bands_per_octave / math.log10(OCTAVE_RATIO)
    first = round(bands_per_log * math.log10(f_low_hz / 1000.0) - shift)
    last = round(bands_per_log * math.log10(f_high_hz / 1000.0) - shift)
    index = np.arange(first, last + 1, dtype=np.float64)
    return np.asarray(1000.0 * OCTAVE_RATIO ** ((index + shift) / bands_per_octave))


def third_octave_centres_hz(f_low_hz: float = 20.0, f_high_hz: float = 20_000.0) -> Floats:
    """Return the exact midband frequencies of the third octaves in a range (see `fractional_octave_centres_hz`)."""
    return fractional_octave_centres_hz(f_low_hz, f_high_hz, 3)


def band_edges_hz(centre_hz: Floats, bands_per_octave: int = 3) -> tuple[Floats, Floats]:
    """Return lower and upper band edges in Hz of midband frequencies ([1], eq. 4 and 5)."""
    half = OCTAVE_RATIO ** (0.5 / bands_per_octave)
    centres = np.asarray(centre_hz, dtype=np.float64)
    return np.asarray(centres / half), np.asarray(centres * half)


def nominal_third_octave_hz(centre_hz: float) -> float:
    """Return the nominal frequency of a third octave, such as 31.5 for 31.6228 Hz ([2])."""
    step = round(10.0 * math.log10(centre_hz))
    decade, index = divmod(step, 10)
    return float(f"{_PREFERRED[index] * 10.0**decade:.6g}")
