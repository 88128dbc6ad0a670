"""A power spectrum whose bins add up: the mean square of a band is the sum over its bins, for tones and for noise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from humcheck.audio.levels import Floats

Weighting = Callable[[Floats], Floats]

#: With fewer batches than this their scatter says too little, and the uncertainty of Gaussian noise is used.
FEWEST_BATCHES = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class BandReading:
    """Power in a band, with its uncertainty.

    Attributes
    ----------
    power : numpy.ndarray, shape (n_channels,)
        Mean square, full scale = 1.0.
    sd : numpy.ndarray, shape (n_channels,)
        Its standard uncertainty.
    freedom : float
        Degrees of freedom of `sd`; infinite where it follows from theory.
    """

    power: Floats
    sd: Floats
    freedom: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerSpectrum:
    """A power spectrum whose bins add up.

    Attributes
    ----------
    frequency_hz : numpy.ndarray, shape (n_bins,)
        Centres of the bins, from 0 Hz.
    power : numpy.ndarray, shape (n_bins, n_channels)
        One-sided mean square in each bin, full scale = 1.0.
    bin_hz : float
        Width of a bin.
    enbw_bins : float
        Equivalent noise bandwidth of the window, in bins: a tone's highest bin times this is its mean square.
    main_lobe_hz : float
        How far a tone reaches on each side.
    n_averages : float
        Effective number of independent averages in one bin.
    effective_s : float
        Length of unwindowed sound that would tell as much.
    batches : numpy.ndarray, shape (n_batches, n_bins, n_channels)
        Means of successive stretches of equal length; their scatter shows what noise, and change in time, do.
    batch_factor : float
        Variance of `power` over variance among the batches, their overlap allowed for.
    batch_freedom : float
        Effective degrees of freedom of the variance among the batches.
    """

    frequency_hz: Floats
    power: Floats
    bin_hz: float
    enbw_bins: float
    main_lobe_hz: float
    n_averages: float
    effective_s: float
    batches: Floats
    batch_factor: float
    batch_freedom: float

    def density(self) -> Floats:
        """Return the mean square per Hz, shape (n_bins, n_channels)."""
        return self.power / self.bin_hz

    def band_power(self, f_low_hz: float, f_high_hz: float, weighting_db: Weighting | None = None) -> Floats:
        """Return the mean square between two frequencies, shape (n_channels,).

        Parameters
        ----------
        f_low_hz, f_high_hz : float
            Edges in Hz; of a bin that lies across an edge its share counts.
        weighting_db : callable, optional
            Gain in dB at frequencies in Hz, such as `humcheck.audio.weighting.a_weighting_db`.
        """
        chosen, shares = self._shares(f_low_hz, f_high_hz, weighting_db)
        return np.asarray(shares @ self.power[chosen])

    def reading(self, f_low_hz: float, f_high_hz: float, weighting_db: Weighting | None = None) -> BandReading:
        """Return `band_power` with its standard uncertainty.

        Notes
        -----
        The uncertainty comes from the scatter of the batches, so that steady lines add none and noise that comes and
        goes adds its due. With fewer than `FEWEST_BATCHES` it is that of Gaussian noise of this spectrum:
        ``sum(p**2) / (bin_hz * effective_s)``.
        """
        chosen, shares = self._shares(f_low_hz, f_high_hz, weighting_db)
        power = np.asarray(shares @ self.power[chosen])
        if len(self.batches) >= FEWEST_BATCHES:
            scatter = np.var(shares @ self.batches[:, chosen], axis=0, ddof=1)
            return BandReading(power=power, sd=np.sqrt(scatter * self.batch_factor), freedom=self.batch_freedom)
        # The mean of a squared estimate exceeds the square of the mean by 1/n of it.
        squares = (shares[:, None] * self.power[chosen]) ** 2 / (1.0 + 1.0 / self.n_averages)
        variance = np.sum(squares, axis=0) / (self.bin_hz * self.effective_s)
        return BandReading(power=power, sd=np.sqrt(variance), freedom=float("inf"))

    def with_mean(self) -> PowerSpectrum:
        """Return the spectrum with one more channel at the end: the power mean of the others."""
        return replace(
            self,
            power=np.concatenate([self.power, self.power.mean(axis=1, keepdims=True)], axis=1),
            batches=np.concatenate([self.batches, self.batches.mean(axis=2, keepdims=True)], axis=2),
        )

    def _shares(self, f_low_hz: float, f_high_hz: float, weighting_db: Weighting | None) -> tuple[slice, Floats]:
        """Return which bins a band takes, and the share of each, weighting included."""
        if not f_low_hz <= f_high_hz:
            raise ValueError(f"the band must be in order, got {f_low_hz} to {f_high_hz} Hz")
        half = self.bin_hz / 2.0
        first = max(int((f_low_hz + half) // self.bin_hz), 0)
        last = min(int((f_high_hz + half) // self.bin_hz), len(self.frequency_hz) - 1)
        chosen = slice(first, last + 1)
        centres = self.frequency_hz[chosen]
        # The first and the last bin of all reach only half as far: there is nothing beyond them.
        lower = np.maximum(centres - half, 0.0)
        upper = np.minimum(centres + half, self.frequency_hz[-1])
        inside = np.minimum(upper, f_high_hz) - np.maximum(lower, f_low_hz)
        shares = np.clip(inside / np.maximum(upper - lower, self.bin_hz * 1e-9), 0.0, 1.0)
        if weighting_db is not None:
            shares = shares * 10.0 ** (weighting_db(centres) / 10.0)
        return chosen, shares
