"""Frequency weightings as gains in dB at any frequency; weight in the frequency domain, where they are exact.

References
----------
.. [1] IEC 61672-1:2013, table 3 and annex E (analytical expressions of A and C).
.. [2] ITU-R BS.468-4, table 1 (weighting network; 0 dB at 1 kHz, +12.2 dB at 6.3 kHz).
.. [3] AES17-2015, clause 5.2.7 (CCIR-RMS: the same curve with 0 dB at 2 kHz, read with an RMS meter).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import FLOOR_DBFS, Floats

Complexes = npt.NDArray[np.complex128]

# [1] annex E: all poles follow from the -3 dB points of C, the reference frequency and one frequency of A.
_REFERENCE_HZ = 1000.0
_LOW_HZ = 10.0**1.5
_HIGH_HZ = 10.0**3.9
_A_HZ = 10.0**2.45


def _c_poles_hz() -> tuple[float, float]:
    half = np.sqrt(0.5)
    product = _LOW_HZ**2 * _HIGH_HZ**2
    b = (_REFERENCE_HZ**2 + product / _REFERENCE_HZ**2 - half * (_LOW_HZ**2 + _HIGH_HZ**2)) / (1.0 - half)
    root = np.sqrt(b * b - 4.0 * product)
    return float(np.sqrt((-b - root) / 2.0)), float(np.sqrt((-b + root) / 2.0))


F1_HZ, F4_HZ = _c_poles_hz()
F2_HZ = _A_HZ * (3.0 - 5.0**0.5) / 2.0
F3_HZ = _A_HZ * (3.0 + 5.0**0.5) / 2.0


def a_weighting_db(frequency_hz: Any) -> Floats:
    """Return the A-weighting in dB, 0 dB at 1 kHz (IEC 61672-1 annex E).

    Parameters
    ----------
    frequency_hz : float or numpy.ndarray
        Frequencies in Hz; at 0 Hz the gain is `FLOOR_DBFS`.

    Returns
    -------
    numpy.ndarray, same shape
    """
    return _relative_db(_a_gain, frequency_hz)


def c_weighting_db(frequency_hz: Any) -> Floats:
    """Return the C-weighting in dB, 0 dB at 1 kHz (IEC 61672-1 annex E); arguments as for `a_weighting_db`."""
    return _relative_db(_c_gain, frequency_hz)


def itu468_weighting_db(frequency_hz: Any) -> Floats:
    """Return the weighting of ITU-R BS.468-4 in dB, 0 dB at 1 kHz; arguments as for `a_weighting_db`."""
    return _relative_db(_itu468_magnitude, frequency_hz)


def ccir_rms_weighting_db(frequency_hz: Any) -> Floats:
    """Return the weighting of AES17's CCIR-RMS reading in dB: the curve of BS.468-4 with 0 dB at 2 kHz."""
    return _relative_db(_itu468_magnitude, frequency_hz, reference_hz=2000.0)


def itu468_response(frequency_hz: Any) -> Complexes:
    """Return the complex response of the network of BS.468-4, magnitude 1 at 1 kHz.

    Notes
    -----
    The magnitude of the passive network is a ratio of polynomials in frequency; their even and odd parts are the
    real and imaginary part of the network's own denominator, so that the phase is known too. The coefficients
    reproduce every row of table 1 within 0.051 dB.
    """
    f = np.asarray(frequency_hz, dtype=np.float64)
    return _itu468_network(f) / np.abs(_itu468_network(np.asarray(1000.0)))


def _relative_db(gain: Any, frequency_hz: Any, reference_hz: float = 1000.0) -> Floats:
    frequencies = np.asarray(frequency_hz, dtype=np.float64)
    ratio = gain(frequencies) / gain(np.asarray(reference_hz))
    tiny = 10.0 ** (FLOOR_DBFS / 20.0)
    return np.asarray(20.0 * np.log10(np.maximum(ratio, tiny)))


def _c_gain(f: Floats) -> Floats:
    square = f * f
    return np.asarray(square / ((square + F1_HZ**2) * (square / F4_HZ**2 + 1.0)))


def _a_gain(f: Floats) -> Floats:
    square = f * f
    return np.asarray(_c_gain(f) * square / np.sqrt((square + F2_HZ**2) * (square + F3_HZ**2)))


def _itu468_network(f: Floats) -> Complexes:
    square = f * f
    even = ((-4.737338981378384e-24 * square + 2.043828333606125e-15) * square - 1.363894795463638e-7) * square + 1.0
    odd = ((1.306612257412824e-19 * square - 2.118150887518656e-11) * square + 5.559488023498642e-4) * f
    return np.asarray(1.246332637532143e-4j * f / (even + 1j * odd))


def _itu468_magnitude(f: Floats) -> Floats:
    return np.abs(_itu468_network(f))
