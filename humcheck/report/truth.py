"""What a simulation used, set beside what was measured."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from humcheck.report.catalogue import Catalogue, Numbered
from humcheck.report.order import rank, title_of
from humcheck.report.text import PAGE, NumberStyle
from humcheck.results import Change, Measure, quantity

#: Where to look for the measured value, best first: a change re direct, the device's own part, what came through.
_WHERE = ("change", "added", "through", "single", "direct")


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthRow:
    """One value that a simulation used.

    Attributes
    ----------
    subject, channel, quantity, unit : str
        As in a measure's key.
    true_value : float
        The value that was simulated, in `unit`.
    role : str or None
        Column that holds the measured value: ``"change"``, ``"added"``, ``"through"``, ``"single"`` or ``"direct"``;
        None takes the first of these that exists in the same unit.
    port, picture, fix : str or None
        Which set-up; None matches any, if there is none without.
    condition : dict
        Conditions that the set-up must have.
    """

    subject: str
    channel: str
    quantity: str
    true_value: float
    unit: str
    role: str | None = None
    port: str | None = None
    picture: str | None = None
    fix: str | None = None
    condition: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthLine:
    """A truth beside one measured value, as shown."""

    subject: str
    where: str
    title: str
    channel: str
    role: str
    true_value: str
    measured: str
    interval: str
    outcome: str
    holds: bool | None


def truth_lines(
    catalogue: Catalogue, truth: Sequence[TruthRow], style: NumberStyle = PAGE
) -> tuple[list[TruthLine], str]:
    """Return the lines of the truth table and a sentence that counts them.

    A truth that matches several set-ups makes a line for each; one that matches none says that it was not measured.
    """
    lines: list[TruthLine] = []
    for row in sorted(truth, key=lambda item: rank(item.quantity)):
        matches = _measured(catalogue, row)
        lines += [_line(catalogue, row, measured, role, style) for measured, role in matches] or [
            _line(catalogue, row, None, "", style)
        ]
    return lines, _count(lines)


def _count(lines: Sequence[TruthLine]) -> str:
    judged = [line for line in lines if line.holds is not None]
    held = sum(1 for line in judged if line.holds)
    if not judged:
        return "No measured value carries an interval, so none can be checked against what was simulated."
    expected = len(judged) / 20
    return (
        f"{held} of {len(judged)} intervals and limits hold the true value. At 95\u00a0% about one in twenty is "
        f"expected to miss: here about {expected:.1f}."
    )


def _measured(catalogue: Catalogue, row: TruthRow) -> list[tuple[Numbered, str]]:
    for role in _WHERE if row.role is None else (row.role,):
        found = [measured for measured in _candidates(catalogue, row, role) if _same_use(row, measured)]
        exact = [measured for measured in found if _exact_use(row, measured)]
        if found:
            return [(measured, role) for measured in exact or found]
    return []


def _candidates(catalogue: Catalogue, row: TruthRow, role: str) -> Iterable[Numbered]:
    if role == "change":
        return catalogue.changes(row.quantity, row.subject)
    return catalogue.measures(row.quantity, role, row.subject)


def _same_use(row: TruthRow, measured: Numbered) -> bool:
    return (
        measured.channel == row.channel
        and measured.unit == row.unit
        and row.port in (None, measured.port)
        and row.picture in (None, measured.picture)
        and row.fix in (None, measured.fix)
        and all(measured.condition.get(name) == value for name, value in row.condition.items())
    )


def _exact_use(row: TruthRow, measured: Numbered) -> bool:
    own = (measured.port, measured.picture, measured.fix, measured.condition)
    return own == (row.port, row.picture, row.fix, row.condition)


def _line(catalogue: Catalogue, row: TruthRow, measured: Numbered | None, role: str, style: NumberStyle) -> TruthLine:
    entry = quantity(row.quantity)
    holds = None if measured is None else _holds(row.true_value, measured)
    words = {True: "inside", False: "outside", None: "no interval"}
    true = Measure(
        subject="", role="single", quantity=row.quantity, value=row.true_value, unit=row.unit, low=None, high=None
    )
    return TruthLine(
        subject=catalogue.title(row.subject),
        where="" if measured is None else catalogue.where(measured),
        title=title_of(entry.name),
        channel=row.channel,
        role={"change": "change re direct", "added": "added by the device"}.get(role, role),
        true_value=style.value(true),
        measured="not measured" if measured is None else style.value(measured),
        interval="" if measured is None else style.interval(measured),
        outcome="not measured" if measured is None else words[holds],
        holds=holds,
    )


def _holds(true_value: float, measured: Measure | Change) -> bool | None:
    """Return whether the statement holds the truth; None where it states no interval."""
    if measured.bound == "upper":
        return true_value <= measured.value
    if measured.bound == "lower":
        return true_value >= measured.value
    if measured.low is None or measured.high is None:
        return None
    return measured.low <= true_value <= measured.high
