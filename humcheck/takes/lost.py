"""Lost and inserted samples, counted exactly: jumps by whole samples between one arrival and the next.

The counts come from the markers alone. Each jump must explain the arrivals better than a wandering clock can, by more
than what the freedom to choose interval and count is worth.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from humcheck.takes.arrivals import Arrivals, is_straight
from humcheck.takes.wander import Wander, WanderModel

Array = NDArray[np.float64]

#: What a jump must gain in log likelihood: one interval in thirty is hit, by any of a hundred likely counts.
_COST = 8.0
_MOST_JUMPS = 8
#: A jump in an interval leaves at least this share of what one elsewhere leaves, or nothing is told of it.
_TOLD_SHARE = 1e-9
_FEWEST_MARKERS = 3
#: A clock may well wander by this in a minute (RMS, ppm); a jump must stand out from that by so many times its spread.
#: In the minute of quiet of a long track this leaves a single sample open: the other markers are too few to tell.
_PLAUSIBLE_WALK_PPM = 0.3
_CERTAIN_Z = 5.0
#: One jump of several may not pay alone: the search keeps so many guesses at once, and ends after so many rounds
#: without a better one.
_BEAM = 6
_LOOK_AHEAD = 3


@dataclass(frozen=True, slots=True)
class Jump:
    """Samples lost (count above 0) or inserted between arrival `after` and the next one."""

    after: int
    count: int


class _Guess(NamedTuple):
    jumps: dict[int, int]
    score: float


def count_jumps(arrivals: Arrivals) -> list[Jump]:
    """Return the jumps between arrivals, in order of time.

    With fewer than three markers nothing is said: a jump, a drift and a skew of the channels would look the same.
    """
    n_arrivals = len(arrivals.track_s)
    n_markers = max(int(np.sum(arrivals.side == side)) for side in (-0.5, 0.5))
    if n_markers < _FEWEST_MARKERS or is_straight(arrivals):
        return []
    model = WanderModel(arrivals)
    deviation = arrivals.bend()
    # A jump by `count` after arrival i lowers all later indices.
    shapes = -np.tri(n_arrivals, n_arrivals, -1).T[: n_arrivals - 1]
    best = _Guess({}, float(model.log_likelihood(deviation).max()))
    beam, poorer = [best], 0
    while beam and poorer < _LOOK_AHEAD:
        further = {tuple(sorted(g.jumps.items())): g for one in beam for g in _one_more(model, deviation, shapes, one)}
        beam = sorted(further.values(), key=lambda one: one.score)[-_BEAM:]
        poorer += 1
        if beam and beam[-1].score > best.score:
            best, poorer = beam[-1], 0
    best = _pruned(model, deviation, shapes, best)
    certain = _certain_counts(arrivals, shapes)
    return [Jump(after, count) for after, count in sorted(best.jumps.items()) if abs(count) >= certain[after]]


def _one_more(model: WanderModel, deviation: Array, shapes: Array, guess: _Guess) -> Iterator[_Guess]:
    """Yield the guess with one jump added or changed, the best count for each interval."""
    if len(guess.jumps) >= _MOST_JUMPS:
        return
    left = _without(deviation, shapes, guess.jumps)
    projected = model.inverse @ left  # (n_wanders, n)
    pull = projected @ shapes.T
    stiffness = np.sum((shapes @ model.inverse) * shapes, axis=2)
    plain = model.log_weight - 0.5 * (projected @ left)
    # Between the only chirp of one side and the others a jump is nothing but skew: no count is any better there.
    told = stiffness > _TOLD_SHARE * stiffness.max(axis=1, keepdims=True)
    counts = np.round(np.where(told, pull, 0.0) / np.where(told, stiffness, 1.0))
    for after in range(len(shapes)):
        tried = np.unique(counts[:, after])
        tried = tried[(tried != 0.0) & (tried + guess.jumps.get(after, 0) != 0.0)]
        if not tried.size:
            continue
        gained = tried[:, None] * pull[:, after] - 0.5 * tried[:, None] ** 2 * stiffness[:, after]
        likelihood = (plain + gained).max(axis=1)
        top = int(np.argmax(likelihood))
        jumps = {**guess.jumps, after: guess.jumps.get(after, 0) + int(tried[top])}
        yield _Guess(jumps, float(likelihood[top]) - _COST * len(jumps))


def _certain_counts(arrivals: Arrivals, shapes: Array) -> Array:
    """Return for each interval the fewest samples that a clock that wanders a good deal could not feign."""
    inverse = WanderModel(arrivals, [Wander(_PLAUSIBLE_WALK_PPM, 0.0)]).inverse[1]
    return np.asarray(_CERTAIN_Z / np.sqrt(np.maximum(np.sum((shapes @ inverse) * shapes, axis=1), 1e-30)))


def _pruned(model: WanderModel, deviation: Array, shapes: Array, guess: _Guess) -> _Guess:
    """Return the guess without jumps that do not pay."""
    while guess.jumps:
        fewer = [{k: v for k, v in guess.jumps.items() if k != after} for after in guess.jumps]
        scored = [_Guess(jumps, _score(model, deviation, shapes, jumps)) for jumps in fewer]
        better = max(scored, key=lambda one: one.score)
        if better.score <= guess.score:
            break
        guess = better
    return guess


def _score(model: WanderModel, deviation: Array, shapes: Array, jumps: dict[int, int]) -> float:
    return float(model.log_likelihood(_without(deviation, shapes, jumps)).max()) - _COST * len(jumps)


def _without(deviation: Array, shapes: Array, jumps: dict[int, int]) -> Array:
    left = deviation
    for after, count in jumps.items():
        left = left - count * shapes[after]
    return left
