"""The quiet section's spectrum as the search for coded rows needs it: whitened, strong lines limited."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import Floats
from humcheck.errors import MeasurementError
from humcheck.estimates.lines.bands import mixing_matrix

Complexes = npt.NDArray[np.complex64]

LOWEST_HZ, HIGHEST_HZ = 40.0, 20_000.0
#: Share of the rate up to which a recorder's filter is trusted.
USABLE_SHARE = 0.45
SHORTEST_S = 2.0
#: Share of the section that both faded flanks take together.
FLANKS = 0.1
#: Width of the stretches whose median is the noise: wider than lines and their skirts.
FLOOR_HZ = 20.0
#: Amplitude, in standard deviations of the noise, at which a line is limited: hum must not outweigh hundreds of lines.
LIMIT = 3.5
#: Bins of the padded spectrum for one of the plain one.
PADDING = 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RowsSpectrum:
    """Spectrum of one quiet section; phases are those in its middle.

    Attributes
    ----------
    rate_hz : float
        Sampling rate.
    n_samples : int
        Samples used, from the section's start.
    window : numpy.ndarray, shape (n_samples,)
        What the section was faded with.
    values : numpy.ndarray, shape (n_ch, n_bins)
        Peak amplitudes of lines, full scale 1.0; bins lie `bin_hz` apart.
    variance : numpy.ndarray, shape (n_ch, n_floor)
        Variance of the noise of `values` at multiples of `floor_step` bins.
    white : numpy.ndarray, shape (n_mixed, n_bins)
        Whitened and limited, channels mixed so that their noise is independent.
    """

    rate_hz: float
    n_samples: int
    window: npt.NDArray[np.float32]
    values: Complexes
    variance: Floats
    floor_step: int
    white: Complexes

    @property
    def duration_s(self) -> float:
        """Length used."""
        return self.n_samples / self.rate_hz

    @property
    def bin_hz(self) -> float:
        """Distance of the bins."""
        return self.rate_hz / (PADDING * self.n_samples)

    @property
    def highest_hz(self) -> float:
        """Highest frequency used."""
        return min(HIGHEST_HZ, USABLE_SHARE * self.rate_hz)

    def noise_variance(self, frequency_hz: Floats) -> Floats:
        """Return the variance of the noise of `values` at frequencies, shape (n_ch, n)."""
        place = np.asarray(frequency_hz) / (self.bin_hz * self.floor_step) - 0.5
        grid = np.arange(self.variance.shape[1])
        return np.stack([np.interp(place, grid, channel) for channel in self.variance])


def rows_spectrum(samples: Floats, rate_hz: float) -> RowsSpectrum:
    """Return the spectrum of a quiet section.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_ch)
        Full scale = 1.0.
    rate_hz : float
        Sampling rate.

    Raises
    ------
    MeasurementError
        If the section is shorter than 2 s, holds samples that are not finite, or a channel is digital silence.
    """
    from scipy import fft

    if len(samples) < SHORTEST_S * rate_hz:
        raise MeasurementError(
            f"The quiet section lasts {len(samples) / rate_hz:.1f} s; at least {SHORTEST_S:.0f} s is needed for the "
            "picture to be found in it."
        )
    n_samples = _fast_length(len(samples))
    window = _flat_window(n_samples)
    faded = np.ascontiguousarray(samples[:n_samples].T, dtype=np.float32) * window
    faded -= faded.mean(axis=1, keepdims=True) * window / window.mean()
    n_bins = int(min(HIGHEST_HZ, USABLE_SHARE * rate_hz) * PADDING * n_samples / rate_hz) + PADDING * 100
    spectrum = fft.rfft(faded, PADDING * n_samples, axis=1)[:, :n_bins]
    turn = np.array([1, 1j, -1, -1j], dtype=np.complex64)[np.arange(spectrum.shape[1]) % 4]
    values = np.asarray(spectrum * (turn * np.float32(2 / window.sum())), dtype=np.complex64)
    if not np.isfinite(values).all():
        raise MeasurementError("The quiet section holds samples that are no numbers.")
    step = max(8, round(FLOOR_HZ * PADDING * n_samples / rate_hz))
    variance = _floor(values, step)
    if not (variance > 0).all():
        raise MeasurementError("A channel of the quiet section is digital silence: no leak can be sought in it.")
    return RowsSpectrum(
        rate_hz=rate_hz,
        n_samples=n_samples,
        window=window,
        values=values,
        variance=variance,
        floor_step=step,
        white=_whitened(values, variance, step),
    )


def _fast_length(n: int) -> int:
    """Return an even length not above `n` at which the transform is fast."""
    from scipy import fft

    length = n - n % 2
    while fft.next_fast_len(length, real=True) != length or length % 2:
        length -= 2
        if n - length > 2000:
            return n - n % 2
    return length


def _flat_window(n: int) -> npt.NDArray[np.float32]:
    flank = round(FLANKS / 2 * n)
    rise = np.sin(0.5 * np.pi * (np.arange(flank) + 0.5) / flank) ** 2
    return np.concatenate([rise, np.ones(n - 2 * flank), rise[::-1]]).astype(np.float32)


def _floor(values: Complexes, step: int) -> Floats:
    """Return the noise's variance in stretches of `step` bins; the median of a noise power is its mean times ln 2."""
    n_steps = values.shape[1] // step
    power = values.real**2 + values.imag**2
    stretches = power[:, : n_steps * step].reshape(values.shape[0], n_steps, step)
    return np.asarray(np.median(stretches, axis=2) / np.log(2.0), dtype=np.float64)


def _whitened(values: Complexes, variance: Floats, step: int) -> Complexes:
    n_bins = values.shape[1]
    place = (np.arange(n_bins, dtype=np.float32) + 0.5) / step - 0.5
    grid = np.arange(variance.shape[1])
    scale = np.stack([np.interp(place, grid, 1 / np.sqrt(channel)) for channel in variance]).astype(np.float32)
    white = _limited(values * scale)
    if len(white) == 2:
        mixing = mixing_matrix(complex(np.mean(np.conj(white[0]) * white[1])))
        if mixing is not None:
            white = _limited(np.asarray(mixing.astype(np.complex64) @ white))
    return white


def _limited(white: Complexes) -> Complexes:
    size = np.abs(white)
    return np.asarray(white * np.minimum(1.0, LIMIT / np.maximum(size, 1e-9)), dtype=np.complex64)
