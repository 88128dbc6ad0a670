"""Student's t: intervals of means and of differences of means.

References
----------
.. [1] JCGM 100:2008 (GUM), 4.2 (type A evaluation) and G.4 (effective degrees of freedom).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

NORMAL_95 = 1.959963984540054
NORMAL_ONE_SIDED_95 = 1.6448536269514722


def student_t_quantile(probability: float, degrees_of_freedom: float) -> float:
    """Return the quantile of Student's t; the normal one where `degrees_of_freedom` is infinite."""
    from scipy.special import ndtri, stdtrit

    if math.isinf(degrees_of_freedom):
        return float(ndtri(probability))
    return float(stdtrit(degrees_of_freedom, probability))


def student_t_tail(statistic: float, degrees_of_freedom: float) -> float:
    """Return the two-sided tail probability of `statistic`."""
    from scipy.special import ndtr, stdtr

    tail = ndtr(-abs(statistic)) if math.isinf(degrees_of_freedom) else stdtr(degrees_of_freedom, -abs(statistic))
    return float(min(1.0, 2 * tail))


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A value with its standard uncertainty and degrees of freedom (infinite for an uncertainty that is known)."""

    value: float
    standard_uncertainty: float
    degrees_of_freedom: float = math.inf

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Return the two-sided interval at `level`."""
        half = student_t_quantile(0.5 + level / 2, self.degrees_of_freedom) * self.standard_uncertainty
        return self.value - half, self.value + half


def mean_of_repeats(values: Sequence[float], within: Sequence[float]) -> Estimate:
    """Return the mean of repeated takes.

    Parameters
    ----------
    values : sequence of float, at least one
        One value a take.
    within : sequence of float
        Standard uncertainty of each value from its own take.

    Returns
    -------
    Estimate
        For one take its own uncertainty. For several the scatter between takes (which holds the uncertainty within
        them already), unless chance made it smaller than what the takes' own noise alone explains.
    """
    count = len(values)
    mean = math.fsum(values) / count
    known = math.sqrt(math.fsum(u * u for u in within)) / count
    if count == 1:
        return Estimate(value=mean, standard_uncertainty=known)
    scatter = math.sqrt(math.fsum((v - mean) ** 2 for v in values) / (count - 1) / count)
    return Estimate(value=mean, standard_uncertainty=max(scatter, known), degrees_of_freedom=count - 1)


def difference(minuend: Estimate, subtrahend: Estimate) -> Estimate:
    """Return minuend - subtrahend, independent, with Welch-Satterthwaite degrees of freedom."""
    variances = (minuend.standard_uncertainty**2, subtrahend.standard_uncertainty**2)
    total = sum(variances)
    weight = sum(
        variance**2 / side.degrees_of_freedom
        for variance, side in zip(variances, (minuend, subtrahend), strict=True)
        if math.isfinite(side.degrees_of_freedom)
    )
    return Estimate(
        value=minuend.value - subtrahend.value,
        standard_uncertainty=math.sqrt(total),
        degrees_of_freedom=total**2 / weight if weight > 0 else math.inf,
    )
