"""The ports of one device against each other: each against the rest, and the spread of all."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Sequence
from typing import Any

import msgspec
import numpy as np

from humcheck.audio.levels import Floats
from humcheck.comparison.changes import Compared, compare, unit_of_change
from humcheck.comparison.contrasts import grouped
from humcheck.comparison.equivalence import POWER
from humcheck.comparison.intervals import Estimate, combined
from humcheck.comparison.references import in_single_channels, is_compared
from humcheck.comparison.repeats import REPEATABILITY, estimate_of, repeatability_of
from humcheck.comparison.scatter import Repeatability
from humcheck.results import Change, Measure
from humcheck.results.rows import Bound

#: What a port is set against where there are more than two.
THE_OTHERS = "the others"
#: Variance of the median of so many normal values, over that of their mean (variances of normal order statistics: H. A.
#: David, Order Statistics, table 3.3.1, from memory and checked by simulation); pi / 2 for many.
_MEDIAN_VARIANCE = {2: 1.0, 3: 1.346, 4: 1.193, 5: 1.434, 6: 1.288, 7: 1.473}


def port_changes(measures: Iterable[Measure]) -> list[Compared]:
    """Return the changes of contrast ``port``: each port against the median of the others, and ``port_spread``.

    Parameters
    ----------
    measures : iterable of Measure
        One for each key, repeats averaged. Ports of one device under one picture, condition and fix are set against
        each other; of two ports the later against the earlier. The median, because a single bad port would move the
        mean of the others for every good one.
    """
    rows = in_single_channels(
        row for row in measures if row.role == "through" and row.port is not None and is_compared(row.quantity)
    )
    changes: list[Compared | None] = []
    for group in grouped(rows, "port"):
        changes += _each(group)
        changes.append(_spread(group))
    return [change for change in changes if change is not None]


def _each(group: Sequence[Measure]) -> list[Compared | None]:
    unit = unit_of_change(group[0])
    if len(group) == 2:
        earlier, later = group
        return [compare(later, earlier, "port", unit=unit, more={"port": earlier.port})]
    changes = []
    estimates = [estimate_of(row) for row in group]
    for index, row in enumerate(group):
        others = [*group[:index], *group[index + 1 :]]
        more = {"port": THE_OTHERS, "ports": [other.port for other in others]}
        middle = _middle(others, [*estimates[:index], *estimates[index + 1 :]])
        changes.append(None if middle is None else compare(row, middle, "port", unit=unit, more=more))
    return changes


def _middle(rows: Sequence[Measure], estimates: Sequence[Estimate]) -> Measure | None:
    """Return the median of several ports; a bound where any of them is one, nothing where bounds point both ways."""
    first, count = rows[0], len(rows)
    n_takes = sum(row.n_takes for row in rows)
    bounds = {row.bound for row in rows} - {None}
    if len(bounds) > 1:
        return None
    if bounds:
        bound = bounds.pop()
        # A median with every port at its unfavourable end is at that end of the median.
        end = statistics.median(_most(row) if bound == "upper" else _least(row) for row in rows)
        return msgspec.structs.replace(first, port=None, value=end, low=None, high=None, bound=bound, n_takes=n_takes)
    mean = combined([(1 / count, estimate) for estimate in estimates])
    middle = Estimate(
        value=statistics.median(row.value for row in rows),
        standard_uncertainty=mean.standard_uncertainty * math.sqrt(_MEDIAN_VARIANCE.get(count, math.pi / 2)),
        degrees_of_freedom=mean.degrees_of_freedom,
        pool=mean.pool,
    )
    low, high = middle.interval()
    known = all(row.detail.get("repeatability") for row in rows)
    detail = {}
    if known:
        detail = {
            "degrees_of_freedom": min(middle.degrees_of_freedom, 1e6),
            "pluggings": math.fsum(row.detail["pluggings"] for row in rows) / count,
            "repeatability": max(row.detail["repeatability"] for row in rows),
            "pooled": first.detail.get("pooled", 0.0) if middle.pool is not None else 0.0,
        }
    return msgspec.structs.replace(
        first,
        port=None,
        value=middle.value,
        low=low,
        high=high,
        interval="between" if known else first.interval,
        detail=detail,
        n_takes=n_takes,
    )


def _spread(group: Sequence[Measure]) -> Compared | None:
    """Return the largest minus the smallest port.

    Notes
    -----
    Shown to be the same: every pair of ports is, by two one-sided tests at 5 %. That needs no correction for the number
    of pairs (see `equivalence`), and so a user may read "all ports alike within the margin" as it stands. The high end
    of the interval is the largest of the pairs' 95 % intervals, by the same reasoning; its low end and the probability
    are Bonferroni's over all pairs, since there one pair of many is enough to claim a difference.
    """
    if any(row.bound is not None for row in group):
        return _bounded_spread(group)
    largest, smallest = max(group, key=lambda row: row.value), min(group, key=lambda row: row.value)
    pairs = _Pairs([estimate_of(row) for row in group])
    low, high = pairs.interval()
    worst = max((repeatability_of(row) for row in group), key=lambda word: REPEATABILITY.get(word, 9.0))
    change = _row(group, largest, smallest, worst, value=largest.value - smallest.value, low=low, high=high)
    return Compared(
        change=change,
        estimate=pairs.largest(),
        repeatability=worst,
        n_takes=min(row.n_takes for row in group),
        take_variance=2 * max(estimate_of(row).standard_uncertainty ** 2 * _pluggings(row) for row in group),
        n_pluggings=math.fsum(_pluggings(row) for row in group) / len(group) * 2,
        p_value=pairs.p_value(),
        every=(pairs.value, pairs.uncertainty, pairs.freedom),
        power=1 - (1 - POWER) / (len(group) - 1),
    )


class _Pairs:
    """The differences of all pairs of ports.

    Attributes
    ----------
    value, uncertainty, freedom : numpy.ndarray, shape (n_pairs,)
        Sizes of the differences, their standard uncertainties and degrees of freedom.
    """

    def __init__(self, ports: Sequence[Estimate]) -> None:
        value = np.array([port.value for port in ports])
        variance = np.array([port.standard_uncertainty**2 for port in ports])
        freedom = np.array([min(port.degrees_of_freedom, 1e6) for port in ports])
        # Ports of one device are of one pool, unless one stands alone.
        pooled = np.array([port.pool is not None for port in ports])
        one, other = np.triu_indices(value.size, 1)
        self.value: Floats = np.abs(value[one] - value[other])
        total = variance[one] + variance[other]
        self.uncertainty: Floats = np.sqrt(total)
        # Of one pool the degrees of freedom do not add (see `intervals.combined`); otherwise Welch and Satterthwaite.
        weight = variance[one] ** 2 / freedom[one] + variance[other] ** 2 / freedom[other]
        apart = np.divide(total**2, weight, out=np.full(total.shape, 1e6), where=weight > 0)
        together = np.minimum(freedom[one], freedom[other])
        self.freedom: Floats = np.where(pooled[one] & pooled[other], together, apart)

    def largest(self) -> Estimate:
        """Return the largest difference, by itself."""
        index = int(np.argmax(self.value))
        return Estimate(
            value=float(self.value[index]),
            standard_uncertainty=float(self.uncertainty[index]),
            degrees_of_freedom=float(self.freedom[index]),
        )

    def interval(self) -> tuple[float, float]:
        """Return the ends of the spread's 95 % interval."""
        from scipy.special import stdtrit

        surely = self.value - stdtrit(self.freedom, 1 - 0.025 / self.value.size) * self.uncertainty
        at_most = self.value + stdtrit(self.freedom, 0.975) * self.uncertainty
        return max(float(surely.max()), 0.0), float(at_most.max())

    def p_value(self) -> float:
        """Return the probability of such differences where all ports are alike (Bonferroni over the pairs)."""
        from scipy.special import stdtr

        statistic = self.value / np.maximum(self.uncertainty, np.finfo(np.float64).tiny)
        return float(min(2 * stdtr(self.freedom, -statistic).min() * self.value.size, 1.0))


