"""Two clocks that do not agree: the player's and the recorder's, each with an offset, a slope and a random walk.

Everything is counted in take samples, from knots a tenth of a second apart joined by cubic splines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from humcheck.audio.levels import Floats

if TYPE_CHECKING:
    from scipy.interpolate import PPoly

_KNOT_S = 0.1
_MINUTE_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Crystal:
    """A sampling clock as it really runs.

    Attributes
    ----------
    ppm : float
        Relative frequency error at the start, positive where it runs fast.
    ppm_per_minute : float
        Steady change, as of a machine that warms up.
    walk_ppm : float
        Random walk: RMS change in one minute.
    """

    ppm: float = 0.0
    ppm_per_minute: float = 0.0
    walk_ppm: float = 0.0

    def rate_factor(self, time_s: Floats, rng: np.random.Generator) -> Floats:
        """Return actual over nominal frequency at evenly spaced times, shape (n,)."""
        step_s = float(time_s[1] - time_s[0])
        steps = rng.standard_normal(time_s.size) * self.walk_ppm * math.sqrt(step_s / _MINUTE_S)
        steps[0] = 0.0
        return np.asarray(1 + 1e-6 * (self.ppm + self.ppm_per_minute * time_s / _MINUTE_S + np.cumsum(steps)))


class Counter:
    """Something that counts up along the take: the integral of a rate per take sample, from 0 at sample 0.

    Parameters
    ----------
    knots : Knots
        Where the rate is given.
    rate_per_sample : numpy.ndarray, shape (n_knots,)
        Rate at the knots.
    """

    def __init__(self, knots: Knots, rate_per_sample: Floats) -> None:
        from scipy.interpolate import CubicSpline

        self._step = knots.step
        self._rate = CubicSpline(knots.index, rate_per_sample)
        total: PPoly = self._rate.antiderivative()
        self._total = total

    def at(self, take_index: Floats) -> Floats:
        """Return the count at (fractional) take samples, any shape; beyond the ends the last polynomial goes on."""
        return np.asarray(self._total(take_index), dtype=np.float64)

    def rate_at(self, take_index: Floats) -> Floats:
        """Return the rate per take sample."""
        return np.asarray(self._rate(take_index), dtype=np.float64)

    def grid(self, n_samples: int) -> Floats:
        """Return the count at samples 0, 1, ... n_samples - 1: the same as `at`, a hundred times faster."""
        powers = np.arange(self._step, dtype=np.float64)[:, np.newaxis] ** np.arange(4, -1, -1)
        n_pieces = -(-n_samples // self._step)
        pieces = powers @ self._total.c[:, :n_pieces]
        return np.ascontiguousarray(pieces.T).ravel()[:n_samples]


class Knots:
    """Evenly spaced take samples that reach past the end of a take."""

    def __init__(self, n_samples: int, rate_hz: float) -> None:
        self.step = max(1, round(rate_hz * _KNOT_S))
        n_knots = n_samples // self.step + 5
        self.index = np.arange(n_knots, dtype=np.float64) * self.step
        self.time_s = self.index / rate_hz
        self.rate_hz = rate_hz


class TimeMap:
    """Which moment of the source each take sample holds, before any sample is lost.

    Parameters
    ----------
    player, recorder : numpy.ndarray, shape (n_knots,)
        Actual over nominal frequency of either clock.
    knots : Knots
        Where they are given.
    offset_s : float
        Index in the take of the first source sample, over the take's nominal rate.
    """

    def __init__(self, knots: Knots, player: Floats, recorder: Floats, offset_s: float) -> None:
        self.rate_hz = knots.rate_hz
        self.knots = knots
        self.recorder = recorder
        self.offset_s = offset_s
        # Only the small difference from one sample per sample is integrated: the count keeps its last digits.
        self._excess = Counter(knots, player / recorder - 1.0)
        start = np.array([offset_s * knots.rate_hz])
        self._origin = float((start + self._excess.at(start))[0])

    def positions(self, n_samples: int) -> Floats:
        """Return source time of each take sample, in samples of the take's nominal rate."""
        return np.arange(n_samples) + (self._excess.grid(n_samples) - self._origin)

    def source_time_s(self, take_index: Floats) -> Floats:
        """Return the source time in seconds at (fractional) take samples."""
        index = np.asarray(take_index, dtype=np.float64)
        return np.asarray((index + self._excess.at(index) - self._origin) / self.rate_hz)

    def take_index(self, source_time_s: Floats) -> Floats:
        """Return the take samples (fractional) at which source times arrive."""
        wanted = np.asarray(source_time_s, dtype=np.float64) * self.rate_hz + self._origin
        index = wanted.copy()
        # The excess changes by a thousandth at most: each round gains three digits and more.
        for _ in range(6):
            index = wanted - self._excess.at(index)
        return np.asarray(index)

    def drift_ppm(self, start_s: float, stop_s: float) -> float:
        """Return take samples per source sample, less one, in 1e-6, between two source times."""
        first, last = self.take_index(np.array([start_s, stop_s]))
        return float(((last - first) / (self.rate_hz * (stop_s - start_s)) - 1) * 1e6)

    def true_counter(self, frequency_hz: Floats | float) -> Counter:
        """Return the cycles of something in true time (mains, picture), counted along the take.

        Parameters
        ----------
        frequency_hz : numpy.ndarray, shape (n_knots,), or float
            Its frequency at the knots in Hz.
        """
        return Counter(self.knots, frequency_hz / (self.recorder * self.rate_hz))


def time_map(
    *,
    n_samples: int,
    rate_hz: float,
    player: Crystal,
    recorder: Crystal,
    offset_s: float,
    rng: np.random.Generator,
) -> TimeMap:
    """Return how the clocks of player and recorder meet in a take of `n_samples`."""
    knots = Knots(n_samples, rate_hz)
    return TimeMap(knots, player.rate_factor(knots.time_s, rng), recorder.rate_factor(knots.time_s, rng), offset_s)
