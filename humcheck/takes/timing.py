"""From the arrivals of the chirps to the take's clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humcheck.takes.clock import Clock, Step
from humcheck.takes.slot_fit import SlotFit
from humcheck.tracks.envelopes import PASS_SHARE
from humcheck.tracks.markers import CHIRP_HIGH_HZ

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrivals:
    """When the take holds the chirps.

    Attributes
    ----------
    track_s, take_index, variance : numpy.ndarray, shape (n,)
        Track time, take index as if no sample had been lost, and its variance in square samples; in order of time.
    side : numpy.ndarray, shape (n,)
        -0.5 for left chirps, 0.5 for right ones: the two may arrive apart (a filter, a recorder that takes turns).
    """

    track_s: Array
    take_index: Array
    variance: Array
    side: Array

    def design(self, middle_s: float) -> Array:
        """Return the columns of the straight line: offset, slope re `middle_s`, and the skew where both sides are."""
        columns = [np.ones_like(self.track_s), self.track_s - middle_s]
        both = len(self.side) >= 4 and np.ptp(self.side) > 0.0
        return np.stack([*columns, self.side] if both else columns, axis=1)


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
    """

    clock: Clock
    offset_sd_s: float
    drift_sd_ppm: float
    residual_samples: Array


#: Rate read from the pieces of one whole chirp, in ppm (from trials at 20 dB signal to noise).
_ONE_CHIRP_PPM = 20.0
#: What an unknown filter may put between a left and a right chirp, in seconds: a single marker's drift rests on it.
_SKEW_S = 7e-6


def arrivals_of(slots: Sequence[SlotFit], variance: Array, steps: Sequence[Step] = ()) -> Arrivals:
    """Return the arrivals of chirps, the steps taken out."""
    track_s = np.array([slot.track_s for slot in slots])
    index = np.array([slot.take_index for slot in slots])
    for step in steps:
        index = index + step.count * (track_s >= step.track_s)
    side = np.array([-0.5 if slot.channel == "left" else 0.5 for slot in slots])
    return Arrivals(track_s=track_s, take_index=index, variance=variance, side=side)


def fit_line(arrivals: Arrivals, rate_hz: float, steps: tuple[Step, ...] = ()) -> ClockFit:
    """Fit the straight clock through at least two arrivals, weighted by their variances."""
    middle_s = float(np.average(arrivals.track_s, weights=1.0 / arrivals.variance))
    design = arrivals.design(middle_s)
    reference = arrivals.take_index - rate_hz * arrivals.track_s
    variance = arrivals.variance
    if design.shape[1] == 2 and np.ptp(arrivals.side) > 0.0:
        variance = variance + 0.5 * (_SKEW_S * rate_hz) ** 2
    weighted = design / variance[:, None]
    covariance = np.linalg.inv(design.T @ weighted)
    value = covariance @ (weighted.T @ reference)
    at_zero = np.array([1.0, -middle_s])
    clock = Clock(
        rate_hz=rate_hz,
        offset_s=float(at_zero @ value[:2]) / rate_hz,
        drift_ppm=float(value[1]) / rate_hz * 1e6,
        steps=steps,
    )
    return ClockFit(
        clock=clock,
        offset_sd_s=float(np.sqrt(at_zero @ covariance[:2, :2] @ at_zero)) / rate_hz,
        drift_sd_ppm=float(np.sqrt(covariance[1, 1])) / rate_hz * 1e6,
        residual_samples=reference - design @ value,
    )


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
    )
