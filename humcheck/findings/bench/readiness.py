"""What a bench resolves, from its direct takes: the smallest difference that it would show."""

from __future__ import annotations

from collections.abc import Iterator

from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.making import NO_DEVICE, finding_of
from humcheck.findings.bench.questions import QUESTIONS
from humcheck.findings.bench.wording import count_words
from humcheck.findings.words import decibels, joined, percent
from humcheck.results import Evidence, Finding, Measure

KIND = "readiness"
_STEM = "resolvable_"


def readiness_findings(bench: BenchRows) -> Iterator[Finding]:
    """Yield the smallest differences that the bench resolves, where they were measured."""
    rows: dict[str, Measure] = {}
    for row in bench.rows.measures_of_role("direct"):
        if row.quantity.startswith(_STEM):
            known = rows.get(row.quantity)
            rows[row.quantity] = row if known is None or row.value > known.value else known
    if not rows:
        return
    told = [f"{_size(row)} of {_noun(name)}" for name, row in rows.items()]
    sides = {row.detail.get("takes_a_side") for row in rows.values()}
    count = sides.pop() if len(sides) == 1 else None
    takes = f"with {count_words(int(count))} takes of each, replugged" if count else "with repeated takes"
    yield finding_of(
        KIND,
        NO_DEVICE,
        f"This bench, {takes}, would tell apart a difference of {joined(told)} (four times in five); smaller "
        "differences are lost in what one take differs from the next.",
        quantity="bench",
        confidence="from the direct recordings alone",
        evidence=[Evidence(measure=row.id) for row in rows.values() if row.id],
    )


def _size(row: Measure) -> str:
    least = "more than " if row.bound == "lower" else ""
    return least + (percent(row.value) if row.unit == "percent" else decibels(row.value, 2))


def _noun(name: str) -> str:
    of = name.removeprefix(_STEM)
    return next((question.noun for question in QUESTIONS if question.quantity == of), of.replace("_", " "))
