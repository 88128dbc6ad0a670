"""What is wrong with the takes themselves, and what the bench can resolve."""

from __future__ import annotations

import math
from collections.abc import Iterator

from humcheck.findings import advice
from humcheck.findings.causes.shape import TAKE_TO_TAKE_DB
from humcheck.findings.index import RowIndex, Use, largest, uses_of, worst
from humcheck.findings.noises import bench_noise_findings
from humcheck.findings.words import decibels, joined
from humcheck.results import Evidence, Finding, Measure, Results, TakeRow

#: Less is shown as 0.0 ppm.
_ONE_CLOCK_PPM = 0.05


def take_findings(results: Results) -> Iterator[Finding]:
    """Yield each fault of each take once; a fault that stops the sound is strong, others are clear."""
    for take in results.takes:
        for number, fault in enumerate(take.faults):
            stopped = fault.code == "no-sound"
            yield Finding(
                subject=take.id if take.role == "single" else take.device or take.role,
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
            read = any(row.subject == take.id and row.quantity == "noise_level" for row in results.measures)
            silent = any(row.subject == take.id and "digital silence" in row.reason for row in results.not_measured)
            what = "its quietest stretch is read" if read else "something plays all through it, or it is too short"
            if silent:
                what = "it is digital silence: look whether the right input was recorded"
            sentence = f"{take.file} holds no test track that was recognised; {what}."
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
    if abs(take.drift_ppm) < _ONE_CLOCK_PPM:
        return f", from {take.offset_s:.2f} s on, on the clock of the track"
    direction = "fast" if take.drift_ppm > 0 else "slow"
    return f", from {take.offset_s:.2f} s on, on a clock {abs(take.drift_ppm):.1f} ppm {direction}"


def bench_findings(rows: RowIndex) -> Iterator[Finding]:
    """Yield what the bench can resolve, from its direct takes alone."""
    for use in uses_of(rows, "direct"):
        yield from _resolution(use)
        yield from bench_noise_findings(use)


#: Noises whose smallest visible part is told.
_RESOLVED = (("hum_level", "hum"), ("buzz_level", "picture buzz"), ("hiss_level", "hiss"))


def _resolution(use: Use) -> Iterator[Finding]:
    """Yield the smallest effects that this bench would show, and where its own noise comes from."""
    parts, evidence = [], []
    gain = largest(use.changes("gain"))
    if gain is not None and gain.low is not None and gain.high is not None:
        parts.append(f"a change of level from {decibels(max(abs(gain.low), abs(gain.high), 0.01), 2)}")
        evidence.append(Evidence(change=gain.id))
    span = largest(use.changes("response_span"))
    if span is not None:
        parts.append(f"a change of tone from {decibels(max(span.value, 0.01), 2)}")
        evidence.append(Evidence(change=span.id))
    notes: list[str] = []
    for quantity, word in _RESOLVED:
        row = worst(use.measures(f"{quantity}_rel", "direct")) or worst(use.measures(quantity, "direct"))
        if row is not None:
            unlucky = (
                f" (in an unlucky phase {row.value + 6:.0f} {row.unit})" if row.bound is None and word != "hiss" else ""
            )
            parts.append(f"{word} from {smallest_added_db(row):.0f} {row.unit}{unlucky}")
            evidence.append(Evidence(measure=row.id))
            notes += _own_noise(use, quantity, word, row)
    if not parts:
        return
    yield Finding(
        **use.key.fields(quantity="bench", channel="both"),
        id=f"bench-{use.words}",
        kind="bench",
        severity="none",
        sentence=" ".join([f"This bench can show, of what a device does: {joined(parts)}.", *notes]),
        confidence="from the direct recordings alone",
        evidence=[pointer for pointer in evidence if pointer.measure or pointer.change],
    )


def smallest_added_db(row: Measure) -> float:
    """Return the level from which on a device's own noise shows beside the bench's noise `row`.

    A bound hides what is below it. Beside a known level it is what adds to it more than the takes' own scatter (95 %)
    or, of lines, more than the mains changes by itself; powers add. A line of twice the strength and opposite phase
    would leave the level as it is: that is the unlucky phase, 6 dB above `row`.
    """
    if row.bound is not None:
        return row.value
    half = 0.0 if row.low is None or row.high is None else (row.high - row.low) / 2
    least = 0.1 if row.quantity.startswith("hiss") else TAKE_TO_TAKE_DB
    return row.value + 10 * math.log10(10 ** (max(half, least) / 10) - 1)


def _own_noise(use: Use, quantity: str, word: str, row: Measure) -> Iterator[str]:
    """Yield where the bench's own hum comes from, as far as recorder and source-off takes tell."""
    if quantity != "hum_level":
        return
    shown = row.value
    if row.bound is not None:
        if "floor_dbfs" in row.detail:
            at_most = f"at most {shown:.0f} {row.unit}"
            yield f"The {word} in the direct recording is the recorder's or the bench's own, {at_most}."
        return
    yield f"Its own {word} stands at {shown:.0f} {row.unit}{_origin(use, row)}."


def _origin(use: Use, row: Measure) -> str:
    level = use.measures("hum_level", "direct").get(row.channel)
    floors = {
        role: max((m.value for m in use.rows.measures_of_role(role) if m.quantity == "hum_level"), default=None)
        for role in ("recorder", "source_off")
    }
    recorder, source_off = floors["recorder"], floors["source_off"]
    if level is None or (recorder is None and source_off is None):
        return "; whether the recorder or the source brings it, a recording with the recorder's input terminated tells"
    if source_off is not None:
        return f", {level.value - source_off:.0f} dB above what is there with the source off: the source brings it"
    assert recorder is not None
    return (
        f", {level.value - recorder:.0f} dB above the recorder alone: source and leads bring it, and not the recorder"
    )
