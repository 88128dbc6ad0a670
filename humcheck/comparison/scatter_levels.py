"""Sums of squares of takes within pluggings within moments of the day, and which of them are wildly large."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

Take = tuple[float, float]  # value, variance of its own noise
_TINY = 1e-300
_HALVINGS = 60
#: Beyond so many degrees of freedom an F ratio is a chi-square.
_MANY = 1e6


@dataclass(slots=True)
class Level:
    """Sum of squares of one level of the nesting, and how much of it comes from below, each times the freedom."""

    squares: float = 0.0
    freedom: float = 0.0
    own: float = 0.0
    repeats: float = 0.0
    pluggings: float = 0.0

    def add(self, other: Level) -> None:
        """Add the scatter of another cell."""
        self.squares += other.squares
        self.freedom += other.freedom
        self.own += other.own
        self.repeats += other.repeats
        self.pluggings += other.pluggings

    @property
    def mean_square(self) -> float:
        """Sum of squares over degrees of freedom."""
        return self.squares / self.freedom

    def per_freedom(self) -> Mean:
        """Return what one degree of freedom holds of the levels below."""
        return Mean(0.0, self.own / self.freedom, self.repeats / self.freedom, self.pluggings / self.freedom)


@dataclass(slots=True)
class Mean:
    """A mean, the variance of its own noise, and its shares of the variance of a repeat, a plugging and a moment."""

    value: float
    own: float
    of_repeats: float = 1.0
    of_pluggings: float = 1.0
    of_day: float = 1.0


@dataclass(slots=True)
class Split:
    """A cell taken apart: its mean, and its sums of squares."""

    mean: Mean
    repeats: Level
    pluggings: Level
    day: Level


def split(blocks: Sequence[Sequence[Sequence[Take]]], scale: float) -> Split:
    """Return the mean and the sums of squares of one cell, its values divided by `scale`."""
    repeats, pluggings, day = Level(), Level(), Level()
    moments = []
    for block in blocks:
        plugs = [_plugging(takes, scale, repeats) for takes in block]
        moments.append(_mean(plugs, "of_pluggings", pluggings))
    return Split(_mean(moments, "of_day", day), repeats, pluggings, day)


def _plugging(takes: Sequence[Take], scale: float, repeats: Level) -> Mean:
    return _mean([Mean(value / scale, variance / scale**2) for value, variance in takes], "of_repeats", repeats)


def _mean(parts: Sequence[Mean], level: str, into: Level) -> Mean:
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
    into.add(Level(squares, freedom, freedom * own, below_repeats, below_pluggings))
    mean = Mean(value, own / count, of_repeats / count)
    if level != "of_repeats":
        mean.of_pluggings = of_pluggings / count
    if level == "of_day":
        mean.of_day = 1 / count
    return mean


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """Variance of one level of the nesting, beyond what the levels below explain.

    Attributes
    ----------
    variance : float
        Of a repeat, a plugging: the takes' own noise and the levels below are not in it.
    uncertainty : float
        Variance of `variance`; infinite where nothing is known of it.
    noise : float
        Own noise of the cells that tell of it, mostly the quiet ones.
    held : float
        Share of the variance of repeats in what was observed.
    """

    variance: float = 0.0
    uncertainty: float = math.inf
    noise: float = 0.0
    held: float = 0.0

    @property
    def known(self) -> bool:
        """Whether any cell told of it."""
        return math.isfinite(self.uncertainty)


def component(levels: Sequence[Level], of_repeat: float = 0.0) -> Component:
    """Return the variance that makes the scatter of all cells, each with its own noise, what it is on average.

    Parameters
    ----------
    levels : sequence of Level
        One for each cell: all of repeats, or all of pluggings.
    of_repeat : float, optional
        Variance of repeats beyond their own noise, for pluggings.

    Notes
    -----
    Paule and Mandel's condition: the sum of squares, each over its expectation, is the sum of the degrees of freedom.
    Where no cell has noise of its own, that is the pooled variance.
    """
    known = [level for level in levels if level.freedom]
    if not known:
        return Component()
    below = [(level.own + level.repeats * of_repeat) / level.freedom for level in known]
    variance = _paule_mandel(known, below)
    weights = [level.freedom / max(variance + noise, _TINY) ** 2 for level, noise in zip(known, below, strict=True)]
    total = math.fsum(weights)
    return Component(
        variance=variance,
        uncertainty=2 / total,
        noise=math.fsum(w * level.own / level.freedom for w, level in zip(weights, known, strict=True)) / total,
        held=math.fsum(w * level.repeats / level.freedom for w, level in zip(weights, known, strict=True)) / total,
    )


def _paule_mandel(levels: Sequence[Level], below: Sequence[float]) -> float:
    freedom = math.fsum(level.freedom for level in levels)
    pooled = math.fsum(level.squares for level in levels) / freedom
    if min(below) == max(below):
        return max(pooled - below[0], 0.0)

    def beyond(variance: float) -> float:
        total = 0.0
        for level, noise in zip(levels, below, strict=True):
            total += level.squares / max(variance + noise, _TINY)
        return total - freedom

    if beyond(0.0) <= 0:
        return 0.0
    # The sum falls as the variance grows; at the largest mean square it is below the sum of the degrees of freedom.
    low, high = 0.0, max(level.squares / level.freedom for level in levels)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if beyond(middle) > 0 else (low, middle)
    return (low + high) / 2


def wild(levels: Sequence[Sequence[Level]], chance: float, of_repeat: float = 0.0) -> set[int]:
    """Return those groups of cells whose scatter is larger than that of all others together, beyond `chance`.

    Parameters
    ----------
    levels : sequence of sequence of Level
        The cells of each group.
    chance : float
        Of setting any aside where all scatter alike, their own noise apart.
    of_repeat : float, optional
        Variance of repeats beyond their own noise.
    """
    from scipy.special import fdtrc

    found: set[int] = set()
    known = [index for index, group in enumerate(levels) if any(level.freedom for level in group)]
    while len(known) > 1:
        least, wildest = 1.0, -1
        for index in known:
            others = component([level for i in known if i != index for level in levels[i]], of_repeat)
            ratio, freedom, below = _ratio(levels[index], others, of_repeat)
            probability = float(fdtrc(freedom, below, ratio)) if math.isfinite(ratio) else 1.0
            if probability < least:
                least, wildest = probability, index
        if wildest < 0 or least * len(known) >= chance:
            break
        found.add(wildest)
        known.remove(wildest)
    return found


def _ratio(group: Sequence[Level], others: Component, of_repeat: float) -> tuple[float, float, float]:
    """Return the scatter of a group over what that of the others lets expect, and both degrees of freedom."""
    ratio = freedom = expected = 0.0
    for level in group:
        if level.freedom:
            of_this = others.variance + (level.own + level.repeats * of_repeat) / level.freedom
            # Others that do not scatter at all tell nothing of what may be expected.
            ratio += level.squares / of_this if of_this > 0 else math.inf
            freedom += level.freedom
            expected += of_this * level.freedom
    expected /= freedom
    below = 2 * expected**2 / others.uncertainty if others.uncertainty > 0 else math.inf
    return ratio / freedom, freedom, min(below, _MANY)
