"""Level, balance, tone, polarity, bleed and distortion in sentences."""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

from humcheck.comparison.compare import reference_for
from humcheck.findings import advice
from humcheck.findings.audibility import difference_severity, difference_words
from humcheck.findings.causes import Verdict
from humcheck.findings.causes.sound import bleed_cause, level_cause, tone_cause
from humcheck.findings.index import Use, largest, worst
from humcheck.findings.sameness import Differences, differences, without_its_fix
from humcheck.findings.scale import CROSSTALK_DB, DISTORTION_PERCENT
from humcheck.findings.words import at_most_db, certainty, channel_words, decibels, joined, percent, with_sign
from humcheck.results import Change, Evidence, Finding, Measure
from humcheck.results.rows import Severity


def sound_findings(use: Use) -> Iterator[Finding]:
    """Yield what a device does to the sound itself, in the order of complaints."""
    for find in (_level, _balance, _tone, _polarity, _bleed, _distortion):
        yield from find(use)


def _finding(
    use: Use,
    row: Measure | Change,
    kind: str,
    severity: Severity,
    sentence: str,
    what_to_try: tuple[str, ...] = (),
    cause: Verdict | None = None,
) -> Finding:
    pointer = Evidence(change=row.id) if isinstance(row, Change) else Evidence(measure=row.id)
    tried = list(what_to_try) if severity != "none" else []
    differ = _differences(use)
    if differ and severity != "none":
        sentence += f" That is not the device's alone, because the bench was not the same: {joined(differ.told)}."
        tried = [differ.again]
    elif differ.fix is not None and severity != "none":
        sentence += f" That is {use.key.subject} and the {differ.fix} together."
        tried = []
    if differ or differ.fix is not None or severity == "none":
        cause = None
    if cause is not None:
        sentence += f" {cause.sentence}"
    confidence = certainty(row) if cause is None else f"{cause.confidence}; {certainty(row)}"
    return Finding(
        **row.fields(),
        id=f"{kind}-{row.quantity}-{use.words}",
        kind=kind,
        severity=severity,
        confidence=confidence,
        sentence=sentence,
        cause="" if cause is None else cause.name,
        reasons=[] if cause is None else list(cause.reasons),
        doubts=[] if cause is None else list(cause.doubts),
        test="" if cause is None else cause.test,
        advice=tried,
        cautions=[advice.CABLE_CAUTION] if tried else [],
        evidence=[pointer, *_curves(use, kind)] if row.id else [],
    )


#: Beyond it few loudspeakers, and few grown-up ears, reach (common practice, no source).
INSIDE_HZ = (40.0, 15_000.0)
#: The curve that shows a finding of a kind.
_CURVES = {"tone": "response_delta", "bleed": "crosstalk"}


def _curves(use: Use, kind: str) -> list[Evidence]:
    if kind not in _CURVES:
        return []
    return [Evidence(curve=row.id) for row in use.curves(_CURVES[kind], "through").values() if row.id]


def _differences(use: Use) -> Differences:
    """Return in what the bench differed that can touch the sound itself: the picture cannot."""
    level = worst(use.measures("tone_level", "through"))
    direct = None if level is None else reference_for(level, use.rows.measures_of_role("direct"))
    if direct is None:
        return Differences()
    return differences(
        use.key, msgspec.structs.replace(direct, picture=use.key.picture), fix_is_told=bool(without_its_fix(use))
    )


def _level(use: Use) -> Iterator[Finding]:
    rows = use.changes("gain")
    change = largest(rows)
    if change is None:
        return
    severity = difference_severity("level", change.value)
    each = ", ".join(f"{channel} {with_sign(row.value)}" for channel, row in rows.items() if channel != "both")
    noticed = difference_words("level", change.value)
    if severity == "none":
        sentence = f"{use.subject} leaves the level nearly as it is ({each}): {noticed}."
    else:
        direction = "lowers" if change.value < 0 else "raises"
        sentence = f"{use.subject} {direction} the level by {decibels(abs(change.value), 2)} ({each}): {noticed}."
    steps = advice.LEVEL if change.value < 0 else advice.LOUDER
    yield _finding(use, change, "level", severity, sentence, steps, level_cause(use))


def _balance(use: Use) -> Iterator[Finding]:
    change = largest(use.changes("balance"))
    if change is None:
        return
    severity = difference_severity("level", change.value)
    if severity != "none":
        side = "left" if change.value > 0 else "right"
        sentence = (
            f"{use.subject} shifts the balance to the {side} by {decibels(abs(change.value), 2)}: "
            f"{difference_words('level', change.value)}."
        )
        yield _finding(use, change, "level", severity, sentence, advice.LEVEL)


