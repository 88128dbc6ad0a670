"""The room's own noise, from its noise rating number.

References
----------
.. [1] ISO/R 1996:1971, noise rating curves after Kosten and van Os (1962): octave level ``a + b NR`` (coefficients read
   in a public handbook page of an engineering office and in several public codes).
"""

from __future__ import annotations

import numpy as np

from humcheck.audio.bands import band_edges_hz
from humcheck.audio.levels import Floats

_OCTAVE_HZ = (31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
_A_DB = (55.4, 35.4, 22.0, 12.0, 4.8, 0.0, -3.5, -6.1, -8.0)
_B = (0.681, 0.790, 0.870, 0.930, 0.974, 1.000, 1.015, 1.025, 1.030)


def octave_levels_db_spl(rating: float) -> Floats:
    """Return the levels of a noise rating curve in the octaves from 31.5 Hz to 8 kHz, in dB SPL ([1])."""
    return np.asarray(_A_DB) + np.asarray(_B) * rating


def third_octave_levels_db_spl(rating: float, centre_hz: Floats) -> Floats:
    """Return the levels of the same noise in third octaves.

    Its density runs straight over the logarithm of frequency. Beyond the outermost octaves it
    goes on as it ran between the last two.
    """
    octaves = np.asarray(_OCTAVE_HZ)
    lower, upper = band_edges_hz(octaves, 1)
    density = octave_levels_db_spl(rating) - 10 * np.log10(upper - lower)
    places, wanted = np.log(octaves), np.log(np.asarray(centre_hz, dtype=np.float64))
    inside = np.interp(wanted, places, density)
    steps = np.diff(density) / np.diff(places)
    beyond = np.minimum(wanted - places[0], 0.0) * steps[0] + np.maximum(wanted - places[-1], 0.0) * steps[-1]
    low, high = band_edges_hz(centre_hz)
    return np.asarray(inside + beyond + 10 * np.log10(high - low))
