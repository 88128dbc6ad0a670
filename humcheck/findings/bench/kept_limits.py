"""Whether each device keeps to the limits that the user set, one finding a device."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.making import finding_of
from humcheck.findings.bench.wording import count_words, listed
from humcheck.findings.index import use_of
from humcheck.findings.words import joined
from humcheck.results import Change, Curve, Evidence, Finding, LimitOutcome, Measure, quantity

KIND = "limits"


def kept_limits_findings(bench: BenchRows) -> Iterator[Finding]:
    """Yield for each device which limits it keeps, does not keep, or was not shown to keep."""
    by_device: dict[str, list[LimitOutcome]] = {}
    for row in bench.results.limits:
        by_device.setdefault(row.subject, []).append(row)
    for device, rows in by_device.items():
        yield _finding(bench, device, rows)


def _finding(bench: BenchRows, device: str, rows: Sequence[LimitOutcome]) -> Finding:
    names = list(dict.fromkeys(row.quantity for row in rows))
    failed, unjudged = (
        [name for name in names if any(row.quantity == name and row.outcome == outcome for row in rows)]
        for outcome in ("fail", "not_measurable")
    )
    unjudged = [name for name in unjudged if name not in failed]
    limits = f"all {count_words(len(names))} limits" if len(names) > 1 else "the limit"
    nouns = joined([_title(name) for name in names])
    if not failed and not unjudged:
        everywhere = ", at every port, picture and condition recorded" if len({use_of(row) for row in rows}) > 1 else ""
        sentence = f"{device} keeps to {limits} that were set ({nouns}){everywhere}."
    else:
        parts = []
        if failed:
            parts.append(f"misses what was set for {listed([_failed(name, rows) for name in failed])}")
        if unjudged:
            told = listed([_title(name) for name in unjudged])
            parts.append(f"is neither shown to keep to nor to miss what was set for {told}: record it again")
        kept = [_title(name) for name in names if name not in failed and name not in unjudged]
        sentence = f"{device} {'; it '.join(parts)}."
        sentence += f" It keeps to what was set for {joined(kept)}." if kept else ""
    worst = [row for row in rows if row.outcome == "fail"] or [row for row in rows if row.outcome != "pass"] or rows
    return finding_of(
        KIND,
        device,
        sentence,
        quantity="limits",
        severity="slight" if failed else "none",
        confidence="a limit is kept or missed only where the whole 95 % interval lies on one side of it",
        evidence=[pointer for row in worst[:10] for pointer in _evidence(bench, row)],
    )


def _title(name: str) -> str:
    title = quantity(name).title
    return title[:1].lower() + title[1:]


def _failed(name: str, rows: Sequence[LimitOutcome]) -> str:
    of_name = [row for row in rows if row.quantity == name]
    failing = [row for row in of_name if row.outcome == "fail"]
    entry = quantity(name)
    row = failing[0]
    ends = [f"at least {row.min:g}"] if row.min is not None else []
    ends += [f"at most {row.max:g}"] if row.max is not None else []
    limit = f"{joined(ends)} {entry.unit}".strip() if ends else "no limit"
    share = f", missed in {len(failing)} of {len(of_name)} cases" if len(of_name) > 1 else ""
    return f"{_title(name)} ({limit}{share})"


def _evidence(bench: BenchRows, row: LimitOutcome) -> Iterator[Evidence]:
    place = use_of(row)
    for measure in bench.rows.rows(Measure, place, row.quantity):
        if (measure.role, measure.channel, measure.listening) == ("through", row.channel, None) and measure.id:
            yield Evidence(measure=measure.id)
    for change in bench.rows.rows(Change, place, row.quantity):
        if (change.contrast, change.channel) == ("direct", row.channel) and change.id:
            yield Evidence(change=change.id)
    for curve in bench.rows.rows(Curve, place, row.quantity):
        if (curve.role, curve.channel) == ("through", row.channel) and curve.id:
            yield Evidence(curve=curve.id)
