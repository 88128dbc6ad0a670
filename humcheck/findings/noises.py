"""Hum, buzz, whistle, other tones and hiss in sentences, each with its most likely cause."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import msgspec

from humcheck.comparison.added import added_lines
from humcheck.comparison.compare import reference_for
from humcheck.findings.audibility import family_of, heard, heard_sentence, margin_evidence, margin_severity
from humcheck.findings.causes import Verdict, cause_of
from humcheck.findings.causes.comparing import compare
from humcheck.findings.causes.picture import HYPOTHESES as PICTURE_CAUSES
from humcheck.findings.causes.shape import TAKE_TO_TAKE_DB
from humcheck.findings.index import Use, worst
from humcheck.findings.levels import weighted_dbr
from humcheck.findings.sameness import Differences, differences, without_its_fix
from humcheck.findings.scale import NOISE_DBR_A
from humcheck.findings.trying import what_to_mind, what_to_try
from humcheck.findings.words import at_most_db, certainty, channel_words, decibels, joined, weaker_in_words
from humcheck.results import Evidence, Finding, Measure
from humcheck.results.rows import Severity

_MOST_EVIDENCE = 10


@dataclass(frozen=True, slots=True)
class Noise:
    """One kind of noise and the words for it; `always` tells whether its absence is worth a sentence."""

    kind: str
    quantity: str
    name: str
    always: bool = True


NOISES = (
    Noise("hum", "hum_level", "mains hum"),
    Noise("hum", "hum_and_buzz_level", "hum or picture buzz", always=False),
    Noise("buzz", "buzz_level", "picture buzz"),
    Noise("whistle", "whistle_level", "whistle at the picture's line rate", always=False),
    Noise("digital", "digital_level", "noise of digital frames", always=False),
    Noise("other-tones", "other_lines_level", "steady tones of no known family", always=False),
    Noise("hiss", "hiss_level", "hiss"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Levels:
    """The rows of one noise: what comes through, what is added, both in one unit, and what they are relative to."""

    through: Measure
    added: Measure | None
    scale_name: str
    loudest: str

    def words(self, row: Measure) -> str:
        """Return a level in plain words, then as a figure."""
        return f"{weaker_in_words(row.value, self.loudest)} ({row.value:.0f} dB re {self.scale_name})"


def noise_findings(use: Use) -> Iterator[Finding]:
    """Yield what a device in the path does to hum, buzz, whistle, other tones and hiss."""
    told: dict[str, str] = {}
    for noise in NOISES:
        levels = _levels_of(use, noise)
        if levels is None or levels.added is None:
            continue
        if (not noise.always and levels.added.bound is not None) or _is_in_sum(use, noise, levels.through):
            continue
        finding = _added_finding(use, noise, levels, levels.added, told)
        told.setdefault(finding.cause, noise.name)
        yield finding


def single_noise_findings(use: Use) -> Iterator[Finding]:
    """Yield what noise a recording holds that stands alone (no direct take beside it)."""
    told: dict[str, str] = {}
    for noise in NOISES:
        levels = _levels_of(use, noise)
        if levels is None or _is_in_sum(use, noise, levels.through):
            continue
        if noise.always or levels.through.bound is None:
            finding = _lone_finding(use, noise, levels, told)
            told.setdefault(finding.cause, noise.name)
            yield finding


def bench_noise_findings(use: Use) -> Iterator[Finding]:
    """Yield what noise the bench itself has without a device, where it is strong enough to matter."""
    for noise in NOISES:
        levels = _levels_of(use, noise)
        if levels is None or noise.kind == "hiss" or levels.through.bound is not None:
            continue
        if _severity(use, noise, levels.through, "direct") != "none":
            yield _lone_finding(use, noise, levels, {})


def _is_in_sum(use: Use, noise: Noise, row: Measure) -> bool:
    """Return whether a noise is known only as part of a sum of two that cannot be told apart: the sum is told."""
    if noise.quantity not in ("hum_level", "buzz_level") or row.bound is None:
        return False
    return any(whole.bound is None for whole in use.measures("hum_and_buzz_level", row.role).values())


def _levels_of(use: Use, noise: Noise) -> _Levels | None:
    """Return a noise's rows in dBr, else in dBFS: takes without the 997 Hz tone have no other scale."""
    for quantity, scale_name, loudest in (
        (f"{noise.quantity}_rel", "the track's full scale", "the loudest sound of the track"),
        (noise.quantity, "the recorder's full scale", "the strongest tone that the recorder can hold"),
    ):
        through = worst(use.measures(quantity, use.key.role))
        if through is not None:
            added = worst(use.measures(quantity, "added")) or _all_of_it(use, noise, through)
            return _Levels(through=through, added=added, scale_name=scale_name, loudest=loudest)
    return None


