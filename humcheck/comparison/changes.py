"""A value set against the same quantity elsewhere, and what may be said of the difference."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import msgspec
import numpy as np

from humcheck.audio.levels import Floats
from humcheck.comparison.certainty import DEFAULT_CERTAINTY, CertaintySettings
from humcheck.comparison.equivalence import ALPHA, POWER, equivalence_p, takes_needed
from humcheck.comparison.intervals import Estimate, difference
from humcheck.comparison.multiplicity import adjusted_in_families
from humcheck.comparison.repeats import estimate_of, repeatability_of
from humcheck.comparison.scatter import Repeatability
from humcheck.results import Change, Measure, quantity
from humcheck.results.rows import Bound, Contrast

SIGNIFICANCE = 0.05
_WORST_LAST: tuple[Repeatability, ...] = ("own", "borrowed", "replugging unknown", "unknown")


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """A change that is not judged yet.

    Attributes
    ----------
    change : Change
        With value, interval and reference.
    estimate : Estimate or None
        Its value with uncertainty; None of a bound.
    repeatability : str
        The worse of both sides.
    n_takes : int
        The fewer of both sides.
    take_variance : float
        Of the difference of two single takes.
    n_pluggings : float
        Of both sides together.
    p_value : float or None
        Where it is not that of Student's t.
    every : tuple of numpy.ndarray or None
        Values, uncertainties and degrees of freedom of the differences that all have to be inside the margin, where
        that is not the change's own alone.
    power : float
        Of each single test, so that the claim as a whole has the usual one.
    """

    change: Change
    estimate: Estimate | None = None
    repeatability: Repeatability = "unknown"
    n_takes: int = 1
    take_variance: float = 0.0
    n_pluggings: float = 2.0
    p_value: float | None = None
    every: tuple[Floats, Floats, Floats] | None = None
    power: float = POWER


def change_between(value: Measure, reference: Measure, contrast: Contrast, *, unit: str) -> Change | None:
    """Return `value` minus `reference`, judged by itself; None where both are bounds (two bounds make no change)."""
    compared = compare(value, reference, contrast, unit=unit)
    return None if compared is None else judged([compared])[0]


def compare(
    value: Measure, reference: Measure, contrast: Contrast, *, unit: str, more: dict[str, Any] | None = None
) -> Compared | None:
    """Return `value` minus `reference`, not judged yet; None where both are bounds.

    Parameters
    ----------
    value, reference : Measure
        Of one quantity and channel; upper minus value is an upper bound, value minus upper a lower one.
    contrast : str
        What differs between them.
    unit : str
        Of the difference.
    more : dict, optional
        What tells the reference from the row's own key.
    """
    repeatability = max(repeatability_of(value), repeatability_of(reference), key=_WORST_LAST.index)
    described: dict[str, Any] = {
        "subject": reference.subject,
        "role": reference.role,
        "n_takes": reference.n_takes,
        "repeatability": repeatability,
    }
    described |= more or {}
    if value.bound is not None or reference.bound is not None:
        bounded = _bounded_change(value, reference, contrast, unit, described)
        return None if bounded is None else Compared(change=bounded)
    ours, theirs = estimate_of(value), estimate_of(reference)
    estimate = difference(ours, theirs)
    low, high = estimate.interval()
    change = Change(
        **value.fields(), contrast=contrast, value=estimate.value, unit=unit, reference=described, low=low, high=high
    )
    pluggings = _pluggings(value), _pluggings(reference)
    return Compared(
        change=change,
        estimate=estimate,
        repeatability=repeatability,
        n_takes=min(value.n_takes, reference.n_takes),
        take_variance=ours.standard_uncertainty**2 * pluggings[0] + theirs.standard_uncertainty**2 * pluggings[1],
        n_pluggings=pluggings[0] + pluggings[1],
    )


def judged(compared: Sequence[Compared], certainty: CertaintySettings = DEFAULT_CERTAINTY) -> list[Change]:
    """Return the changes with their probabilities, and whether they are told apart or shown to be the same.

    Parameters
    ----------
    compared : sequence of Compared
        All changes of a bench: probabilities are adjusted over families of them.
    certainty : CertaintySettings, optional
        What the user set.

    Notes
    -----
    Nothing is called different or the same where repeatability is unknown, and nothing different where one side is a
    single take.
    """
    known = [one for one in compared if one.estimate is not None and one.repeatability in ("own", "borrowed")]
    rows = {id(one): row for one, row in zip(known, _judged(known, certainty), strict=True)} if known else {}
    return [rows.get(id(one), one.change) for one in compared]


def _judged(known: Sequence[Compared], certainty: CertaintySettings) -> list[Change]:
    estimates = [one.estimate for one in known if one.estimate is not None]
    value, uncertainty, freedom = (
        np.array([getattr(estimate, name) for estimate in estimates])
        for name in ("value", "standard_uncertainty", "degrees_of_freedom")
    )
    p_values = _p_values(known, value, uncertainty, freedom)
    may_differ = np.array([one.n_takes > 1 or certainty.judge_single_takes for one in known])
    adjusted = adjusted_in_families([one.change for one in known], p_values, may_differ)
    margins = np.array([_margin(one.change, certainty) for one in known])
    same_p = equivalence_p(value, uncertainty, freedom, margins)
    for index, one in enumerate(known):
        if one.every is not None:
            same_p[index] = equivalence_p(*one.every, margins[index]).max()
    needed = _needed(known, value, uncertainty, freedom, margins, same_p)
    rows = []
    for index, one in enumerate(known):
        margin = float(margins[index])
        rows.append(
            msgspec.structs.replace(
                one.change,
                p_value=float(p_values[index]),
                p_adjusted=float(adjusted[index]),
                distinguishable=bool(adjusted[index] < SIGNIFICANCE) if may_differ[index] else None,
                equivalent=None if math.isnan(margin) else bool(same_p[index] < ALPHA),
                margin=None if math.isnan(margin) else margin,
                takes_needed=int(needed[index]) if math.isfinite(needed[index]) else None,
            )
        )
    return rows


def _p_values(known: Sequence[Compared], value: Floats, uncertainty: Floats, freedom: Floats) -> Floats:
    """Return two-sided probabilities; a difference without any uncertainty is certain."""
    from scipy.special import stdtr

    statistic = np.abs(value) / np.maximum(uncertainty, np.finfo(np.float64).tiny)
    tails = np.minimum(2 * stdtr(np.minimum(freedom, 1e6), -statistic), 1.0)
    return np.array([tail if one.p_value is None else one.p_value for one, tail in zip(known, tails, strict=True)])


def _margin(change: Change, certainty: CertaintySettings) -> float:
    margin = certainty.margin(str(change.reference.get("quantity", change.quantity)), change.unit)
    return math.nan if margin is None else margin


def _needed(
    known: Sequence[Compared], value: Floats, uncertainty: Floats, freedom: Floats, margins: Floats, same_p: Floats
) -> Floats:
    """Return how many takes a side would show sameness; infinite where it is shown, or shown not to be there."""
    from scipy.special import stdtrit

    variance = np.array([one.take_variance for one in known])
    beyond = np.abs(value) - stdtrit(np.minimum(freedom, 1e6), 1 - ALPHA) * uncertainty > margins
    asked = np.flatnonzero(~np.isnan(margins) & (same_p >= ALPHA) & ~beyond & (variance > 0))
    needed = np.full(value.shape, np.inf)
    if asked.size:
        pluggings = np.array([one.n_pluggings for one in known])[asked]
        power = np.array([one.power for one in known])[asked]
        needed[asked] = takes_needed(variance[asked], freedom[asked], pluggings, margins[asked], power=power)
    return needed


def _pluggings(measure: Measure) -> float:
    return measure.detail.get("pluggings", float(measure.n_takes))


def _bounded_change(
    value: Measure, reference: Measure, contrast: Contrast, unit: str, described: dict[str, Any]
) -> Change | None:
    """Return a one-sided change; the known side enters with its own unfavourable end, so that the bound holds."""
    bound: Bound
    if value.bound is not None and reference.bound is not None:
        return None
    if value.bound == "upper" or reference.bound == "lower":
        end, bound = _end(value, "high") - _end(reference, "low"), "upper"
    else:
        end, bound = _end(value, "low") - _end(reference, "high"), "lower"
    return Change(**value.fields(), contrast=contrast, value=end, unit=unit, reference=described, bound=bound)


def _end(measure: Measure, side: str) -> float:
    end = getattr(measure, side)
    return measure.value if measure.bound is not None or end is None else float(end)


def unit_of_change(measure: Measure) -> str:
    """Return the unit of a difference: of levels it is the decibel."""
    return "dB" if quantity(measure.quantity).kind == "level" else measure.unit
