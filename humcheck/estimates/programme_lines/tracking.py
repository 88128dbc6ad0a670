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
from humcheck.estimates.programme_lines.basebands import FLAT_HZ, Basebands
from humcheck.estimates.programme_lines.beside import TINY, line_spectrum, smoothed_power
from humcheck.estimates.programme_lines.parts import Parts, lines_of, read_parts, steady_phase
from humcheck.estimates.programme_lines.path import WALK_HZ, Path

KNOT_S = 1.0
MOST_KNOTS = 300
N_STEPS = 10
#: Surroundings quieter than this share of the band's noise are chance.
LEAST_COLOUR = 0.5
#: Chi-square of one degree by which a curve must beat a straight line to be wander: one chance in ten thousand.
WANDERS = 15.0
#: A walk is rougher than the spline that follows it (see the lines of quiet sections).
WALK_FACTOR = 1.35


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
    basis = spline.basis(time_s)
    penalty = spline.roughness() / spline.roughness_variance(WALK_HZ)
    middle = basis[time_s.size // 2]
    coefficients = _start(bands, path, basis)
    for _ in range(N_STEPS):
        turned = turned_by(bands, basis @ coefficients)
        gradient, curvature = _normal_equations(bands, turned, basis)
        hessian = curvature + penalty + 1e-9 * np.trace(curvature) / middle.size * np.eye(middle.size)
        hessian += np.outer(middle, middle) * max(float(np.trace(curvature)), 1.0)
        step = np.linalg.solve(hessian, gradient - penalty @ coefficients)
        coefficients = coefficients + step - middle @ step
    row = spline.mean_frequency_row()
    sd_hz = WALK_FACTOR * float(np.sqrt(row @ np.linalg.solve(hessian, row)))
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
    turn = np.exp(-1j * np.outer(bands.orders, phase))
    return np.asarray(bands.values * turn[:, np.newaxis])


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


def _normal_equations(bands: Basebands, turned: Complexes, basis: Floats) -> tuple[Floats, Floats]:
    """Return gradient and curvature of the log likelihood in the coefficients of the phase."""
    parts = read_parts(bands, turned)
    steady = steady_phase(parts)
    lines = lines_of(parts, steady)
    level = _over_time(bands, parts, np.abs(lines.amplitude)[:, :, np.newaxis] * lines.course)
    direction = lines.amplitude / np.maximum(np.abs(lines.amplitude), TINY)
    along = turned * direction.conj()[:, :, np.newaxis]
    noise = smoothed_power(along - level, bands.rate_hz)
    weight = 1.0 / noise
    colour = _colour(bands, along - level, weight, noise)
    trust = level**2 * (weight / colour[:, :, np.newaxis])
    gain = trust.sum(axis=2)
    # Lines say no more than their phase is steady, and nothing where they do not stand out.
    there = line_log_factor(lines.gain) - np.log(2 * FLAT_HZ * bands.duration_s)
    shrink = 1.0 / (1.0 + np.exp(-np.clip(there, -50.0, 50.0))) / (1.0 + gain * steady.scatter)
    scaled = (shrink * (bands.orders**2)[:, np.newaxis])[:, :, np.newaxis] * trust
    over_time = scaled.sum(axis=(0, 1))
    means = scaled @ basis
    curvature = (basis.T * over_time) @ basis
    curvature -= np.einsum("kci,kcj,kc->ij", means, means, 1.0 / np.maximum(scaled.sum(axis=2), TINY), optimize=True)
    pull = (
        along.imag
        * level
        * (weight / colour[:, :, np.newaxis])
        * (shrink * bands.orders[:, np.newaxis])[:, :, np.newaxis]
    )
    return 2.0 * (basis.T @ pull.sum(axis=(0, 1))), 2.0 * np.asarray(curvature)


def _over_time(bands: Basebands, parts: Parts, level: Floats) -> Floats:
    """Return levels of the parts at every moment."""
    flat = level.reshape(-1, level.shape[2])
    return np.stack([np.interp(bands.time_s, parts.middle_s, row) for row in flat]).reshape(*level.shape[:2], -1)


def _colour(bands: Basebands, left: Complexes, weight: Floats, noise: Floats) -> Floats:
    """Return how much louder the surroundings of each line are than the band on the whole."""
    taper = np.hanning(left.shape[2] + 2)[1:-1]
    weighted = weight * taper
    spectrum = line_spectrum(left, weighted, bands.rate_hz)
    flat = (weighted**2 * noise).sum(axis=2) / np.maximum(weighted.sum(axis=2) ** 2, TINY)
    return np.asarray(np.maximum(spectrum.variance[:, :, spectrum.middle] / np.maximum(flat, TINY), LEAST_COLOUR))


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
