"""How strongly the data speak for a comb: Bayes factors of its lines and of its phase.

An unknown share of a comb's lines is there, and where one is, its power may lie anywhere over six decades above the
noise. So a comb with a few strong lines and many absent ones is not punished for the absent ones, as it is by a fixed
price for each line. Searching many frequencies is paid for by the share of the prior range that the data leave.
"""

from __future__ import annotations

import numpy as np

from humcheck.estimates.lines.joint import PIN, Booleans, JointFit
from humcheck.estimates.lines.mirror import line_gains
from humcheck.estimates.lines.spectrum import Floats

#: Prior power of a line that is there, relative to the variance of its amplitude.
PRIOR_POWERS = 10.0 ** np.arange(0.5, 7.0, 0.5)
#: Frequency of which 50 and 60 Hz both have all multiples.
SHARED_HZ = 300.0
#: Prior shares of a comb's harmonics that are there: any of these, with equal odds.
LINE_SHARES = np.array([0.05, 0.2, 0.5, 0.8])
#: Prior share of bands in which an unrelated line stands by chance.
STRAY_SHARE = 0.1


def line_log_factor(gain: Floats) -> Floats:
    """Return ln(Bayes factor) of a line that is there against noise, shape as `gain` = |c|^2 / variance of c.

    Under noise the gain is exponentially distributed with mean 1 and the factor's mean is exactly 1.
    """
    share = PRIOR_POWERS / (1.0 + PRIOR_POWERS)
    terms = gain[..., np.newaxis] * share - np.log1p(PRIOR_POWERS)
    top = terms.max(axis=-1)
    return np.asarray(np.log(np.exp(terms - top[..., np.newaxis]).mean(axis=-1)) + top)


def comb_log_odds(log_factor: Floats) -> float:
    """Return ln(Bayes factor) of lines of which an unknown share is there; all elements of `log_factor` count alike."""
    by_share = [mixed(log_factor, share).sum() for share in LINE_SHARES]
    return float(np.logaddexp.reduce(by_share) - np.log(len(by_share)))


def mixed(log_factor: Floats, share: float) -> Floats:
    """Return ln(1 - share + share * factor)."""
    return np.asarray(np.logaddexp(np.log1p(-share), np.log(share) + log_factor))


def amplitude_log_evidence(fit: JointFit) -> float:
    """Return ln(Bayes factor) of all combs' lines together, with the phases known."""
    factor = line_log_factor(line_gains(fit).together)
    return sum(comb_log_odds(factor[:, :, column].ravel()) for column in range(fit.n_families))


def safe_log_odds(fit: JointFit) -> list[float]:
    """Return ln(Bayes factor) of each comb's lines, changes of stronger lines next to them counted as noise."""
    factor = line_log_factor(line_gains(fit).safe[own_bands(fit)])
    return [comb_log_odds(factor[:, :, column].ravel()) for column in range(fit.n_families)]


def own_bands(fit: JointFit) -> Booleans:
    """Return the bands that no comb around the other nominal frequency shares, shape (n_bands,): all but every 300 Hz.

    Whether a comb is there rests on these, or combs of 50 Hz would be found in the lines of combs of 60 Hz.
    """
    centre_hz = fit.bands.centre_hz
    own = np.abs(centre_hz - SHARED_HZ * np.round(centre_hz / SHARED_HZ)) > fit.bands.stop_hz
    return own if own.any() else np.ones_like(own)


def comb_significance(fit: JointFit, column: int, range_hz: float, steady: Booleans, *, left_out: int = 0) -> float:
    """Return ln(Bayes factor) of one comb against stray lines that happen to lie at its harmonics.

    A single line, however strong, is no comb: each counts at most what its frequency's agreement is worth, and the
    strongest one sets the fundamental.

    Parameters
    ----------
    fit : JointFit
        Fit.
    column : int
        Which comb.
    range_hz : float
        Range in which the fundamental was sought.
    steady : numpy.ndarray of bool, shape (n_bands, n_ch)
        Lines that keep their amplitude through the record; the others do not count.
    left_out : int, optional
        Number of strongest lines that do not count either.
    """
    own = own_bands(fit)
    gains = np.where(steady, line_gains(fit).safe[:, :, column], 0.0)[own]
    duration_s = fit.bands.spectrum.duration_s
    cells = fit.bands.rate_hz * duration_s
    # A channel may lack a line that the other has: half of the odds for either.
    present = mixed(line_log_factor(gains), 0.5).sum(axis=1)
    stray = mixed(present - np.log(cells), STRAY_SHARE)
    order = np.argsort(-gains.max(axis=1), kind="stable")[left_out:]
    if not order.size:
        return -np.inf
    sums = [(mixed(present[order], share) - stray[order]).sum() for share in LINE_SHARES]
    chance = np.log(max(range_hz * fit.bands.orders[own][order[0]] * duration_s, 1.0))
    return float(np.logaddexp.reduce(sums) - np.log(len(sums)) - chance)


def phase_log_evidence(fit: JointFit, range_hz: float) -> float:
    """Return what the phases cost: ln of the share of their prior that the data leave, and the prior at the best fit.

    Parameters
    ----------
    fit : JointFit
        Fit.
    range_hz : float
        Width of the range in which each fundamental was sought, Hz.
    """
    n_spline, n_rigid = fit.combs.coefficients.size, fit.combs.rigid_hz.size
    sign, log_det = np.linalg.slogdet(fit.hessian) if n_spline + n_rigid else (1.0, 0.0)
    evidence = -0.5 * log_det - (n_rigid + int(n_spline > 0)) * np.log(range_hz) + 0.5 * n_rigid * np.log(2 * np.pi)
    if n_spline:
        variance = fit.spline.roughness_variance(fit.combs.wander_hz)
        evidence += 0.5 * np.log(PIN) + fit.spline.log_volume() + 0.5 * np.log(2 * np.pi)
        evidence += -0.5 * (n_spline - 2) * np.log(variance) - fit.prior_cost
    return float(evidence) if sign > 0 else -np.inf


def log_evidence(fit: JointFit, range_hz: float) -> float:
    """Return ln(Bayes factor) of a fit against nothing but noise."""
    return amplitude_log_evidence(fit) + phase_log_evidence(fit, range_hz)
