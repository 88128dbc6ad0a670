"""A source played through the linear part of a path: filters as analogue ones, rates changed exactly, by one long FFT.

What is multiplied is the spectrum of the whole source, so a first-order filter is the analogue one up to half the
rate, and a change of rate has no interpolation error (above half the lower rate nothing remains).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from scipy import fft

from humcheck.audio.levels import Floats
from humcheck.simulation.components import Complexes
from humcheck.simulation.distortion import Polynomial, bend
from humcheck.simulation.lowpass import PASS_BAND
from humcheck.simulation.transfer import LinearPath

#: Silence kept before and after the source, for filters that ring: by then they are 150 dB down.
_LEAST_PAD_S = 0.5
_RINGING = 18.0
_MOST_PAD_S = 16.0


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


def ringing_s(lowest_corner_hz: float) -> float:
    """Return how much silence a path needs after the source, in doubling steps: few lengths serve many paths."""
    needed_s = _RINGING / (2 * math.pi * lowest_corner_hz) if lowest_corner_hz > 0 else 0.0
    pad_s = _LEAST_PAD_S
    while pad_s < min(needed_s, _MOST_PAD_S):
        pad_s *= 2
    return pad_s


def source_spectrum(source: Floats, rate_hz: int, take_rate_hz: int, pad_s: float) -> SourceSpectrum:
    """Return the spectrum of a source, shape (n_samples, 2), with silence around it, of a length that fits both rates.

    Parameters
    ----------
    source : numpy.ndarray, shape (n_samples, 2)
        Sound, full scale = 1.
    rate_hz, take_rate_hz : int
        Rate of the source, and the rate at which it will be wanted.
    pad_s : float
        Silence after the source, see `ringing_s`.
    """
    ratio = Fraction(take_rate_hz, rate_hz)
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
        Curve that the sound meets after the filters.
    """
    ratio = Fraction(take_rate_hz, source.rate_hz)
    n_out = source.n_padded * ratio.numerator // ratio.denominator
    bins = _through_path(source, path, clock_factor, n_out // 2 + 1)
    bins *= n_out / source.n_padded
    if ratio != 1:
        _fade_top(bins)
    samples = fft.irfft(bins, n_out)
    if distortion is not None:
        samples = bend(samples, distortion)
    first_index = source.n_before * ratio.numerator // ratio.denominator
    return Played(samples=samples.T, first_index=first_index)


def _through_path(source: SourceSpectrum, path: LinearPath, clock_factor: float, n_bins_out: int) -> Complexes:
    n_kept = min(source.bins.shape[1], n_bins_out)
    bins = source.bins[:, :n_kept]
    if path.is_plain:
        return np.asarray(path.matrix(np.zeros(1))[0] @ bins)
    out = np.empty((2, n_kept), dtype=np.complex128)
    step_hz = source.rate_hz / source.n_padded * clock_factor
    for start in range(0, n_kept, 1 << 14):
        stop = min(start + (1 << 14), n_kept)
        matrix = path.matrix(np.arange(start, stop) * step_hz)
        left, right = bins[0, start:stop], bins[1, start:stop]
        for output in range(2):
            out[output, start:stop] = matrix[:, output, 0] * left + matrix[:, output, 1] * right
    return out


def _fade_top(bins: Complexes) -> None:
    """Let the top two hundredths of the band fade: a brick wall would ring for seconds."""
    n_bins = bins.shape[1]
    start = int(2 * PASS_BAND * n_bins)
    bins[:, start:] *= np.cos(np.pi / 2 * np.arange(n_bins - start) / (n_bins - start)) ** 2
