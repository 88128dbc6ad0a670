"""Hum, buzz and hiss in sentences."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from humcheck.findings import advice
from humcheck.findings.index import Use, worst
from humcheck.findings.scale import NOISE_DBR_A
from humcheck.findings.words import certainty, channel_words, decibels, weaker_in_words
from humcheck.results import Evidence, Finding, Measure
from humcheck.results.rows import Severity


@dataclass(frozen=True, slots=True)
class Noise:
    """One kind of noise and the words for it."""

    kind: str
    quantity: str
    name: str
    advice: tuple[str, ...]
    cautions: tuple[str, ...]


NOISES = (
    Noise("hum", "hum_level", "mains hum", advice.HUM, (advice.EARTH_CAUTION, advice.CABLE_CAUTION)),
    Noise("hum", "hum_and_buzz_level", "hum or picture buzz", advice.HUM, (advice.EARTH_CAUTION, advice.CABLE_CAUTION)),
    Noise("buzz", "buzz_level", "picture buzz", advice.BUZZ, (advice.CABLE_CAUTION,)),
    Noise("hiss", "hiss_level", "hiss", advice.HISS, ()),
)


def noise_findings(use: Use) -> Iterator[Finding]:
    """Yield what a device in the path does to hum, buzz and hiss."""
    for noise in NOISES:
        through = worst(use.measures(f"{noise.quantity}_rel", "through"))
        added = worst(use.measures(f"{noise.quantity}_rel", "added"))
        if through is None or added is None:
            continue
        if noise.quantity == "hum_and_buzz_level" and through.bound is not None:
            continue
        yield _added_finding(use, noise, through, added)


def _added_finding(use: Use, noise: Noise, through: Measure, added: Measure) -> Finding:
    weighted = use.measures(f"{noise.quantity}_a_rel", "added").get(added.channel, added)
    severity: Severity = "none" if added.bound is not None else NOISE_DBR_A.severity(weighted.value)
    if added.bound is not None:
        sentence = (
            f"{use.subject} adds no {noise.name} that could be measured; whatever it may add stays below "
            f"{added.value:.0f} dB re the track's full scale ({weaker_in_words(added.value)})."
        )
    else:
        change = use.changes(noise.quantity).get(added.channel)
        stronger = "" if change is None else f" ({_stronger(change.value, change.bound)} than without it)"
        sentence = (
            f"{use.subject} adds {noise.name}: with it in the path {channel_words(through.channel)} carries "
            f"{through.value:.0f} dB re the track's full scale, {weaker_in_words(through.value)}{stronger}."
        )
    heard = severity != "none"
    return Finding(
        **through.fields(quantity=noise.quantity),
        id=f"{noise.kind}-{noise.quantity}-{use.subject}",
        kind=noise.kind,
        severity=severity,
        confidence=certainty(added),
        sentence=sentence,
        advice=list(noise.advice) if heard else [],
        cautions=list(noise.cautions) if heard else [],
        evidence=[Evidence(measure=row.id) for row in (through, added, weighted) if row.id],
    )


def _stronger(change_db: float, bound: str | None) -> str:
    at_least = "at least " if bound == "lower" else ""
    return f"{at_least}{decibels(change_db, 0)} stronger" if change_db >= 0 else f"{decibels(-change_db, 0)} weaker"


def single_noise_findings(use: Use) -> Iterator[Finding]:
    """Yield what noise a recording holds that stands alone (no direct take beside it)."""
    for noise in NOISES:
        relative = worst(use.measures(f"{noise.quantity}_rel", use.key.role))
        row = relative or worst(use.measures(noise.quantity, use.key.role))
        if row is None or (noise.quantity == "hum_and_buzz_level" and row.bound is not None):
            continue
        scale_name = "the track's full scale" if relative else "the recorder's full scale"
        weighted = use.measures(f"{noise.quantity}_a{'_rel' if relative else ''}", use.key.role).get(row.channel, row)
        if row.bound is not None:
            sentence = f"No {noise.name} was found; any there is lies below {row.value:.0f} dB re {scale_name}."
        else:
            sentence = (
                f"There is {noise.name} of {row.value:.0f} dB re {scale_name} in {channel_words(row.channel)} "
                f"({_frequency(use, noise)}A-weighted {weighted.value:.0f} dB)."
            )
        severity: Severity = "none" if row.bound is not None else NOISE_DBR_A.severity(weighted.value)
        yield Finding(
            **row.fields(quantity=noise.quantity),
            id=f"{noise.kind}-{noise.quantity}-{use.subject}",
            kind=noise.kind,
            severity=severity,
            confidence=certainty(row),
            sentence=sentence,
            advice=list(noise.advice) if severity != "none" else [],
            cautions=list(noise.cautions) if severity != "none" else [],
            evidence=[Evidence(measure=item.id) for item in (row, weighted) if item.id],
        )


def _frequency(use: Use, noise: Noise) -> str:
    row = worst(use.measures(noise.quantity.replace("_level", "_frequency"), use.key.role))
    return "" if row is None else f"{row.value:.3f} Hz and its harmonics; "
