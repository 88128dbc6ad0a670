"""A take put onto another clock: one offset, one rate, nothing else."""

from __future__ import annotations

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.audio.resampling import resample
from humcheck.audio.spectra import fast_length

#: Samples kept beyond both ends of the stretch that is shifted, so that the FFT's wrap-around stays outside.
_MARGIN = 512


def on_other_clock(samples: Floats, offset: float, slope: float, n_wanted: int) -> tuple[int, Floats]:
    """Return `samples` as they would stand on another clock.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples,)
        One channel.
    offset : float
        Index in `samples` (fractional) of sample 0 of the other clock.
    slope : float
        Samples here per sample of the other clock, minus 1.
    n_wanted : int
        Samples wanted on the other clock, from its sample 0.

    Returns
    -------
    start : int
        Index on the other clock of the first sample returned: above 0 where `samples` begin too late.
    warped : numpy.ndarray, shape (at most n_wanted - start,)

    Notes
    -----
    Resampling by soxr at very high quality, then a shift by less than a sample in the frequency domain. Good to about
    -110 dB below 18 kHz at 48 kHz; the resampler's droop above is part of any linear response fitted afterwards.
    """
    rate = 1.0 + slope
    if slope != 0.0:
        samples = resample(samples[:, None], rate, 1.0)[:, 0]
    place = offset / rate
    whole = int(np.floor(place))
    start = max(0, -whole)
    stop = min(n_wanted, len(samples) - whole - 1)
    if stop <= start:
        return 0, np.zeros(0)
    first, last = start + whole, stop + whole + 1
    padded = samples[max(0, first - _MARGIN) : last + _MARGIN]
    shifted = _advanced(padded, place - whole)
    begin = first - max(0, first - _MARGIN)
    return start, shifted[begin : begin + stop - start]


def _advanced(samples: Floats, fraction: float) -> Floats:
    """Return the samples `fraction` of a sample later in the signal."""
    import scipy.fft

    if fraction == 0.0:
        return samples
    size = fast_length(len(samples) + 2 * _MARGIN)
    spectrum = scipy.fft.rfft(samples, size)
    spectrum *= np.exp(2j * np.pi * np.arange(len(spectrum)) / size * fraction)
    return np.asarray(scipy.fft.irfft(spectrum, size)[: len(samples)])
