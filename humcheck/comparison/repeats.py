"""Repeated takes of one key become one row."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from humcheck.comparison.drift import by_question, shared_no_drift
from humcheck.comparison.intervals import NORMAL_95, Estimate, student_t_quantile
from humcheck.comparison.multiplicity import question_of
from humcheck.comparison.occasions import Occasion, Occasions
from humcheck.comparison.references import place_of
from humcheck.comparison.scatter import Cell, Pool, Repeatability, Scatter
from humcheck.comparison.scatter_levels import Take
from humcheck.results import Measure, quantity

#: How a row's `detail` says whose scatter its interval rests on.
REPEATABILITY: Mapping[Repeatability, float] = {"own": 1.0, "borrowed": 2.0, "replugging unknown": 3.0}
_WORDS = {code: word for word, code in REPEATABILITY.items()}
#: Kinds of quantities whose scatter is the bench's; others, such as the mains frequency, are each take's own.
_POOLED = ("level", "ratio", "percent")
_BENCH_ROLES = ("direct", "through")
_UNKNOWN_OCCASION = Occasion()
#: Stands for infinitely many degrees of freedom: numbers in results are finite.
_MANY = 1e6
#: In `detail`: the scatter is that of the row's own device alone.
_OWN_POOL = 2.0


def aggregate_repeats(measures: Iterable[Measure], occasions: Occasions | None = None) -> list[Measure]:
    """Return one measure for each key, repeats averaged, in the order of first appearance.

    Parameters
    ----------
    measures : iterable of Measure
        Of single takes.
    occasions : mapping of str to Occasion, optional
        Of the takes, by id; without it every take counts as plugged anew.

    Notes
    -----
    The interval holds the scatter from take to take, pooled over all direct and through takes of the quantity and
    channel (see `scatter`), where any is known; then `interval` is ``"between"``, and `detail` tells the degrees of
    freedom, the number of pluggings, and whose scatter it is (`REPEATABILITY`). Levels and ratios scatter by as many
    decibels everywhere, distortion in proportion to its size. Where nothing is known of scatter the row stays as it is.
    """
    groups: dict[tuple[Any, ...], list[Measure]] = {}
    for measure in measures:
        groups.setdefault(place_of(measure), []).append(measure)
    merged: dict[tuple[Any, ...], Measure] = {}
    pools: dict[tuple[Any, ...], list[tuple[Any, ...]]] = {}
    for identity, group in groups.items():
        if len(group) > 1 and any(measure.bound is not None for measure in group):
            merged[identity] = _bound_of_repeats(group, _takes_of(group))
        elif group[0].bound is not None:
            merged[identity] = group[0]
        else:
            pools.setdefault(_pool_of(group[0], identity), []).append(identity)
    scattering = {
        pool: Pool([cell_of(groups[identity], occasions or {}) for identity in identities], repr(pool))
        for pool, identities in pools.items()
    }
    no_drift = _no_drift((groups[pools[pool][0]][0], cells) for pool, cells in scattering.items())
    for pool, identities in pools.items():
        for identity, scatter in zip(identities, scattering[pool].scatter(no_drift), strict=True):
            merged[identity] = _row(groups[identity], scatter)
    return [merged[identity] for identity in groups]


def _no_drift(pools: Iterable[tuple[Measure, Pool]]) -> float:
    """Return how probable it is that a quantity of this bench does not drift over the day."""
    return shared_no_drift(by_question((question_of(first.quantity), pool.drift_evidence()) for first, pool in pools))


def estimate_of(measure: Measure) -> Estimate:
    """Return a (possibly aggregated) measure's value with the uncertainty that its interval states."""
    if measure.low is None or measure.high is None:
        return Estimate(value=measure.value, standard_uncertainty=0.0)
    half = (measure.high - measure.low) / 2
    if measure.interval != "between":
        return Estimate(value=measure.value, standard_uncertainty=half / NORMAL_95)
    freedom = measure.detail.get("degrees_of_freedom", float(max(measure.n_takes - 1, 1)))
    return Estimate(
        value=measure.value,
        standard_uncertainty=half / student_t_quantile(0.975, freedom),
        degrees_of_freedom=freedom,
        pool=_pool_name(measure),
    )


def _pool_name(measure: Measure) -> str | None:
    code = measure.detail.get("pooled", 0.0)
    return None if not code else "bench" if code < _OWN_POOL else f"bench {measure.subject}"


def repeatability_of(measure: Measure) -> Repeatability:
    """Return whose scatter a row's interval rests on."""
    return _WORDS.get(measure.detail.get("repeatability", 0.0), "unknown")


def _pool_of(measure: Measure, identity: tuple[Any, ...]) -> tuple[Any, ...]:
    if measure.role == "single" or quantity(measure.quantity).kind not in _POOLED:
        return identity
    role = "bench" if measure.role in _BENCH_ROLES else "floor"
    return role, measure.quantity, measure.channel


def cell_of(group: Sequence[Measure], occasions: Occasions) -> Cell:
    """Return the cell of the takes of one key."""
    blocks: dict[int, dict[object, list[Take]]] = {}
    for number, measure in enumerate(group):
        occasion = _occasion(measure, occasions)
        plugging = number if occasion.plugging is None else occasion.plugging
        take = (measure.value, estimate_of(measure).standard_uncertainty ** 2)
        blocks.setdefault(occasion.block, {}).setdefault(plugging, []).append(take)
    scale = 1.0
    if quantity(group[0].quantity).kind == "percent":
        scale = max(sum(measure.value for measure in group) / len(group), 1e-12)
    return Cell(blocks=[list(block.values()) for block in blocks.values()], group=group[0].subject, scale=scale)


def _occasion(measure: Measure, occasions: Occasions) -> Occasion:
    return occasions.get(measure.takes[0], _UNKNOWN_OCCASION) if measure.takes else _UNKNOWN_OCCASION


def _takes_of(group: Sequence[Measure]) -> list[str]:
    return [take for measure in group for take in measure.takes]


def _row(group: Sequence[Measure], scatter: Scatter) -> Measure:
    first = group[0]
    if scatter.repeatability == "unknown":
        return first
    low, high = scatter.estimate.interval()
    told = {
        "degrees_of_freedom": min(scatter.estimate.degrees_of_freedom, _MANY),
        "pluggings": float(scatter.n_pluggings),
        "repeatability": REPEATABILITY[scatter.repeatability],
    }
    if scatter.estimate.pool is not None:
        told["pooled"] = _OWN_POOL if scatter.estimate.pool.endswith(f"/{first.subject}") else 1.0
    return Measure(
        **first.fields(),
        value=scatter.estimate.value,
        unit=first.unit,
        low=low,
        high=high,
        interval="between",
        n_takes=len(group),
        takes=_takes_of(group),
        detail=first.detail | told,
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
