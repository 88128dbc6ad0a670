"""A coupling from picture to sound as a smooth curve over frequency."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import Floats
from humcheck.estimates.rows.rasters import Complexes

UNIT_HZ = 10_000.0
#: Where the curve is written down: sixths of an octave about 1 kHz, from the field rate to where sound ends.
AT_1K = 26
CURVE_HZ: Floats = np.round(1000.0 * 2.0 ** ((np.arange(53) - AT_1K) / 6), 3)
_DB = 20 / np.log(10)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CouplingFit:
    """Gain from luma to sound of every channel, full scale over the step from black to white.

    Attributes
    ----------
    powers : tuple of int
        Powers of ``j f`` / 10 kHz.
    corner : float
        10 kHz over the frequency of the corner; 0 for none.
    factors : numpy.ndarray, shape (n_ch, n_powers)
        Their real factors.
    covariance : numpy.ndarray, shape (n_ch, n_powers, n_powers)
        Of the factors of each channel, the uncertainties of delay and corner included.
    sign_is_certain : bool
        Whether the opposite polarity fits clearly worse.
    delay : float
        When the first line is drawn, beside the lines' own time, as a share of the repeat's period.
    chi_squared : float
        Misfit; about twice the number of lines.
    spread_curve_db : numpy.ndarray, shape (n_ch, n_curve)
        What a corner or a second way, neither shown nor excluded by the lines, may do to the level at `CURVE_HZ`.
    slope_range : numpy.ndarray, shape (n_ch, 2)
        Slopes at 1 kHz in dB per octave that a second way, neither shown nor excluded, would leave possible.
    unexplained : float
        Share of the lines' power over the noise that the fit leaves; 0 where what it leaves is no more than noise.
    outlier : numpy.ndarray of bool, shape (n_ch, n_lines)
        Lines at which something else stands, such as hum.
    """

    powers: tuple[int, ...]
    corner: float
    factors: Floats
    covariance: Floats
    sign_is_certain: bool
    delay: float
    chi_squared: float
    spread_curve_db: Floats
    slope_range: Floats
    unexplained: float
    outlier: npt.NDArray[np.bool_]

    @property
    def spread_db(self) -> Floats:
        """What may move the level at 1 kHz unseen, shape (n_ch,)."""
        return self.spread_curve_db[:, AT_1K]

    def gain(self, frequency_hz: Floats) -> Complexes:
        """Return the gain at frequencies, shape (n_ch, n)."""
        return np.asarray(self.factors @ terms(self.powers, frequency_hz, self.corner))

    def at_1k(self, channel: int) -> tuple[complex, Floats]:
        """Return a channel's gain at 1 kHz and the covariance, shape (2, 2), of its real and imaginary parts."""
        basis = terms(self.powers, np.array([1000.0]), self.corner)[:, 0]
        parts = np.stack([basis.real, basis.imag])
        return complex(self.factors[channel] @ basis), parts @ self.covariance[channel] @ parts.T

    def levels(self) -> tuple[Floats, Floats]:
        """Return the level in dBFS of a luma sine of full swing at `CURVE_HZ`, and its standard uncertainty.

        Both of shape (n_ch, n_curve).
        """
        gain, sd = gain_and_sd(self.factors, self.covariance, terms(self.powers, CURVE_HZ, self.corner))
        size = np.maximum(np.abs(gain), 1e-12)
        # A sine of full swing has an amplitude of half the step from black to white.
        return 20 * np.log10(size / 2), np.hypot(_DB * sd / size, self.spread_curve_db)

    def slope(self, channel: int, at_hz: float = 1000.0) -> tuple[float, float]:
        """Return the slope of a channel's gain in dB per octave, and its standard uncertainty."""
        slope, gradient = self._slope(channel, at_hz)
        return slope, float(np.sqrt(max(0.0, gradient @ self.covariance[channel] @ gradient)))

    def bend(self, channel: int) -> tuple[float, float]:
        """Return by how much the slope grows within the octave about 1 kHz, in dB per octave, and its uncertainty."""
        (below, before), (above, after) = (self._slope(channel, 1000.0 * factor) for factor in (0.5**0.5, 2.0**0.5))
        gradient = after - before
        return above - below, float(np.sqrt(max(0.0, gradient @ self.covariance[channel] @ gradient)))

    def _slope(self, channel: int, at_hz: float) -> tuple[float, Floats]:
        """Return the slope and how it changes with each factor."""
        basis = terms(self.powers, np.array([at_hz]), self.corner)[:, 0]
        unit = at_hz / UNIT_HZ * self.corner
        # d log(1 / (1 + j f a)) / d log f
        falling = -1j * unit / (1 + 1j * unit)
        rising = (np.array(self.powers) + falling) * basis
        gain, growth = self.factors[channel] @ basis, self.factors[channel] @ rising
        scale = 20 * np.log10(2.0)
        gradient = scale * np.real(rising / gain - growth * basis / gain**2)
        return float(scale * np.real(growth / gain)), np.asarray(gradient)


def gain_and_sd(factors: Floats, covariance: Floats, basis: Complexes) -> tuple[Complexes, Floats]:
    """Return gains and the standard uncertainty of their sizes, shape (n_ch, n).

    Parameters
    ----------
    factors : numpy.ndarray, shape (n_ch, n_powers)
        Real factors.
    covariance : numpy.ndarray, shape (n_ch, n_powers, n_powers)
        Of each channel's factors.
    basis : numpy.ndarray, shape (n_powers, n)
        Terms at the frequencies.
    """
    gain = factors @ basis
    along = np.conj(gain) / np.maximum(np.abs(gain), 1e-30)
    gradient = np.real(along[:, np.newaxis] * basis)
    variance = np.einsum("can,cab,cbn->cn", gradient, covariance, gradient)
    return np.asarray(gain), np.sqrt(np.maximum(variance, 0.0))


def terms(powers: Sequence[int], frequency_hz: Floats, corner: float = 0.0) -> Complexes:
    """Return powers of ``j f`` / 10 kHz behind a corner, shape (n_powers, n)."""
    base = 1j * np.asarray(frequency_hz) / UNIT_HZ
    if not powers:
        return np.zeros((0, base.size), dtype=np.complex128)
    return np.asarray(np.stack([base**power for power in powers]) / (1 + base * corner))
