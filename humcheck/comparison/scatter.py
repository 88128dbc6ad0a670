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
- The day: direct takes bracket it. Where they scatter more than takes replugged in a row do (F at 25 %: a small chance
  of missing a drift matters more than a wide interval [3]_), the excess enters every cell whole, as takes made in a row
  share their moment. Otherwise direct takes join the pool, unless they scatter less. Drift is not interpolated.
- No cell gets less than its takes' own noise; one that is noisier than the pool has the excess added.

References
----------
.. [1] S. R. Searle, G. Casella, C. E. McCulloch, Variance Components, Wiley, 1992, chapter 3.
.. [2] R. U. E. 't Lam, Scrutiny of variance results for outliers: Cochran's test optimized, Anal. Chim. Acta 659, 2010.
.. [3] T. A. Bancroft, On biases in estimation due to the use of preliminary tests of significance, Ann. Math. Stat. 15,
   1944; the level of 25 % is from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from humcheck.comparison.intervals import Estimate

#: Chance of setting a cell, or a device, aside where all scatter alike.
WILD_CELL_P, WILD_GROUP_P = 0.01, 0.25
#: Drift of the day is taken to be there unless chance would make as much of it oftener than this.
DRIFT_P = 0.25
#: Direct takes scatter less than the others do where chance would make as little of it less often than this.
CALM_P = 0.05

Repeatability = Literal["own", "borrowed", "replugging unknown", "unknown"]
Take = tuple[float, float]  # value, variance of its own noise


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
    """

    blocks: list[list[list[Take]]]
    group: str = ""
    scale: float = 1.0

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


@dataclass(slots=True)
class _Level:
    """Sum of squares of one level of the nesting, and how much of it comes from below, each times the freedom."""

    squares: float = 0.0
    freedom: float = 0.0
    own: float = 0.0
    repeats: float = 0.0
    pluggings: float = 0.0

    def add(self, other: _Level) -> None:
        self.squares += other.squares
        self.freedom += other.freedom
        self.own += other.own
        self.repeats += other.repeats
        self.pluggings += other.pluggings

    @property
    def mean_square(self) -> float:
        return self.squares / self.freedom

    def per_freedom(self) -> _Mean:
        """Return what one degree of freedom holds of the levels below."""
        return _Mean(0.0, self.own / self.freedom, self.repeats / self.freedom, self.pluggings / self.freedom)


@dataclass(slots=True)
class _Mean:
    """A mean, the variance of its own noise, and its shares of the variance of a repeat, a plugging and a moment."""

    value: float
    own: float
    of_repeats: float = 1.0
    of_pluggings: float = 1.0
    of_day: float = 1.0


@dataclass(slots=True)
class _Split:
    """A cell taken apart: its mean, and its sums of squares."""

    mean: _Mean
    repeats: _Level
    pluggings: _Level
    day: _Level


@dataclass(frozen=True, slots=True)
class _Variance:
    value: float
    freedom: float


def scatter_of(cells: Sequence[Cell], pool: str) -> list[Scatter]:
    """Return the mean of each cell, with the uncertainty that the scatter of all of them gives it.

    Parameters
    ----------
    cells : sequence of Cell
        Of one quantity and channel.
    pool : str
        Name of their pool.

    Returns
    -------
    list of Scatter
        In the order of the cells. Where nothing is known of scatter the uncertainty is that of the take's own noise.
    """
    splits = [_split(cell) for cell in cells]
    pools = _pools([cell.group for cell in cells], [split.pluggings for split in splits])
    repeats, day = _Level(), _Level()
    for split in splits:
        repeats.add(split.repeats)
        day.add(split.day)
    main = next((level for name, level in pools if name == ""), _Level())
    bench = _Bench(repeats, main, day)
    return [
        bench.scatter(cell, split, level, None if name is None else f"{pool}/{name}" if name else pool)
        for cell, split, (name, level) in zip(cells, splits, pools, strict=True)
    ]


def _pools(groups: Sequence[str], levels: Sequence[_Level]) -> list[tuple[str | None, _Level]]:
    """Return the scatter between pluggings that each cell takes part in, with the pool's name; None stands alone."""
    of_group: dict[str, _Level] = {}
    for group, level in zip(groups, levels, strict=True):
        of_group.setdefault(group, _Level()).add(level)
    names = list(of_group)
    apart = {names[index] for index in _wild(list(of_group.values()), WILD_GROUP_P)}
    pool_of = [group if group in apart else "" for group in groups]
    found: list[tuple[str | None, _Level]] = [("", _Level())] * len(groups)
    for name in dict.fromkeys(pool_of):
        members = [index for index, pool in enumerate(pool_of) if pool == name]
        wild = {members[place] for place in _wild([levels[index] for index in members], WILD_CELL_P)}
        together = _Level()
        for index in members:
            if index not in wild:
                together.add(levels[index])
        for index in members:
            found[index] = (None, levels[index]) if index in wild else (name, together)
    return found


