"""One page for each unit, for builders: its limits, what was measured, and whether they are met."""

from __future__ import annotations

import base64
import hashlib
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from humcheck.audio.writing import MARK
from humcheck.report.catalogue import Catalogue, Numbered, Setup, channels_in_order
from humcheck.report.environment import environment
from humcheck.report.order import rank, title_of
from humcheck.report.page import when_words
from humcheck.report.summary import limit_words
from humcheck.report.text import PAGE, hertz, unit_words, visible
from humcheck.report.use_words import uses_words
from humcheck.results import Curve, LimitOutcome, quantity
from humcheck.version import __version__

WORDS = {"pass": "✓ pass", "fail": "✗ fail", "not_measurable": "? not measurable"}
_GRAVITY = ("fail", "not_measurable", "pass")
#: Of more rows than this those with one outcome stand together.
_MOST_ROWS = 20
#: More lines than this are set smaller; so many small ones fit on the page. Letters that fit on one in each column.
_ROOMY_LINES, _MOST_LINES = 22, 40
_LONGEST_WHERE = 80
_LETTERS = {"title": 19, "where": 22, "allowed": 19, "values": 30}


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetValue:
    """One channel's value and its interval."""

    text: str
    interval: str = ""
    outcome: str = ""

    @property
    def sign(self) -> str:
        """The sign of its outcome, where it is told apart from the row's."""
        return f"{WORDS[self.outcome].partition(' ')[0]} " if self.outcome else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """One limit in one use, or in several uses that pass alike."""

    title: str
    where: str
    allowed: str
    values: tuple[SheetValue, ...]
    outcome: str

    @property
    def words(self) -> str:
        """The outcome in words, with a sign."""
        return WORDS[self.outcome]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """All of one unit's page."""

    unit: str
    bench: str
    date: str
    outcome: str
    verdict: str
    rows: tuple[SheetRow, ...]
    note: str
    dense: bool
    facts: tuple[tuple[str, str], ...]


def units_of(catalogue: Catalogue) -> list[str]:
    """Return the subjects that were judged."""
    return list(dict.fromkeys(row.subject for row in catalogue.results.limits))


def sheet_page(catalogue: Catalogue, subject: str) -> str:
    """Return a unit's page as HTML without a script; it carries the mark of this tool's own output."""
    style = environment().get_template("sheet.css").render()
    digest = base64.b64encode(hashlib.sha256(style.encode("utf-8")).digest()).decode("ascii")
    return (
        environment()
        .get_template("sheet.html.j2")
        .render(
            sheet=sheet_of(catalogue, subject),
            generator=f"{MARK} {__version__}",
            policy=f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'",
        )
    )


def sheet_of(catalogue: Catalogue, subject: str) -> Sheet:
    """Return what a unit's page says."""
    limits = sorted(
        (row for row in catalogue.results.limits if row.subject == subject), key=lambda row: rank(row.quantity)
    )
    places: dict[tuple[object, ...], list[LimitOutcome]] = {}
    for row in limits:
        places.setdefault((row.quantity, row.min, row.max, Setup.of(row)), []).append(row)
    uses = list(places.values())
    folded = uses if len(uses) <= _MOST_ROWS else []
    rows = [_row(catalogue, [same]) for same in folded] or _fewer(catalogue, uses)
    shown = rows[: _fitting(rows, _MOST_LINES)]
    left_out = len(rows) - len(shown)
    outcome = _worst(limits)
    return Sheet(
        unit=catalogue.title(subject),
        bench=visible(catalogue.results.bench.name),
        date=when_words(catalogue.results.created),
        outcome=outcome,
        verdict=_verdict(limits, outcome),
        rows=tuple(shown),
        note=f"{left_out} more rows stand in the report." if left_out > 0 else "",
        dense=_fitting(shown, _ROOMY_LINES) < len(shown),
        facts=tuple(_facts(catalogue, subject)),
    )


def _fitting(rows: Sequence[SheetRow], most: int) -> int:
    """Return how many rows fit into so many lines."""
    lines = 0
    for count, row in enumerate(rows):
        values = sum(_lines(f"{value.sign}{value.text} ({value.interval})", "values") for value in row.values)
        lines += max(values, _lines(row.title, "title"), _lines(row.where, "where"), _lines(row.allowed, "allowed"))
        if lines > most:
            return count
    return len(rows)


def _lines(text: str, column: str) -> int:
    return math.ceil(max(1, len(text)) / _LETTERS[column])


def _fewer(catalogue: Catalogue, uses: Sequence[list[LimitOutcome]]) -> list[SheetRow]:
    """Return a row for each limit and outcome, failures first, all uses with that outcome together."""
    alike: dict[tuple[object, ...], list[list[LimitOutcome]]] = {}
    for same in uses:
        first = same[0]
        alike.setdefault((_GRAVITY.index(_worst(same)), first.quantity, first.min, first.max), []).append(same)
    return [_row(catalogue, alike[place]) for place in sorted(alike, key=lambda place: str(place[0]))]


