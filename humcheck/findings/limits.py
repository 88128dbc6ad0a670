"""Whether each use of each device keeps to the limits that a builder set.

Notes
-----
A limit is met only if the whole 95 % interval lies within it, and not met only if all of it lies outside: between the
two nothing is shown, and that is said (guarded acceptance, JCGM 106:2012, 8.3).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from humcheck.findings.index import RowIndex, Use, uses_of
from humcheck.results import Change, LimitOutcome, Measure, NotMeasured, Results
from humcheck.results.rows import Channel

Outcome = Literal["pass", "fail", "not_measurable"]
_GRAVITY: tuple[Outcome, ...] = ("pass", "not_measurable", "fail")
SOURCE = "the bench file"


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitSetting:
    """What a quantity may be at least and at most, in its own unit; one of them may be open."""

    quantity: str
    min: float | None = None
    max: float | None = None


def limit_outcomes(results: Results, limits: Mapping[str, LimitSetting]) -> list[LimitOutcome]:
    """Return for every use of a device what became of each limit.

    Parameters
    ----------
    results : Results
        With measures and changes.
    limits : mapping of str to LimitSetting
        By quantity. What is a change (gain, corners) is judged through against direct; curves point by point.
    """
    if not limits:
        return []
    uses = uses_of(RowIndex(results), "through")
    outcomes = [row for use in uses for limit in limits.values() for row in _of_use(use, limit)]
    judged = {(row.subject, row.quantity) for row in outcomes}
    devices = {use.key.subject: use for use in reversed(uses)}
    unjudged = [
        _row(use, limit, "both", "not_measurable", port=None, picture=None, condition={}, fix=None)
        for subject, use in reversed(devices.items())
        for limit in limits.values()
        if (subject, limit.quantity) not in judged
    ]
    return [*outcomes, *unjudged]


def _of_use(use: Use, limit: LimitSetting) -> Iterator[LimitOutcome]:
    judged = _worst_by_channel(use, limit)
    for channel, outcome in judged.items():
        yield _row(use, limit, channel, outcome)
    if not judged and _was_to_be_had(use, limit.quantity):
        yield _row(use, limit, "both", "not_measurable")


def _row(use: Use, limit: LimitSetting, channel: Channel, outcome: Outcome, **changed: Any) -> LimitOutcome:
    fields = use.key.fields(quantity=limit.quantity, role="through", channel=channel, listening=None, **changed)
    return LimitOutcome(**fields, min=limit.min, max=limit.max, source=SOURCE, outcome=outcome)


def _worst_by_channel(use: Use, limit: LimitSetting) -> dict[Channel, Outcome]:
    name = limit.quantity
    rows: list[Measure | Change] = [*use.measures(name, "through").values()]
    # What was measured of the take itself is judged; only what exists against direct alone is judged as a change.
    rows = rows or [*use.changes(name).values()]
    judged = {row.channel: judge(limit, row.value, row.low, row.high, row.bound) for row in rows}
    for curve in use.curves(name, "through").values():
        lows, highs = curve.low or curve.value, curve.high or curve.value
        bounds = curve.bound or [None] * len(curve.value)
        points = zip(curve.value, lows, highs, bounds, strict=True)
        judged[curve.channel] = _worst([judge(limit, *point) for point in points])
    single: dict[Channel, Outcome] = {channel: outcome for channel, outcome in judged.items() if channel != "both"}
    return single or judged


def _was_to_be_had(use: Use, name: str) -> bool:
    """Return whether a use was to give a quantity: a quiet take that holds no sweep is not to blame for its lack."""
    missing = [row for row in use.results.not_measured if row.quantity in (name, name.removesuffix("_rel"))]
    return any(isinstance(row, NotMeasured) and row.subject == use.key.subject and row.port == use.key.port
               and row.picture == use.key.picture and row.fix == use.key.fix and row.condition == use.key.condition
               for row in missing)  # fmt: skip


def judge(limit: LimitSetting, value: float, low: float | None, high: float | None, bound: str | None) -> Outcome:
    """Return what a value with its interval, or a bound, shows about a limit.

    Parameters
    ----------
    limit : LimitSetting
        What is allowed.
    value : float
        In the quantity's unit; of a bound its end.
    low, high : float or None
        Ends of the 95 % interval; the value itself where there is none.
    bound : str or None
        ``"upper"`` or ``"lower"``.
    """
    least = float("-inf") if bound == "upper" else value if low is None or bound == "lower" else low
    most = float("inf") if bound == "lower" else value if high is None or bound == "upper" else high
    floor = float("-inf") if limit.min is None else limit.min
    ceiling = float("inf") if limit.max is None else limit.max
    if floor <= least and most <= ceiling:
        return "pass"
    return "fail" if least > ceiling or most < floor else "not_measurable"


def _worst(outcomes: list[Outcome]) -> Outcome:
    return max(outcomes, key=_GRAVITY.index)