def _split(cell: Cell) -> _Split:
    repeats, pluggings, day = _Level(), _Level(), _Level()
    moments = []
    for block in cell.blocks:
        plugs = [_plugging(takes, cell.scale, repeats) for takes in block]
        moments.append(_mean(plugs, "of_pluggings", pluggings))
    return _Split(_mean(moments, "of_day", day), repeats, pluggings, day)


def _plugging(takes: Sequence[Take], scale: float, repeats: _Level) -> _Mean:
    return _mean([_Mean(value / scale, variance / scale**2) for value, variance in takes], "of_repeats", repeats)


def _mean(parts: Sequence[_Mean], level: str, into: _Level) -> _Mean:
    """Return the mean of parts that differ by one level of the nesting, and add their scatter to that level."""
    count = len(parts)
    if count == 1:
        return parts[0]
    value = math.fsum(part.value for part in parts) / count
    own, of_repeats, of_pluggings = (
        math.fsum(getattr(part, name) for part in parts) / count for name in ("own", "of_repeats", "of_pluggings")
    )
    freedom = count - 1
    squares = math.fsum((part.value - value) ** 2 for part in parts)
    below_repeats = 0.0 if level == "of_repeats" else freedom * of_repeats
    below_pluggings = freedom * of_pluggings if level == "of_day" else 0.0
    into.add(_Level(squares, freedom, freedom * own, below_repeats, below_pluggings))
    mean = _Mean(value, own / count, of_repeats / count)
    if level != "of_repeats":
        mean.of_pluggings = of_pluggings / count
    if level == "of_day":
        mean.of_day = 1 / count
    return mean


def _wild(levels: Sequence[_Level], chance: float) -> set[int]:
    """Return those whose variance is larger than that of all others together, beyond `chance`."""
    from scipy.special import fdtrc

    wild: set[int] = set()
    while True:
        known = [i for i, level in enumerate(levels) if level.freedom and i not in wild]
        if len(known) < 2:
            return wild
        worst = max(known, key=lambda i: levels[i].mean_square)
        squares = math.fsum(levels[i].squares for i in known if i != worst)
        freedom = math.fsum(levels[i].freedom for i in known if i != worst)
        if squares <= 0:
            return wild
        ratio = levels[worst].mean_square / (squares / freedom)
        if fdtrc(levels[worst].freedom, freedom, ratio) * len(known) >= chance:
            return wild
        wild.add(worst)


