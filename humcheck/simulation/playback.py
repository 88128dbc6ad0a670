"""A source played through the linear part of a path: filters as analogue ones, rates changed exactly, by one long FFT.

What is multiplied is the spectrum of the whole source, so a first-order filter is the analogue one up to half the
rate, and a change of rate has no interpolation error (above half the lower rate nothing remains).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from scipy import fft

from humcheck.audio.levels import Floats
from humcheck.simulation.components import Complexes
from humcheck.simulation.distortion import Polynomial
from humcheck.simulation.transfer import LinearPath
from humcheck.simulation.warp import PASS_BAND

#: Silence kept before and after the source, for filters that ring: by then they are 150 dB down.
_LEAST_PAD_S = 0.25
_RINGING = 18.0
_MOST_PAD_S = 20.0


@dataclass(frozen=True, slots=True, eq=False)
class SourceSpectrum:
    """Spectrum of a source file, padded for playback.

    Attributes
    ----------
    bins : numpy.ndarray, shape (2, n_bins), complex
        Spectrum of each channel.
    n_padded, n_before, rate_hz : int
        Length of the transform, silent samples before the source, rate of the source.
    """

    bins: Complexes
    n_padded: int
    n_before: int
    rate_hz: int


@dataclass(frozen=True, slots=True, eq=False)
class Played:
    """A source after the linear path, at the take's nominal rate and in the source's own time.

    Attributes
    ----------
    samples : numpy.ndarray, shape (n_samples, 2)
        Sound at the end of the path.
    first_index : int
        Sample of the array that holds source time 0.
    """

    samples: Floats
    first_index: int


def source_spectrum(source: Floats, rate_hz: int, take_rate_hz: int, lowest_corner_hz: float) -> SourceSpectrum:
    """Return the spectrum of a source, shape (n_samples, 2), padded so that both rates fit it."""
    ratio = Fraction(take_rate_hz, rate_hz)
    pad_s = _LEAST_PAD_S
    if lowest_corner_hz > 0 and math.isfinite(lowest_corner_hz):
        pad_s = min(max(pad_s, _RINGING / (2 * math.pi * lowest_corner_hz)), _MOST_PAD_S)
    unit = ratio.denominator
    n_before = -(-int(_LEAST_PAD_S * rate_hz) // unit) * unit
    needed = n_before + source.shape[0] + int(pad_s * rate_hz)
    # The transform's length is a multiple of the ratio's lower term, so the new rate has a whole length too.
    n_padded = unit * int(fft.next_fast_len(-(-needed // unit), real=True))
    padded = np.zeros((2, n_padded))
    padded[:, n_before : n_before + source.shape[0]] = source.T
    return SourceSpectrum(
        bins=fft.rfft(padded, overwrite_x=True), n_padded=n_padded, n_before=n_before, rate_hz=rate_hz
    )


def play(
    source: SourceSpectrum,
    take_rate_hz: int,
    path: LinearPath,
    *,
    clock_factor: float = 1.0,
    distortion: Polynomial | None = None,
) -> Played:
    """Return the source at the far end of the path.

    Parameters
    ----------
    source : SourceSpectrum
        What is played.
    take_rate_hz : int
        Rate of the result, in the source's own time.
    path : LinearPath
        Filters, gains, crosstalk and wiring.
    clock_factor : float
        Actual over nominal rate of the player: the filters see the frequencies that really come.
    distortion : Polynomial, optional
        Curve that the sound meets after the filters; what it makes above half the rate is filtered away.
    """
    ratio = Fraction(take_rate_hz, source.rate_hz)
    n_out = source.n_padded * ratio.numerator // ratio.denominator
    bins = _through_path(source, path, clock_factor, n_out // 2 + 1)
    bins *= n_out / source.n_padded
    if ratio != 1:
        _fade_top(bins)
    samples = fft.irfft(bins, n_out) if distortion is None else _distorted(bins, n_out, distortion)
    first_index = source.n_before * ratio.numerator // ratio.denominator
    return Played(samples=samples.T, first_index=first_index)


def _through_path(source: SourceSpectrum, path: LinearPath, clock_factor: float, n_bins_out: int) -> Complexes:
    n_kept = min(source.bins.shape[1], n_bins_out)
    bins = source.bins[:, :n_kept]
    if path.is_plain:
        return np.asarray(path.matrix(np.zeros(1))[0] @ bins)
    out = np.empty((2, n_kept), dtype=np.complex128)
    step_hz = source.rate_hz / source.n_padded * clock_factor
    for start in range(0, n_kept, 1 << 15):
        stop = min(start + (1 << 15), n_kept)
        matrix = path.matrix(np.arange(start, stop) * step_hz)
        out[:, start:stop] = np.einsum("foi,if->of", matrix, bins[:, start:stop])
    return out


def _fade_top(bins: Complexes) -> None:
    """Let the top two hundredths of the band fade: a brick wall would ring for seconds."""
    n_bins = bins.shape[1]
    start = int(2 * PASS_BAND * n_bins)
    bins[:, start:] *= np.cos(np.pi / 2 * np.arange(n_bins - start) / (n_bins - start)) ** 2


def _distorted(bins: Complexes, n_out: int, distortion: Polynomial) -> Floats:
    """Apply a polynomial at a rate so high that nothing it makes folds back into the band."""
    factor = -(-(distortion.degree + 1) // 2)
    result = np.empty((2, n_out))
    curve: Callable[[Floats], Floats] = distortion.apply
    for channel in range(2):
        fine = fft.irfft(bins[channel] * factor, n_out * factor)
        spectrum = fft.rfft(curve(fine), overwrite_x=True)[: n_out // 2 + 1]
        result[channel] = fft.irfft(spectrum / factor, n_out)
    return result
