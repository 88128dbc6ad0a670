"""How much a comb's frequency wanders, and whether a rigid comb would do as well.

The marginal likelihood of the assumed wander follows from the fit's quadratic form: the data give the Hessian without
the prior, every assumed wander gives a prior.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.lines.joint import JointFit
from humcheck.estimates.lines.spectrum import Floats

#: Assumed wanders over 30 s, Hz. A large quiet grid keeps within about a millihertz, a small one walks 0.1 Hz.
WANDERS_HZ = 10.0 ** np.arange(-4.0, -0.69, 0.25)
#: The smallest wander that mains are known by.
MAINS_WANDER_HZ = 1e-3
#: Likelihood ratio of a wander that would have been seen with 95 %.
SEEN = float(np.log(20.0))
#: Corner of a bordered matrix: more than any squared gradient in units of its standard deviation.
BORDER = 1e30


@dataclass(frozen=True, slots=True, kw_only=True)
class WanderProfile:
    """Marginal log likelihood of assumed wanders.

    Attributes
    ----------
    wander_hz : numpy.ndarray, shape (n,)
        Change of frequency over 30 s (standard deviation).
    log_likelihood : numpy.ndarray, shape (n,)
        Its marginal log likelihood, up to a constant.
    """

    wander_hz: Floats
    log_likelihood: Floats

    @property
    def best_hz(self) -> float:
        """Most likely wander."""
        return float(self.wander_hz[int(self.log_likelihood.argmax())])

    def log_ratio_to_rigid(self, wander_hz: float) -> float:
        """Return ln of the likelihood of this wander over that of none."""
        at = np.interp(np.log(wander_hz), np.log(self.wander_hz), self.log_likelihood)
        return float(at - self.log_likelihood[0])

    @property
    def seen(self) -> bool:
        """Whether a rigid comb is excluded: twenty times less likely than the best wander, and wander was searched."""
        return self.log_ratio_to_rigid(self.best_hz) > SEEN + float(np.log(self.wander_hz.size / 2))

    @property
    def mains_excluded(self) -> bool:
        """Whether a wander of 1 mHz, the least that mains show, would have been seen with 95 %."""
        return self.log_ratio_to_rigid(MAINS_WANDER_HZ) < -SEEN and self.best_hz < MAINS_WANDER_HZ


def wander_profile(fit: JointFit) -> WanderProfile:
    """Return how likely each assumed wander is, from a fit whose mains comb has a spline phase."""
    n_spline = fit.combs.coefficients.size
    roughness = fit.spline.roughness()
    used = fit.spline.roughness_variance(fit.combs.wander_hz)
    data = fit.hessian.copy()
    data[:n_spline, :n_spline] -= roughness / used
    pull = np.zeros(fit.hessian.shape[0])
    pull[:n_spline] = roughness @ fit.combs.coefficients
    rough = float(fit.combs.coefficients @ pull[:n_spline])
    found = []
    bordered = np.zeros((data.shape[0] + 1, data.shape[0] + 1))
    bordered[-1, -1] = BORDER
    for wander_hz in WANDERS_HZ:
        variance = fit.spline.roughness_variance(wander_hz)
        bordered[:-1, :-1] = data
        bordered[:n_spline, :n_spline] += roughness / variance
        bordered[-1, :-1] = pull / variance - pull / used
        try:
            # The last row of the bordered matrix' factor is the gradient times the inverse of the Hessian's factor.
            factor = np.linalg.cholesky(bordered)
        except np.linalg.LinAlgError:  # a fit that did not settle says nothing of wander
            found.append(-np.inf)
            continue
        half, diagonal = factor[-1, :-1], np.diag(factor)[:-1]
        cost = 0.5 * rough / variance - 0.5 * float(half @ half)
        found.append(-cost - np.log(diagonal).sum() - 0.5 * (n_spline - 2) * np.log(variance))
    likelihood = np.array(found)
    if not np.isfinite(likelihood).all():
        likelihood = np.zeros_like(likelihood)
    return WanderProfile(wander_hz=WANDERS_HZ, log_likelihood=likelihood)
