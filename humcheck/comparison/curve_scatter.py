"""How much the response of one path scatters from take to take, beyond the noise of each sweep.

Two takes alone know the scatter of a point with one degree of freedom, and Student's t for that is 12.7. But the takes
of all uses scatter alike (they share player, recorder and plugs), and so do neighbouring frequencies. Both are pooled.

Notes
-----
- A take's level as a whole is set aside: it scatters at all frequencies alike, so neighbours tell nothing more of it.
- What is pooled is the variance beyond each take's own noise, so that a noisy sweep does not blur a clean one.
- Neighbours count by what they tell: where the deviations of a take hang together over frequency, their squares do too
  (by less than the deviations themselves, whose correlation is taken), and a window of fully correlated points has one
  degree of freedom, not many.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats, ratio_to_db
from humcheck.estimates.sweeps import REFERENCE_HZ, ResponseEstimate, index_of

#: dB per relative change of an amplitude.
DB_PER_UNIT = float(20.0 / np.log(10.0))
#: Below this signal-to-noise ratio (power) a level is only an upper bound.
HIDDEN_BELOW_RATIO = 10.0
#: Points of the twelfth-octave series either way over which scatter is taken to be the same: an octave in all.
NEIGHBOURS = 6
#: Less than any sweep tells, in dB squared.
_LEAST_DB2 = 1e-14


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Levels of repeated takes of one use.

    Attributes
    ----------
    level_db, noise_db : numpy.ndarray, shape (n_takes, n_f)
        With the standard uncertainty of each take's own noise; hidden levels are not to be used.
    hidden : numpy.ndarray of bool, shape (n_f,)
        Where any take is lost in its noise.
    """

    level_db: Floats
    noise_db: Floats
    hidden: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveScatter:
    """Variance of a take's response beyond its own noise, in dB squared.

    Attributes
    ----------
    shape, shape_uncertainty : numpy.ndarray, shape (n_f,)
        Of single points, the take's level as a whole apart; and the variance of that variance, zero where nothing is
        known of it.
    level, level_uncertainty : float
        Of the level as a whole.
    freedom : int
        Degrees of freedom of a single point, its neighbours apart.
    """

    shape: Floats
    shape_uncertainty: Floats
    level: float
    level_uncertainty: float
    freedom: int


def levels_of(responses: Sequence[ResponseEstimate], n_points: int, *, re_reference: bool) -> Levels:
    """Return the levels of repeated takes; with `re_reference` each counts from its own level at 997 Hz."""
    values = np.abs(np.array([response.gain.value[:n_points] for response in responses]))
    sds = np.array([response.gain.sd[:n_points] for response in responses])
    level_db = ratio_to_db(np.maximum(values, 1e-30))
    noise_db = DB_PER_UNIT * sds / np.sqrt(2.0) / np.maximum(values, 1e-30)
    if re_reference:
        at = index_of(REFERENCE_HZ)
        level_db = level_db - level_db[:, at : at + 1]
        noise_db = np.hypot(noise_db, noise_db[:, at : at + 1])
        noise_db[:, at] = 0.0
    hidden = np.any(values**2 < HIDDEN_BELOW_RATIO * sds**2, axis=0)
    return Levels(level_db=level_db, noise_db=noise_db, hidden=hidden)


def curve_scatter(cells: Sequence[Sequence[ResponseEstimate]], n_points: int, *, re_reference: bool) -> CurveScatter:
    """Return the scatter of the takes of several uses, all of one channel.

    Parameters
    ----------
    cells : sequence of sequence of ResponseEstimate
        The takes of each use; uses of one take tell nothing.
    n_points : int
        Points of the grid that all have.
    re_reference : bool
        Whether levels count from that at 997 Hz.
    """
    sides = [levels_of(cell, n_points, re_reference=re_reference) for cell in cells if len(cell) > 1]
    nothing = np.zeros(n_points)
    if not sides:
        return CurveScatter(shape=nothing, shape_uncertainty=nothing, level=0.0, level_uncertainty=0.0, freedom=1)
    parts = [_deviations(side, level_apart=not re_reference) for side in sides]
    shape, uncertainty = _pooled(parts)
    freedom = sum(part.freedom for part in parts)
    level = sum(float((part.offset_db**2).sum()) for part in parts) / freedom
    return CurveScatter(
        shape=shape,
        shape_uncertainty=uncertainty,
        level=level,
        level_uncertainty=2 * level**2 / freedom,
        freedom=freedom,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Deviations:
    """Takes of one use less their mean: levels as a whole apart, and the variance of the takes' own noise."""

    offset_db: Floats
    rest_db: Floats
    own: Floats
    freedom: int


def _deviations(side: Levels, *, level_apart: bool) -> _Deviations:
    own = np.where(side.hidden, np.inf, (side.noise_db**2).mean(axis=0))
    rest_db = side.level_db - side.level_db.mean(axis=0)
    offset_db = np.zeros(len(rest_db))
    if level_apart and not side.hidden.all():
        weight = np.where(side.hidden, 0.0, 1 / np.maximum(own, 1e-16))
        offset_db = (rest_db * weight).sum(axis=1) / weight.sum()
        rest_db = rest_db - offset_db[:, np.newaxis]
    return _Deviations(offset_db=offset_db, rest_db=rest_db, own=own, freedom=len(rest_db) - 1)


def _pooled(parts: Sequence[_Deviations]) -> tuple[Floats, Floats]:
    """Return the variance beyond the takes' own noise at each point, and the variance of that."""
    shown = np.array([np.isfinite(part.own) for part in parts])
    own = np.where(shown, [part.own for part in parts], 0.0)
    freedom = np.array([[float(part.freedom)] for part in parts])
    beyond = np.array([(part.rest_db**2).sum(axis=0) for part in parts]) - freedom * own
    # Quiet points and takes tell most: each has the weight of its own variance, first without what is sought.
    weight = shown / np.maximum(own, _LEAST_DB2) ** 2
    first = max(float((weight * beyond).sum() / max((weight * freedom).sum(), _LEAST_DB2)), 0.0)
    weight = shown / np.maximum(own + first, _LEAST_DB2) ** 2
    total = _summed((weight * freedom).sum(axis=0))
    known = total > 0
    variance = np.divide(_summed((weight * beyond).sum(axis=0)), total, out=np.zeros_like(total), where=known)
    variance = np.maximum(variance, 0.0)
    scale = np.sqrt(np.maximum(own + variance, _LEAST_DB2))
    together = _hanging_together([part.rest_db * mask / sd for part, mask, sd in zip(parts, shown, scale, strict=True)])
    spread = _summed((2 * freedom * (weight * (own + variance)) ** 2).sum(axis=0)) * together
    return variance, np.divide(spread, total**2, out=np.zeros_like(total), where=known)


def _summed(values: Floats) -> Floats:
    """Return sums over the neighbours of each point, fewer at the ends."""
    return np.asarray(np.convolve(values, np.ones(2 * NEIGHBOURS + 1), mode="same"))


def _hanging_together(deviations: Sequence[Floats]) -> float:
    """Return how many times fewer independent points a window holds, from the correlation over frequency."""
    size = 2 * NEIGHBOURS + 1
    lags = np.arange(1, size)
    sums = np.zeros(size)
    for takes in deviations:
        for lag in range(size):
            sums[lag] += float((takes[:, lag:] * takes[:, : takes.shape[1] - lag]).sum())
    if sums[0] <= 0:
        return float(size)
    correlation = np.minimum(np.abs(sums[1:] / sums[0]), 1.0)
    return float(1 + 2 * ((1 - lags / size) * correlation).sum())
