"""How a clock may leave the straight line, and how likely the arrivals make each way.

The rate of a clock walks at random, and may change steadily as a machine warms up. How strongly is found by restricted
maximum likelihood: the likelihood of what no straight line can explain.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from humcheck.takes.arrivals import Arrivals

Array = NDArray[np.float64]

#: Strengths of wander that are tried: RMS change of the rate in one minute, in ppm ...
_WALKS_PPM = np.geomspace(1e-4, 25.6, 19)
#: ... and the steady change of the rate, as of a machine that warms up, in ppm per minute (typical size).
_WARMING_PPM = np.array([0.0, 0.01, 0.03, 0.1, 0.3, 1.0])
#: What walk is thought likely before anything is seen: 0.03 ppm in a minute, give or take a factor of ten.
_LIKELY_LOG_WALK = (np.log(0.03), np.log(10.0))


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
        contrasts = contrasts_of(arrivals.design())
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


def contrasts_of(design: Array) -> Array:
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
