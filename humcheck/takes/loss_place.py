"""Where in a section samples were lost: before the place the take follows one clock, after it the other.

With ``y`` the take, ``a0`` and ``a1`` the track by the clock before and after the loss, each with complex gains fitted
in place, the running sum of ``(y - a0)**2 - (y - a1)**2`` is smallest at the place. First the place is narrowed to a
block: as long as the right clock is used, the gains move slowly from block to block.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.takes.clock import Clock
from humcheck.takes.voices import Complex, block_s, usable_span_s, voices
from humcheck.tracks.sections import Section, TrackChannel

Array = NDArray[np.float64]

#: The step must explain the gains better than none by so much in log likelihood.
_CLEAR = 15.0
#: Blocks on either side from which the gains around the place are taken.
_BESIDE_BLOCKS = 4


@dataclass(frozen=True, slots=True)
class Place:
    """A place found.

    Attributes
    ----------
    index : int
        First take sample after the loss (the first inserted one where samples were inserted).
    sd : float
        Standard uncertainty in samples.
    """

    index: int
    sd: float


class Verdict(NamedTuple):
    """What a section says about a loss.

    Attributes
    ----------
    place : Place or None
        The place, where it lies in the section.
    side : str
        ``"inside"``, ``"after"`` (the section lies after the loss), ``"before"``, or ``"open"``.
    """

    place: Place | None
    side: str


def examine(
    file: TakeFile, section: Section, sources: Sequence[tuple[TrackChannel, int]], before: Clock, count: int
) -> Verdict:
    """Look for a loss in one section.

    Parameters
    ----------
    file : TakeFile
        The take.
    section : Section
        A section with sound.
    sources : sequence of (str, int)
        Track channels that it drives, with the take channel to read each from.
    before : Clock
        The clock as it runs before the loss.
    count : int
        Samples lost; negative where inserted.
    """
    for channel, source in sources:
        verdict = _examine_channel(file, section, channel, source, before, count)
        if verdict.side != "open":
            return verdict
    return Verdict(None, "open")


class _Blocks(NamedTuple):
    """A section cut into blocks, by both clocks; gains and weights have the shape (n_blocks, n_voices)."""

    first_index: int
    n_block: int
    samples: Array
    before: Complex
    after: Complex
    gain_before: Complex
    gain_after: Complex
    weight: Array  # energy over noise


def _examine_channel(
    file: TakeFile, section: Section, channel: TrackChannel, source: int, before: Clock, count: int
) -> Verdict:
    blocks = _blocks(file, section, channel, source, before, count)
    if blocks is None:
        return Verdict(None, "open")
    n_straddled = 1 + max(-count, 0) // blocks.n_block + (1 if count < 0 else 0)
    unrest, cleared = _with_loss(blocks, n_straddled)
    if cleared.size and cleared.max() > _CLEAR:
        # Of all blocks in which a loss explains much, the one in which it leaves least.
        best = int(np.argmin(np.where(cleared > _CLEAR, unrest, np.inf)))
        return Verdict(_fine(blocks, best, n_straddled, count), "inside")
    unrest_before, unrest_after = (
        float(np.sum(_unrest(gains[:-1], gains[1:], blocks.weight[:-1], blocks.weight[1:])))
        for gains in (blocks.gain_before, blocks.gain_after)
    )
    if unrest_before + _CLEAR < unrest_after:
        return Verdict(None, "before")
    return Verdict(None, "after" if unrest_after + _CLEAR < unrest_before else "open")


def _blocks(
    file: TakeFile, section: Section, channel: TrackChannel, source: int, before: Clock, count: int
) -> _Blocks | None:
    start_s, end_s = usable_span_s(section, channel)
    ends = before.take_index(np.array([start_s, end_s]))
    # By either clock these samples lie inside the section.
    first = max(int(np.ceil(ends[0])) + max(-count, 0), 0)
    stop = min(int(np.floor(ends[1])) - max(count, 0), file.n_samples)
    n_block = int(np.ceil(block_s(section) * file.rate_hz))
    n_blocks = (stop - first) // n_block
    if n_blocks < 3:
        return None
    stop = first + n_blocks * n_block
    index = np.arange(first, stop)
    by_before = voices(section, channel, before.track_time_s(index), file.rate_hz)
    by_after = voices(section, channel, before.track_time_s(index + count), file.rate_hz)
    if not len(by_before):
        return None
    samples = file.read(first, stop)[:, source]
    gain_before, noise_before, weight = _gains(samples, by_before, n_block)
    gain_after, noise_after, _ = _gains(samples, by_after, n_block)
    # Most blocks are explained by one clock or the other.
    noise = float(np.median(np.minimum(noise_before, noise_after)))
    floor = 1e-12 * float(np.mean(samples**2)) + 1e-24
    weight = weight / max(noise, floor)
    natural = _natural_unrest(gain_before, gain_after, weight)
    return _Blocks(first, n_block, samples, by_before, by_after, gain_before, gain_after, weight / natural)


def _natural_unrest(gain_before: Complex, gain_after: Complex, weight: Array) -> float:
    """Return how many times more than by noise the gains move from block to block anyway; at least 1.

    A filter's response moves along a sweep, and hum or a gain that is not steady move the gain of a tone.
    """
    unrest = np.minimum(*(_unrest(gain[:-1], gain[1:], weight[:-1], weight[1:]) for gain in (gain_before, gain_after)))
    # By noise alone the unrest of one voice has the median log 2, of several about their number less a third.
    n_voices: int = weight.shape[1]
    return float(max(np.median(unrest) / (n_voices - 0.307), 1.0))


def _gains(samples: Array, analytic: Complex, n_block: int) -> tuple[Complex, Array, Array]:
    """Return gains (n_blocks, n_voices), noise power of each block, and energy of each voice in it."""
    n_blocks = len(samples) // n_block
    voice = analytic.reshape(len(analytic), n_blocks, n_block).transpose(1, 0, 2)
    columns = np.concatenate([voice.real, -voice.imag], axis=1)
    block = samples.reshape(n_blocks, n_block)
    energy = np.sum(np.abs(voice) ** 2, axis=2)
    gram = columns @ columns.transpose(0, 2, 1)
    # A voice that is silent in a block gets gain zero.
    ridge = 1e-9 * np.trace(gram, axis1=1, axis2=2)[:, None, None] * np.eye(gram.shape[1]) + 1e-30 * np.eye(
        gram.shape[1]
    )
    value = np.linalg.solve(gram + ridge, columns @ block[:, :, None])[:, :, 0]
    left = block - np.einsum("bvn,bv->bn", columns, value)
    n_voices = len(analytic)
    noise = np.sum(left**2, axis=1) / max(n_block - 2 * n_voices, 1)
    return value[:, :n_voices] + 1j * value[:, n_voices:], noise, energy


def _with_loss(blocks: _Blocks, n_straddled: int) -> tuple[Array, Array]:
    """Return what unrest a loss in each block leaves, and by how much it is less than without one.

    Both in log likelihood. The blocks that the loss would straddle are left out on both sides of the comparison.
    """
    n_blocks = len(blocks.gain_before)
    b = np.arange(1, n_blocks - n_straddled)
    left, right = b - 1, b + n_straddled
    weights = blocks.weight[left], blocks.weight[right]
    joined = _unrest(blocks.gain_before[left], blocks.gain_after[right], *weights)
    totals, bridges = [], []
    for gains in (blocks.gain_before, blocks.gain_after):
        unrest = _unrest(gains[:-1], gains[1:], blocks.weight[:-1], blocks.weight[1:])
        totals.append(np.concatenate([[0.0], np.cumsum(unrest)]))
        bridges.append(_unrest(gains[left], gains[right], *weights))
    rest = [total[-1] - total[right] for total in totals]
    with_loss = totals[0][left] + joined + rest[1]
    without = [total[left] + bridge + end for total, bridge, end in zip(totals, bridges, rest, strict=True)]
    return with_loss, np.asarray(np.minimum(*without) - with_loss)


def _unrest(first: Complex, second: Complex, first_weight: Array, second_weight: Array) -> Array:
    """Return minus log likelihood that gains of two blocks are the same, shape (n,).

    Each part of a gain has the variance 2 noise / energy.
    """
    weight = 1.0 / (4.0 / np.maximum(first_weight, 1e-300) + 4.0 / np.maximum(second_weight, 1e-300))
    return np.asarray(np.sum(weight * np.abs(second - first) ** 2, axis=1))


def _fine(blocks: _Blocks, best: int, n_straddled: int, count: int) -> Place:
    """Return the place to the sample, from the blocks around the one found (`best` counts from the second block)."""
    n_block, n_blocks = blocks.n_block, len(blocks.gain_before)
    middle = best + 1
    low, high = max(middle - 1, 0), min(middle + n_straddled + 1, n_blocks)
    left = slice(max(low - _BESIDE_BLOCKS, 0) * n_block, max(low, 1) * n_block)
    right = slice(min(high, n_blocks - 1) * n_block, min(high + _BESIDE_BLOCKS, n_blocks) * n_block)
    gain, noise = _joint_gain(blocks, left, right)
    inside = slice(low * n_block, high * n_block)
    samples = blocks.samples[inside]
    misfit_before = (samples - np.real(gain @ blocks.before[:, inside])) ** 2 / (2.0 * noise)
    misfit_after = (samples - np.real(gain @ blocks.after[:, inside])) ** 2 / (2.0 * noise)
    cost = _cost_of_places(misfit_before, misfit_after, samples, noise, max(-count, 0))
    belief = np.exp(cost.min() - cost)
    belief /= belief.sum()
    place = np.arange(len(belief))
    mean = float(belief @ place)
    sd = float(np.sqrt(belief @ (place - mean) ** 2))
    return Place(blocks.first_index + inside.start + int(np.argmin(cost)), max(sd, 0.3))


def _joint_gain(blocks: _Blocks, left: slice, right: slice) -> tuple[Complex, float]:
    """Return the gains from both sides of the place, each by its own clock, and the noise power."""
    voice = np.concatenate([blocks.before[:, left], blocks.after[:, right]], axis=1)
    samples = np.concatenate([blocks.samples[left], blocks.samples[right]])
    gain, noise, _ = _gains(samples, voice, len(samples))
    floor = 1e-12 * float(np.mean(samples**2)) + 1e-24
    return gain[0], max(float(noise[0]), floor)


def _cost_of_places(before: Array, after: Array, samples: Array, noise: float, n_inserted: int) -> Array:
    """Return minus log likelihood of each place; inserted samples may hold anything of the signal's strength."""
    power = float(np.mean(samples**2)) + noise
    foreign = samples**2 / (2.0 * power) + 0.5 * np.log(power / noise)
    running_before, running_after, running_foreign = (
        np.concatenate([[0.0], np.cumsum(misfit)]) for misfit in (before, after, foreign)
    )
    place = np.arange(len(samples) + 1 - n_inserted)
    end = place + n_inserted
    return np.asarray(
        running_before[place] + running_foreign[end] - running_foreign[place] + running_after[-1] - running_after[end]
    )
