"""The clock of a take: which sample of the take holds which moment of the track.

Sample ``k`` of a take with nominal rate ``r`` would hold track time ``k / r`` if both clocks were the same and the
recording had started with the track. In truth there is an offset, a drift, a slow wander, and now and then a step
where samples were lost or inserted.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

#: The wander is tiny against the line: each pass of the inversion multiplies the error by the wander's slope (< 1e-4),
#: so that two leave less than a picosecond.
_INVERSION_PASSES = 2
#: Within so many samples the wander is a cubic to far below a picosecond.
_RUN_SAMPLES = 256
_RUN_NODES = np.array([0.0, 1.0, 2.0, 3.0]) / 3.0
_RUN_BASIS = np.linalg.inv(np.vander(_RUN_NODES, increasing=True))


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A place where the take lost or gained samples.

    Attributes
    ----------
    track_s : float
        Track time of the step.
    count : int
        Samples lost; negative where samples were inserted.
    """

    track_s: float
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """Track time to take index and back.

    Attributes
    ----------
    rate_hz : float
        Nominal sampling rate of the take.
    offset_s : float
        Index in the take of track time zero, over `rate_hz`; negative where the start is cut.
    drift_ppm : float
        How much longer the take is than the track, by their nominal clocks.
    knots_s, wander_samples : numpy.ndarray, shape (n_knots,)
        Deviation from the straight line in samples at these track times; empty for a straight clock. Between the
        knots it is the natural cubic spline, outside them it goes on straight.
    steps : tuple of Step
        In order of time.
    """

    rate_hz: float
    offset_s: float
    drift_ppm: float
    knots_s: Array = field(default_factory=lambda: np.zeros(0))
    wander_samples: Array = field(default_factory=lambda: np.zeros(0))
    steps: tuple[Step, ...] = ()

    @property
    def samples_per_track_s(self) -> float:
        """Take samples for each second of the track, on the mean line."""
        return self.rate_hz * (1.0 + self.drift_ppm * 1e-6)

    @property
    def is_straight(self) -> bool:
        """Whether the clock is a straight line (but for steps)."""
        return len(self.knots_s) == 0

    def unbroken_index(self, track_time_s: ArrayLike) -> Array:
        """Return the take index of track times as if no sample had been lost or inserted."""
        time_s = np.asarray(track_time_s, dtype=np.float64)
        index = self.offset_s * self.rate_hz + time_s * self.samples_per_track_s
        return index if self.is_straight else index + self._wander(time_s)

    def take_index(self, track_time_s: ArrayLike) -> Array:
        """Return the take index, a float, at which the take holds these track times; same shape.

        Moments that were lost all get the index of their step.
        """
        time_s = np.asarray(track_time_s, dtype=np.float64)
        index = self.unbroken_index(time_s)
        total = 0
        for step in self.steps:
            place = float(self.unbroken_index(step.track_s)) - total
            index = np.where(time_s >= step.track_s, np.maximum(index - step.count, place), index)
            total += step.count
        return index

    def track_time_s(self, take_index: ArrayLike) -> Array:
        """Return the track time that these take indices hold; same shape.

        Inserted samples all get the time of their step.
        """
        index = np.asarray(take_index, dtype=np.float64)
        unbroken = index
        total = 0
        for step in self.steps:
            place = float(self.unbroken_index(step.track_s)) - total
            unbroken = np.where(index >= place, np.maximum(index + step.count, place) + total, unbroken)
            total += step.count
        return self._unbroken_time_s(unbroken)

    def track_time_of_run_s(self, start: int, count: int) -> Array:
        """Return `track_time_s` of `count` samples in a row, from index `start` on, in a fraction of the time.

        Only every few samples are computed; between them goes the cubic through four of them.
        """
        if self.is_straight or any(start - 1 <= float(place) <= start + count for place in self._step_places()):
            return self.track_time_s(np.arange(start, start + count))
        starts = np.arange(start, start + count, _RUN_SAMPLES, dtype=np.float64)
        exact_s = self.track_time_s(starts[:, np.newaxis] + _RUN_NODES * _RUN_SAMPLES)
        within = np.arange(_RUN_SAMPLES) / _RUN_SAMPLES
        # From the first of each run: the cubic then carries milliseconds, and rounds accordingly.
        cubic = (exact_s - exact_s[:, :1]) @ _RUN_BASIS.T
        times_s = exact_s[:, :1] + cubic @ np.vander(within, 4, increasing=True).T
        return np.asarray(times_s.reshape(-1)[:count])

    def _step_places(self) -> list[float]:
        """Return the take indices at which samples were lost or inserted."""
        return [float(self.take_index(step.track_s)) for step in self.steps]

    def local_rate_hz(self, track_time_s: ArrayLike) -> Array:
        """Return the take samples for each second of the track around these track times; same shape."""
        time_s = np.asarray(track_time_s, dtype=np.float64)
        half_s = 0.05
        if self.is_straight:
            return np.full(time_s.shape, self.samples_per_track_s)
        change = self._wander(time_s + half_s) - self._wander(time_s - half_s)
        return self.samples_per_track_s + change / (2.0 * half_s)

    def _unbroken_time_s(self, index: Array) -> Array:
        line_s = (index - self.offset_s * self.rate_hz) / self.samples_per_track_s
        if self.is_straight:
            return line_s
        time_s = line_s
        for _ in range(_INVERSION_PASSES):
            time_s = line_s - self._wander(time_s) / self.samples_per_track_s
        return time_s

    def _wander(self, time_s: Array) -> Array:
        return natural_spline(self.knots_s, self.wander_samples, time_s)


def natural_spline(knots: Array, values: Array, at: Array) -> Array:
    """Return the natural cubic spline through `values` at `knots`, straight outside them.

    Parameters
    ----------
    knots, values : numpy.ndarray, shape (n,)
        Rising knots, at least two, and the values there.
    at : numpy.ndarray, any shape
        Where to evaluate.
    """
    curvature = _knot_curvature(knots, values)
    gap = np.diff(knots)
    slope = np.diff(values) / gap
    place = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, len(gap) - 1)
    x = np.clip(at, knots[0], knots[-1]) - knots[place]
    width = gap[place]
    start_slope = slope[place] - width * (2.0 * curvature[place] + curvature[place + 1]) / 6.0
    third = (curvature[place + 1] - curvature[place]) / (6.0 * width)
    inside = values[place] + x * (start_slope + x * (0.5 * curvature[place] + x * third))
    first_slope = slope[0] - gap[0] * curvature[1] / 6.0
    last_slope = slope[-1] + gap[-1] * curvature[-2] / 6.0
    return np.asarray(
        inside + np.minimum(at - knots[0], 0.0) * first_slope + np.maximum(at - knots[-1], 0.0) * last_slope
    )


def _knot_curvature(knots: Array, values: Array) -> Array:
    """Return the second derivatives at the knots; zero at both ends."""
    curvature = np.zeros(len(knots))
    if len(knots) < 3:
        return curvature
    gap = np.diff(knots)
    slope = np.diff(values) / gap
    matrix = np.diag((gap[:-1] + gap[1:]) / 3.0) + np.diag(gap[1:-1] / 6.0, 1) + np.diag(gap[1:-1] / 6.0, -1)
    curvature[1:-1] = np.linalg.solve(matrix, np.diff(slope))
    return curvature
