"""Sound divided by the power that plays at each moment and frequency: what is quiet tells most."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from humcheck.audio.levels import Floats

BAND_HZ = (8000.0, 20000.0)
#: Length of a moment, and over how many moments and bins the power is averaged.
_MOMENT_S = 0.0427
_OVER = (3, 13)
#: Half width, in bins of the whole stretch, of what is taken out about each multiple of the picture's repeat rate.
STEADY_BINS = 3

Complexes = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moments:
    """Short spectra of a sound in the band, two for each stretch of time."""

    length: int
    low: int
    high: int

    @classmethod
    def of_rate(cls, rate_hz: float) -> Moments:
        """Return the moments for a sampling rate."""
        length = 2 * round(_MOMENT_S * rate_hz / 2)
        length = 2 * int(scipy.fft.next_fast_len(length // 2, real=True))
        low, high = (round(edge * length / rate_hz) for edge in BAND_HZ)
        return cls(length=length, low=low, high=min(high, length // 2))

    @property
    def hop(self) -> int:
        """Samples from one moment to the next."""
        return self.length // 2

    def spectra(self, sound: Floats) -> Complexes:
        """Return spectra, shape (n_moments, n_bins), whose power sums to that of the sound."""
        window = self._window()
        n_moments = -(-len(sound) // self.hop) + 1
        padded = np.zeros((n_moments + 1) * self.hop)
        padded[self.hop : self.hop + len(sound)] = sound
        frames = np.lib.stride_tricks.sliding_window_view(padded, self.length)[:: self.hop]
        spectrum = scipy.fft.rfft(frames * window, axis=1) / np.sqrt(self.length)
        return np.asarray(spectrum[:, self.low : self.high])

    def sound(self, spectra: Complexes, n_samples: int) -> Floats:
        """Return the sound of spectra."""
        full = np.zeros((len(spectra), self.length // 2 + 1), dtype=np.complex128)
        full[:, self.low : self.high] = spectra
        frames = scipy.fft.irfft(full, self.length, axis=1) * (np.sqrt(self.length) * self._window())
        summed = np.zeros((len(spectra) + 1) * self.hop)
        summed[: -self.hop] += frames[:, : self.hop].ravel()
        summed[self.hop :] += frames[:, self.hop :].ravel()
        return summed[self.hop : self.hop + n_samples]

    def _window(self) -> Floats:
        # The square root of a Hann window: analysis and synthesis together give the sound back.
        return np.asarray(np.sin(np.pi * (np.arange(self.length) + 0.5) / self.length))


def weights_of(spectra: Complexes) -> Floats:
    """Return one over the power per sample of each moment and bin, averaged over its neighbours."""
    from scipy.ndimage import uniform_filter

    power = uniform_filter(spectra.real**2 + spectra.imag**2, _OVER, mode="nearest")
    return np.asarray(1.0 / np.maximum(2 * power, 1e-30))


def without_steady(spectrum: Complexes, n_lines: int, lines_per_repeat: int) -> Complexes:
    """Return a spectrum of a whole grid without what repeats with every frame.

    Parameters
    ----------
    spectrum : numpy.ndarray, shape (n_bins,)
        Of sound or of lines: bin `n_lines` is the line rate.
    n_lines, lines_per_repeat : int
        Lines of the grid and of a frame; 1 takes out the tone of the line rate alone.
    """
    step = n_lines / lines_per_repeat
    order = np.arange(int(len(spectrum) / step) + 1)
    near = np.rint(order * step).astype(np.intp)
    places = np.unique((near[:, np.newaxis] + np.arange(-STEADY_BINS, STEADY_BINS + 1)).ravel())
    kept = spectrum.copy()
    kept[places[(places >= 0) & (places < len(spectrum))]] = 0
    return kept
