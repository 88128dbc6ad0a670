"""Crackle of contacts, and the thump of switching over."""

from __future__ import annotations

from collections.abc import Iterator

from humcheck.findings import advice
from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.making import finding_of
from humcheck.findings.index import Use
from humcheck.findings.words import channel_words, decibels, weaker_in_words
from humcheck.results import Evidence, Finding, Measure

EVENT = "event"
_RATE, _THUMP = "click_rate", "thump_level"
#: Clicks this much weaker than the loudest sound are heard by the way, if at all; louder ones startle (our convention).
_LOUD_DBR = -40.0


def event_findings(bench: BenchRows) -> Iterator[Finding]:
    """Yield for each use in which something was done meanwhile how often it clicked, and how loud."""
    for device, uses in bench.uses.items():
        for use in uses:
            if EVENT in use.key.condition:
                yield from _of_use(device, use)


def _of_use(device: str, use: Use) -> Iterator[Finding]:
    rates = use.measures(_RATE, "through")
    if not rates:
        return
    worst = max(rates.values(), key=lambda row: row.value)
    thumps = use.measures(f"{_THUMP}_rel", "through") or use.measures(_THUMP, "through")
    done = f"\u201c{use.key.condition[EVENT]}\u201d"
    where = use.subject
    if worst.value <= 0.0:
        sentence = f"{where} is free of clicks with {done}: none stood out of the noise in {_listened(worst)}."
        yield _finding(device, use, sentence, "none", [worst])
        return
    loudest = max(thumps.values(), key=lambda row: row.value) if thumps else None
    how_loud = "" if loudest is None else f", the loudest at {_loudness(loudest)}"
    count = worst.detail.get("clicks", 0.0)
    often = "once" if count == 1 else f"{count:.0f} times" if count else f"about {worst.value:.0f} times a minute"
    in_channel = f"in {_listened(worst)}, in {channel_words(worst.channel)}"
    sentence = f"{where} clicks {often} with {done} {in_channel}{how_loud}."
    loud = loudest is not None and loudest.unit == "dBr" and loudest.value > _LOUD_DBR
    rows = [worst] if loudest is None else [worst, loudest]
    yield _finding(device, use, sentence, "clear" if loud else "slight", rows)


def _finding(device: str, use: Use, sentence: str, severity: str, rows: list[Measure]) -> Finding:
    return finding_of(
        "contacts",
        device,
        sentence,
        quantity=_RATE,
        severity=severity,  # type: ignore[arg-type]
        evidence=[Evidence(measure=row.id) for row in rows if row.id],
        more_id=use.words,
        port=use.key.port,
        condition=use.key.condition,
        picture=use.key.picture,
        fix=use.key.fix,
        advice=[] if severity == "none" else list(advice.CONTACTS),
        cautions=[] if severity == "none" else [advice.CABLE_CAUTION],
    )


def _listened(row: Measure) -> str:
    return f"{row.detail.get('duration_s', 0.0):.0f} s"


def _loudness(row: Measure) -> str:
    if row.unit == "dBr":
        return f"{decibels(row.value, 0)} re the track\u2019s full scale, {weaker_in_words(row.value)}"
    return f"{row.value:.0f} dBFS"
