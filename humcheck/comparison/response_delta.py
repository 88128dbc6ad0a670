"""Levels over frequency of repeated sweeps, through minus direct, with their uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats, ratio_to_db
from humcheck.estimates.sweeps import IN_SERIES, REFERENCE_HZ, ResponseEstimate, index_of
from humcheck.estimates.sweeps.grid import Flags

#: dB per relative change of an amplitude.
DB_PER_UNIT = float(20.0 / np.log(10.0))
#: Below this signal-to-noise ratio (power) a level is only an upper bound.
HIDDEN_BELOW_RATIO = 10.0


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
    sd_db: Floats
    freedom: Floats
    hidden: Flags


def compare_levels(
    through: Sequence[ResponseEstimate], direct: Sequence[ResponseEstimate], *, re_reference: bool = False
) -> Delta:
    """Return through minus direct in dB.

    Parameters
    ----------
    through, direct : sequence of ResponseEstimate
        Of one channel, at least one a side.
    re_reference : bool, optional
        Whether every take's level counts from its own level at 997 Hz: the shape alone, without gain.

    Notes
    -----
    One take a side: the uncertainty is that of its own noise. Several: the scatter between takes, unless chance made it
    smaller than their own noise explains. What the method itself leaves is added either way.
    """
    n_points = min(response.frequency_hz.size for response in (*through, *direct))
    ours, theirs = _side(through, n_points, re_reference), _side(direct, n_points, re_reference)
    valid = np.all([response.valid()[:n_points] for response in direct], axis=0)
    variance = ours.sd_db**2 + theirs.sd_db**2
    # Welch-Satterthwaite; GUM (JCGM 100:2008) G.4.1. At 997 Hz a shape has no uncertainty.
    weight = ours.sd_db**4 / ours.freedom + theirs.sd_db**4 / theirs.freedom
    freedom = np.divide(variance**2, weight, out=np.full(n_points, np.inf), where=weight > 0.0)
    method_db = through[0].method_sd_db[:n_points]
    # A through side in its noise: its level at most, less the direct level at least.
    limit_db = student_t(0.95, theirs.freedom) * theirs.sd_db
    difference_db = ours.level_db - theirs.level_db
    return Delta(
        frequency_hz=through[0].frequency_hz[:n_points],
        value_db=np.where(ours.hidden, difference_db + limit_db, difference_db),
        sd_db=np.sqrt(variance + method_db**2),
        freedom=freedom,
        shown=valid & IN_SERIES[:n_points],
        hidden=ours.hidden,
    )


def student_t(probability: float, freedom: Floats) -> Floats:
    """Return the quantile of Student's t for each number of degrees of freedom; infinite ones are normal."""
    from scipy.special import ndtri, stdtrit

    finite = np.isfinite(freedom)
    quantile = stdtrit(np.where(finite, freedom, 1.0), probability)
    return np.asarray(np.where(finite, quantile, ndtri(probability)))


def _side(responses: Sequence[ResponseEstimate], n_points: int, re_reference: bool) -> _Side:
    """Return the mean level of repeated takes."""
    values = np.abs(np.array([response.gain.value[:n_points] for response in responses]))
    sds = np.array([response.gain.sd[:n_points] for response in responses])
    freedom = np.array([response.gain.freedom[:n_points] for response in responses])
    hidden = np.any(values**2 < HIDDEN_BELOW_RATIO * sds**2, axis=0)
    limits = values + student_t(0.95, freedom) * sds / np.sqrt(2.0)
    levels_db = ratio_to_db(np.where(hidden, limits, values))
    noise_db = np.where(hidden, 0.0, DB_PER_UNIT * sds / np.sqrt(2.0) / np.maximum(values, 1e-30))
    if re_reference:
        reference = index_of(REFERENCE_HZ)
        levels_db = levels_db - levels_db[:, reference : reference + 1]
        noise_db = np.hypot(noise_db, noise_db[:, reference : reference + 1])
        noise_db[:, reference] = 0.0
    count = len(responses)
    within = np.sqrt(np.sum(noise_db**2, axis=0)) / count
    # Of several hidden takes the loudest limit holds for all.
    level_db = np.where(hidden, levels_db.max(axis=0), levels_db.mean(axis=0))
    if count == 1:
        return _Side(level_db=level_db, sd_db=within, freedom=freedom[0], hidden=hidden)
    scatter = np.where(hidden, 0.0, levels_db.std(axis=0, ddof=1) / np.sqrt(count))
    by_scatter = scatter > within
    return _Side(
        level_db=level_db,
        sd_db=np.where(by_scatter, scatter, within),
        freedom=np.where(by_scatter, count - 1.0, freedom.sum(axis=0)),
        hidden=hidden,
    )
