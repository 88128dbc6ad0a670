"""Curves of repeated takes become one curve."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import msgspec
import numpy as np

from humcheck.results import Curve


def average_curves(curves: Iterable[Curve]) -> list[Curve]:
    """Return one curve for each key, levels averaged as powers over the frequencies that all repeats have.

    The band of the mean narrows with the number of takes; where any repeat is only a bound, so is the mean.
    """
    groups: dict[tuple[Any, ...], list[Curve]] = {}
    for curve in curves:
        groups.setdefault(curve.identity(), []).append(curve)
    return [group[0] if len(group) == 1 else _average(group) for group in groups.values()]


def _average(group: Sequence[Curve]) -> Curve:
    first = group[0]
    common = sorted(set(first.frequency_hz).intersection(*(curve.frequency_hz for curve in group[1:])))
    if not common:
        return first
    rows = [_picked(curve, common) for curve in group]
    values = 10 * np.log10(np.mean([10 ** (np.array(row.value) / 10) for row in rows], axis=0))
    return msgspec.structs.replace(
        first,
        frequency_hz=common,
        value=[float(value) for value in values],
        low=_edge([row.low for row in rows], [row.value for row in rows], values),
        high=_edge([row.high for row in rows], [row.value for row in rows], values),
        bound=_bounds([row.bound for row in rows], len(common)),
        valid_from_hz=_latest([row.valid_from_hz for row in rows], max),
        valid_to_hz=_latest([row.valid_to_hz for row in rows], min),
    )


def _picked(curve: Curve, frequency_hz: Sequence[float]) -> Curve:
    place = {frequency: index for index, frequency in enumerate(curve.frequency_hz)}
    chosen = [place[frequency] for frequency in frequency_hz]

    def pick(values: Any) -> Any:
        return None if values is None else [values[index] for index in chosen]

    return msgspec.structs.replace(
        curve,
        frequency_hz=list(frequency_hz),
        value=pick(curve.value),
        low=pick(curve.low),
        high=pick(curve.high),
        bound=pick(curve.bound),
    )


def _edge(edges: Sequence[list[float] | None], values: Sequence[list[float]], mean: Any) -> list[float] | None:
    """Return the edge of the mean's band: independent uncertainties, so distances add as squares over the count."""
    if any(edge is None for edge in edges):
        return None
    distances = np.array(edges) - np.array(values)
    sign = np.sign(distances.sum(axis=0))
    return [float(edge) for edge in mean + sign * np.sqrt(np.sum(distances**2, axis=0)) / len(edges)]


def _bounds(bounds: Sequence[list[Any] | None], n_points: int) -> list[Any] | None:
    if all(bound is None for bound in bounds):
        return None
    columns = [bound or [None] * n_points for bound in bounds]
    return [next((item for item in column if item is not None), None) for column in zip(*columns, strict=True)]


def _latest(ends: Sequence[float | None], choose: Any) -> float | None:
    known = [end for end in ends if end is not None]
    return choose(known) if known else None
