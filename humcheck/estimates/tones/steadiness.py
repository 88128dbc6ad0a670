"""Which part of a section holds its tones at a steady level: a start that is cut, clipped or faded is left out."""

from __future__ import annotations

import numpy as np

from humcheck.estimates.tones.blocks import BlockGrid, Complexes, Floats

#: Blocks are judged in groups of this many: 50 ms, one period of what beats at 20 Hz.
GROUP = 5
#: A group is off where its level departs from the median by this many robust standard deviations...
OFF_SIGMA = 6.0
#: ... and by this share (0.1 dB).
OFF_SHARE = 0.0115
#: Lower tones are not judged.
LEAST_HZ = 200.0
_SD_OF_MAD = 1.4826
#: A steady stretch shorter than this share of the section is not believed: then all of it is used.
_LEAST_SHARE = 0.25


def steady_stretch(hann_sums: Complexes, grid: BlockGrid, frequency_hz: Floats) -> tuple[int, int]:
    """Return the first and one past the last sample of the longest steady stretch.

    Parameters
    ----------
    hann_sums : numpy.ndarray, shape (n_tones, n_channels, n_blocks)
        Each block's sum against each tone along the tones' own clock, with a Hann window in each block: another tone
        does not show.
    grid : BlockGrid
        The blocks.
    frequency_hz : numpy.ndarray, shape (n_tones,)
        The tones. The highest is judged; a low one would seem to move within blocks of few periods.

    Returns
    -------
    start, stop : int
        0 and `grid.n_samples` where all is steady.
    """
    highest = int(np.argmax(frequency_hz))
    if frequency_hz[highest] < LEAST_HZ:
        return 0, grid.n_samples
    off = _groups_off(hann_sums[highest], grid)
    if not off.any():
        return 0, grid.n_samples
    first, last = _longest_run(~off)
    n_group = GROUP * len(grid.offset)
    if last - first < _LEAST_SHARE * len(off):
        return 0, grid.n_samples
    # A whole group is left out beside each that is off: its own edge may lie anywhere within it.
    start = 0 if first == 0 else (first + 1) * n_group
    stop = grid.n_samples if last == len(off) else (last - 1) * n_group
    return (start, stop) if stop - start >= n_group else (0, grid.n_samples)


def _groups_off(hann_sums: Complexes, grid: BlockGrid) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    n_groups = len(grid.centre_index) // GROUP
    kept = n_groups * GROUP
    weights = (grid.weight @ grid.hann)[:kept].reshape(n_groups, GROUP).sum(axis=1)
    grouped = np.abs(hann_sums[:, :kept].reshape(-1, n_groups, GROUP).sum(axis=2)) / weights
    return _departs(grouped[np.argmax(np.median(grouped, axis=1))])


def _departs(amplitude: Floats) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    middle = float(np.median(amplitude))
    departure = np.abs(amplitude - middle)
    scatter = _SD_OF_MAD * float(np.median(departure))
    return np.asarray(departure > max(OFF_SIGMA * scatter, OFF_SHARE * middle))


def _longest_run(steady: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> tuple[int, int]:
    """Return the first and one past the last index of the longest run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], steady, [False]]).astype(np.int8)))
    runs = edges.reshape(-1, 2)
    if len(runs) == 0:
        return 0, 0
    first, last = runs[np.argmax(runs[:, 1] - runs[:, 0])]
    return int(first), int(last)
