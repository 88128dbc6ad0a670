"""The phase of the fundamental, fitted to all harmonics at once, each trusted as far as it keeps its phase.

The level of every line is free to change slowly; what tells mains from notes is left to the evidence. The phase is a
smooth curve whose roughness is that of mains frequency.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.estimates.lines.evidence import line_log_factor
from humcheck.estimates.lines.spectrum import Complexes
from humcheck.estimates.lines.spline import PhaseSpline
from humcheck.estimates.programme_lines.basebands import FLAT_HZ, Basebands, Indices
from humcheck.estimates.programme_lines.beside import TINY, line_at_middle, powers, smoothed_power
from humcheck.estimates.programme_lines.parts import Parts, lines_of, read_parts, steady_phase
from humcheck.estimates.programme_lines.path import WALK_HZ, Path

KNOT_S = 1.0
MOST_KNOTS = 300
N_STEPS = 10
#: Surroundings quieter than this share of the band's noise are chance.
LEAST_COLOUR = 0.5
#: Standard deviations by which a line's own frequency may differ from the others' before it counts less.
AGREES = 2.0
#: Of few lines the scatter is not well known.
FEW_LINES = 2.0
#: What plays is no Gaussian noise, and a walk is rougher than the spline that follows it: errors of the mean frequency
#: of hum under simulated music scatter by 2.5 times what the fit states, with mains that wander by 20 mHz in 30 s.
MUSIC_FACTOR = 2.5
#: Chi-square by which a curve must beat a straight line to be wander; the notes' share is in it.
WANDERS = 24.0 * MUSIC_FACTOR**2


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """Phase of a fundamental through the recording, and the lines in its parts.

    Attributes
    ----------
    frequency_hz, sd_hz : float
        Mean, and its standard uncertainty.
    wander_hz : float or None
        Standard deviation of its 1 s means where it was seen to wander.
    phase : numpy.ndarray, shape (n_times,)
        Beside the nominal fundamental's, in radians.
    parts : Parts
        Lines in the parts, turned by it.
    """

    frequency_hz: float
    sd_hz: float
    wander_hz: float | None
    phase: Floats
    parts: Parts


def fit_track(bands: Basebands, path: Path) -> Track:
    """Fit the phase from a start that the path gives."""
    start_s = float(bands.time_s[0])
    time_s = bands.time_s - start_s
    spline = _spline(bands.duration_s)
    basis, local = spline.basis(time_s), spline.local_basis(time_s)
    penalty = spline.roughness() / spline.roughness_variance(WALK_HZ)
    middle = basis[time_s.size // 2]
    coefficients = _start(bands, path, basis)
    for _ in range(N_STEPS):
        pulls = _pulls(bands, turned_by(bands, basis @ coefficients))
        gradient, curvature = _normal_equations(pulls, middle.size, *local)
        hessian = curvature + penalty + 1e-9 * np.trace(curvature) / middle.size * np.eye(middle.size)
        hessian += np.outer(middle, middle) * max(float(np.trace(curvature)), 1.0)
        step = np.linalg.solve(hessian, gradient - penalty @ coefficients)
        coefficients = coefficients + step - middle @ step
    row = spline.mean_frequency_row()
    sd_hz = MUSIC_FACTOR * float(np.hypot(np.sqrt(row @ np.linalg.solve(hessian, row)), _scatter_hz(bands, pulls)))
    phase = basis @ coefficients
    return Track(
        frequency_hz=bands.nominal_hz + float(row @ coefficients),
        sd_hz=sd_hz,
        wander_hz=_wander_hz(spline, coefficients, curvature),
        phase=phase,
        parts=read_parts(bands, turned_by(bands, phase)),
    )


def turned_by(bands: Basebands, phase: Floats) -> Complexes:
    """Return the bands turned back by a phase of the fundamental: lines that follow it stand still."""
    turns = powers(np.exp(-1j * phase), int(bands.orders[-1]))
    return np.asarray(bands.values * turns[bands.orders - 1, np.newaxis])


def _spline(duration_s: float) -> PhaseSpline:
    number = int(np.clip(np.ceil(duration_s / KNOT_S), 4, MOST_KNOTS))
    return PhaseSpline(duration_s=duration_s, knot_s=duration_s / number, n_coefficients=number + 3)


def _start(bands: Basebands, path: Path, basis: Floats) -> Floats:
    offset_hz = np.interp(bands.time_s, path.time_s, path.frequency_hz) - bands.nominal_hz
    steps = 0.5 * (offset_hz[1:] + offset_hz[:-1]) * np.diff(bands.time_s)
    phase = 2 * np.pi * np.concatenate([[0.0], np.cumsum(steps)])
    normal = basis.T @ basis
    normal += 1e-9 * np.trace(normal) / normal.shape[0] * np.eye(normal.shape[0])
    return np.asarray(np.linalg.solve(normal, basis.T @ phase), dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pulls:
    """What every line says of the phase at every moment: curvature and gradient, shape (n_orders, n_ch, n_times)."""

    trust: Floats
    pull: Floats

    def slopes(self, time_s: Floats) -> tuple[Floats, Floats]:
        """Return how far each line's own frequency is from the track's, as rad/s, and the inverse of its variance."""
        total = np.maximum(self.trust.sum(axis=2, keepdims=True), TINY)
        offset = time_s - (self.trust * time_s).sum(axis=2, keepdims=True) / total
        inverse = 2.0 * (self.trust * offset**2).sum(axis=2)
        return 2.0 * (self.pull * offset).sum(axis=2) / np.maximum(inverse, TINY), inverse


def _pulls(bands: Basebands, turned: Complexes) -> _Pulls:
    """Return what the lines say, each trusted as far as it stands out, keeps its phase and agrees with the others."""
    parts = read_parts(bands, turned)
    steady = steady_phase(parts)
    lines = lines_of(parts, steady)
    level = np.abs(lines.amplitude)[:, :, np.newaxis] * np.interp(bands.time_s, parts.middle_s, lines.course)
    direction = lines.amplitude / np.maximum(np.abs(lines.amplitude), TINY)
    along = turned * direction.conj()[:, :, np.newaxis]
    noise = smoothed_power(along - level, bands.rate_hz)
    weight = 1.0 / noise
    weight /= _colour(bands, along - level, weight, noise)[:, :, np.newaxis]
    trust = level**2 * weight
    gain = trust.sum(axis=2)
    there = line_log_factor(lines.gain) - np.log(2 * FLAT_HZ * bands.duration_s)
    share = 1.0 / (1.0 + np.exp(-np.clip(there, -50.0, 50.0))) / (1.0 + gain * steady.scatter)
    orders = bands.orders[:, np.newaxis, np.newaxis]
    said = _Pulls(trust=orders**2 * trust, pull=orders * along.imag * level * weight)
    slope, inverse = said.slopes(bands.time_s - bands.time_s.mean())
    share /= 1.0 + np.maximum(slope**2 * inverse * share - AGREES**2, 0.0) / AGREES**2
    return _Pulls(trust=said.trust * share[:, :, np.newaxis], pull=said.pull * share[:, :, np.newaxis])


def _normal_equations(pulls: _Pulls, number: int, first: Indices, local: Floats) -> tuple[Floats, Floats]:
    """Return gradient and curvature of the log likelihood in the coefficients of the phase; levels' phases are free.

    Of the basis functions, which are `number`, only four are not zero at any time: `first` and the next three.
    """
    knots, starts = np.unique(first, return_index=True)  # time runs on: each knot has a stretch of its own

    def summed(values: Floats) -> Floats:
        return np.add.reduceat(values, starts, axis=-1)

    trust = pulls.trust.reshape(-1, first.size)
    total, pull = trust.sum(axis=0), pulls.pull.sum(axis=(0, 1))
    means, gradient, curvature = np.zeros((len(trust), number)), np.zeros(number), np.zeros((number, number))
    for one, weights in enumerate(local):
        means[:, knots + one] += summed(trust * weights)
        gradient[knots + one] += summed(pull * weights)
        for other, others in enumerate(local):
            curvature[knots + one, knots + other] += summed(total * weights * others)
    over = 1.0 / np.maximum(trust.sum(axis=1), TINY)
    curvature -= (means.T * over) @ means
    return 2.0 * gradient, 2.0 * curvature


def _scatter_hz(bands: Basebands, pulls: _Pulls) -> float:
    """Return the standard uncertainty of the mean frequency by how the lines' own frequencies scatter.

    What plays is no Gaussian noise: where lines disagree more than their own uncertainties say, this is the larger one.
    """
    slope, inverse = pulls.slopes(bands.time_s - bands.time_s.mean())
    total = float(inverse.sum())
    if total <= 0.0:
        return float(np.inf)
    number = total**2 / float((inverse**2).sum())
    few = np.sqrt((number + FEW_LINES) / max(number - 1.0, 0.5))
    return float(few * np.sqrt((inverse**2 * slope**2).sum()) / total / (2 * np.pi))


def _colour(bands: Basebands, left: Complexes, weight: Floats, noise: Floats) -> Floats:
    """Return how much louder the surroundings of each line are than the band on the whole."""
    taper = np.hanning(left.shape[2] + 2)[1:-1]
    weighted = weight * taper
    _, variance = line_at_middle(left, weighted, bands.rate_hz)
    flat = (weighted**2 * noise).sum(axis=2) / np.maximum(weighted.sum(axis=2) ** 2, TINY)
    return np.asarray(np.maximum(variance / np.maximum(flat, TINY), LEAST_COLOUR))


def _wander_hz(spline: PhaseSpline, coefficients: Floats, curvature: Floats) -> float | None:
    """Return the scatter of the 1 s means, or None where a constant frequency fits as well."""
    index = np.arange(coefficients.size, dtype=np.float64)
    straight = np.stack([np.ones_like(index), index], axis=1)
    normal = straight.T @ curvature @ straight
    fitted = straight @ np.linalg.lstsq(normal, straight.T @ curvature @ coefficients, rcond=None)[0]
    bent = coefficients - fitted
    rows = spline.second_mean_rows()
    if len(rows) < 3 or float(bent @ curvature @ bent) < WANDERS:
        return None
    return float(np.std(rows @ coefficients, ddof=1))
