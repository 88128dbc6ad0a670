"""Repeated takes of one key become one row."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from humcheck.comparison.intervals import NORMAL_95, Estimate, mean_of_repeats
from humcheck.results import Measure


def aggregate_repeats(measures: Iterable[Measure]) -> list[Measure]:
    """Return one measure for each key, repeats averaged, in the order of first appearance."""
    groups: dict[tuple[Any, ...], list[Measure]] = {}
    for measure in measures:
        groups.setdefault(measure.identity(), []).append(measure)
    return [_aggregate(group) for group in groups.values()]


def estimate_of(measure: Measure) -> Estimate:
    """Return a (possibly aggregated) measure's value with the uncertainty that its interval states."""
    if measure.low is None or measure.high is None:
        return Estimate(value=measure.value, standard_uncertainty=0.0)
    half = (measure.high - measure.low) / 2
    if measure.interval != "between":
        return Estimate(value=measure.value, standard_uncertainty=half / NORMAL_95)
    from humcheck.comparison.intervals import student_t_quantile

    freedom = float(measure.n_takes - 1)
    return Estimate(
        value=measure.value,
        standard_uncertainty=half / student_t_quantile(0.975, freedom),
        degrees_of_freedom=freedom,
    )


def _aggregate(group: Sequence[Measure]) -> Measure:
    if len(group) == 1:
        return group[0]
    first = group[0]
    takes = [take for measure in group for take in measure.takes]
    bounds = {measure.bound for measure in group} - {None}
    if bounds:
        return _bound_of_repeats(group, takes)
    estimate = mean_of_repeats(
        [measure.value for measure in group], [estimate_of(measure).standard_uncertainty for measure in group]
    )
    low, high = estimate.interval()
    return Measure(
        **first.fields(),
        value=estimate.value,
        unit=first.unit,
        low=low,
        high=high,
        interval="between",
        n_takes=len(group),
        takes=takes,
        detail=first.detail,
    )


def _bound_of_repeats(group: Sequence[Measure], takes: list[str]) -> Measure:
    """Return the weakest statement that holds for every take: one hidden value makes the group's value a bound."""
    first = group[0]
    lower = any(measure.bound == "lower" for measure in group)
    ends = [
        measure.value if measure.bound else (measure.low if lower else measure.high) or measure.value
        for measure in group
    ]
    return Measure(
        **first.fields(),
        value=min(ends) if lower else max(ends),
        unit=first.unit,
        bound="lower" if lower else "upper",
        n_takes=len(group),
        takes=takes,
        detail=first.detail,
    )
