"""A faint tone of known frequency somewhere in a recording: its loudest second, or what it has at most.

For a sound that is too faint or too coloured for the track to be recognised in it, as what leaks from another port.
The level is that of the loudest window of one second; with each window's noise taken from the frequencies beside it, a
tone is there where no chance of noise, over all windows and frequencies tried, would stand out so far.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats, amplitude_to_dbfs

WINDOW_S = 1.0
HOP_S = 0.25
#: The clocks of player and recorder shift the tone by up to 300 ppm.
_SHIFTS_HZ = np.arange(-0.4, 0.41, 0.1)
#: Noise is read this far beside the tone; the median leaves out the few mains harmonics there.
_BESIDE_HZ = np.concatenate([np.arange(-40.0, -5.5, 1.0), np.arange(6.0, 40.5, 1.0)])
_FALSE_ALARM = 1e-4
#: A tone this many standard deviations above the threshold would have been found with 95 %.
_SURELY_FOUND = 1.645
#: Scalloping between the shifts and what a second's window leaves of a level that moves.
METHOD_SD_DB = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class LoudestTone:
    """The tone in each channel.

    Attributes
    ----------
    found : numpy.ndarray of bool, shape (n_ch,)
        Whether it stands out of the noise.
    level_dbfs : numpy.ndarray, shape (n_ch,)
        Level in its loudest second; where it is not found, what it would have at most (one-sided 95 %).
    sd_db : numpy.ndarray, shape (n_ch,)
        Standard uncertainty, infinite where it is not found.
    """

    found: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
    level_dbfs: Floats
    sd_db: Floats


def loudest_tone(blocks: Iterable[tuple[int, Floats]], rate_hz: float, tone_hz: float) -> LoudestTone | None:
    """Seek a tone in a recording.

    Parameters
    ----------
    blocks : iterable of (int, numpy.ndarray of shape (n, n_ch))
        The recording from its beginning, block by block.
    rate_hz : float
        Sampling rate.
    tone_hz : float
        Frequency of the tone.

    Returns
    -------
    LoudestTone or None
        None if the recording is shorter than one window.
    """
    import scipy.fft

    size, hop = round(WINDOW_S * rate_hz), round(HOP_S * rate_hz)
    window = np.hanning(size + 1)[:-1]
    window *= 2.0 / window.sum()
    turns = np.exp(-2j * np.pi * np.outer(tone_hz + _SHIFTS_HZ, np.arange(size)) / rate_hz)
    beside = np.round((tone_hz + _BESIDE_HZ) * WINDOW_S).astype(int)
    tones, noises = [], []
    for part in _windows(blocks, size, hop):
        weighted = part * window[:, np.newaxis]
        tones.append((np.abs(turns.real @ weighted) ** 2 + np.abs(turns.imag @ weighted) ** 2).max(axis=0))
        spectrum = scipy.fft.rfft(weighted, axis=0)[beside]
        noises.append(np.median(np.abs(spectrum) ** 2, axis=0) / math.log(2.0))
    if not tones:
        return None
    tone, noise = np.stack(tones), np.stack(noises)
    best = np.argmax(tone, axis=0)
    channels = np.arange(tone.shape[1])
    loudest, hiss = tone[best, channels], np.maximum(noise[best, channels], 1e-30)
    threshold = math.log(len(tone) * _SHIFTS_HZ.size / _FALSE_ALARM)
    found = loudest > threshold * hiss
    least_sure = hiss * (math.sqrt(threshold) + _SURELY_FOUND / math.sqrt(2.0)) ** 2
    value = np.where(found, np.maximum(loudest - hiss, 1e-30), np.maximum(least_sure, loudest))
    from_noise = 10.0 / math.log(10.0) * np.sqrt(2.0 * hiss / np.maximum(loudest, 1e-30))
    return LoudestTone(
        found=found,
        level_dbfs=np.array([amplitude_to_dbfs(math.sqrt(one)) for one in value]),
        sd_db=np.where(found, np.hypot(from_noise, METHOD_SD_DB), np.inf),
    )


def _windows(blocks: Iterable[tuple[int, Floats]], size: int, hop: int) -> Iterable[Floats]:
    """Yield the recording's windows, whatever its blocks."""
    kept: Floats | None = None
    for _, samples in blocks:
        kept = samples if kept is None else np.concatenate([kept, samples])
        start = 0
        while start + size <= len(kept):
            yield kept[start : start + size]
            start += hop
        kept = kept[start:]
