"""Power spectra scaled so that powers add up: one-sided mean square in every bin.

The sum over the bins of a band is the mean square in that band, for tones and for noise alike, whatever the window.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.audio.power_spectrum import BandReading, PowerSpectrum, Weighting
from humcheck.audio.windows import WINDOWS, enbw_bins, window

__all__ = ["BandReading", "PowerSpectrum", "Weighting", "fast_length", "full_spectrum", "welch_spectrum"]

_MOST_BATCHES = 16
#: Short segments are transformed together, so many samples of a channel at a time.
_TRANSFORMED_SAMPLES = 1 << 16


def fast_length(n_samples: int) -> int:
    """Return the next length at or above `n_samples` at which a real FFT is fast.

    A real FFT of an awkward length costs eleven times that of a fast one: always pad to this.
    """
    import scipy.fft

    return int(scipy.fft.next_fast_len(max(n_samples, 1), real=True))


def full_spectrum(samples: Floats, rate_hz: float, window_name: str = "hann") -> PowerSpectrum:
    """Return the spectrum of all the samples in one FFT, padded to a fast length.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        Full scale = 1.0. The mean is not taken off.
    rate_hz : float
        Sampling rate in Hz.
    window_name : str
        See `humcheck.audio.windows.window`.
    """
    _require_two_dimensions(samples)
    n_samples = len(samples)
    n_fft = fast_length(n_samples)
    values = window(window_name, n_samples)
    power = np.ascontiguousarray(_one_sided(np.ascontiguousarray(samples.T), values, n_fft).T)
    squares = values**2
    return PowerSpectrum(
        frequency_hz=_bin_centres_hz(len(power), rate_hz / n_fft),
        power=power,
        bin_hz=rate_hz / n_fft,
        enbw_bins=enbw_bins(values) * n_fft / n_samples,
        main_lobe_hz=WINDOWS[window_name].main_lobe_bins * rate_hz / n_samples,
        n_averages=1.0,
        effective_s=float(squares.sum() ** 2 / (squares**2).sum()) / rate_hz,
        batches=power[None],
        batch_factor=1.0,
        batch_freedom=0.0,
    )


def welch_spectrum(
    samples: Floats | Iterable[Floats], rate_hz: float, *, segment_s: float = 2.0, window_name: str = "hann"
) -> PowerSpectrum:
    """Return the mean spectrum of overlapping windowed segments (Welch's method).

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels), or iterable of such arrays
        Full scale = 1.0; an iterable gives successive blocks of one stretch of any length, of which only a few
        segments are held at once.
    rate_hz : float
        Sampling rate in Hz.
    segment_s : float
        Length of a segment; made a little longer for a fast FFT, shorter if there is less sound than that.
    window_name : str
        See `humcheck.audio.windows.window`.

    Raises
    ------
    ValueError
        If there are fewer than 16 samples.

    Notes
    -----
    The mean of each segment is taken off first. Up to 16 successive batches of segments are kept to show the scatter.
    """
    length = fast_length(max(round(segment_s * rate_hz), 16))
    blocks: Iterable[Floats] = [samples] if isinstance(samples, np.ndarray) else samples
    shape = WINDOWS[window_name]
    hop = max(round(length * (1.0 - shape.overlap)), 1)
    batches, values = _Batches(), np.zeros(0)
    for segments in _segments(blocks, length, hop):
        if segments.shape[2] != len(values):
            values = window(window_name, segments.shape[2])
        batches.add(_one_sided(segments - segments.mean(axis=2, keepdims=True), values, len(values)))
    return batches.spectrum(values, hop, rate_hz, shape.main_lobe_bins)


class _Batches:
    """Running means of a growing number of segments: at most `_MOST_BATCHES`, all of the same size.

    Powers come in as (n_segments, n_channels, n_bins).
    """

    def __init__(self) -> None:
        self.size = 1
        self.finished: list[Floats] = []
        self.open: Floats | None = None
        self.n_open = 0
        self.n_segments = 0

    def add(self, powers: Floats) -> None:
        while len(powers):
            taken, powers = powers[: self.size - self.n_open], powers[self.size - self.n_open :]
            self.n_segments += len(taken)
            self.n_open += len(taken)
            power = taken.sum(axis=0)
            self.open = power if self.open is None else self.open + power
            if self.n_open == self.size:
                self._finish(self.open)

    def _finish(self, power: Floats) -> None:
        self.finished.append(power / self.size)
        self.open, self.n_open = None, 0
        if len(self.finished) == _MOST_BATCHES:
            self.finished = [(a + b) / 2.0 for a, b in zip(self.finished[::2], self.finished[1::2], strict=True)]
            self.size *= 2

    def spectrum(self, values: Floats, hop: int, rate_hz: float, main_lobe_bins: float) -> PowerSpectrum:
        total = np.sum(self.finished, axis=0) * self.size
        if self.open is not None:
            total = total + self.open
        power = np.ascontiguousarray((total / self.n_segments).T)
        length = len(values)
        squares = values**2
        narrow = _mean_variance([_correlation(values, hop * lag) ** 2 for lag in range(_lags(length, hop))])
        broad = _mean_variance([_correlation(squares, hop * lag) for lag in range(_lags(length, hop))])
        one_segment_s = float(squares.sum() ** 2 / (squares**2).sum()) / rate_hz
        factor, freedom = _batch_statistics(broad, self.size, len(self.finished), self.n_segments)
        return PowerSpectrum(
            frequency_hz=_bin_centres_hz(len(power), rate_hz / length),
            power=power,
            bin_hz=rate_hz / length,
            enbw_bins=enbw_bins(values),
            main_lobe_hz=main_lobe_bins * rate_hz / length,
            n_averages=1.0 / narrow(self.n_segments),
            effective_s=one_segment_s / broad(self.n_segments),
            batches=np.array(self.finished).transpose(0, 2, 1),
            batch_factor=factor,
            batch_freedom=freedom,
        )


def _segments(blocks: Iterable[Floats], length: int, hop: int) -> Iterator[Floats]:
    """Yield successive segments, some at a time as (n_segments, n_channels, length), contiguous for the FFT.

    One shorter segment where there is less sound than `length`.
    """
    most = max(_TRANSFORMED_SAMPLES // length, 1)
    held: Floats | None = None
    any_yet = False
    for block in blocks:
        _require_two_dimensions(block)
        held = block if held is None or not len(held) else np.concatenate([held, block])
        number = max((len(held) - length) // hop + 1, 0)
        any_yet = any_yet or number > 0
        if number:
            segments = np.lib.stride_tricks.sliding_window_view(held, length, axis=0)[::hop]
        for first in range(0, number, most):
            yield np.ascontiguousarray(segments[first : min(first + most, number)])
        held = held[number * hop :]
    if any_yet:
        return
    if held is None or len(held) < 16:
        raise ValueError(f"at least 16 samples are needed, got {0 if held is None else len(held)}")
    yield np.ascontiguousarray(held.T[np.newaxis])


def _one_sided(channels: Floats, values: Floats, n_fft: int) -> Floats:
    """Return the one-sided mean square in each bin, (..., n_bins), of (..., n_samples)."""
    import scipy.fft

    transformed = scipy.fft.rfft(channels * values, n_fft)
    power = transformed.real**2 + transformed.imag**2
    power *= 2.0 / (n_fft * np.sum(values**2))
    power[..., 0] /= 2.0
    if n_fft % 2 == 0:
        power[..., -1] /= 2.0
    return power


def _bin_centres_hz(n_bins: int, bin_hz: float) -> Floats:
    return np.arange(n_bins, dtype=np.float64) * bin_hz


def _lags(length: int, hop: int) -> int:
    return -(-length // hop)


def _correlation(values: Floats, shift: int) -> float:
    """Return the correlation of a window with itself, shifted."""
    return float(np.dot(values[: len(values) - shift], values[shift:]) / np.dot(values, values))


def _mean_variance(correlations: list[float]) -> Callable[[int], float]:
    """Return a function: the variance of the mean of n successive segments, over that of one."""

    def variance(n: int) -> float:
        lagged = sum((1.0 - lag / n) * r for lag, r in enumerate(correlations) if 0 < lag < n)
        return (1.0 + 2.0 * lagged) / n

    return variance


def _batch_statistics(
    mean_variance: Callable[[int], float], size: int, n_batches: int, n_segments: int
) -> tuple[float, float]:
    """Return variance of the mean over the expected variance among batches, and the latter's degrees of freedom."""
    if n_batches < 2:
        return 1.0, 0.0
    one, mean, every = mean_variance(size), mean_variance(size * n_batches), mean_variance(n_segments)
    # The mean square deviation of n correlated values from their own mean is (one - mean) * n / (n - 1).
    expected = (one - mean) * n_batches / (n_batches - 1)
    return every / expected, one / mean - 1.0


def _require_two_dimensions(samples: Floats) -> None:
    if samples.ndim != 2:
        raise ValueError(f"samples must have shape (n_samples, n_channels), got {samples.shape}")
