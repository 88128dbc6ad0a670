"""The mains phase as a free smooth curve: cubic B-splines, and how rough a mains phase may be.

Mains frequency walks at random: its changes over any time are independent, with a standard deviation that grows with
the root of the time. The second differences of the spline's coefficients then are independent too, and their
variance is the penalty's scale.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from humcheck.estimates.lines.spectrum import Floats

#: Distance of the knots. Wider ones do not follow the top harmonics of mains that wander by 20 mHz in 30 s.
KNOT_S = 0.25
#: Largest number of coefficients; longer records get wider knots.
MOST_KNOTS = 400
#: Wander is stated as the change of frequency (standard deviation) over this time.
WANDER_OVER_S = 30.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PhaseSpline:
    """Basis of phase curves over one record.

    Attributes
    ----------
    duration_s, knot_s : float
        Length of the record, distance of the knots.
    n_coefficients : int
        Number of basis functions.
    """

    duration_s: float
    knot_s: float
    n_coefficients: int

    def basis(self, time_s: Floats) -> Floats:
        """Return the basis functions at times, shape (n_times, n_coefficients)."""
        first, weights = self.local_basis(time_s)
        basis = np.zeros((time_s.size, self.n_coefficients))
        rows = np.arange(time_s.size)[:, np.newaxis]
        basis[rows, first[:, np.newaxis] + np.arange(4)] = weights.T
        return basis

    def local_basis(self, time_s: Floats) -> tuple[NDArray[np.intp], Floats]:
        """Return the four basis functions that are not zero at each time: the first one's place, and (4, n_times)."""
        place = np.clip(time_s / self.knot_s, 0.0, self.n_coefficients - 3 - 1e-9)
        first = place.astype(np.intp)
        u = place - first
        weights = np.stack([(1 - u) ** 3, 3 * u**3 - 6 * u**2 + 4, -3 * u**3 + 3 * u**2 + 3 * u + 1, u**3])
        return first, weights / 6.0

    def roughness(self) -> Floats:
        """Return D2'D2 of the coefficients' second differences, shape (n_coefficients, n_coefficients)."""
        second = np.diff(np.eye(self.n_coefficients), 2, axis=0)
        return np.asarray(second.T @ second, dtype=np.float64)

    def roughness_variance(self, wander_hz: float) -> float:
        """Return the variance of the second differences for mains that wander by `wander_hz` over 30 s.

        Matches the spectral density of the walk at low frequencies, where nearly all its power is.
        """
        return (2 * np.pi) ** 2 * wander_hz**2 / WANDER_OVER_S * self.knot_s**3

    def log_volume(self) -> float:
        """Return ln |det| of the map from coefficients to (phase at the middle, mean frequency, second differences)."""
        return _log_volume(self.n_coefficients, self.knot_s, self.duration_s)

    def mean_frequency_row(self) -> Floats:
        """Return the row that turns coefficients into the mean frequency offset over the record, in Hz."""
        ends = self.basis(np.array([0.0, self.duration_s]))
        return np.asarray((ends[1] - ends[0]) / (2 * np.pi * self.duration_s))

    def middle_row(self) -> Floats:
        """Return the row that turns coefficients into the phase at the record's middle."""
        return np.asarray(self.basis(np.array([self.duration_s / 2]))[0])

    def second_mean_rows(self) -> Floats:
        """Return the rows that turn coefficients into the means over each whole second, in Hz, (n_seconds, n)."""
        n_seconds = int(self.duration_s)
        start_s = (self.duration_s - n_seconds) / 2
        edges = self.basis(start_s + np.arange(n_seconds + 1.0))
        return np.diff(edges, axis=0) / (2 * np.pi)


def phase_spline(duration_s: float) -> PhaseSpline:
    """Return the basis for a record of this length."""
    n_intervals = max(int(np.ceil(duration_s / KNOT_S)), 4)
    n_intervals = min(n_intervals, MOST_KNOTS)
    return PhaseSpline(duration_s=duration_s, knot_s=duration_s / n_intervals, n_coefficients=n_intervals + 3)


@lru_cache(maxsize=32)
def _log_volume(n_coefficients: int, knot_s: float, duration_s: float) -> float:
    spline = PhaseSpline(duration_s=duration_s, knot_s=knot_s, n_coefficients=n_coefficients)
    rows = np.vstack([spline.middle_row(), spline.mean_frequency_row(), np.diff(np.eye(n_coefficients), 2, axis=0)])
    return float(np.linalg.slogdet(rows)[1])
