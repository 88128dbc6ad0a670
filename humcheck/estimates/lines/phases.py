"""The phase of a comb over the section, as the fit found it, and how well it is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.lines.joint import JointFit
from humcheck.estimates.lines.powers import comb_frequencies
from humcheck.estimates.lines.spectrum import Floats
from humcheck.estimates.lines.spline import PhaseSpline

#: A walk is rougher than the spline that follows it: errors of the mean frequency of simulated walks of 5 to 20 mHz in
#: 30 s scatter by 1.1 to 1.4 times what the fit states.
WALK_FACTOR = 1.35
#: Distance of the points at which a wandering phase is given; its spline's knots are 0.25 s apart.
PHASE_STEP_S = 0.025


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PhaseLaw:
    """Phase of a fundamental over time, zero at the section's middle.

    Attributes
    ----------
    base_hz : float
        Frequency about which the phase is given.
    mean_hz, sd_hz : float
        Mean frequency over the section and its standard uncertainty.
    scatter : float
        Mean square error of the phase within the section, rad^2; order k is smeared by ``exp(-k^2 scatter)``.
    reach_hz : float
        Largest distance of the frequency from its mean.
    duration_s : float
        Length of the section.
    spline : PhaseSpline or None
        Basis of a wandering phase.
    coefficients : numpy.ndarray, shape (n_coefficients,)
        Its coefficients; empty for a rigid comb.
    """

    base_hz: float
    mean_hz: float
    sd_hz: float
    scatter: float
    reach_hz: float
    duration_s: float
    spline: PhaseSpline | None
    coefficients: Floats

    def at(self, time_s: Floats) -> Floats:
        """Return the phase in radians at times from the section's start."""
        phase = 2 * np.pi * self.base_hz * (time_s - self.duration_s / 2)
        if self.spline is not None:
            phase = phase + self.spline.basis(time_s) @ self.coefficients
        return np.asarray(phase)

    def beside_mean(self) -> Floats | None:
        """Return the phase beside that of the mean frequency, evenly over the section; None where it is rigid."""
        if self.spline is None:
            return None
        time_s = np.linspace(0.0, self.duration_s, int(np.ceil(self.duration_s / PHASE_STEP_S)) + 1)
        return np.asarray(self.at(time_s) - 2 * np.pi * self.mean_hz * (time_s - self.duration_s / 2))


def comb_sd_hz(fit: JointFit, column: int) -> float:
    """Return the standard uncertainty of a comb's mean frequency."""
    covariance = fit.covariance()  # a fit that did not settle may state no variance at all
    n_spline = fit.combs.coefficients.size
    if fit.combs.has_mains and column == 0:
        row = fit.spline.mean_frequency_row()
        return WALK_FACTOR * float(np.sqrt(max(float(row @ covariance[:n_spline, :n_spline] @ row), 0.0)))
    place = n_spline + column - int(fit.combs.has_mains)
    return float(np.sqrt(max(float(covariance[place, place]), 0.0)))


def rigid_law(rate_hz: float, sd_hz: float, duration_s: float) -> PhaseLaw:
    """Return the phase law of a comb of constant rate."""
    return PhaseLaw(
        base_hz=rate_hz,
        mean_hz=rate_hz,
        sd_hz=sd_hz,
        scatter=(2 * np.pi * sd_hz) ** 2 * duration_s**2 / 12,
        reach_hz=0.0,
        duration_s=duration_s,
        spline=None,
        coefficients=np.zeros(0),
    )


def phase_law(fit: JointFit, column: int) -> PhaseLaw:
    """Return the phase law of one comb of a fit."""
    duration_s = fit.bands.spectrum.duration_s
    mean_hz, sd_hz = float(comb_frequencies(fit)[column]), comb_sd_hz(fit, column)
    if not (fit.combs.has_mains and column == 0):
        return rigid_law(mean_hz, sd_hz, duration_s)
    n_spline = fit.combs.coefficients.size
    covariance = fit.covariance()[:n_spline, :n_spline]
    basis = fit.spline.basis(fit.bands.time_s)
    basis = basis - basis.mean(axis=0)
    seconds = fit.spline.second_mean_rows() @ fit.combs.coefficients
    assert fit.combs.mains_hz is not None
    return PhaseLaw(
        base_hz=fit.combs.mains_hz,
        mean_hz=mean_hz,
        sd_hz=sd_hz,
        scatter=float(np.einsum("ti,ij,tj->", basis, covariance, basis, optimize=True)) / basis.shape[0],
        reach_hz=float(np.abs(fit.combs.mains_hz + seconds - mean_hz).max(initial=0.0)),
        duration_s=duration_s,
        spline=fit.spline,
        coefficients=fit.combs.coefficients,
    )


def wander(fit: JointFit) -> tuple[float, float]:
    """Return the wander of the mains comb, the standard deviation of its 1 s means, and its standard uncertainty, Hz.

    The means' own uncertainty is part of their scatter: the fit is smoother than the truth by just that much.
    """
    rows = fit.spline.second_mean_rows()
    n_seconds, n_spline = rows.shape
    if n_seconds < 2:
        return 0.0, 0.0
    rows = rows - rows.mean(axis=0)
    means = rows @ fit.combs.coefficients
    covariance = rows @ fit.covariance()[:n_spline, :n_spline] @ rows.T
    variance = float((means**2).sum() + np.trace(covariance)) / (n_seconds - 1)
    spread = 4 * float(means @ covariance @ means) + 2 * float((covariance**2).sum())
    sd = 0.5 * np.sqrt(spread) / (n_seconds - 1) / np.sqrt(max(variance, 1e-300))
    return float(np.sqrt(variance)), float(sd)