def _all_of_it(use: Use, noise: Noise, through: Measure) -> Measure | None:
    """Return what is added of a family that the direct takes were searched for and do not hold at all.

    What may be hum or buzz is set against the direct take's hum; of the other families all of it is added.
    """
    directs = use.rows.measures_of_role("direct")
    if through.bound is not None or any(row.quantity == noise.quantity for row in directs):
        return None
    hum = "hum_level_rel" if through.quantity.endswith("_rel") else "hum_level"
    reference = reference_for(msgspec.structs.replace(through, quantity=hum), directs)
    if reference is None:
        return None
    return added_lines(reference, through) if noise.quantity == "hum_and_buzz_level" else through


def _severity(use: Use, noise: Noise, row: Measure, role: str) -> Severity:
    """Return how much a noise weighs: by what can be heard of it, else by its A-weighted level."""
    if row.bound is not None:
        return "none"
    family = family_of(noise.quantity)
    severity = None if family is None else margin_severity(use, family, role)
    if family is None or severity is None:
        return NOISE_DBR_A.severity(weighted_dbr(use, noise.quantity, row))
    # What may be heard, as far as the uncertain sound pressure tells, is not nothing.
    perhaps = any(one.verdict != "not" for one in heard(use, family, role))
    return "slight" if severity == "none" and perhaps else severity


def _added_finding(use: Use, noise: Noise, levels: _Levels, added: Measure, told: Mapping[str, str]) -> Finding:
    """Return what a device adds of a noise; `told` are causes named before, with the noise that they were named for."""
    through = levels.through
    reference = reference_for(through, use.rows.measures_of_role("direct"))
    changed_db = None if reference is None or reference.bound is not None else through.value - reference.value
    if added.bound is not None:
        hidden = ". It cannot be seen under the recorder's own" if "floor_dbfs" in through.detail else ""
        sentence = (
            f"{use.subject} adds no {noise.name} that could be measured; whatever it may add stays below "
            f"{at_most_db(added.value)} re {levels.scale_name} ({weaker_in_words(added.value, levels.loudest)})"
            f"{hidden}."
            f"{_less(noise, through, changed_db)}"
        )
        return _finding(use, noise, through, added, "none", sentence)
    if noise.kind != "hiss" and _is_scatter(through, added, changed_db):
        sentence = (
            f"{use.subject} adds no {noise.name} beyond doubt: the {decibels(changed_db or 0.0)} more of it than "
            "without it are what one take may differ from the next."
        )
        return _finding(use, noise, through, added, "none", sentence)
    differ = (
        Differences() if reference is None else differences(through, reference, fix_is_told=bool(without_its_fix(use)))
    )
    direct_lines = [] if reference is None else Use(reference, use.results, use.rows).lines(_ALL_FAMILIES, "direct")
    unsought = differ or differ.fix is not None or noise.kind == "hiss"
    cause = None if unsought else cause_of(use, noise.quantity, direct_lines)
    change = use.changes(noise.quantity).get(added.channel)
    stronger = "" if change is None else f", {_stronger(change.value, change.bound)} than without it"
    verb = "comes with" if differ else "adds"
    name = _name(noise, cause)
    size = f"{levels.words(through)}{stronger}"
    sentence = f"{use.subject} {verb} {name}: in {channel_words(through.channel)} it is then {size}."
    severity = _severity(use, noise, added, "added")
    if through.fix is not None:
        sentence += _fixed(use, noise)
    return _finding(use, noise, through, added, severity, sentence, cause=cause, differ=differ, role="added", told=told)


#: So much less than without the device is told: no take differs so much from the next.
_MUCH_LESS_DB = 10.0


def _less(noise: Noise, through: Measure, changed_db: float | None) -> str:
    """Return what a reader should ask where the device takes much of a noise away."""
    if changed_db is None or changed_db > -_MUCH_LESS_DB:
        return ""
    least = "at least " if through.bound is not None else ""
    return (
        f" Through it there is {least}{decibels(-changed_db, 0)} less {noise.name} than without it: either it takes it "
        "away, as a cure does, or the direct recording and the one through it were exchanged."
    )


def _fixed(use: Use, noise: Noise) -> str:
    """Return what a fix did, where the same was recorded without it."""
    mine = use.key
    plain = without_its_fix(use)
    done = None if not plain else compare(plain[0], use, noise.quantity, f"the {mine.fix}")
    if done is None:
        return ""
    if abs(done.drop_db) < TAKE_TO_TAKE_DB and not done.is_least:
        return f" The {mine.fix} leaves it as strong as it was."
    size = f"{'at least ' if done.is_least else ''}{decibels(abs(done.drop_db), 0)}"
    return f" The {mine.fix} takes {size} of it away." if done.drop_db > 0 else f" The {mine.fix} adds {size} to it."


