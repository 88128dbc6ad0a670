"""Buffers that a recorder wrote twice: stretches of a take that equal, sample for sample, what stood just before.

Noise never repeats itself: a run of samples that are all the same as those a little earlier was copied. A rolling hash
of a few samples (a polynomial modulo 2**64, as in Rabin and Karp's string search) finds the candidates; a fixed share
of all hash values is kept, so that both copies keep the same ones.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.results.rows import Fault

Array = NDArray[np.float64]
Hashes = NDArray[np.uint64]

#: Samples in one hash (see `_rolling`), and how many of its first bits must be zero in those that are kept: one in
#: eight.
_HASHED = 24
_KEPT_BITS = 3
#: Copies further apart than this are no repeated buffer (16384 samples at 48 kHz).
_LONGEST_LAG_S = 0.35
_SHORTEST_LAG = 16
#: A run must be this unlikely by chance, from how often samples agree at that lag round about (bits).
_CERTAIN_BITS = 80.0
_SHORTEST_RUN = 32
#: A buffer is copied whole, and comes right after itself: the run is as long as its lag, or a few times as long.
#: Sound that a machine makes may be the same in every cycle or every beat, but then the run is longer, or shorter.
_MOST_TURNS = 4
_RAGGED = 6
_LONGER_THAN_OTHERS = 4
#: Samples looked at on either side for how often they agree by chance.
_BESIDE = 4096
_BLOCK_SAMPLES = 1 << 17
_PART_SAMPLES = 1 << 22
_MOST_TOLD = 200
_MOST_TRIED = 1000
_FACTOR = 0x9E3779B97F4A7C15


@dataclass(frozen=True, slots=True)
class Repeat:
    """A stretch that was written again: `n_samples` from `start` on equal those `lag` samples earlier."""

    start: int
    n_samples: int
    lag: int


def find_repeats(file: TakeFile, start: int = 0, stop: int | None = None) -> list[Repeat]:
    """Return the repeated stretches of a take, in order.

    Parameters
    ----------
    file : TakeFile
        The take.
    start, stop : int, optional
        Part of it.
    """
    stop = file.n_samples if stop is None else min(stop, file.n_samples)
    longest = int(_LONGEST_LAG_S * file.rate_hz)
    # Copies lie close together: a part at a time, with as much of the next one, bounds the memory.
    parts = [
        _pairs(file, index, min(index + _PART_SAMPLES + longest, stop)) for index in range(start, stop, _PART_SAMPLES)
    ]
    pairs = np.unique(np.concatenate([np.zeros((0, 2), dtype=np.int64), *parts]), axis=0)
    return list(_runs(file, pairs, (start, stop)))


def _pairs(file: TakeFile, start: int, stop: int) -> NDArray[np.int64]:
    """Return (place, lag) of samples that have the hash of others a little earlier, shape (n_pairs, 2)."""
    places, hashes = _anchors(file, start, stop)
    # To sort them is much quicker than to order the places by them, and in most takes no two are alike.
    ordered = np.sort(hashes)
    again = np.unique(ordered[1:][np.diff(ordered) == 0])
    found = np.isin(hashes, again) if again.size else np.zeros(hashes.size, dtype=np.bool_)
    places, hashes = places[found], hashes[found]
    order = np.argsort(hashes, kind="stable")
    places, hashes = places[order], hashes[order]
    lag = np.diff(places)
    alike = (np.diff(hashes) == 0) & (lag >= _SHORTEST_LAG) & (lag <= _LONGEST_LAG_S * file.rate_hz)
    return np.asarray(np.stack([places[1:][alike], lag[alike]], axis=1))


def _anchors(file: TakeFile, start: int, stop: int) -> tuple[NDArray[np.int64], Hashes]:
    """Return places and hashes of the samples that are kept."""
    places, kept = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.uint64)]
    with np.errstate(over="ignore"):
        for index in range(start, stop, _BLOCK_SAMPLES):
            samples = file.read(index, min(index + _BLOCK_SAMPLES + _HASHED - 1, stop))
            if len(samples) < _HASHED:
                continue
            hashes = _rolling(samples)
            here = np.flatnonzero(hashes >> np.uint64(64 - _KEPT_BITS) == 0)
            # A still sound has one hash throughout: kept all over, an hour of it would fill the memory.
            here = here[(here == 0) | (hashes[here] != hashes[here - 1])]
            places.append(here + index)
            kept.append(hashes[here])
    return np.concatenate(places), np.concatenate(kept)


def _rolling(samples: Array) -> Hashes:
    """Return a hash of each `_HASHED` samples in a row, all channels together."""
    # Adding zero makes minus zero plus zero.
    words = (np.ascontiguousarray(samples) + 0.0).view(np.uint64)
    factor = np.uint64(_FACTOR)
    mixed = words[:, 0] * factor
    for channel in range(1, words.shape[1]):
        mixed = (mixed ^ (mixed >> np.uint64(29))) * factor + words[:, channel]
    mixed = (mixed ^ (mixed >> np.uint64(32))) * factor
    # By doubling: hashes of 2, 4, 8 and 16 samples, then of 16 and 8 together.
    hashes, n_hashed, eighth = mixed, 1, mixed
    while n_hashed < 16:
        hashes = hashes[:-n_hashed] * factor + hashes[n_hashed:]
        n_hashed *= 2
        factor = factor * factor
        if n_hashed == 8:
            eighth = hashes
    total = hashes[:-8] * np.uint64(_FACTOR) + eighth[16:]
    return np.asarray(total ^ (total >> np.uint64(31)) * np.uint64(_FACTOR))


def _runs(file: TakeFile, pairs: NDArray[np.int64], bounds: tuple[int, int]) -> Iterator[Repeat]:
    told, reached = 0, -1
    for place, lag in pairs[:: 1 + len(pairs) // _MOST_TRIED].tolist():
        if place < reached:
            continue
        run = _run(file, place, lag, bounds)
        if run is not None:
            yield run
            told += 1
            reached = run.start + run.n_samples
            if told == _MOST_TOLD:
                return


def _run(file: TakeFile, place: int, lag: int, bounds: tuple[int, int]) -> Repeat | None:
    """Return the run around a place, None where chance or a still sound explains it."""
    reach = _BESIDE + 2 * lag
    first = max(place - reach, bounds[0] + lag)
    last = min(place + reach, bounds[1])
    sound = file.read(first - lag, last)
    same = sound[lag:] == sound[:-lag]
    whole = same.all(axis=1)
    inside = place - first
    if inside < 0 or inside >= len(whole) or not whole[inside]:
        return None
    broken = np.flatnonzero(~whole)
    before, after = broken[broken < inside], broken[broken > inside]
    begin = int(before[-1]) + 1 if before.size else 0
    end = int(after[0]) if after.size else len(whole)
    turns = round((end - begin) / lag)
    if not 1 <= turns <= _MOST_TURNS or abs(end - begin - turns * lag) > _RAGGED or end - begin < _SHORTEST_RUN:
        return None
    chance = (np.sum(whole) - (end - begin) + 1.0) / (len(whole) - (end - begin) + 2.0)
    # Pure sound without noise nearly repeats itself: then there are many runs, one nearly as long as the other.
    gaps = np.concatenate([np.diff(before, prepend=-1), np.diff(after, append=len(whole))]) - 1
    # Those as long as the lag are copies, too.
    others = gaps[np.abs(gaps - np.rint(gaps / lag) * lag) > _RAGGED] if lag > 4 * _RAGGED else gaps
    if (end - begin) < _LONGER_THAN_OTHERS * int(others.max(initial=0)):
        return None
    still = np.mean(np.all(np.diff(sound[begin : end + lag], axis=0) == 0.0, axis=1))
    if still > 0.5 or -np.log2(chance) * (end - begin) < _CERTAIN_BITS:
        return None
    return Repeat(start=first + begin, n_samples=end - begin, lag=lag)


def repeat_fault(rate_hz: float, repeats: list[Repeat], spoils: list[str]) -> Fault | None:
    """Return the fault for repeated stretches, None where there are none.

    Parameters
    ----------
    rate_hz : float
        Rate of the take.
    repeats : list of Repeat
        In order of time.
    spoils : list of str
        Quantities of the sections that they lie in.
    """
    if not repeats:
        return None
    first, last = repeats[0], repeats[-1]
    total_s = sum(one.n_samples for one in repeats) / rate_hz
    times = f"{len(repeats)} times" if len(repeats) > 1 else "once"
    return Fault(
        code="repeated-buffer",
        start_s=first.start / rate_hz,
        end_s=(last.start + last.n_samples) / rate_hz,
        sentence=f"The recording repeats itself {times}, first at {first.start / rate_hz:.3f} s ({1000 * total_s:.1f} "
        "ms in all are copies of what stood just before): a buffer was written twice. Close other programs, use a "
        "larger recording buffer, and record again.",
        spoils=spoils,
    )
