"""When the chirps of a take arrive, and whether a straight clock explains it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humcheck.takes.clock import Step
from humcheck.takes.slot_fit import SlotFit

Array = NDArray[np.float64]

#: A straight line is kept unless chance would leave such residuals less than once in a thousand times.
_STRAIGHT_Z = 3.09
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


def arrivals_of(slots: Sequence[SlotFit], variance: Array, rate_hz: float, steps: Sequence[Step] = ()) -> Arrivals:
    """Return the arrivals of chirps, the steps taken out."""
    track_s = np.array([slot.track_s for slot in slots])
    index = np.array([slot.take_index for slot in slots])
    for step in steps:
        index = index + step.count * (track_s >= step.track_s)
    side = np.array([-0.5 if slot.channel == "left" else 0.5 for slot in slots])
    return Arrivals(rate_hz=rate_hz, track_s=track_s, take_index=index, variance=variance, side=side)


def is_straight(arrivals: Arrivals) -> bool:
    """Return whether a straight line explains the arrivals as well as noise lets it, by chi-square."""
    design, spread = arrivals.design(), np.sqrt(arrivals.noise())
    freedom = len(spread) - design.shape[1]
    if freedom < 1:
        return True
    weighted, scaled = design / spread[:, None], arrivals.bend() / spread
    misfit = scaled - weighted @ np.linalg.lstsq(weighted, scaled, rcond=None)[0]
    return float(misfit @ misfit) <= _chi_square_limit(freedom)


def _chi_square_limit(freedom: int) -> float:
    """Return the value that chi-square exceeds once in a thousand times (Wilson and Hilferty's cube root)."""
    spread = 2.0 / (9.0 * freedom)
    return float(freedom * (1.0 - spread + _STRAIGHT_Z * np.sqrt(spread)) ** 3)
