"""Whether something plays in a stretch of sound, or only noise and steady tones."""

from __future__ import annotations

import numpy as np

from humcheck.audio.levels import Floats

BLOCK_S = 0.1
#: Octave bands, by their lower edges; below, even noise has too little in a block to be judged.
LOWEST_HZ, HIGHEST_HZ = 100.0, 12_800.0
#: Scatter of a band's power from block to block, relative to that of noise (as a variance), that is more than chance.
UNEVEN = 4.0
#: Level changes from block to block below this (power, 0.1 = 0.4 dB) are no programme, however narrow noise would be.
LEAST_SCATTER = 0.01
#: Share of steps that clicks may take.
CLICKS = 0.1
#: Share of bands that change.
MANY = 0.5


def changes(samples: Floats, rate_hz: float) -> bool:
    """Whether the sound changes from tenth to tenth of a second more than noise does: speech, music, game sound.

    Slow changes count little: each block is compared with the next ones only.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        The stretch.
    rate_hz : float
        Its sampling rate.
    """
    powers, freedoms = _band_powers(samples, rate_hz)
    if len(powers) < 4 or not powers.size:
        return False
    steps = np.diff(powers, axis=0)
    # A few clicks are no programme: the largest steps do not count.
    squares = np.sort(steps**2, axis=0)[: int(np.ceil((1 - CLICKS) * len(steps)))]
    usual = np.maximum(np.median(powers, axis=0) ** 2, 1e-300)
    scatter = 0.5 * squares.mean(axis=0) / usual
    return bool((scatter > np.maximum(UNEVEN / freedoms, LEAST_SCATTER)).mean() >= MANY)


def _band_powers(samples: Floats, rate_hz: float) -> tuple[Floats, Floats]:
    """Return power by block and octave, (n_blocks, n_bands), and each band's degrees of freedom over two."""
    import scipy.fft

    n_block = max(8, round(BLOCK_S * rate_hz))
    n_blocks = len(samples) // n_block
    window = np.hanning(n_block + 2)[1:-1]
    frequency_hz = np.arange(n_block // 2 + 1) * (rate_hz / n_block)
    edges = LOWEST_HZ * 2.0 ** np.arange(0, int(np.log2(min(HIGHEST_HZ, 0.4 * rate_hz) / LOWEST_HZ)) + 1)
    places = np.searchsorted(frequency_hz, edges)
    powers = np.zeros((n_blocks, max(len(edges) - 1, 0)))
    for block in range(n_blocks):
        part = samples[block * n_block : (block + 1) * n_block]
        spectrum = scipy.fft.rfft((part - part.mean(axis=0)).T * window, axis=1)
        power = (spectrum.real**2 + spectrum.imag**2).sum(axis=0)
        powers[block] = [power[low:high].sum() for low, high in zip(places[:-1], places[1:], strict=True)]
    # Hann bins are not independent: two thirds count. Channels may hold the same.
    return powers, np.diff(places) / 1.5
