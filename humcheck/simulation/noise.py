"""Hiss: white or pink Gaussian noise of a known level between 20 Hz and 20 kHz."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import fft

from humcheck.audio.levels import Floats, dbfs_to_rms, rms_to_dbfs

BAND_LOW_HZ, BAND_HIGH_HZ = 20.0, 20000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Hiss:
    """Noise that both channels receive, each its own.

    Attributes
    ----------
    left_dbfs, right_dbfs : float
        Level in 20 Hz - 20 kHz. At a rate too low for that band, the density stays what it would have been.
    colour : str
        ``"white"`` or ``"pink"`` (power density as 1/f above 5 Hz, flat below).
    """

    left_dbfs: float
    right_dbfs: float
    colour: Literal["white", "pink"] = "white"

    @classmethod
    def both(cls, level_dbfs: float, colour: Literal["white", "pink"] = "white") -> Hiss:
        """Return hiss of the same level in both channels."""
        return cls(left_dbfs=level_dbfs, right_dbfs=level_dbfs, colour=colour)

    def samples(self, n_samples: int, rate_hz: float, rng: np.random.Generator) -> Floats:
        """Return the noise, shape (2, n_samples)."""
        rms = np.array([dbfs_to_rms(self.left_dbfs), dbfs_to_rms(self.right_dbfs)])[:, np.newaxis]
        if self.colour == "white":
            density = 1 / (BAND_HIGH_HZ - BAND_LOW_HZ)
            return np.asarray(rng.standard_normal((2, n_samples)) * rms * np.sqrt(density * rate_hz / 2))
        return np.asarray(_pink(n_samples, rate_hz, rng) * rms)

    def band_mean_square(self, rate_hz: float) -> Floats:
        """Return the mean square between 20 Hz and the lesser of 20 kHz and half the rate, shape (2,)."""
        rms = np.array([dbfs_to_rms(self.left_dbfs), dbfs_to_rms(self.right_dbfs)])
        top_hz = min(BAND_HIGH_HZ, rate_hz / 2)
        if self.colour == "white":
            share = (top_hz - BAND_LOW_HZ) / (BAND_HIGH_HZ - BAND_LOW_HZ)
        else:
            share = float(np.log(top_hz / BAND_LOW_HZ) / np.log(BAND_HIGH_HZ / BAND_LOW_HZ))
        return np.asarray(rms**2 * share)


def merged(hisses: Sequence[Hiss]) -> tuple[Hiss, ...]:
    """Return one hiss of the power of all white ones given: sums of Gaussian noise are Gaussian noise."""
    if not hisses:
        return ()
    left, right = (
        float(rms_to_dbfs(np.sqrt(sum(dbfs_to_rms(level) ** 2 for level in levels))))
        for levels in ([hiss.left_dbfs for hiss in hisses], [hiss.right_dbfs for hiss in hisses])
    )
    return (Hiss(left_dbfs=left, right_dbfs=right),)


def _pink(n_samples: int, rate_hz: float, rng: np.random.Generator) -> Floats:
    """Return pink noise of mean square 1 between 20 Hz and 20 kHz, shape (2, n_samples)."""
    n = int(fft.next_fast_len(n_samples, real=True))
    bins = fft.rfft(rng.standard_normal((2, n)), overwrite_x=True)
    frequency_hz = np.arange(bins.shape[1]) * (rate_hz / n)
    density = 1 / np.maximum(frequency_hz, 5.0) / np.log(BAND_HIGH_HZ / BAND_LOW_HZ)
    return np.asarray(fft.irfft(bins * np.sqrt(density * rate_hz / 2), n)[:, :n_samples])
