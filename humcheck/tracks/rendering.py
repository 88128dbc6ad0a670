"""A track as the samples of its file: the waveform, dither, and the steps of the word length."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.dither import quantise, tpdf_dither
from humcheck.errors import UnusableCall
from humcheck.tracks.markers import LENGTHS, NAMES
from humcheck.tracks.sections import Layout
from humcheck.tracks.waveforms import track_waveform

RATES_HZ = (44100, 48000, 96000)
BITS = (16, 24)

# Part of what a file holds: dither is drawn block by block.
_BLOCK_SAMPLES = 1 << 18


def n_track_samples(layout: Layout, rate_hz: int) -> int:
    """Return how many samples a track file has in each channel."""
    return round(layout.duration_s * rate_hz)


def track_blocks(layout: Layout, rate_hz: int, bits: int) -> Iterator[NDArray[np.float64]]:
    """Yield the samples of a track file, block by block.

    The dither's seed is made of what the file is, so that the same call gives the same file.

    Parameters
    ----------
    layout : Layout
        Which track.
    rate_hz : int
        One of `RATES_HZ`.
    bits : int
        Word length, one of `BITS`.

    Yields
    ------
    numpy.ndarray, shape (n, 2)
        Full scale = 1, already rounded to the steps of the word length; exact zeros in the true-zero section.

    Raises
    ------
    UnusableCall
        If tracks are not made at that rate or word length.
    """
    if rate_hz not in RATES_HZ or bits not in BITS:
        raise UnusableCall(
            f"no tracks are made at {rate_hz} Hz and {bits} bits", remedy=f"take one of {RATES_HZ} Hz and {BITS} bits"
        )
    return _blocks(layout, rate_hz, bits)


def render_track(layout: Layout, rate_hz: int, bits: int = 24) -> NDArray[np.float64]:
    """Return all samples of a track file, shape (n, 2); see `track_blocks`."""
    return np.concatenate(list(track_blocks(layout, rate_hz, bits)))


def _blocks(layout: Layout, rate_hz: int, bits: int) -> Iterator[NDArray[np.float64]]:
    identity = layout.identity
    rng = np.random.default_rng(
        [identity.layout, NAMES.index(identity.name), LENGTHS.index(identity.length), rate_hz, bits]
    )
    n_samples = n_track_samples(layout, rate_hz)
    for start in range(0, n_samples, _BLOCK_SAMPLES):
        index = np.arange(start, min(start + _BLOCK_SAMPLES, n_samples))
        time_s = index / rate_hz
        sound = track_waveform(layout, time_s, float(rate_hz))
        samples = quantise(sound + tpdf_dither(sound.shape, bits, rng), bits)
        for zero in layout.sections_of("zero"):
            samples[(time_s >= zero.start_s) & (time_s < zero.end_s)] = 0.0
        yield samples