def _row(catalogue: Catalogue, uses: Sequence[list[LimitOutcome]]) -> SheetRow:
    rows = [row for same in uses for row in same]
    first = rows[0]
    where = catalogue.where(first) if len(uses) == 1 else uses_words(catalogue, (Setup.of(row) for row in rows))
    return SheetRow(
        title=title_of(first.quantity),
        where=where if len(where) <= _LONGEST_WHERE else f"{where[: _LONGEST_WHERE - 1].rstrip()}…",
        allowed=limit_words(first.quantity, first.min, first.max, PAGE),
        values=tuple(_values(catalogue, rows, several=len(uses) > 1)),
        outcome=_worst(rows),
    )


def _worst(rows: Iterable[LimitOutcome]) -> str:
    return min((row.outcome for row in rows), key=_GRAVITY.index, default="not_measurable")


def _verdict(limits: Sequence[LimitOutcome], outcome: str) -> str:
    count = sum(row.outcome == outcome for row in limits)
    if outcome == "pass":
        return "✓ All limits are met"
    each = f"{count} of {len(limits)} judgements"
    return f"✗ Fail: {each} are outside" if outcome == "fail" else f"? Nothing failed, but {each} could not be made"


def _values(catalogue: Catalogue, rows: Sequence[LimitOutcome], *, several: bool) -> Iterable[SheetValue]:
    """Yield what was measured, channel by channel; of several uses the one nearest to the limit's wrong side."""
    differ = len({row.outcome for row in rows}) > 1
    for channel in channels_in_order(row.channel for row in rows):
        outcome = _worst(row for row in rows if row.channel == channel) if differ else ""
        candidates = [_value(catalogue, row) for row in rows if row.channel == channel]
        found = [candidate for candidate in candidates if candidate is not None]
        if not found:
            yield SheetValue(text="not measured", outcome=outcome)
            continue
        _, value = max(found, key=lambda item: item[0])
        told = "" if channel in ("mono", "both") else f"{channel} "
        worst = "at worst " if several else ""
        yield SheetValue(text=f"{told}{worst}{value.text}", interval=value.interval, outcome=outcome)


def _value(catalogue: Catalogue, limit: LimitOutcome) -> tuple[float, SheetValue] | None:
    """Return how far a value lies outside its limit (negative: inside), and the value in words."""
    place = Setup.of(limit)
    numbers: list[Numbered] = [*catalogue.measures(limit.quantity, "through", limit.subject)]
    for row in [*numbers, *catalogue.changes(limit.quantity, limit.subject)]:
        if row.channel == limit.channel and Setup.of(row) == place:
            return _outside(limit, row.value), SheetValue(text=PAGE.value(row), interval=PAGE.interval(row))
    for curve in catalogue.curves(limit.quantity, "through", limit.subject):
        if curve.channel == limit.channel and Setup.of(curve) == place:
            return _of_curve(limit, curve)
    return None


def _of_curve(limit: LimitOutcome, curve: Curve) -> tuple[float, SheetValue]:
    """Return the point of a curve that lies furthest outside, or nearest to the limit."""
    index = max(range(len(curve.value)), key=lambda at: _outside(limit, curve.value[at]))
    decimals = min(2, quantity(curve.quantity).decimals)
    sign = {"upper": "<\u00a0", "lower": ">\u00a0"}.get((curve.bound[index] if curve.bound else None) or "", "")
    level = PAGE.with_unit(f"{sign}{PAGE.number(curve.value[index], decimals)}", unit_words(visible(curve.unit)))
    interval = ""
    if curve.low is not None and curve.high is not None and not sign:
        low, high = PAGE.number(curve.low[index], decimals), PAGE.number(curve.high[index], decimals)
        interval = f"{low} to {high}"
    text = f"{level} at {hertz(curve.frequency_hz[index])}"
    return _outside(limit, curve.value[index]), SheetValue(text=text, interval=interval)


def _outside(limit: LimitOutcome, value: float) -> float:
    over = float("-inf") if limit.max is None else value - limit.max
    under = float("-inf") if limit.min is None else limit.min - value
    return max(over, under)


def _facts(catalogue: Catalogue, subject: str) -> Iterable[tuple[str, str]]:
    results = catalogue.results
    takes = [take for take in results.takes if take.device == subject]
    directs = sum(take.role == "direct" for take in results.takes)
    yield "Recordings", f"{len(takes)} through {catalogue.title(subject)}, {directs} direct"
    if catalogue.common:
        yield "In all of them", ", ".join(catalogue.common)
    sources = dict.fromkeys(visible(row.source) for row in results.limits if row.subject == subject)
    yield "Limits from", "; ".join(sources)
    yield "Bench", f"{visible(results.bench.name)} ({visible(results.bench.id)})"
    versions = ", ".join(f"{visible(name)} {visible(version)}" for name, version in results.versions.items())
    numbers = f"humcheck {visible(results.humcheck_version)}, numbers version {results.numbers_version}"
    yield "Measured with", f"{numbers}; {versions}" if versions else numbers
