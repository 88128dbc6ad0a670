"""How strong a line is against what stands beside it: the programme's own spectrum is the noise."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.estimates.lines.spectrum import Complexes
from humcheck.estimates.programme_lines.basebands import FLAT_HZ, Indices

#: Distance from the line at which its surroundings begin, and how far they reach, in widths of a line.
GUARD_WIDTHS = 2.0
RING_WIDTHS = 6.0
#: And how far they reach at least.
RING_HZ = 1.5
#: Surroundings of which less than this is in the band are not used.
LEAST_RING = 0.25
#: Mean of the logarithm of exponentially distributed power is ln(mean) minus Euler's constant.
EULER = 0.5772156649015329
PADDING = 4
#: Time over which the power of a band is smoothed.
SMOOTHED_S = 0.5
#: A moment counts as no quieter than this share of the tenth quietest percent, or of the median: else silence of
#: gates and codecs, where no hum passes either, would decide alone.
QUIETEST_SHARE = 0.5
MEDIAN_SHARE = 1e-4
TINY = 1e-40


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSpectrum:
    """Matched filter of a line at every distance from the middle of its band.

    Attributes
    ----------
    amplitude : numpy.ndarray, shape (n_orders, n_ch, n_bins)
        Complex amplitude of a line there.
    variance : numpy.ndarray, shape (n_orders, n_ch, n_bins)
        What the surroundings, the louder side of them, make of it: E|error|^2.
    bin_hz : float
        Distance of the bins; the middle one is number ``n_bins // 2``.
    length_s : float
        Length of time that the weights leave.
    """

    amplitude: Complexes
    variance: Floats
    bin_hz: float
    length_s: float

    @property
    def gain(self) -> Floats:
        """Power of each line over its surroundings."""
        return squared(self.amplitude) / np.maximum(self.variance, TINY)

    @property
    def middle(self) -> int:
        """Place of the middle of the band."""
        return int(self.amplitude.shape[2] // 2)


def squared(values: Complexes) -> Floats:
    """Return the squared magnitudes."""
    return np.asarray(values.real**2 + values.imag**2)


def powers(once: Complexes, number: int) -> Complexes:
    """Return the first, second, third... power, stacked: products cost far less than exponentials."""
    stacked = np.empty((number, *once.shape), dtype=np.complex128)
    stacked[0] = once
    for last, following in pairwise(stacked):
        np.multiply(last, once, out=following)
    return stacked


def line_at_middle(values: Complexes, weight: Floats, rate_hz: float) -> tuple[Complexes, Floats]:
    """Return what `line_spectrum` says of the middle of each band, in a fraction of its time.

    Parameters
    ----------
    values, weight : numpy.ndarray, shape (..., n_times)
        Envelopes, and how much each moment counts; all of the same length of time.
    rate_hz : float
        Values a second.

    Returns
    -------
    amplitude, variance : numpy.ndarray, shape (...)
        Complex amplitude of a line there, and what the surroundings, the louder side of them, make of it.
    """
    import scipy.fft

    n_fft = int(scipy.fft.next_fast_len(PADDING * values.shape[-1]))
    bin_hz = rate_hz / n_fft
    total, length_s = _weights(weight, rate_hz)
    spectrum = scipy.fft.fft(weight * values, n_fft)
    # Distances in bins, negative frequencies at the end of the spectrum.
    below, above = n_fft // 2, n_fft - 1 - n_fft // 2
    reach = int(np.ceil((FLAT_HZ + 0.5) / bin_hz)) - 1
    guard, ring = _guard_and_ring(bin_hz, length_s)
    sides = [
        np.arange(max(-guard - ring, -below, -reach), -guard),
        np.arange(guard + 1, min(guard + ring, above, reach) + 1),
    ]
    used = [side for side in sides if side.size > LEAST_RING * ring]
    if not used:
        used = [np.arange(-min(reach, below), min(reach, above) + 1)]
    beside = [_mean_log_power(spectrum[..., side], total) for side in used]
    return spectrum[..., 0] / total, np.asarray(np.exp(np.max(beside, axis=0) + EULER))


def _mean_log_power(spectrum: Complexes, total: Floats) -> Floats:
    """Return the mean over the last axis of the logarithm of the power."""
    power = squared(spectrum) / total[..., np.newaxis] ** 2
    return np.asarray(np.log(np.maximum(power, TINY)).mean(axis=-1))


def _weights(weight: Floats, rate_hz: float) -> tuple[Floats, float]:
    """Return the sum of the weights of each band, and the length of time that they leave."""
    total = np.maximum(weight.sum(axis=-1), TINY)
    lengths_s = total**2 / np.maximum((weight**2).sum(axis=-1), TINY) / rate_hz
    return total, max(float(np.quantile(lengths_s, 0.2)), 1.0 / rate_hz)


def _guard_and_ring(bin_hz: float, length_s: float) -> tuple[int, int]:
    """Return where the surroundings of a line begin and how wide they are, in bins."""
    guard = int(np.ceil(GUARD_WIDTHS / length_s / bin_hz))
    return guard, int(np.ceil(max(RING_HZ, RING_WIDTHS / length_s) / bin_hz))


def line_spectrum(values: Complexes, weight: Floats, rate_hz: float) -> LineSpectrum:
    """Return the weighted spectrum of bands and of what stands beside each of its bins.

    Parameters
    ----------
    values, weight : numpy.ndarray, shape (n_orders, n_ch, n_times)
        Envelopes, and how much each moment counts.
    rate_hz : float
        Values a second.
    """
    import scipy.fft

    n_fft = int(scipy.fft.next_fast_len(PADDING * values.shape[2]))
    bin_hz = rate_hz / n_fft
    total, length_s = _weights(weight, rate_hz)
    amplitude = scipy.fft.fftshift(scipy.fft.fft(weight * values, n_fft, axis=2), axes=2) / total[:, :, np.newaxis]
    variance = _surroundings(squared(amplitude), bin_hz, length_s)
    return LineSpectrum(amplitude=amplitude, variance=variance, bin_hz=bin_hz, length_s=length_s)


def _surroundings(power: Floats, bin_hz: float, length_s: float) -> Floats:
    """Return the power beside each bin, the louder of both sides, shape as `power`: a geometric mean, as of noise."""
    n_bins = power.shape[2]
    inside = np.abs(np.arange(n_bins) - n_bins // 2) * bin_hz < FLAT_HZ + 0.5
    log_power = np.where(inside, np.log(np.maximum(power, TINY)), 0.0)
    sums = np.cumsum(np.pad(log_power, ((0, 0), (0, 0), (1, 0))), axis=2)
    counts = np.cumsum(np.pad(inside.astype(np.float64), (1, 0)))
    guard, ring = _guard_and_ring(bin_hz, length_s)
    place = np.arange(n_bins)

    def mean(first: Indices, last: Indices) -> Floats:
        low, high = np.clip(first, 0, n_bins), np.clip(last, 0, n_bins)
        number = counts[high] - counts[low]
        return np.where(
            number > LEAST_RING * ring, (sums[:, :, high] - sums[:, :, low]) / np.maximum(number, 1), -np.inf
        )

    both = np.maximum(mean(place - guard - ring, place - guard), mean(place + guard + 1, place + guard + ring + 1))
    nowhere = ~np.isfinite(both)
    everywhere = (sums[:, :, -1:] / max(counts[-1], 1)) * np.ones(n_bins)
    return np.asarray(np.exp(np.where(nowhere, everywhere, both) + EULER))


def smoothed_power(values: Complexes, rate_hz: float) -> Floats:
    """Return the power of each band over time, shape as `values`, nowhere quieter than a share of its quiet moments."""
    power = squared(values)
    n_times = power.shape[2]
    half = max(int(SMOOTHED_S * rate_hz) // 2, 1)
    sums = np.cumsum(np.pad(power, ((0, 0), (0, 0), (1, 0))), axis=2)
    place = np.arange(n_times)
    low, high = np.clip(place - half, 0, n_times), np.clip(place + half + 1, 0, n_times)
    smooth = (sums[:, :, high] - sums[:, :, low]) / (high - low)
    quiet, median = np.quantile(smooth, (0.1, 0.5), axis=2, keepdims=True)
    return np.asarray(np.maximum(smooth, np.maximum(QUIETEST_SHARE * quiet, MEDIAN_SHARE * median) + TINY))
