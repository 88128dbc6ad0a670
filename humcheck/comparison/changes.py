"""A value set against the same quantity elsewhere: through against direct."""

from __future__ import annotations

from typing import Any

from humcheck.comparison.intervals import difference, student_t_tail
from humcheck.comparison.repeats import estimate_of
from humcheck.results import Change, Measure
from humcheck.results.rows import Contrast

SIGNIFICANCE = 0.05


def change_between(value: Measure, reference: Measure, contrast: Contrast, *, unit: str) -> Change | None:
    """Return `value` minus `reference`, or None where both are bounds (two bounds make no change).

    A single take a side leaves repeatability unknown: the interval is then that of the takes' own noise, and nothing is
    called distinguishable.
    """
    described = {"subject": reference.subject, "role": reference.role, "n_takes": reference.n_takes}
    if value.bound is not None or reference.bound is not None:
        return _bounded_change(value, reference, contrast, unit, described)
    estimate = difference(estimate_of(value), estimate_of(reference))
    low, high = estimate.interval()
    repeated = value.n_takes > 1 and reference.n_takes > 1
    p_value = None
    if repeated and estimate.standard_uncertainty > 0:
        p_value = student_t_tail(estimate.value / estimate.standard_uncertainty, estimate.degrees_of_freedom)
    return Change(
        **value.fields(),
        contrast=contrast,
        value=estimate.value,
        unit=unit,
        reference=described,
        low=low,
        high=high,
        p_value=p_value,
        distinguishable=None if p_value is None else p_value < SIGNIFICANCE,
    )


def _bounded_change(
    value: Measure, reference: Measure, contrast: Contrast, unit: str, described: dict[str, Any]
) -> Change | None:
    """Return a one-sided change; the known side enters with its own unfavourable end, so that the bound holds."""
    upper_minus_value = value.bound == "upper" and reference.bound is None
    value_minus_upper = value.bound is None and reference.bound == "upper"
    lower_minus_value = value.bound == "lower" and reference.bound is None
    value_minus_lower = value.bound is None and reference.bound == "lower"
    if upper_minus_value or value_minus_lower:
        top = value.value if value.bound else (value.high if value.high is not None else value.value)
        bottom = (
            reference.value if reference.bound else (reference.low if reference.low is not None else reference.value)
        )
        return _one_sided(value, contrast, unit, described, top - bottom, "upper")
    if value_minus_upper or lower_minus_value:
        bottom = value.value if value.bound else (value.low if value.low is not None else value.value)
        top = (
            reference.value if reference.bound else (reference.high if reference.high is not None else reference.value)
        )
        return _one_sided(value, contrast, unit, described, bottom - top, "lower")
    return None


def _one_sided(
    value: Measure, contrast: Contrast, unit: str, described: dict[str, Any], end: float, bound: Any
) -> Change:
    return Change(**value.fields(), contrast=contrast, value=end, unit=unit, reference=described, bound=bound)
