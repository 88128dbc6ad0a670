"""Student's t: intervals of means and of differences of means.

References
----------
.. [1] JCGM 100:2008 (GUM), 4.2 (type A evaluation) and G.4 (effective degrees of freedom).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

NORMAL_95 = 1.959963984540054
NORMAL_ONE_SIDED_95 = 1.6448536269514722


@lru_cache(maxsize=8192)
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
    """A value with its standard uncertainty and degrees of freedom (infinite for an uncertainty that is known).

    `pool` names the scatter that the uncertainty rests on, where that is shared with other values: degrees of freedom
    of one pool do not add.
    """

    value: float
    standard_uncertainty: float
    degrees_of_freedom: float = math.inf
    pool: str | None = None

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
    """Return minuend - subtrahend, independent of each other."""
    return combined(((1.0, minuend), (-1.0, subtrahend)))


def combined(terms: Sequence[tuple[float, Estimate]]) -> Estimate:
    """Return a weighted sum of independent values.

    Parameters
    ----------
    terms : sequence of (float, Estimate)
        Weights and values.

    Notes
    -----
    Degrees of freedom after Welch and Satterthwaite. Uncertainties of one pool rest on the same scatter: their
    variances add first, with the fewest degrees of freedom among them (equal ones make Student's pooled t exactly).
    """
    pools: dict[object, tuple[float, float]] = {}
    for number, (weight, term) in enumerate(terms):
        place = term.pool if term.pool is not None else number
        variance, freedom = pools.get(place, (0.0, math.inf))
        own = (weight * term.standard_uncertainty) ** 2
        pools[place] = variance + own, min(freedom, term.degrees_of_freedom) if own > 0 else freedom
    total = math.fsum(variance for variance, _ in pools.values())
    weights = math.fsum(variance**2 / freedom for variance, freedom in pools.values() if math.isfinite(freedom))
    return Estimate(
        value=math.fsum(weight * term.value for weight, term in terms),
        standard_uncertainty=math.sqrt(total),
        degrees_of_freedom=total**2 / weights if weights > 0 else math.inf,
        pool=next(iter(pools)) if len(pools) == 1 and all(term.pool for _, term in terms) else None,  # type: ignore[arg-type]
    )
