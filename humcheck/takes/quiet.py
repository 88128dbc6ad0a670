"""Where a recording that holds no track is quiet: the stretches in which its hum and hiss can be read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.files import TakeFile
from humcheck.audio.levels import Floats
from humcheck.errors import MeasurementError

BLOCK_S = 0.1
SHORTEST_S = 1.0
#: More than this at once says little more about a hum, and mains wander further than one fit follows.
LONGEST_S = 60.0
#: Stretches used of one recording at most; of a long steady one as many, spread over it.
MOST_STRETCHES = 5
#: A block belongs to the quiet if its level lies within this of the quietest tenth.
REACH_DB = 6.0
#: Below this (24-bit dither lies at -141 dBFS) a block is a machine's silence: it holds no noise of the path.
DIGITAL_SILENCE_DBFS = -160.0
#: Share of blocks that are quiet from which on nothing plays.
ALL_SHARE = 0.9
#: Blocks read at a time: few enough for the processor's own memory.
_BLOCKS_READ = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietStretch:
    """A quiet stretch of a recording.

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
    return quiet_stretches(file)[0]


def quiet_stretches(file: TakeFile) -> list[QuietStretch]:
    """Return quiet stretches of a recording, the longest first, each 60 s long at most.

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
    runs = [(start, stop) for start, stop in _runs(quiet) if (stop - start) * BLOCK_S >= SHORTEST_S]
    if not runs:
        raise MeasurementError(
            "No stretch of a second or more is quiet: hiss and noise cannot be read under what is playing."
        )
    covers_all = bool(quiet.sum() >= ALL_SHARE * len(quiet))
    most = int(LONGEST_S / BLOCK_S)
    pieces = [piece for run in runs for piece in _pieces(*run, most)]
    pieces.sort(key=lambda piece: (piece[0] - piece[1], piece[0]))
    if len(pieces) > MOST_STRETCHES:
        # Of many that are as long as any, some of every part of the recording.
        as_long = [piece for piece in pieces if piece[1] - piece[0] == pieces[0][1] - pieces[0][0]]
        if len(as_long) > MOST_STRETCHES:
            pieces = [as_long[place] for place in np.linspace(0, len(as_long) - 1, MOST_STRETCHES).astype(int)]
    return [
        QuietStretch(start=start * n_block, stop=stop * n_block, covers_all=covers_all)
        for start, stop in pieces[:MOST_STRETCHES]
    ]


def _block_levels(file: TakeFile, n_block: int) -> Floats:
    """Return the level of each block in dBFS, its mean taken off: a constant offset is no sound."""
    from humcheck.audio.levels import power_to_dbfs

    parts = []
    for _, samples in file.blocks(n_block * _BLOCKS_READ):
        usable = len(samples) // n_block * n_block
        channels = np.ascontiguousarray(samples[:usable].T)  # sums along contiguous memory are much quicker
        parts.append(channels.reshape(len(channels), -1, n_block).var(axis=2).mean(axis=0))
    powers = np.concatenate(parts) if parts else np.zeros(0)
    return np.asarray(power_to_dbfs(powers))


def _runs(flags: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return [(int(start), int(stop)) for start, stop in zip(edges[::2], edges[1::2], strict=True)]


def _pieces(start: int, stop: int, most: int) -> list[tuple[int, int]]:
    """Return a run cut into pieces of at most that length: whole ones first, the rest only where it is worth it."""
    edges = list(range(start, stop, most))
    pieces = [(first, min(first + most, stop)) for first in edges]
    if len(pieces) > 1 and pieces[-1][1] - pieces[-1][0] < most // 2:
        pieces.pop()
    return pieces