class _Bench:
    """What all cells together say about the levels of scatter."""

    def __init__(self, repeats: _Level, pluggings: _Level, day: _Level) -> None:
        self.repeats, self.pluggings, self.day = repeats, pluggings, day
        self.expected: _Variance | None = self._short(day.per_freedom(), pluggings) if day.freedom else None
        self.day_joins = False
        self.of_moment = self._drift()

    def scatter(self, cell: Cell, split: _Split, pluggings: _Level, pool: str | None) -> Scatter:
        """Return one cell's mean; `pluggings` is the scatter of its pool, or its own where `pool` is None."""
        variance = self._variance(split.mean, pluggings)
        repeatability: Repeatability = "unknown"
        if variance is not None:
            known = bool(pluggings.freedom or self.day.freedom)
            repeatability = ("own" if cell.n_pluggings > 1 else "borrowed") if known else "replugging unknown"
        value, freedom = (split.mean.own, math.inf) if variance is None else (variance.value, variance.freedom)
        estimate = Estimate(
            value=split.mean.value * cell.scale,
            standard_uncertainty=math.sqrt(max(value, split.mean.own)) * cell.scale,
            degrees_of_freedom=freedom,
            pool=None if variance is None else pool,
        )
        return Scatter(estimate=estimate, repeatability=repeatability, n_pluggings=cell.n_pluggings)

    def _variance(self, mean: _Mean, pluggings: _Level) -> _Variance | None:
        """Return the variance of a cell's mean, or None where nothing is known of scatter."""
        short = self._short(mean, pluggings)
        if not self.day.freedom:
            return short
        square = self.day.mean_square
        if short is None or self.expected is None:
            # Single takes over the day are all there is: their scatter holds everything that happens to one take.
            own = max(mean.own - mean.of_day * self.day.own / self.day.freedom, 0.0)
            value = mean.of_day * square + own
            return _Variance(value, _freedom(value, [(mean.of_day * square, self.day.freedom)]))
        if self.of_moment is None:
            if pluggings is not self.pluggings or not self.day_joins:
                return short
            known = self.pluggings.freedom
            factor = (known + self.day.squares / self.expected.value) / (known + self.day.freedom)
            return _Variance(factor * short.value, short.freedom + self.day.freedom)
        value = short.value + mean.of_day * self.of_moment
        parts = [
            (mean.of_day * square, self.day.freedom),
            (short.value - mean.of_day * self.expected.value, short.freedom),
        ]
        return _Variance(value, _freedom(value, parts))

    def _short(self, mean: _Mean, pluggings: _Level) -> _Variance | None:
        """Return the variance of a mean without the day's drift.

        The pool's own noise stays in it; where the mean's own is larger, the excess is added.
        """
        if not pluggings.freedom and not self.repeats.freedom:
            return None
        of_repeat, own_of_repeat = _square(self.repeats)
        of_plugging, own_of_plugging = _square(pluggings)
        held = pluggings.repeats / pluggings.freedom if pluggings.freedom else 0.0
        apart = max(of_plugging - held * of_repeat, 0.0)
        if apart:
            parts = [
                (mean.of_pluggings * of_plugging, pluggings.freedom),
                ((mean.of_repeats - mean.of_pluggings * held) * of_repeat, self.repeats.freedom),
            ]
        else:
            parts = [(mean.of_repeats * of_repeat, self.repeats.freedom)]
        there = mean.of_pluggings * max(own_of_plugging - held * own_of_repeat, 0.0) + mean.of_repeats * own_of_repeat
        value = mean.of_pluggings * apart + mean.of_repeats * of_repeat + max(mean.own - there, 0.0)
        return _Variance(value, _freedom(value, parts))

    def _drift(self) -> float | None:
        """Return the variance of the day's moments, or None where direct takes scatter as replugged ones do."""
        from scipy.special import fdtrc

        if self.expected is None:
            return None
        if self.pluggings.freedom and self.expected.value > 0:
            ratio = self.day.mean_square / self.expected.value
            larger = fdtrc(self.day.freedom, self.pluggings.freedom, ratio)
            # Direct takes that scatter less than chance would have it were hardly replugged: they say nothing.
            self.day_joins = bool(DRIFT_P < larger < 1 - CALM_P)
            if larger > DRIFT_P:
                return None
        return max(self.day.mean_square - self.expected.value, 0.0)


def _square(level: _Level) -> tuple[float, float]:
    """Return a level's mean square, and what of it the takes' own noise explains."""
    return (level.mean_square, level.own / level.freedom) if level.freedom else (0.0, 0.0)


def _freedom(value: float, parts: Sequence[tuple[float, float]]) -> float:
    """Return the degrees of freedom of a sum of mean squares (Welch and Satterthwaite).

    A difference of mean squares may seem to have fewer than the poorest of them, for which no quantile is of use.
    """
    known = [(part, freedom) for part, freedom in parts if part and freedom]
    weight = math.fsum(part**2 / freedom for part, freedom in known)
    return max(value**2 / weight, min(freedom for _, freedom in known)) if weight > 0 else math.inf
