"""The mean rate of steady lines whose clocks walk: two crystals drift by hundredths of a ppm while one listens.

A straight line through the phase tells the rate best if it is constant. If it walks at random, the mean rate is the
phase's way from the section's start to its end, and the straight line misses it by far more than noise does. How much
it walks is not known: every strength of the walk is weighed by how well it explains the phase (integrated Wiener
process beside white noise; the best linear prediction of the two ends, and its variance).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from humcheck.estimates.lines.spectrum import Complexes, Floats

#: Parts in which the phase is read, at most, and their least length.
MOST_PARTS = 20
LEAST_PART_S = 0.25
#: Walks that are weighed, each alike: relative change in a minute, standard deviation. Crystals of players, recorders
#: and pictures at room temperature walk by hundredths to tenths of a ppm (from memory of data sheets).
WALKS = 1e-6 * 10.0 ** np.arange(-1.5, 0.1, 0.25)
MINUTE_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseParts:
    """Phase of a fundamental in even parts of a section, beside that of a constant rate.

    Attributes
    ----------
    start_s, stop_s : float
        Times that the parts cover.
    pull : numpy.ndarray, shape (n_lines, n_parts)
        Phase times its information, of one or several fundamentals.
    information : numpy.ndarray, shape (n_lines,)
        Inverse variance of the phase of every part.
    """

    start_s: float
    stop_s: float
    pull: Floats
    information: Floats

    def beside(self, offset_hz: float, middle_s: float) -> PhaseParts:
        """Return the phase beside a rate that is higher by `offset_hz`; both rates' phases are zero at `middle_s`."""
        n_parts = self.pull.shape[1]
        time_s = self.start_s + (np.arange(n_parts) + 0.5) * (self.stop_s - self.start_s) / n_parts - middle_s
        return replace(self, pull=self.pull - 2 * np.pi * offset_hz * np.outer(self.information, time_s))

    def __add__(self, other: PhaseParts) -> PhaseParts:
        """Return what both tell together, of the same fundamentals; the parts' times hardly differ."""
        return PhaseParts(
            start_s=self.start_s,
            stop_s=self.stop_s,
            pull=self.pull + other.pull,
            information=self.information + other.information,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkedRate:
    """Mean rate over a section.

    Attributes
    ----------
    offset_hz, sd_hz : numpy.ndarray, shape (n_lines,)
        Mean rate beside the constant one that the phase is given beside, and its standard uncertainty.
    walk_sd_hz : numpy.ndarray, shape (n_lines,)
        The part of that which noise alone does not make.
    scatter : numpy.ndarray, shape (n_lines,)
        Mean square of the phase beside that constant rate, noise taken off, rad^2.
    """

    offset_hz: Floats
    sd_hz: Floats
    walk_sd_hz: Floats
    scatter: Floats


def parts_of(duration_s: float) -> int:
    """Return the number of parts in which a section's phase is read."""
    return int(np.clip(duration_s / LEAST_PART_S, 3, MOST_PARTS))


def phase_parts(turned: Complexes, amplitude: Complexes, orders: Floats, time_s: Floats, n_parts: int) -> PhaseParts:
    """Read the phase of a comb's fundamental in parts of the section.

    Parameters
    ----------
    turned : numpy.ndarray, shape (n_lines, n_ch, n_times)
        Bands turned back by the comb's own lines; noise has unit variance.
    amplitude : numpy.ndarray, shape (n_lines, n_ch)
        Amplitudes of the lines there.
    orders : numpy.ndarray, shape (n_lines,)
        Their orders.
    time_s : numpy.ndarray, shape (n_times,)
        Times of the samples.
    n_parts : int
        Number of parts.
    """
    sums, length, edges_s = _in_parts(turned, time_s, n_parts)
    along = (amplitude.conj()[:, :, np.newaxis] * sums).imag.sum(axis=1)
    information = 2 * length * float((orders**2 * (np.abs(amplitude) ** 2).sum(axis=1)).sum())
    return PhaseParts(
        start_s=edges_s[0],
        stop_s=edges_s[1],
        pull=2 * (orders[:, np.newaxis] * along).sum(axis=0)[np.newaxis],
        information=np.array([information]),
    )


def phase_parts_of_lines(turned: Complexes, amplitude: Complexes, time_s: Floats, n_parts: int) -> PhaseParts:
    """Read the phase of every line for itself; parameters as for `phase_parts`."""
    sums, length, edges_s = _in_parts(turned, time_s, n_parts)
    power = (np.abs(amplitude) ** 2).sum(axis=1)
    phase = np.angle((amplitude.conj()[:, :, np.newaxis] * sums).sum(axis=1))
    information = 2 * length * power
    return PhaseParts(
        start_s=edges_s[0], stop_s=edges_s[1], pull=phase * information[:, np.newaxis], information=information
    )


def _in_parts(turned: Complexes, time_s: Floats, n_parts: int) -> tuple[Complexes, float, tuple[float, float]]:
    """Return sums over even parts, their length in samples, and the times that they cover.

    A sample on the border of two parts is shared by them.
    """
    n_times = time_s.size
    total = np.concatenate([np.zeros((*turned.shape[:2], 1)), np.cumsum(turned, axis=2)], axis=2)
    edges = np.linspace(0.0, n_times, n_parts + 1)
    whole = np.minimum(edges.astype(int), n_times - 1)
    reached = total[:, :, whole] + (edges - whole) * turned[:, :, whole]
    step_s = float(time_s[1] - time_s[0]) if n_times > 1 else 0.0
    start_s = float(time_s[0]) - step_s / 2
    return np.diff(reached, axis=2), n_times / n_parts, (start_s, start_s + n_times * step_s)


def walked_rate(parts: PhaseParts, rates_hz: Floats, duration_s: float, *, strengths: Floats = WALKS) -> WalkedRate:
    """Return the mean rate of fundamentals over a section of which the phase is known in parts.

    Parameters
    ----------
    parts : PhaseParts
        Their phases.
    rates_hz : numpy.ndarray, shape (n_lines,)
        The constant rates that the phases are given beside.
    duration_s : float
        Length of the section.
    strengths : numpy.ndarray, optional
        Walks that are weighed, each alike: relative change in a minute.
    """
    information = np.maximum(parts.information, 1e-300)
    phase = parts.pull / information[:, np.newaxis]
    basis = _walk_basis(parts.pull.shape[1], parts.start_s, parts.stop_s, duration_s)
    noise = (1.0 / information)[:, np.newaxis]
    power = (2 * np.pi * rates_hz[:, np.newaxis] * strengths) ** 2 / MINUTE_S  # (n_lines, n_strengths)
    rough = phase @ basis.rough  # (n_lines, n_parts - 2)
    variance = power[:, :, np.newaxis] * basis.spread + noise[:, :, np.newaxis]
    likelihood = -0.5 * (np.log(variance) + rough[:, np.newaxis] ** 2 / variance).sum(axis=2)
    share = np.exp(likelihood - likelihood.max(axis=1, keepdims=True))
    share /= share.sum(axis=1, keepdims=True)
    gain = power[:, :, np.newaxis] * basis.reach / variance
    guess = (phase @ basis.slope)[:, np.newaxis] + (gain * rough[:, np.newaxis]).sum(axis=2)
    error = power * basis.missed + noise * float(basis.slope @ basis.slope)
    error -= (gain * power[:, :, np.newaxis] * basis.reach).sum(axis=2)
    mean = (share * guess).sum(axis=1)
    total = (share * (np.maximum(error, 0.0) + (guess - mean[:, np.newaxis]) ** 2)).sum(axis=1)
    n_rough = max(rough.shape[1], 1)
    scatter = np.maximum((rough**2).sum(axis=1) - n_rough * noise[:, 0], 0.0) / (n_rough + 2)
    white = noise[:, 0] * float(basis.slope @ basis.slope)
    return WalkedRate(
        offset_hz=mean / (2 * np.pi),
        sd_hz=np.sqrt(total) / (2 * np.pi),
        walk_sd_hz=np.sqrt(np.maximum(total - white, 0.0)) / (2 * np.pi),
        scatter=scatter,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _WalkBasis:
    """What a walk of unit strength (rad^2/s^3 of the phase) does, for one division of a section.

    Attributes
    ----------
    slope : numpy.ndarray, shape (n_parts,)
        Least squares slope of the phase.
    rough : numpy.ndarray, shape (n_parts, n_parts - 2)
        Directions free of a straight line in which the walk's parts are independent.
    spread : numpy.ndarray, shape (n_parts - 2,)
        Variance of the walk along them.
    reach : numpy.ndarray, shape (n_parts - 2,)
        Covariance of what lies along them with what the slope misses of the mean rate.
    missed : float
        Variance of what the slope misses.
    """

    slope: Floats
    rough: Floats
    spread: Floats
    reach: Floats
    missed: float


@lru_cache(maxsize=16)
def _walk_basis(n_parts: int, start_s: float, stop_s: float, duration_s: float) -> _WalkBasis:
    middle_s = start_s + (np.arange(n_parts) + 0.5) * (stop_s - start_s) / n_parts
    time_s = np.concatenate([[0.0], middle_s, [duration_s]])
    earlier, later = np.minimum.outer(time_s, time_s), np.maximum.outer(time_s, time_s)
    covariance = earlier**2 * (3 * later - earlier) / 6
    centred = middle_s - middle_s.mean()
    slope = centred / float(centred @ centred)
    missed = np.concatenate([[-1.0 / duration_s], -slope, [1.0 / duration_s]])
    trend = np.stack([np.ones(n_parts), centred])
    free = np.linalg.svd(trend)[2][2:].T
    inner = free.T @ covariance[1:-1, 1:-1] @ free
    spread, turn = np.linalg.eigh(inner)
    rough = free @ turn
    return _WalkBasis(
        slope=slope,
        rough=rough,
        spread=np.maximum(spread, 0.0),
        reach=rough.T @ covariance[1:-1] @ missed,
        missed=float(missed @ covariance @ missed),
    )
