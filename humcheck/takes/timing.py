"""From the arrivals of the chirps to the take's clock.

The clock's deviation from the nominal one is a straight line plus a wander: its rate walks at random, and may change
steadily as a machine warms up. With no wander this is the weighted straight line; with wander the best estimate is a
smoothing spline. How strong the wander is, is found by restricted maximum likelihood.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from humcheck.takes.clock import Clock, Step
from humcheck.takes.slot_fit import SlotFit
from humcheck.tracks.envelopes import PASS_SHARE
from humcheck.tracks.markers import CHIRP_HIGH_HZ

Array = NDArray[np.float64]

#: Strengths of wander that are tried: RMS change of the rate in one minute, in ppm ...
_WALKS_PPM = np.geomspace(1e-4, 25.6, 19)
#: ... and the steady change of the rate, as of a machine that warms up, in ppm per minute (typical size).
_WARMING_PPM = np.array([0.0, 0.01, 0.03, 0.1, 0.3, 1.0])
#: What walk is thought likely before anything is seen: 0.03 ppm in a minute, give or take a factor of ten.
_LIKELY_LOG_WALK = (np.log(0.03), np.log(10.0))
#: A straight line is kept unless chance would leave such residuals less than once in a thousand times.
_STRAIGHT_Z = 3.09
#: The clock's spline has knots so far beyond the track's ends too: there it goes on straight.
_BEYOND_S = 1.0
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

    def bend(self) -> Array:
        """Return `deviation` less its plain least-squares line (and skew): what a wander has to explain."""
        design, deviation = self.design(), self.deviation()
        return np.asarray(deviation - design @ np.linalg.lstsq(design, deviation, rcond=None)[0])

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
    wander : Wander
        What kind of wander the clock allows for; `NO_WANDER` where a straight line holds.
    """

    clock: Clock
    offset_sd_s: float
    drift_sd_ppm: float
    residual_samples: Array
    wander: Wander


class Wander(NamedTuple):
    """How a clock may leave the straight line.

    Attributes
    ----------
    walk_ppm : float
        RMS change of its rate in one minute, at random.
    warming_ppm : float
        Size of the steady change of its rate in one minute.
    """

    walk_ppm: float
    warming_ppm: float

    def covariance(self, first_s: Array, second_s: Array, rate_hz: float) -> Array:
        """Return the covariance, in square samples, of the deviations at two sets of times."""
        walk = (self.walk_ppm * 1e-6 * rate_hz) ** 2 / 60.0
        warming = (self.warming_ppm * 1e-6 * rate_hz / 60.0) ** 2
        bend = 0.25 * np.outer(first_s**2, second_s**2)
        return np.asarray(walk * _walk_covariance(first_s, second_s) + warming * bend)

    def log_prior(self) -> float:
        """Return how likely it is before anything is seen, among its like."""
        distance = (np.log(self.walk_ppm) - _LIKELY_LOG_WALK[0]) / _LIKELY_LOG_WALK[1]
        return float(-0.5 * distance**2 + (np.log(_WARMING_PPM.size - 1) if self.warming_ppm == 0.0 else 0.0))


NO_WANDER = Wander(0.0, 0.0)
_WANDERS = tuple(Wander(float(walk), float(warming)) for walk in _WALKS_PPM for warming in _WARMING_PPM)


class WanderModel:
    """Line plus wander plus noise for one set of arrivals, for several wanders at once.

    Attributes
    ----------
    wanders : tuple of Wander
        The wanders; the first is none.
    inverse : numpy.ndarray, shape (n_wanders, n, n)
        Inverse covariance of the deviations, with the line projected out.
    log_weight : numpy.ndarray, shape (n_wanders,)
        What the restricted log likelihood has besides the residual, and the prior: no wander at all is as likely as
        all others together.
    """

    def __init__(self, arrivals: Arrivals, wanders: Sequence[Wander] = _WANDERS) -> None:
        self.wanders = (NO_WANDER, *wanders)
        contrasts = _contrasts(arrivals.design())
        # A line is nothing to the contrasts, so the walk may as well start at the first arrival.
        since_s = arrivals.track_s - arrivals.track_s[0]
        noise = contrasts.T @ (arrivals.noise()[:, None] * contrasts)
        walk, bend = (
            contrasts.T @ unit.covariance(since_s, since_s, arrivals.rate_hz) @ contrasts
            for unit in (Wander(1.0, 0.0), Wander(0.0, 1.0))
        )
        strengths = np.array(self.wanders)[:, :, None, None] ** 2
        covariance = strengths[:, 0] * walk + strengths[:, 1] * bend + noise
        self.inverse = contrasts @ np.linalg.inv(covariance) @ contrasts.T
        prior = np.array([wander.log_prior() for wander in wanders])
        prior = np.concatenate([[0.0], prior - np.log(np.sum(np.exp(prior)))])
        self.log_weight = prior - 0.5 * np.linalg.slogdet(covariance)[1]

    def log_likelihood(self, bend: Array) -> Array:
        """Return the restricted log likelihood of deviations less a line, prior included, for each wander."""
        return np.asarray(self.log_weight - 0.5 * ((self.inverse @ bend) @ bend))


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
    model = WanderModel(arrivals)
    likelihood = model.log_likelihood(arrivals.bend())
    weight = np.exp(likelihood - likelihood.max())
    straight = len(deviation) <= arrivals.design().shape[1] or is_straight(arrivals)
    wander = NO_WANDER if straight else model.wanders[1 + int(np.argmax(weight[1:]))]
    best = _fit(arrivals, deviation, wander, end_s, steps)
    likely = np.flatnonzero(weight > _NEGLIGIBLE * weight.sum())
    others = [_fit(arrivals, deviation, model.wanders[place], end_s, ()) for place in likely]
    share = weight[likely] / weight[likely].sum()
    offset = [one.offset_sd_s**2 + (one.clock.offset_s - best.clock.offset_s) ** 2 for one in others]
    drift = [one.drift_sd_ppm**2 + (one.clock.drift_ppm - best.clock.drift_ppm) ** 2 for one in others]
    return replace(best, offset_sd_s=float(np.sqrt(share @ offset)), drift_sd_ppm=float(np.sqrt(share @ drift)))


