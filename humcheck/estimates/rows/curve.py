"""A coupling from picture to sound as a smooth curve over frequency."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.estimates.rows.rasters import Complexes

UNIT_HZ = 10_000.0


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
    spread_db : numpy.ndarray, shape (n_ch,)
        What a corner or a second way, neither shown nor excluded by the lines, may do to the level at 1 kHz.
    slope_range : numpy.ndarray, shape (n_ch, 2)
        Slopes at 1 kHz in dB per octave that a second way, neither shown nor excluded, would leave possible.
    unexplained : float
        Share of the lines' power over the noise that the fit leaves; 0 where what it leaves is no more than noise.
    """

    powers: tuple[int, ...]
    corner: float
    factors: Floats
    covariance: Floats
    sign_is_certain: bool
    delay: float
    chi_squared: float
    spread_db: Floats
    slope_range: Floats
    unexplained: float

    def gain(self, frequency_hz: Floats) -> Complexes:
        """Return the gain at frequencies, shape (n_ch, n)."""
        return np.asarray(self.factors @ terms(self.powers, frequency_hz, self.corner))

    def at_1k(self, channel: int) -> tuple[complex, Floats]:
        """Return a channel's gain at 1 kHz and the covariance, shape (2, 2), of its real and imaginary parts."""
        basis = terms(self.powers, np.array([1000.0]), self.corner)[:, 0]
        parts = np.stack([basis.real, basis.imag])
        return complex(self.factors[channel] @ basis), parts @ self.covariance[channel] @ parts.T

    def slope(self, channel: int) -> tuple[float, float]:
        """Return the slope of a channel's gain at 1 kHz in dB per octave, and its standard uncertainty."""
        basis = terms(self.powers, np.array([1000.0]), self.corner)[:, 0]
        unit = 1000.0 / UNIT_HZ * self.corner
        # d log(1 / (1 + j f a)) / d log f
        falling = -1j * unit / (1 + 1j * unit)
        rising = (np.array(self.powers) + falling) * basis
        gain, growth = self.factors[channel] @ basis, self.factors[channel] @ rising
        scale = 20 * np.log10(2.0)
        gradient = scale * np.real(rising / gain - growth * basis / gain**2)
        slope = scale * np.real(growth / gain)
        return float(slope), float(np.sqrt(max(0.0, gradient @ self.covariance[channel] @ gradient)))


def terms(powers: Sequence[int], frequency_hz: Floats, corner: float = 0.0) -> Complexes:
    """Return powers of ``j f`` / 10 kHz behind a corner, shape (n_powers, n)."""
    base = 1j * np.asarray(frequency_hz) / UNIT_HZ
    if not powers:
        return np.zeros((0, base.size), dtype=np.complex128)
    return np.asarray(np.stack([base**power for power in powers]) / (1 + base * corner))
