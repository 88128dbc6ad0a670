"""From the arrivals of the chirps to the take's clock.

With no wander the clock is the weighted straight line through the arrivals; with wander the best estimate is a
smoothing spline.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from humcheck.takes.arrivals import Arrivals, is_straight
from humcheck.takes.clock import Clock, Step
from humcheck.takes.slot_fit import SlotFit
from humcheck.takes.wander import NO_WANDER, Wander, WanderModel, contrasts_of
from humcheck.tracks.envelopes import PASS_SHARE
from humcheck.tracks.markers import CHIRP_HIGH_HZ

Array = NDArray[np.float64]

#: The clock's spline has knots so far beyond the track's ends too: there it goes on straight.
_BEYOND_S = 1.0
#: Strengths of wander less likely than this are left out of the uncertainties.
_NEGLIGIBLE = 3e-3
#: Rate read from the pieces of one whole chirp, in ppm (from trials at 20 dB signal to noise).
_ONE_CHIRP_PPM = 20.0


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
    contrasts = contrasts_of(design)
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
