"""How much of the scatter over the day is drift: a variance that few direct takes know poorly.

Direct takes made at different times scatter by what replugging does and by what the day does. Whether the day does
anything cannot be read from three or four of them: the ratio of both mean squares is large by chance now and then, and
small by chance where the day does drift. So neither is taken for certain. Each size of drift, none included, has the
weight that the takes give it, and an interval is one of Student's t that stands for all of them together.

Notes
-----
- Before the takes are seen: no drift with a probability that all quantities of the bench share; else the logarithm of
  the variance ratio is even from 1 upwards, the usual ignorance about a scale, with the limit that the variance over
  the day is never less than that of replugging [1]_, up to `LARGEST_RATIO`. Large ratios get Student's t with the
  degrees of freedom of the day, as they should.
- The shared probability is learned from all quantities (empirical Bayes): where none of a bench drifts, one of them
  that seems to does so by chance. Each question (hum, hiss, gain, ...) counts once, however many rows ask it.
- A variance whose logarithm has the mean and the variance of ``s^2 n / chi^2(n)`` is taken to be that, so that
  Student's t with n degrees of freedom follows [2]_. It is exact where there is one size of drift alone.

References
----------
.. [1] G. E. P. Box, G. C. Tiao, Bayesian Inference in Statistical Analysis, Addison-Wesley, 1973, chapter 5.
.. [2] G. K. Smyth, Linear models and empirical Bayes methods for assessing differential expression, Stat. Appl. Genet.
   Mol. Biol. 3, 2004, section 6.2 (moments of the logarithm, and the inverse of the trigamma function).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from humcheck.audio.levels import Floats

#: Ratio of the variance over the day to that of replugging which nobody exceeds, unless the takes themselves do.
LARGEST_RATIO = 300.0
_BEYOND_SEEN = 100.0
_STEPS = 40
#: Probability of no drift where nothing but the quantity itself tells of it. Before any is seen each is as likely.
NO_DRIFT = 0.5
#: More than this, as a logarithm, no question may say of the others: cells of a kind of their own look like drift.
_MOST_EVIDENCE = 2.0
#: Beyond so many degrees of freedom Student's t is normal.
_MANY = 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Ratios:
    """How large the variance over the day may be, over that which replugging explains.

    Attributes
    ----------
    ratio : numpy.ndarray, shape (n,)
        From 1; the first is that of no drift.
    likelihood : numpy.ndarray, shape (n,)
        What the takes give each, times the weight that it has if there is drift; the first times 1.
    """

    ratio: Floats
    likelihood: Floats

    def evidence(self) -> float:
        """Return how much more likely the takes are with drift than without, as a natural logarithm."""
        least = float(self.likelihood[1:].sum()) * math.exp(-_MOST_EVIDENCE)
        return math.log(float(self.likelihood[1:].sum()) / max(float(self.likelihood[0]), least))

    def weights(self, no_drift: float) -> Floats:
        """Return the probability of each ratio, given that of no drift before the takes were seen."""
        weight = self.likelihood * np.concatenate([[no_drift], np.full(self.ratio.size - 1, 1 - no_drift)])
        return np.asarray(weight / weight.sum())


def ratios(observed: float, freedom: float, freedom_below: float, of_take: float = 1.0) -> Ratios:
    """Return what an observed ratio of mean squares says about the true one.

    Parameters
    ----------
    observed : float
        Mean square over the day, over what is expected of it without drift.
    freedom, freedom_below : float
        Degrees of freedom of both.
    of_take : float, optional
        Variance of a quiet take, over what is expected over the day: drift is judged by the former, since direct takes
        near their noise say little of it.
    """
    seen = _BEYOND_SEEN * max(observed - 1.0, 0.0) / of_take
    drift = np.geomspace(1.0, max(LARGEST_RATIO, seen), _STEPS + 1) - 1.0
    weight = np.full(drift.size, 1.0 / _STEPS)
    weight[[0, -1]] /= 2
    ratio = 1.0 + of_take * np.concatenate([[0.0], drift])
    # The variance of replugging itself is known from `freedom_below` only, and integrated out.
    explained = np.log1p(freedom * observed / ratio / freedom_below)
    logarithm = -0.5 * freedom * np.log(ratio) - 0.5 * (freedom + freedom_below) * explained
    likelihood = np.exp(logarithm - logarithm.max()) * np.concatenate([[1.0], weight])
    return Ratios(ratio=ratio, likelihood=likelihood)


def shared_no_drift(evidence: Mapping[str, Sequence[float]]) -> float:
    """Return the probability of no drift that all quantities of a bench together suggest.

    Parameters
    ----------
    evidence : mapping of str to sequence of float
        By question, the logarithms of `Ratios.evidence`; those of one question (channels, weightings) are averaged.
    """
    ratio = np.exp([math.fsum(values) / len(values) for values in evidence.values() if values])
    share = np.linspace(0.0, 1.0, 201)[1:-1]
    logarithm = np.log(share[:, np.newaxis] + np.outer(1 - share, ratio)).sum(axis=1)
    weight = np.exp(logarithm - logarithm.max())
    return float((weight * share).sum() / weight.sum())


def as_student(variance: Floats, weight: Floats, freedom: float) -> tuple[float, float]:
    """Return the variance and the degrees of freedom of Student's t that stands for a mixture of several.

    Parameters
    ----------
    variance, weight : numpy.ndarray, shape (n,)
        Squared scales of the parts, and their probabilities.
    freedom : float
        Degrees of freedom of each part; may be infinite.
    """
    positive = variance > 0
    if not positive.all():
        return (
            (float((weight * variance).sum()), freedom)
            if not positive.any()
            else _without_zeros(variance[positive], weight[positive], freedom)
        )
    from scipy.special import digamma, polygamma

    logarithm = np.log(variance)
    mean = float((weight * logarithm).sum())
    spread = float((weight * (logarithm - mean) ** 2).sum())
    if math.isfinite(freedom):
        spread += float(polygamma(1, freedom / 2))
        mean += math.log(freedom / 2) - float(digamma(freedom / 2))
    half = _inverse_trigamma(round(max(spread, 1 / _MANY), 9))
    return math.exp(mean - math.log(half) + float(digamma(half))), 2 * half


def _without_zeros(variance: Floats, weight: Floats, freedom: float) -> tuple[float, float]:
    return as_student(variance, np.asarray(weight / weight.sum()), freedom)


@lru_cache(maxsize=4096)
def _inverse_trigamma(value: float) -> float:
    """Return x with trigamma(x) = value, by Newton's method on its reciprocal, which is nearly a straight line."""
    from scipy.special import polygamma

    x = 0.5 + 1 / value
    for _ in range(50):
        trigamma = float(polygamma(1, x))
        step = trigamma * (1 - trigamma / value) / float(polygamma(2, x))
        x += step
        if abs(step) < 1e-9 * x:
            break
    return x


def by_question(evidence: Iterable[tuple[str, float | None]]) -> dict[str, list[float]]:
    """Return the evidence of each question, without what tells nothing."""
    found: dict[str, list[float]] = {}
    for question, value in evidence:
        if value is not None:
            found.setdefault(question, []).append(value)
    return found