_ALL_FAMILIES = ("mains", "field", "mains_or_field", "line_rate", "digital", "other")


def _is_scatter(through: Measure, added: Measure, changed_db: float | None) -> bool:
    """Return whether a single take's excess is no more than what takes differ by; repeats have their own interval."""
    return changed_db is not None and added.n_takes == 1 and changed_db < TAKE_TO_TAKE_DB and through.n_takes == 1


def _lone_finding(use: Use, noise: Noise, levels: _Levels, told: Mapping[str, str]) -> Finding:
    row = levels.through
    role = use.key.role
    where = "" if role == "single" else " without a device in the path"
    if row.bound is not None:
        sentence = (
            f"No {noise.name} was found{where}; any there is lies below {at_most_db(row.value)} re {levels.scale_name}."
        )
        return _finding(use, noise, row, row, "none", sentence)
    severity = _severity(use, noise, row, role)
    # Of what nobody hears the cause is nobody's worry.
    unsought = noise.kind == "hiss" or severity == "none"
    cause = None if unsought else cause_of(use, noise.quantity, [])
    name = _name(noise, cause)
    verb = "are" if "tones" in name else "is"
    sentence = (
        f"There {verb} {name}{where}{_frequency(use, noise, name)}: in {channel_words(row.channel)} "
        f"{levels.words(row)}."
    )
    return _finding(use, noise, row, row, severity, sentence, cause=cause, role=role, told=told)


def _finding(
    use: Use,
    noise: Noise,
    shown: Measure,
    judged: Measure,
    severity: Severity,
    sentence: str,
    *,
    cause: Verdict | None = None,
    differ: Differences | None = None,
    role: str | None = None,
    told: Mapping[str, str] | None = None,
) -> Finding:
    """Return the finding: the noise, whether it is heard, its cause or why none is blamed, and what to try."""
    family = family_of(noise.quantity)
    parts = [sentence]
    confidence = [certainty(judged)]
    evidence = [Evidence(measure=row.id) for row in (judged, shown) if row.id]
    if role is not None and family is not None:
        parts.append(heard_sentence(use, family, role))
        evidence += margin_evidence(use, family, role)
    if differ:
        parts.append(
            f"No cause is blamed on {use.key.subject}, because the bench was not the same: {joined(differ.told)}."
        )
        confidence.insert(0, "cause not sought: the bench differed")
    elif cause is not None:
        before = (told or {}).get(cause.name)
        parts.append(cause.sentence if before is None or cause.is_open else cause.sentence_after(before))
        confidence.insert(0, cause.confidence)
        evidence += cause.evidence
    weighs, is_hiss = severity != "none", noise.kind == "hiss"
    return Finding(
        **shown.fields(quantity=noise.quantity),
        id=f"{noise.kind}-{noise.quantity}-{use.words}",
        kind=noise.kind,
        severity=severity,
        confidence="; ".join(confidence),
        sentence=" ".join(part for part in parts if part),
        cause="" if cause is None else cause.name,
        reasons=[] if cause is None else list(cause.reasons),
        doubts=[] if cause is None else [*cause.doubts, *(() if differ is None else differ.unsaid)],
        test="" if cause is None else cause.test,
        advice=what_to_try(cause, differ, is_hiss=is_hiss) if weighs else [],
        cautions=what_to_mind(cause, differ, is_hiss=is_hiss) if weighs else [],
        evidence=list(dict.fromkeys(evidence))[:_MOST_EVIDENCE],
    )


def _stronger(change_db: float, bound: str | None) -> str:
    at_least = "at least " if bound == "lower" else ""
    return f"{at_least}{decibels(change_db, 0)} stronger" if change_db >= 0 else f"{decibels(-change_db, 0)} weaker"


def _name(noise: Noise, cause: Verdict | None) -> str:
    """Return what a noise is called: by its cause where that is no matter of the family it was counted to."""
    if cause is not None and cause.name == "digital-frames" and noise.kind != "digital":
        return "steady tones"
    if cause is not None and cause.best in PICTURE_CAUSES and noise.quantity == "hum_level":
        return "picture buzz (its tones were counted as mains, but keep step with the picture's lines)"
    return noise.name


def _frequency(use: Use, noise: Noise, name: str) -> str:
    row = worst(use.measures(noise.quantity.replace("_level", "_frequency"), use.key.role))
    if row is None and noise.quantity == "hum_and_buzz_level":
        strongest = max(use.lines(("mains_or_field",), use.key.role), key=lambda line: line.level_dbfs, default=None)
        if strongest is not None and strongest.harmonic:
            return f" at {strongest.frequency_hz / strongest.harmonic:.2f} Hz and its multiples"
    if row is None or name != noise.name:
        return ""
    return f" ({row.value:.3f} Hz)" if noise.kind == "whistle" else f" at {row.value:.3f} Hz and its multiples"
