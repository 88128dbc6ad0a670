"""Intervals and bounds for the power of lines that stand in noise.

A line's measured power is its own plus the noise's, so products below the noise still read something. The noise's mean
power is known from its neighbourhood and is taken off; what stays is judged by the distribution of the sum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.tones.blocks import Floats

_DOUBLINGS = 200
_HALVINGS = 50
#: From this power over noise on the sum is normal for all that matters here.
_LARGE = 3000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerEstimate:
    """Power of a group of lines.

    Attributes
    ----------
    power : float
        Unbiased estimate: noise taken off. It may be negative where noise hides the lines.
    sd : float
        Its standard uncertainty.
    low, high : float
        95 % interval; `low` is 0 where the lines may not be there at all.
    upper : float
        One-sided 95 % upper limit, never below that of lines which are not there in average noise: noise that happens
        to measure low says nothing against lines that are weaker than it.
    """

    power: float
    sd: float
    low: float
    high: float
    upper: float

    @property
    def hidden(self) -> bool:
        """Whether noise alone may have made all of it (one-sided 2.5 %)."""
        return self.low <= 0.0


def line_power(observed: Floats, noise: Floats) -> PowerEstimate:
    """Return the power of a group of lines.

    Parameters
    ----------
    observed : numpy.ndarray, shape (n_lines,)
        Squared magnitude of each measured complex amplitude.
    noise : numpy.ndarray, shape (n_lines,)
        Variance of each, as it would be without the line.

    Returns
    -------
    PowerEstimate
        Of the sum over the lines.

    Notes
    -----
    Where all lines have noise of variance n, twice the sum over n is noncentral chi-square with two degrees of freedom
    a line and noncentrality 2 L / n for a true power L. Unequal noise is treated as equal noise of the same mean and
    variance in all (Satterthwaite), so that the noisiest lines count most.
    """
    total, mean_noise = float(np.sum(observed)), float(np.sum(noise))
    power = total - mean_noise
    if mean_noise <= 0.0:
        return PowerEstimate(power=total, sd=0.0, low=total, high=total, upper=total)
    squares = float(np.sum(noise**2))
    each, freedom = squares / mean_noise, mean_noise**2 / squares

    def at_tail(probability: float) -> float:
        return each * _power_at(total / each, probability, freedom)

    sd = float(np.sqrt(squares + 2.0 * each * max(power, 0.0)))
    upper = each * _power_at(max(total, mean_noise) / each, 0.05, freedom)
    return PowerEstimate(power=power, sd=sd, low=at_tail(0.975), high=at_tail(0.025), upper=upper)


def _power_at(total: float, probability: float, n_lines: float) -> float:
    """Return the true power at which the sum stays below `total` with this probability; 0 if even none does it.

    In units of the noise of each of `n_lines` lines, which need not be a whole number.
    """
    if _below(total, 0.0, n_lines) <= probability:
        return 0.0
    low, high = 0.0, max(total, n_lines)
    for _ in range(_DOUBLINGS):
        if _below(total, high, n_lines) < probability:
            break
        low, high = high, 2.0 * high
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _below(total, middle, n_lines) > probability else (low, middle)
    return 0.5 * (low + high)


def _below(total: float, power: float, n_lines: float) -> float:
    """Return the probability that lines of true `power` together with their noise measure less than `total`."""
    from scipy.special import chndtr, ndtr

    if total < _LARGE:
        return float(chndtr(2.0 * total, 2.0 * n_lines, 2.0 * power))
    return float(ndtr((total - power - n_lines) / np.sqrt(n_lines + 2.0 * power)))