def _bounded_spread(group: Sequence[Measure]) -> Compared | None:
    """Return at least how far the ports lie apart where some of them are hidden by noise."""
    largest = max((row for row in group if row.bound != "upper"), key=_least, default=None)
    smallest = min((row for row in group if row.bound != "lower"), key=_most, default=None)
    if largest is None or smallest is None or _least(largest) <= _most(smallest):
        return None
    apart = _least(largest) - _most(smallest)
    return Compared(change=_row(group, largest, smallest, "unknown", value=apart, bound="lower"))


def _least(row: Measure) -> float:
    return row.value if row.low is None else row.low


def _most(row: Measure) -> float:
    return row.value if row.high is None else row.high


def _pluggings(row: Measure) -> float:
    return row.detail.get("pluggings", float(row.n_takes))


def _row(
    group: Sequence[Measure],
    largest: Measure,
    smallest: Measure,
    repeatability: Repeatability,
    *,
    value: float,
    low: float | None = None,
    high: float | None = None,
    bound: Bound | None = None,
) -> Change:
    first = group[0]
    reference: dict[str, Any] = {
        "subject": first.subject,
        "role": first.role,
        "n_takes": min(row.n_takes for row in group),
        "repeatability": repeatability,
        "quantity": first.quantity,
        "largest": largest.port,
        "smallest": smallest.port,
        "n_ports": len(group),
    }
    return Change(
        **first.fields(quantity="port_spread", port=None),
        contrast="port",
        value=value,
        unit=unit_of_change(first),
        reference=reference,
        low=low,
        high=high,
        bound=bound,
    )
