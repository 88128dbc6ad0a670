"""Where a recording that holds no track is quiet: the stretch in which its hum and hiss can be read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.files import TakeFile
from humcheck.audio.levels import Floats
from humcheck.errors import MeasurementError

BLOCK_S = 0.1
SHORTEST_S = 1.0
#: More than this says little more about a hum, and keeps the work bounded for an hour of recording.
LONGEST_S = 60.0
#: A block belongs to the quiet if its level lies within this of the quietest tenth.
REACH_DB = 6.0
#: Below this (24-bit dither lies at -141 dBFS) a block is a machine's silence: it holds no noise of the path.
DIGITAL_SILENCE_DBFS = -160.0


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietStretch:
    """The quietest long stretch of a recording.

    Attributes
    ----------
    start, stop : int
        Sample indices.
    covers_all : bool
        Whether the whole recording is this quiet: then nothing plays in it.
    """

    start: int
    stop: int
    covers_all: bool


def quiet_stretch(file: TakeFile) -> QuietStretch:
    """Return the longest run of quiet blocks, 60 s of it at most.

    Parameters
    ----------
    file : TakeFile
        The recording; it is read in blocks.

    Raises
    ------
    MeasurementError
        If no stretch of a second is quiet, or the recording is digital silence.
    """
    n_block = max(1, round(BLOCK_S * file.rate_hz))
    levels = _block_levels(file, n_block)
    if len(levels) * BLOCK_S < SHORTEST_S:
        raise MeasurementError(f"The recording is shorter than {SHORTEST_S:.0f} s.")
    sounding = levels > DIGITAL_SILENCE_DBFS
    if not sounding.any():
        raise MeasurementError("The recording is digital silence: it holds no noise of the path to measure.")
    limit = float(np.percentile(levels[sounding], 10)) + REACH_DB
    quiet = sounding & (levels <= limit)
    start, stop = _longest_run(quiet)
    if (stop - start) * BLOCK_S < SHORTEST_S:
        raise MeasurementError(
            "No stretch of a second or more is quiet: the hum and hiss cannot be read under what is playing."
        )
    most = int(LONGEST_S / BLOCK_S)
    return QuietStretch(
        start=start * n_block, stop=min(stop, start + most) * n_block, covers_all=bool(quiet.sum() >= 0.9 * len(quiet))
    )


def _block_levels(file: TakeFile, n_block: int) -> Floats:
    """Return the level of each block in dBFS, its mean taken off: a constant offset is no sound."""
    from humcheck.audio.levels import power_to_dbfs

    parts = []
    for _, samples in file.blocks(n_block * 256):
        usable = len(samples) // n_block * n_block
        blocks = samples[:usable].reshape(-1, n_block, samples.shape[1])
        parts.append(blocks.var(axis=1).mean(axis=1))
    powers = np.concatenate(parts) if parts else np.zeros(0)
    return np.asarray(power_to_dbfs(powers))


def _longest_run(flags: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> tuple[int, int]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    starts, stops = edges[::2], edges[1::2]
    if not len(starts):
        return 0, 0
    longest = int(np.argmax(stops - starts))
    return int(starts[longest]), int(stops[longest])
