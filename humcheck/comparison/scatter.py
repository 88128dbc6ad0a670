"""Take-to-take scatter of one quantity, pooled over the cells of a bench.

A cell is the takes of one key. Takes scatter on three levels: repeats within a plugging, pluggings, and the day: what
drifts between direct takes that were made at different times. Each level's mean square is pooled over all cells, so
that a cell of few takes, even of one, borrows the scatter of the others, with the degrees of freedom of all of them.

Notes
-----
- Nested analysis of variance: the mean square between pluggings holds that of repeats over their number; what a cell's
  own number of repeats makes of it is worked out from the components [1]_.
- A device whose pluggings scatter more than those of all others has a pool of its own, and a cell that scatters wildly
  more than the rest of its pool stands alone. Both tests are Cochran's, in the form that allows for unequal numbers of
  takes: one variance over that of all others, against F, over all cells at 1 %, over all devices at 25 % [2]_ (a device
  that is left out of the pool loses degrees of freedom, one that is wrongly in it has intervals that do not hold).
- The day: direct takes bracket it. What their scatter beyond that of takes replugged in a row says of its drift is a
  variance of its own (see `drift`), which takes made in a row share. Drift is not interpolated. Direct takes that
  scatter less than chance would have it were hardly replugged, and say nothing.
- Where no cell was replugged in a row, the scatter over the day is set against the takes' own noise in the same way.
- No cell gets less than its takes' own noise; one that is noisier than the pool has the excess added.

References
----------
.. [1] S. R. Searle, G. Casella, C. E. McCulloch, Variance Components, Wiley, 1992, chapter 3.
.. [2] R. U. E. 't Lam, Scrutiny of variance results for outliers: Cochran's test optimized, Anal. Chim. Acta 659, 2010.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from humcheck.audio.levels import Floats
from humcheck.comparison.drift import NO_DRIFT, Ratios, as_student, ratios
from humcheck.comparison.intervals import Estimate
from humcheck.comparison.scatter_levels import Component, Level, Mean, Split, Take, component, split, wild

#: Chance of setting a cell, or a device, aside where all scatter alike.
WILD_CELL_P, WILD_GROUP_P = 0.01, 0.25
#: Direct takes scatter less than the others do where chance would make as little of it less often than this.
CALM_P = 0.05
#: Probability, before the takes are seen, that nothing but their own noise makes single takes scatter.
OWN_NOISE_ALONE = 0.5
#: Of the direct takes' own noise: scatter beyond that of quieter takes than this is not told from none.
_LEAST_SHARE = 1e-4
#: Stands for infinitely many degrees of freedom.
_MANY = 1e6

Repeatability = Literal["own", "borrowed", "replugging unknown", "unknown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """The takes of one key.

    Attributes
    ----------
    blocks : list of list of list of (float, float)
        Values with their own variances; takes within pluggings within blocks that lie apart in the day.
    group : str
        What may scatter in its own way: the device.
    scale : float
        What the cell's scatter is proportional to; 1 where all cells scatter alike.
    counts : bool
        Whether its scatter goes into the pool; not where its takes are in another cell already.
    """

    blocks: list[list[list[Take]]]
    group: str = ""
    scale: float = 1.0
    counts: bool = True

    @property
    def n_pluggings(self) -> int:
        """How often it was plugged."""
        return sum(len(block) for block in self.blocks)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """The mean of a cell with the uncertainty that the bench's scatter gives it."""

    estimate: Estimate
    repeatability: Repeatability
    n_pluggings: int


@dataclass(frozen=True, slots=True)
class _Variance:
    value: float
    freedom: float


def scatter_of(cells: Sequence[Cell], pool: str, no_drift: float = NO_DRIFT) -> list[Scatter]:
    """Return the mean of each cell, with the uncertainty that the scatter of all of them gives it.

    Parameters
    ----------
    cells : sequence of Cell
        Of one quantity and channel.
    pool : str
        Name of their pool.
    no_drift : float, optional
        Probability that the day does not drift, before these cells are seen.

    Returns
    -------
    list of Scatter
        In the order of the cells. Where nothing is known of scatter the uncertainty is that of the take's own noise.
    """
    return Pool(cells, pool).scatter(no_drift)


