"""Sound of a driven neighbouring port in the port that is selected."""

from __future__ import annotations

from collections.abc import Iterator

from humcheck.findings import advice
from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.making import finding_of
from humcheck.findings.scale import CROSSTALK_DB
from humcheck.findings.words import certainty, channel_words, decibels, weaker_in_words
from humcheck.results import Evidence, Finding, Measure
from humcheck.results.rows import Severity

_NAME = "bleed_1k"


def neighbour_findings(bench: BenchRows) -> Iterator[Finding]:
    """Yield for each device how much of a driven neighbour is heard at worst in the port that is selected."""
    for device, uses in bench.uses.items():
        rows = [row for use in uses for role in ("added", "through") for row in use.measures(_NAME, role).values()]
        rows = [row for row in rows if row.role == "added"] or rows
        if rows:
            yield _worst(device, rows)


def _worst(device: str, rows: list[Measure]) -> Finding:
    worst = max(rows, key=lambda row: (row.bound is None, row.value))
    if worst.bound == "upper":
        limit = max(row.value for row in rows)
        sentence = (
            f"No sound of a neighbouring port could be measured in any port of {device} that was tried: it stays below "
            f"{decibels(limit, 0)} at 1 kHz ({weaker_in_words(limit, 'the sound at that port')})."
        )
        severity: Severity = "none"
    else:
        severity = CROSSTALK_DB.severity(worst.value)
        driven = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in sorted(worst.condition.items()))
        while_driven = f" ({driven})" if driven else ""
        here = "the selected port" if worst.port is None else f"port {worst.port}"
        sentence = (
            f"Of the neighbouring ports of {device} that were played into, most is heard in {here}{while_driven}, in "
            f"{channel_words(worst.channel)}: {decibels(worst.value, 0)} at 1 kHz, "
            f"{weaker_in_words(worst.value, 'the sound at the other port')}."
        )
    return finding_of(
        "bleed",
        device,
        sentence,
        quantity=_NAME,
        severity=severity,
        confidence=certainty(worst),
        evidence=[Evidence(measure=row.id) for row in (worst, *rows) if row.id],
        advice=list(advice.BLEED) if severity != "none" else [],
        cautions=[advice.CABLE_CAUTION] if severity != "none" else [],
    )
