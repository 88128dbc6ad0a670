"""What is wrong with the takes themselves, and what the bench can resolve."""

from __future__ import annotations

from collections.abc import Iterator

from humcheck.findings import advice
from humcheck.findings.index import Use, largest, uses, worst
from humcheck.findings.words import decibels
from humcheck.results import Evidence, Finding, Results, TakeRow


def take_findings(results: Results) -> Iterator[Finding]:
    """Yield each fault of each take once; a fault that stops the sound is strong, others are clear."""
    for take in results.takes:
        for number, fault in enumerate(take.faults):
            stopped = fault.code == "no-sound"
            yield Finding(
                subject=take.device or take.role,
                role=take.role,
                port=take.port,
                picture=take.picture,
                condition=take.condition,
                fix=take.fix,
                channel=fault.channel or "both",
                quantity="take",
                id=f"take-{take.id}-{number}",
                kind="no-sound" if stopped else "take",
                severity="strong" if stopped else "clear" if fault.spoils else "slight",
                confidence="",
                sentence=f"{take.file}: {fault.sentence}",
                advice=list(advice.NO_SOUND) if stopped else [],
            )


def fitness_findings(results: Results) -> Iterator[Finding]:
    """Yield of each take that stands alone whether it is fit to be used."""
    for take in results.takes:
        if take.role != "single":
            continue
        spoiling = [fault for fault in take.faults if fault.spoils or fault.code == "no-sound"]
        if take.track is None:
            sentence = f"{take.file} holds no test track that was recognised; its quietest stretch is read."
        elif spoiling:
            sentence = f"{take.file} holds the track {take.track.name}, but not all of it can be used."
        else:
            held = f"the track {take.track.name} ({take.track.length}){_clock(take)}"
            sentence = f"{take.file} is fit to be used: it holds {held}."
        yield Finding(
            subject=take.id,
            role=take.role,
            port=take.port,
            picture=take.picture,
            condition=take.condition,
            fix=take.fix,
            quantity="take",
            id=f"fit-{take.id}",
            kind="take",
            severity="none",
            sentence=sentence,
        )


def _clock(take: TakeRow) -> str:
    if take.offset_s is None or take.drift_ppm is None:
        return ""
    direction = "fast" if take.drift_ppm > 0 else "slow"
    return f", from {take.offset_s:.2f} s on, on a clock {abs(take.drift_ppm):.1f} ppm {direction}"


def bench_findings(results: Results) -> Iterator[Finding]:
    """Yield what the bench can resolve, from its direct takes alone."""
    for use in uses(results, "direct"):
        yield from _resolution(use)


def _resolution(use: Use) -> Iterator[Finding]:
    parts, evidence = [], []
    gain = largest(use.changes("gain"))
    if gain is not None and gain.low is not None and gain.high is not None:
        parts.append(f"level to {decibels(max(abs(gain.low), abs(gain.high)), 3)}")
        evidence.append(Evidence(change=gain.id))
    for quantity, word in (("hum_level_rel", "hum"), ("buzz_level_rel", "buzz"), ("hiss_level_rel", "hiss")):
        row = worst(use.measures(quantity, "direct"))
        if row is not None:
            sign = "below " if row.bound == "upper" else ""
            parts.append(f"{word} of its own {sign}{row.value:.0f} dB re the track's full scale")
            evidence.append(Evidence(measure=row.id))
    if not parts:
        return
    yield Finding(
        **use.key.fields(quantity="bench", channel="both"),
        id="bench-direct",
        kind="bench",
        severity="none",
        sentence=f"The bench without a device: {', '.join(parts)}.",
        evidence=[pointer for pointer in evidence if pointer.measure or pointer.change],
    )