def is_straight(arrivals: Arrivals) -> bool:
    """Return whether a straight line explains the arrivals as well as noise lets it, by chi-square."""
    design, spread = arrivals.design(), np.sqrt(arrivals.noise())
    freedom = len(spread) - design.shape[1]
    if freedom < 1:
        return True
    weighted, scaled = design / spread[:, None], arrivals.bend() / spread
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
        wander=NO_WANDER,
    )


def _fit(arrivals: Arrivals, deviation: Array, wander: Wander, end_s: float, steps: tuple[Step, ...]) -> ClockFit:
    """Return the best clock for one wander: the best linear unbiased prediction, and its variance."""
    track_s, rate_hz = arrivals.track_s, arrivals.rate_hz
    design = arrivals.design()
    contrasts = _contrasts(design)
    covariance = wander.covariance(track_s, track_s, rate_hz) + np.diag(arrivals.noise())
    inverse = contrasts @ np.linalg.solve(contrasts.T @ covariance @ contrasts, contrasts.T)
    to_line = np.linalg.pinv(design)
    rough = to_line @ deviation
    # Thousands of samples of offset would drown in rounding what the inverse makes of a millionth of one.
    bend = deviation - design @ rough
    pull = inverse @ bend
    line = rough + to_line @ (bend - covariance @ pull)
    # The clock at the track's two ends and at the arrivals: the line there, and the wander as the arrivals have it.
    at_s = np.concatenate([[0.0, end_s], track_s, [-_BEYOND_S, end_s + _BEYOND_S]])
    rows = np.stack([np.ones_like(at_s), at_s - arrivals.middle_s()], axis=1)
    cross = wander.covariance(at_s, track_s, rate_hz)
    value = rows @ line[:2] + cross @ pull
    ends = np.array([[1.0, 0.0], [-1.0 / end_s, 1.0 / end_s]])  # offset, drift
    plain = ends @ rows[:2] @ to_line[:2]
    wandered = ends @ cross[:2]
    own = ends @ wander.covariance(at_s[:2], at_s[:2], rate_hz) @ ends.T
    rest = wandered - plain @ covariance
    spread = own - plain @ wandered.T - wandered @ plain.T + plain @ covariance @ plain.T - rest @ inverse @ rest.T
    offset_sd, drift_sd = np.sqrt(np.maximum(np.diag(spread), 0.0))
    slope = (value[1] - value[0]) / end_s
    skew = design[:, 2] * line[2] if design.shape[1] == 3 else 0.0
    knots = np.array([], dtype=np.intp) if wander == NO_WANDER else np.argsort(at_s)
    return ClockFit(
        clock=Clock(
            rate_hz=rate_hz,
            offset_s=float(value[0]) / rate_hz,
            drift_ppm=float(slope) / rate_hz * 1e6,
            knots_s=at_s[knots],
            wander_samples=(value - (value[0] + slope * at_s))[knots],
            steps=steps,
        ),
        offset_sd_s=float(offset_sd) / rate_hz,
        drift_sd_ppm=float(drift_sd) / rate_hz * 1e6,
        residual_samples=deviation - value[2:-2] - skew,
        wander=wander,
    )


def _contrasts(design: Array) -> Array:
    """Return an orthonormal basis of all that no straight line (and skew) can explain, shape (n, n - n_columns).

    A walk's covariance is huge along the line and the noise tiny beside it: taking the line out first keeps the
    difference from drowning in rounding.
    """
    return np.asarray(np.linalg.qr(design, mode="complete")[0][:, design.shape[1] :])


def _walk_covariance(first_s: Array, second_s: Array) -> Array:
    """Return the covariance of an integrated random walk of unit power that starts at track time zero."""
    early = np.maximum(np.minimum(first_s[:, None], second_s[None, :]), 0.0)
    late = np.maximum(first_s[:, None], second_s[None, :])
    return np.asarray(early**2 * (3.0 * late - early) / 6.0)


def _chi_square_limit(freedom: int) -> float:
    """Return the value that chi-square exceeds once in a thousand times (Wilson and Hilferty's cube root)."""
    spread = 2.0 / (9.0 * freedom)
    return float(freedom * (1.0 - spread + _STRAIGHT_Z * np.sqrt(spread)) ** 3)
