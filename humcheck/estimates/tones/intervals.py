"""Intervals and bounds for the power of lines that stand in noise.

A line's measured power is its own plus the noise's, so products below the noise still read something. The noise's mean
power is known from its neighbourhood and is taken off; what stays is judged by the distribution of the sum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.tones.blocks import Floats

_DOUBLINGS = 200
_HALVINGS = 60


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
        One-sided 95 % upper limit.
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
    With true power L the sum has mean ``L + sum(noise)`` and variance ``sum(noise**2) + 2 L noise`` (noncentral
    chi-square). It is treated as a gamma variable of that mean and variance, exact for L = 0 and one or equal lines.
    For the noise that goes with L the largest of the lines' is taken.
    """
    total = float(np.sum(observed))
    mean_noise = float(np.sum(noise))
    flat = float(np.sum(noise**2))
    worst = float(np.max(noise, initial=0.0))
    power = total - mean_noise
    if mean_noise <= 0.0:
        return PowerEstimate(power=total, sd=0.0, low=total, high=total, upper=total)

    def at_tail(probability: float) -> float:
        return _power_at(total, probability, mean_noise, flat, worst)

    sd = np.sqrt(flat + 2.0 * worst * max(power, 0.0))
    return PowerEstimate(power=power, sd=float(sd), low=at_tail(0.975), high=at_tail(0.025), upper=at_tail(0.05))


def _power_at(total: float, probability: float, mean_noise: float, flat: float, worst: float) -> float:
    """Return the true power at which the sum stays below `total` with this probability; 0 if even none does it."""
    from scipy.special import gammainc

    def below(power: float) -> float:
        mean, variance = mean_noise + power, flat + 2.0 * worst * power
        return float(gammainc(mean**2 / variance, total * mean / variance))

    if below(0.0) <= probability:
        return 0.0
    low, high = 0.0, max(total, mean_noise)
    for _ in range(_DOUBLINGS):
        if below(high) < probability:
            break
        low, high = high, 2.0 * high
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if below(middle) > probability else (low, middle)
    return 0.5 * (low + high)