class Pool:
    """Cells of one quantity and channel, and what they say together about the levels of scatter."""

    def __init__(self, cells: Sequence[Cell], name: str) -> None:
        self._cells, self._name = cells, name
        self._splits = [split(cell.blocks, cell.scale) for cell in cells]
        counted = [part for cell, part in zip(cells, self._splits, strict=True) if cell.counts]
        self._repeats = component([part.repeats for part in counted])
        levels = [part.pluggings if cell.counts else Level() for cell, part in zip(cells, self._splits, strict=True)]
        self._pools = _pools([cell.group for cell in cells], levels, self._repeats.variance)
        self._main = next((pluggings for name, pluggings in self._pools if name == ""), Component())
        self._day = Level()
        for part in counted:
            self._day.add(part.day)

    def drift_evidence(self) -> float | None:
        """Return how much likelier drift is than none, as a logarithm; None where nothing can be said."""
        return None if self._drift is None else self._drift.evidence()

    def scatter(self, no_drift: float) -> list[Scatter]:
        """Return the mean of each cell; see `scatter_of`."""
        weights = None if self._drift is None else self._drift.weights(no_drift)
        found = []
        for cell, part, (name, pluggings) in zip(self._cells, self._splits, self._pools, strict=True):
            pool = None if name is None else f"{self._name}/{name}" if name else self._name
            found.append(self._of_cell(cell, part, pluggings, pool, weights))
        return found

    def _of_cell(
        self, cell: Cell, part: Split, pluggings: Component, pool: str | None, weights: Floats | None
    ) -> Scatter:
        """Return one cell's mean; `pluggings` is the scatter of its pool, or its own where `pool` is None."""
        variance = self._variance(part.mean, pluggings, weights)
        repeatability: Repeatability = "unknown"
        if variance is not None:
            known = bool(pluggings.known or self._day.freedom)
            repeatability = ("own" if cell.n_pluggings > 1 else "borrowed") if known else "replugging unknown"
        value, freedom = (part.mean.own, math.inf) if variance is None else (variance.value, variance.freedom)
        estimate = Estimate(
            value=part.mean.value * cell.scale,
            standard_uncertainty=math.sqrt(value) * cell.scale,
            degrees_of_freedom=freedom,
            pool=None if variance is None else pool,
        )
        return Scatter(estimate=estimate, repeatability=repeatability, n_pluggings=cell.n_pluggings)

    @cached_property
    def _expected(self) -> _Variance | None:
        """What one degree of freedom of the day would hold without drift; None where nothing was replugged in a row."""
        return self._short(self._day.per_freedom(), self._main) if self._day.freedom else None

    @cached_property
    def _drift(self) -> Ratios | None:
        """What the direct takes say of drift; None where they say nothing, or nothing else does."""
        from scipy.special import fdtr

        expected = self._expected
        if expected is None or expected.value <= 0:
            return None
        ratio = self._day.mean_square / expected.value
        below = min(expected.freedom, _MANY)
        if self._main.known and fdtr(self._day.freedom, below, ratio) < CALM_P:
            return None
        take = self._main.variance + self._repeats.variance + (self._main if self._main.known else self._repeats).noise
        return ratios(ratio, self._day.freedom, below, of_take=take / expected.value)

    def _variance(self, mean: Mean, pluggings: Component, weights: Floats | None) -> _Variance | None:
        """Return the variance of a cell's mean, or None where nothing is known of scatter."""
        short = self._short(mean, pluggings)
        if not self._day.freedom:
            return short
        if short is None or self._expected is None:
            return self._of_single_takes(mean)
        if self._expected.value <= 0:
            return _Variance(short.value + mean.of_day * self._day.mean_square, self._day.freedom)
        if self._drift is None or weights is None:
            return short
        of_day = mean.of_day * self._expected.value * (self._drift.ratio - 1)
        if pluggings is not self._main:
            return _Variance(*as_student(short.value + of_day, weights, short.freedom))
        # With each size of drift the direct takes tell something else of the replugging, too.
        known, day = min(self._expected.freedom, _MANY), self._day.freedom
        factor = (known + self._day.squares / (self._drift.ratio * self._expected.value)) / (known + day)
        variance = mean.own + (short.value - mean.own + of_day) * factor
        return _Variance(*as_student(variance, weights, short.freedom * (known + day) / known))

    def _of_single_takes(self, mean: Mean) -> _Variance:
        """Return the variance of a mean where single takes over the day are all there is.

        Their scatter holds everything that happens to one take; what it has beyond their own noise is not well known.
        """
        square, own = self._day.mean_square, self._day.own / self._day.freedom
        if own <= 0:
            return _Variance(mean.of_day * square + mean.own, self._day.freedom)
        quietest = min(part.mean.own / part.mean.of_day for part in self._splits)
        beyond = ratios(square / own, self._day.freedom, _MANY, of_take=max(quietest / own, _LEAST_SHARE))
        variance = mean.own + mean.of_day * own * (beyond.ratio - 1)
        return _Variance(*as_student(variance, beyond.weights(OWN_NOISE_ALONE), math.inf))

    def _short(self, mean: Mean, pluggings: Component) -> _Variance | None:
        """Return the variance of a mean without the day's drift; degrees of freedom after Welch and Satterthwaite."""
        repeats = self._repeats
        if not pluggings.known and not repeats.known:
            return None
        value = mean.own + mean.of_repeats * repeats.variance + mean.of_pluggings * pluggings.variance
        uncertainty = mean.of_pluggings**2 * pluggings.uncertainty if pluggings.known else 0.0
        if repeats.known:
            # What pluggings were seen to scatter holds some of the repeats; the rest is uncertain by itself.
            rest = mean.of_repeats - (mean.of_pluggings * pluggings.held if pluggings.variance else 0.0)
            uncertainty += rest**2 * repeats.uncertainty
        # A quiet cell beside noisy ones may seem to have less than one, for which no quantile is of use.
        return _Variance(value, max(2 * value**2 / uncertainty, 1.0) if uncertainty > 0 and value > 0 else math.inf)


def _pools(groups: Sequence[str], levels: Sequence[Level], of_repeat: float) -> list[tuple[str | None, Component]]:
    """Return the scatter between pluggings that each cell takes part in, with the pool's name; None stands alone."""
    of_group: dict[str, list[Level]] = {}
    for group, level in zip(groups, levels, strict=True):
        of_group.setdefault(group, []).append(level)
    names = list(of_group)
    apart = {names[index] for index in wild(list(of_group.values()), WILD_GROUP_P, of_repeat)}
    pool_of = [group if group in apart else "" for group in groups]
    found: list[tuple[str | None, Component]] = [("", Component())] * len(groups)
    for name in dict.fromkeys(pool_of):
        members = [index for index, pool in enumerate(pool_of) if pool == name]
        alone = {members[place] for place in wild([[levels[index]] for index in members], WILD_CELL_P, of_repeat)}
        together = component([levels[index] for index in members if index not in alone], of_repeat)
        for index in members:
            found[index] = (None, component([levels[index]], of_repeat)) if index in alone else (name, together)
    return found
