"""From the arrivals of the chirps to the take's clock.

The clock's deviation from the nominal one is a straight line plus an integrated random walk: the rate wanders. With no
wander this is the weighted straight line; with wander the best estimate is a smoothing spline with a knot at each
arrival. How strong the wander is, is found by restricted maximum likelihood.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from humcheck.takes.clock import Clock, Step
from humcheck.takes.slot_fit import SlotFit
from humcheck.tracks.envelopes import PASS_SHARE
from humcheck.tracks.markers import CHIRP_HIGH_HZ

Array = NDArray[np.float64]

#: Strengths of wander that are tried: RMS change of the rate in one minute, in ppm. The first stands for none.
WALKS_PPM = np.concatenate([[1e-9], np.geomspace(1e-4, 30.0, 34)])
#: What is thought likely before anything is seen: 0.03 ppm in a minute, give or take a factor of ten.
_LIKELY_LOG_WALK = (np.log(0.03), np.log(10.0))
#: A straight line is kept unless chance would leave such residuals less than once in a thousand times.
_STRAIGHT_Z = 3.09
#: Strengths of wander less likely than this are left out of the uncertainties.
_NEGLIGIBLE = 3e-3
#: Rate read from the pieces of one whole chirp, in ppm (from trials at 20 dB signal to noise).
_ONE_CHIRP_PPM = 20.0
#: What an unknown filter may put between a left and a right chirp, in seconds: a single marker's drift rests on it.
_SKEW_S = 7e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrivals:
    """When the take holds the chirps, in order of time.

    Attributes
    ----------
    rate_hz : float
        Nominal rate of the take.
    track_s, take_index, variance : numpy.ndarray, shape (n,)
        Track time, take index as if no sample had been lost, and its variance in square samples.
    side : numpy.ndarray, shape (n,)
        -0.5 for left chirps, 0.5 for right ones: the two may arrive apart (a filter, a recorder that takes turns).
    """

    rate_hz: float
    track_s: Array
    take_index: Array
    variance: Array
    side: Array

    def deviation(self) -> Array:
        """Return by how many samples the arrivals are later than the nominal clock has them."""
        return np.asarray(self.take_index - self.rate_hz * self.track_s)

    def fits_skew(self) -> bool:
        """Whether the two sides can be told apart from the drift: both came, at two markers or more."""
        counts = [int(np.sum(self.side < 0.0)), int(np.sum(self.side > 0.0))]
        return min(counts) >= 1 and max(counts) >= 2

    def design(self) -> Array:
        """Return the columns of the straight line: one, time from the middle, and the skew where it is fitted."""
        columns = [np.ones_like(self.track_s), self.track_s - self.middle_s()]
        return np.stack([*columns, self.side] if self.fits_skew() else columns, axis=1)

    def middle_s(self) -> float:
        """Return the track time about which the slope is counted."""
        return float(np.mean(self.track_s))

    def noise(self) -> Array:
        """Return the variances; a skew that cannot be fitted counts as uncertainty."""
        if self.fits_skew() or np.ptp(self.side) == 0.0:
            return self.variance
        return self.variance + 0.5 * (_SKEW_S * self.rate_hz) ** 2


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockFit:
    """A clock with its uncertainty.

    Attributes
    ----------
    clock : Clock
        The clock.
    offset_sd_s, drift_sd_ppm : float
        Standard uncertainties.
    residual_samples : numpy.ndarray, shape (n,)
        Arrivals less the clock.
    walk_ppm : float
        Wander: RMS change of the rate in one minute; 0 where a straight line holds.
    """

    clock: Clock
    offset_sd_s: float
    drift_sd_ppm: float
    residual_samples: Array
    walk_ppm: float


class WanderModel:
    """Line plus wander plus noise for one set of arrivals, for several strengths of wander at once.

    Attributes
    ----------
    walks_ppm : numpy.ndarray, shape (n_walks,)
        Strengths of wander.
    inverse : numpy.ndarray, shape (n_walks, n, n)
        Inverse covariance of the deviations, with the line projected out.
    log_weight : numpy.ndarray, shape (n_walks,)
        What the restricted log likelihood has besides the residual, and the prior of the wander.
    """

    def __init__(self, arrivals: Arrivals, walks_ppm: Array = WALKS_PPM) -> None:
        self.walks_ppm = walks_ppm
        self._arrivals = arrivals
        design = arrivals.design()
        kernel = _walk_covariance(arrivals.track_s, arrivals.track_s)
        covariance = _strength(walks_ppm, arrivals.rate_hz)[:, None, None] * kernel + np.diag(arrivals.noise())
        plain = np.linalg.inv(covariance)
        weighted = plain @ design
        information = design.T @ weighted
        self.line_covariance = np.linalg.inv(information)
        self.inverse = plain - weighted @ self.line_covariance @ np.swapaxes(weighted, 1, 2)
        prior = ((np.log(walks_ppm) - _LIKELY_LOG_WALK[0]) / _LIKELY_LOG_WALK[1]) ** 2
        # No wander at all is a case of its own, not the far end of little wander.
        prior = np.where(walks_ppm < WALKS_PPM[1], 0.0, prior)
        self.log_weight = -0.5 * (np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(information)[1] + prior)

    def log_likelihood(self, deviation: Array) -> Array:
        """Return the restricted log likelihood of deviations for each strength of wander."""
        return np.asarray(self.log_weight - 0.5 * ((self.inverse @ deviation) @ deviation))


def arrivals_of(slots: Sequence[SlotFit], variance: Array, rate_hz: float, steps: Sequence[Step] = ()) -> Arrivals:
    """Return the arrivals of chirps, the steps taken out."""
    track_s = np.array([slot.track_s for slot in slots])
    index = np.array([slot.take_index for slot in slots])
    for step in steps:
        index = index + step.count * (track_s >= step.track_s)
    side = np.array([-0.5 if slot.channel == "left" else 0.5 for slot in slots])
    return Arrivals(rate_hz=rate_hz, track_s=track_s, take_index=index, variance=variance, side=side)


def fit_clock(arrivals: Arrivals, end_s: float, steps: tuple[Step, ...] = ()) -> ClockFit:
    """Fit the clock through at least two arrivals: straight if that explains them, else with wander.

    The uncertainties allow for a wander too weak to show, each strength as far as it is to be believed.

    Parameters
    ----------
    arrivals : Arrivals
        The arrivals, the steps taken out.
    end_s : float
        Length of the track; the drift is the mean from its beginning to its end.
    steps : tuple of Step
        Kept in the clock.
    """
    deviation = arrivals.deviation()
    weight = _belief(WanderModel(arrivals).log_likelihood(deviation))
    straight = len(deviation) <= arrivals.design().shape[1] or is_straight(arrivals)
    walk_ppm = 0.0 if straight else float(WALKS_PPM[1 + int(np.argmax(weight[1:]))])
    best = _fit(arrivals, deviation, walk_ppm, end_s, steps)
    likely = np.flatnonzero(weight > _NEGLIGIBLE)
    others = [_fit(arrivals, deviation, float(WALKS_PPM[place]), end_s, ()) for place in likely]
    share = weight[likely] / weight[likely].sum()
    offset = [one.offset_sd_s**2 + (one.clock.offset_s - best.clock.offset_s) ** 2 for one in others]
    drift = [one.drift_sd_ppm**2 + (one.clock.drift_ppm - best.clock.drift_ppm) ** 2 for one in others]
    return replace(best, offset_sd_s=float(np.sqrt(share @ offset)), drift_sd_ppm=float(np.sqrt(share @ drift)))


def _belief(log_likelihood: Array) -> Array:
    """Return how far each strength of wander is to be believed: none at all as likely beforehand as all others."""
    prior = -0.5 * ((np.log(WALKS_PPM[1:]) - _LIKELY_LOG_WALK[0]) / _LIKELY_LOG_WALK[1]) ** 2
    weight = np.exp(log_likelihood - log_likelihood.max())
    weight[0] *= float(np.exp(prior).sum())
    return np.asarray(weight / weight.sum())


def is_straight(arrivals: Arrivals) -> bool:
    """Return whether a straight line explains the arrivals as well as noise lets it, by chi-square."""
    design, spread = arrivals.design(), np.sqrt(arrivals.noise())
    freedom = len(spread) - design.shape[1]
    if freedom < 1:
        return True
    weighted, scaled = design / spread[:, None], arrivals.deviation() / spread
    misfit = scaled - weighted @ np.linalg.lstsq(weighted, scaled, rcond=None)[0]
    return float(misfit @ misfit) <= _chi_square_limit(freedom)


def clock_of_one(slot: SlotFit, variance: float, rate_hz: float) -> ClockFit:
    """Return the clock that a single chirp gives: its rate is only as good as the chirp is long."""
    drift_ppm = (slot.placement.samples_per_s / rate_hz - 1.0) * 1e6
    top_hz = min(CHIRP_HIGH_HZ, PASS_SHARE * rate_hz)
    drift_sd_ppm = _ONE_CHIRP_PPM * (CHIRP_HIGH_HZ / top_hz) ** 2
    offset_s = (slot.take_index - slot.track_s * slot.placement.samples_per_s) / rate_hz
    return ClockFit(
        clock=Clock(rate_hz=rate_hz, offset_s=offset_s, drift_ppm=drift_ppm),
        offset_sd_s=float(np.hypot(np.sqrt(variance) / rate_hz, drift_sd_ppm * 1e-6 * slot.track_s)),
        drift_sd_ppm=drift_sd_ppm,
        residual_samples=np.zeros(1),
        walk_ppm=0.0,
    )


def _fit(arrivals: Arrivals, deviation: Array, walk_ppm: float, end_s: float, steps: tuple[Step, ...]) -> ClockFit:
    """Return the best clock for one strength of wander, by Gauss-Markov estimation."""
    track_s, rate_hz = arrivals.track_s, arrivals.rate_hz
    strength = float(_strength(np.array([walk_ppm]), rate_hz)[0])
    design = arrivals.design()
    covariance = strength * _walk_covariance(track_s, track_s) + np.diag(arrivals.noise())
    weighted = np.linalg.solve(covariance, design)
    line_covariance = np.linalg.inv(design.T @ weighted)
    line = line_covariance @ (weighted.T @ deviation)
    pull = np.linalg.solve(covariance, deviation - design @ line)
    # The clock at the track's two ends and at the arrivals: line plus wander, as one linear estimate each.
    at_s = np.concatenate([[0.0, end_s], track_s])
    rows = np.stack([np.ones_like(at_s), at_s - arrivals.middle_s()], axis=1)
    cross = strength * _walk_covariance(at_s, track_s)
    value = rows @ line[:2] + cross @ pull
    ends = np.array([[1.0, 0.0], [-1.0 / end_s, 1.0 / end_s]])  # offset, drift
    lean = np.zeros((2, design.shape[1]))
    lean[:, :2] = ends @ rows[:2]
    lean -= ends @ cross[:2] @ weighted
    uncertain = strength * _walk_covariance(at_s[:2], at_s[:2]) - cross[:2] @ np.linalg.solve(covariance, cross[:2].T)
    spread = np.diag(ends @ uncertain @ ends.T + lean @ line_covariance @ lean.T)
    slope = (value[1] - value[0]) / end_s
    skew = design[:, 2] * line[2] if design.shape[1] == 3 else 0.0
    wander = value[2:] - (value[0] + slope * track_s)
    return ClockFit(
        clock=Clock(
            rate_hz=rate_hz,
            offset_s=float(value[0]) / rate_hz,
            drift_ppm=float(slope) / rate_hz * 1e6,
            knots_s=track_s if walk_ppm > 0.0 else np.zeros(0),
            wander_samples=wander if walk_ppm > 0.0 else np.zeros(0),
            steps=steps,
        ),
        offset_sd_s=float(np.sqrt(spread[0])) / rate_hz,
        drift_sd_ppm=float(np.sqrt(spread[1])) / rate_hz * 1e6,
        residual_samples=deviation - value[2:] - skew,
        walk_ppm=walk_ppm,
    )


def _strength(walk_ppm: Array, rate_hz: float) -> Array:
    """Return the random walk's power, square samples per second cubed, of its RMS change in a minute."""
    return np.asarray((walk_ppm * 1e-6 * rate_hz) ** 2 / 60.0)


def _walk_covariance(first_s: Array, second_s: Array) -> Array:
    """Return the covariance of an integrated random walk of unit power that starts at track time zero."""
    early = np.maximum(np.minimum(first_s[:, None], second_s[None, :]), 0.0)
    late = np.maximum(first_s[:, None], second_s[None, :])
    return np.asarray(early**2 * (3.0 * late - early) / 6.0)


def _chi_square_limit(freedom: int) -> float:
    """Return the value that chi-square exceeds once in a thousand times (Wilson and Hilferty's cube root)."""
    spread = 2.0 / (9.0 * freedom)
    return float(freedom * (1.0 - spread + _STRAIGHT_Z * np.sqrt(spread)) ** 3)