def _tone(use: Use) -> Iterator[Finding]:
    span = largest(use.changes("response_span"))
    if span is None:
        return
    inside_db = _span_inside_db(use, span)
    whole, inside = difference_severity("tone", span.value), difference_severity("tone", inside_db)
    at_the_ends = whole != inside
    # What happens at the ends of hearing alone weighs no more than slightly.
    severity: Severity = "slight" if at_the_ends and inside == "none" else inside
    noticed = difference_words("tone", span.value)
    span_db = max(span.value, 0.01)
    if severity == "none":
        sentence = (
            f"{use.subject} leaves the tone as it is: all frequencies pass alike within {decibels(span_db, 2)}, "
            f"{noticed}."
        )
    elif at_the_ends and severity == "slight":
        sentence = (
            f"{use.subject} changes the tone, mostly at the ends of hearing{_corner_words(use)}: of "
            f"{_span_words(span)} between best and worst frequency, {decibels(max(inside_db, 0.01), 2)} lie between "
            f"{INSIDE_HZ[0]:.0f} Hz and {INSIDE_HZ[1] / 1000:.0f} kHz, {difference_words('tone', inside_db)}."
        )
    else:
        sentence = (
            f"{use.subject} changes the tone: between the frequency it passes best and the one it passes worst lie "
            f"{_span_words(span)}{_corner_words(use)}: {noticed}."
        )
    yield _finding(use, span, "tone", severity, sentence, advice.TONE, tone_cause(use))


def _span_words(span: Change) -> str:
    return decibels(span.value, 2 if span.value < 1 else 1)


def _span_inside_db(use: Use, span: Change) -> float:
    """Return the span between the ends of hearing; the whole span where the curve is not known."""
    curve = use.curves("response_delta", "through").get(span.channel)
    if curve is None:
        return span.value
    inside = [
        value for hz, value in zip(curve.frequency_hz, curve.value, strict=True) if INSIDE_HZ[0] <= hz <= INSIDE_HZ[1]
    ]
    return min(max(inside, default=0.0) - min(inside, default=0.0), span.value)


def _corner_words(use: Use) -> str:
    """Return the corners as part of a sentence; they are left out where they are only bounds."""
    low, high = worst(use.changes("low_corner")), worst(use.changes("high_corner"))
    parts = []
    if low is not None and low.bound is None:
        parts.append(f"bass falls off below {low.value:.0f} Hz")
    if high is not None and high.bound is None:
        parts.append(f"treble falls off above {high.value / 1000:.1f} kHz")
    return f" ({' and '.join(parts)})" if parts else ""


def _polarity(use: Use) -> Iterator[Finding]:
    rows = {channel: row for channel, row in use.measures("polarity", "through").items() if channel != "both"}
    inverted = [row for row in rows.values() if row.value < 0]
    if not inverted:
        return
    if len(inverted) == len(rows):
        sentence = (
            f"{use.subject} turns the sound upside down (inverted polarity) in every channel: not audible by itself."
        )
        yield _finding(use, inverted[0], "level", "slight", sentence)
    else:
        upside_down = channel_words(inverted[0].channel)
        sentence = f"{use.subject} inverts {upside_down} against the other: bass is lost and the sound is hollow."
        yield _finding(use, inverted[0], "level", "strong", sentence, advice.POLARITY)


def _bleed(use: Use) -> Iterator[Finding]:
    through, added = worst(use.measures("crosstalk_1k", "through")), worst(use.measures("crosstalk_1k", "added"))
    if through is None:
        return
    judged = added or through
    severity: Severity = "none" if judged.bound is not None else CROSSTALK_DB.severity(judged.value)
    into = channel_words(through.channel)
    if judged.bound is not None:
        sentence = (
            f"No bleed from one channel into the other that {use.subject} adds could be measured: it stays below "
            f"{at_most_db(judged.value)} at 1 kHz."
        )
    elif severity == "none":
        sentence = f"{use.subject} keeps left and right apart: {decibels(through.value, 0)} at 1 kHz into {into}."
    else:
        sentence = (
            f"Through {use.subject} one channel is heard in the other: {decibels(through.value, 0)} at 1 kHz into "
            f"{into}{_worst_words(use)}."
        )
    yield _finding(use, judged, "bleed", severity, sentence, advice.BLEED, bleed_cause(use, judged.channel))


def _worst_words(use: Use) -> str:
    row = worst(use.measures("crosstalk_worst", "through"))
    if row is None or row.bound is not None or "frequency_hz" not in row.detail:
        return ""
    return f", at worst {decibels(row.value, 0)} at {row.detail['frequency_hz'] / 1000:.1f} kHz"


def _distortion(use: Use) -> Iterator[Finding]:
    row = worst(use.measures("thd", "added")) or worst(use.measures("thd", "through"))
    if row is None:
        return
    severity: Severity = "none" if row.bound is not None else DISTORTION_PERCENT.severity(row.value)
    if row.bound is not None:
        most = percent(row.value, at_most=True)
        sentence = f"No distortion that {use.subject} adds could be measured; it stays below {most}."
    elif severity == "none":
        sentence = f"{use.subject} adds {percent(row.value)} of harmonic distortion, far below what is heard."
    else:
        sentence = f"{use.subject} distorts: harmonics of {percent(row.value)} of a tone near full scale."
    yield _finding(use, row, "distortion", severity, sentence, advice.DISTORTION)
