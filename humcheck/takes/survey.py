"""One pass over a whole take, in blocks: peaks, offset, clipping, stretches of digital silence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile

Array = NDArray[np.float64]

#: Full scale as the largest code of 12 bits and more has it.
_FULL_SCALE = 0.9995
#: So many samples in a row at full scale are clipping: one may be chance, two a sine at the very top.
_CLIPPED_RUN = 3
#: Digital silence counts from so long on.
SILENCE_S = 0.005
_BLOCK_SAMPLES = 1 << 17


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """What one pass over a take found.

    Attributes
    ----------
    peak, mean, mean_square : numpy.ndarray, shape (n_channels,)
        Largest magnitude, constant offset, mean square (the offset included).
    clipped_runs : tuple of int
        For each channel, how many times it stays at full scale.
    clipped_span : tuple of (int, int) or None
        For each channel, the first and the last sample at which it does.
    silences : tuple of (int, int)
        Stretches of digital silence in all channels, start and stop index, right to `SILENCE_S`.
    """

    peak: Array
    mean: Array
    mean_square: Array
    clipped_runs: tuple[int, ...]
    clipped_span: tuple[tuple[int, int] | None, ...]
    silences: tuple[tuple[int, int], ...]


def survey(file: TakeFile, start: int = 0, stop: int | None = None) -> Survey:
    """Read a take, or a part of it, once from end to end."""
    stop = file.n_samples if stop is None else min(stop, file.n_samples)
    channels = range(file.n_channels)
    peak, total, square = np.zeros(file.n_channels), np.zeros(file.n_channels), np.zeros(file.n_channels)
    runs = [0] * file.n_channels
    span: list[tuple[int, int] | None] = [None] * file.n_channels
    silences: list[tuple[int, int]] = []
    n_chunk = max(int(SILENCE_S * file.rate_hz), 1)
    for index, samples in file.blocks(_BLOCK_SAMPLES // n_chunk * n_chunk, start, stop):
        silent = np.ones(len(samples) // n_chunk, dtype=np.bool_)
        for channel in channels:
            sound = np.ascontiguousarray(samples[:, channel])
            peak[channel] = max(peak[channel], float(sound.max()), -float(sound.min()))
            total[channel] += sound.sum()
            square[channel] += sound @ sound
            chunks = sound[: len(silent) * n_chunk].reshape(-1, n_chunk)
            silent &= np.einsum("kn,kn->k", chunks, chunks) == 0.0
            if peak[channel] >= _FULL_SCALE and (found := _clipped(sound)) is not None:
                runs[channel] += found[0]
                earlier = span[channel]
                span[channel] = (index + found[1] if earlier is None else earlier[0], index + found[2])
        _add_silences(silences, silent, index, n_chunk)
    n_samples = max(stop - start, 1)
    return Survey(
        peak=peak,
        mean=total / n_samples,
        mean_square=square / n_samples,
        clipped_runs=tuple(runs),
        clipped_span=tuple(span),
        silences=tuple(silences),
    )


def _clipped(samples: Array) -> tuple[int, int, int] | None:
    """Return the number of runs at full scale, and the first and the last sample in one."""
    edges = np.diff(np.concatenate([[0], np.abs(samples) >= _FULL_SCALE, [0]]).astype(np.int8))
    starts, stops = np.flatnonzero(edges > 0), np.flatnonzero(edges < 0)
    long = stops - starts >= _CLIPPED_RUN
    if not long.any():
        return None
    return int(long.sum()), int(starts[long][0]), int(stops[long][-1]) - 1


def _add_silences(silences: list[tuple[int, int]], silent: NDArray[np.bool_], start: int, n_chunk: int) -> None:
    """Add the chunks that are digital silence, joined to what came before."""
    for chunk in np.flatnonzero(silent):
        first = start + int(chunk) * n_chunk
        if silences and silences[-1][1] == first:
            silences[-1] = (silences[-1][0], first + n_chunk)
        else:
            silences.append((first, first + n_chunk))
