"""Levels over frequency of repeated sweeps, through minus direct, with their uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats, ratio_to_db
from humcheck.comparison.curve_scatter import CurveScatter, curve_scatter, levels_of
from humcheck.comparison.intervals import Estimate
from humcheck.estimates.sweeps import IN_SERIES, REFERENCE_HZ, ResponseEstimate, index_of
from humcheck.estimates.sweeps.grid import Flags


@dataclass(frozen=True, slots=True, kw_only=True)
class Delta:
    """Through over direct.

    Attributes
    ----------
    frequency_hz : numpy.ndarray, shape (n_f,)
        All points of the grid that both sides have.
    value_db, sd_db, freedom : numpy.ndarray, shape (n_f,)
        Difference of the mean levels, its standard uncertainty, and the degrees of freedom of that.
    shown : numpy.ndarray of bool, shape (n_f,)
        Points of the series where the direct side is valid.
    hidden : numpy.ndarray of bool, shape (n_f,)
        Where the through side is lost in its noise: the value is then a one-sided 95 % upper bound.
    """

    frequency_hz: Floats
    value_db: Floats
    sd_db: Floats
    freedom: Floats
    shown: Flags
    hidden: Flags

    def interval(self) -> tuple[Floats, Floats]:
        """Return the 95 % interval of each point; at hidden points the bound itself."""
        half = np.where(self.hidden, 0.0, student_t(0.975, self.freedom) * self.sd_db)
        return self.value_db - half, self.value_db + half


@dataclass(frozen=True, slots=True, kw_only=True)
class _Side:
    level_db: Floats
    noise: Floats
    noise_freedom: Floats
    hidden: Flags
    count: int


def compare_levels(
    through: Sequence[ResponseEstimate],
    direct: Sequence[ResponseEstimate],
    *,
    re_reference: bool = False,
    cells: Sequence[Sequence[ResponseEstimate]] | None = None,
    level: Estimate | None = None,
) -> Delta:
    """Return through minus direct in dB.

    Parameters
    ----------
    through, direct : sequence of ResponseEstimate
        Of one channel, at least one a side.
    re_reference : bool, optional
        Whether every take's level counts from its own level at 997 Hz: the shape alone, without gain.
    cells : sequence of sequence of ResponseEstimate, optional
        The takes of every use of the bench in that channel, whose scatter is pooled; without it these two alone.
    level : Estimate, optional
        What is known otherwise of the difference of levels as a whole: its uncertainty counts instead of the sweeps'.

    Notes
    -----
    The uncertainty is that of the takes' own noise and of the scatter between takes (see `curve_scatter`), where any
    use has several. What the method itself leaves is added either way.
    """
    n_points = min(response.frequency_hz.size for response in (*through, *direct))
    ours, theirs = (_side(takes, n_points, re_reference) for takes in (through, direct))
    valid = np.all([response.valid()[:n_points] for response in direct], axis=0)
    among = [[one for one in cell if one.frequency_hz.size >= n_points] for cell in cells or (through, direct)]
    scatter = curve_scatter(among, n_points, re_reference=re_reference)
    variance, freedom = _uncertainty(ours, theirs, scatter, re_reference, level)
    method_db = through[0].method_sd_db[:n_points]
    # A through side in its noise: its level at most, less the direct level at least.
    their_variance, their_freedom = _uncertainty(theirs, None, scatter, re_reference, level)
    limit_db = student_t(0.95, their_freedom) * np.sqrt(their_variance)
    difference_db = ours.level_db - theirs.level_db
    return Delta(
        frequency_hz=through[0].frequency_hz[:n_points],
        value_db=np.where(ours.hidden, difference_db + limit_db, difference_db),
        sd_db=np.sqrt(variance + method_db**2),
        freedom=freedom,
        shown=valid & IN_SERIES[:n_points],
        hidden=ours.hidden,
    )


def mean_shape(takes: Sequence[ResponseEstimate], cells: Sequence[Sequence[ResponseEstimate]], n_points: int) -> Delta:
    """Return the mean level of repeated takes re their own at 997 Hz, by itself.

    Parameters
    ----------
    takes : sequence of ResponseEstimate
        Of one channel.
    cells : sequence of sequence of ResponseEstimate
        The takes of every use, whose scatter is pooled.
    n_points : int
        Points of the grid that all have.
    """
    side = _side(takes, n_points, re_reference=True)
    among = [[one for one in cell if one.frequency_hz.size >= n_points] for cell in cells]
    variance, freedom = _uncertainty(side, None, curve_scatter(among, n_points, re_reference=True), True, None)
    valid = np.all([response.valid()[:n_points] for response in takes], axis=0)
    return Delta(
        frequency_hz=takes[0].frequency_hz[:n_points],
        value_db=side.level_db,
        sd_db=np.sqrt(variance + takes[0].method_sd_db[:n_points] ** 2 / 2),
        freedom=freedom,
        shown=valid & IN_SERIES[:n_points],
        hidden=side.hidden,
    )


def _uncertainty(
    side: _Side, other: _Side | None, scatter: CurveScatter, re_reference: bool, level: Estimate | None
) -> tuple[Floats, Floats]:
    """Return the variance of a mean, or of the difference of two, and its degrees of freedom.

    Welch-Satterthwaite; GUM (JCGM 100:2008) G.4.1. At 997 Hz a shape has no uncertainty.
    """
    sides = [side] if other is None else [side, other]
    share = sum(1 / one.count for one in sides)
    shape, shape_uncertainty = scatter.shape.copy(), scatter.shape_uncertainty.copy()
    if re_reference:
        at = index_of(REFERENCE_HZ)
        shape[at] = shape_uncertainty[at] = 0.0
    variance = shape * share + sum(one.noise for one in sides)
    weight = shape_uncertainty * share**2 + sum(2 * one.noise**2 / one.noise_freedom for one in sides)
    if not re_reference and level is not None:
        variance = variance + level.standard_uncertainty**2
        weight = weight + 2 * level.standard_uncertainty**4 / level.degrees_of_freedom
    elif not re_reference:
        variance = variance + scatter.level * share
        weight = weight + scatter.level_uncertainty * share**2
    freedom = np.divide(2 * variance**2, weight, out=np.full(variance.shape, np.inf), where=weight > 0.0)
    # Beside noisy neighbours a quiet point may seem to have fewer than it has by itself.
    return np.asarray(variance), np.maximum(freedom, scatter.freedom)


def student_t(probability: float, freedom: Floats) -> Floats:
    """Return the quantile of Student's t for each number of degrees of freedom; infinite ones are normal."""
    from scipy.special import ndtri, stdtrit

    finite = np.isfinite(freedom)
    quantile = stdtrit(np.where(finite, freedom, 1.0), probability)
    return np.asarray(np.where(finite, quantile, ndtri(probability)))


def _side(responses: Sequence[ResponseEstimate], n_points: int, re_reference: bool) -> _Side:
    """Return the mean level of repeated takes, and the variance that their own noise leaves in it."""
    levels = levels_of(responses, n_points, re_reference=re_reference)
    values = np.abs(np.array([response.gain.value[:n_points] for response in responses]))
    sds = np.array([response.gain.sd[:n_points] for response in responses])
    freedom = np.array([response.gain.freedom[:n_points] for response in responses])
    limits_db = ratio_to_db(values + student_t(0.95, freedom) * sds / np.sqrt(2.0))
    if re_reference:
        limits_db = limits_db - ratio_to_db(values[:, [index_of(REFERENCE_HZ)]])
    count = len(responses)
    # Of several hidden takes the loudest limit holds for all.
    return _Side(
        level_db=np.where(levels.hidden, limits_db.max(axis=0), levels.level_db.mean(axis=0)),
        noise=np.where(levels.hidden, 0.0, (levels.noise_db**2).sum(axis=0) / count**2),
        noise_freedom=freedom.sum(axis=0),
        hidden=levels.hidden,
        count=count,
    )
