"""Bent transfer curves: a polynomial, so that the harmonics of a sine are known in closed form."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import fft

from humcheck.audio.levels import Floats
from humcheck.simulation.lowpass import REACH, low_pass_spectrum

_BLOCK = 16384


@dataclass(frozen=True, slots=True, kw_only=True)
class Polynomial:
    """The curve ``y = x + c2 x^2 + c3 x^3 + ...``, full scale = 1.

    Attributes
    ----------
    coefficients : tuple of float
        ``c2, c3, ...``.
    """

    coefficients: tuple[float, ...]

    @property
    def degree(self) -> int:
        """Highest power."""
        return len(self.coefficients) + 1

    def apply(self, samples: Floats) -> Floats:
        """Return the bent samples, same shape."""
        bent = np.zeros_like(samples)
        for coefficient in reversed(self.coefficients):
            bent = (bent + coefficient) * samples
        return np.asarray(samples * (1 + bent))

    def harmonics(self, amplitude: float) -> Floats:
        """Return the signed amplitudes of harmonics 1, 2, ... of a cosine of some amplitude, shape (degree,).

        Notes
        -----
        ``cos^p x = 2^(1-p) sum over j < p/2 of C(p, j) cos((p - 2j) x)``, plus a constant for even p.
        """
        result = np.zeros(self.degree)
        result[0] = amplitude
        for power, coefficient in enumerate(self.coefficients, start=2):
            for j in range((power + 1) // 2):
                share = math.comb(power, j) * 2.0 ** (1 - power)
                result[power - 2 * j - 1] += coefficient * amplitude**power * share
        return result

    def thd_percent(self, amplitude: float) -> float:
        """Return RMS of harmonics 2-10 over the fundamental for a sine of some amplitude."""
        harmonics = self.harmonics(amplitude)
        return float(100 * np.sqrt(np.sum(harmonics[1:10] ** 2)) / abs(harmonics[0]))


def bend(sound: Floats, curve: Polynomial) -> Floats:
    """Send sound through a bent curve as an analogue stage would: what it makes above half the rate is not folded back.

    Parameters
    ----------
    sound : numpy.ndarray, shape (n_channels, n_samples)
        What comes in; content above 0.49 of the rate is lost.
    curve : Polynomial
        The curve.

    Returns
    -------
    numpy.ndarray, shape (n_channels, n_samples)
        What comes out.
    """
    # A product of `degree` bands reaches `degree` times as far; folded at the fine rate it must miss the band.
    factor = -(-(curve.degree + 1) // 2)
    low_pass = low_pass_spectrum(_BLOCK)
    reach = 2 * REACH
    hop = _BLOCK - 2 * reach
    n = sound.shape[1]
    padded = np.pad(sound, ((0, 0), (reach, reach + hop)))
    out = np.empty_like(sound)
    for start in range(0, n, hop):
        stop = min(start + hop, n)
        fine = fft.irfft(fft.rfft(padded[:, start : start + _BLOCK]) * (low_pass * factor), _BLOCK * factor)
        bins = fft.rfft(curve.apply(fine), overwrite_x=True)[:, : low_pass.size]
        out[:, start:stop] = fft.irfft(bins * (low_pass / factor), _BLOCK)[:, reach : reach + stop - start]
    return out
