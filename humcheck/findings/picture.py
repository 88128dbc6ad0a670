"""The picture in the sound in sentences: where it leaks, how strongly, and by which way."""

from __future__ import annotations

from collections.abc import Iterator

from humcheck.comparison.picture_circuit import CAPACITIVE, SHARED
from humcheck.findings import advice
from humcheck.findings.index import Use, worst
from humcheck.findings.picture_bleed import other_port, picture_bleed
from humcheck.findings.picture_circuit import circuit_row, circuit_words
from humcheck.findings.scale import Scale
from humcheck.findings.words import certainty, channel_words, joined, weaker_in_words
from humcheck.results import Evidence, Finding, Measure
from humcheck.results.rows import Severity

_NAME, _CURVE = "picture_coupling", "picture_coupling_curve"
#: This project's own convention. A white screen that couples at -105 dB (1 kHz, rising with frequency) buzzes near the
#: threshold of hearing on headphones; one at -75 dB is in the way of quiet music.
COUPLING_DBR = Scale(slight=-105.0, clear=-90.0, strong=-75.0)
_CAPACITIVE, _SHARED = CAPACITIVE[0], SHARED[1]
_LEAST_TOLD = 1e-6


def picture_findings(use: Use) -> Iterator[Finding]:
    """Yield what pictures tell of a device, or of a recording that stands alone.

    Where the condition ``picture_port`` says that the picture belongs to a port that was not selected, it is bleed.
    """
    judged, own, unit = _judged(use)
    if other_port(use) is not None:
        yield from picture_bleed(use, judged, "none" if judged is None else _severity(judged), unit)
    elif judged is not None:
        yield _finding(use, judged, own, unit, is_added=judged.role == "added")


def _judged(use: Use) -> tuple[Measure | None, dict[str, Measure], str]:
    """Return the coupling that counts, what it was read from, and its unit in words."""
    for name, unit in ((f"{_NAME}_rel", "dB re the track's full scale"), (_NAME, "dBFS")):
        own = use.measures(name, use.key.role)
        judged = worst(use.measures(name, "added")) or worst(own)
        if judged is not None:
            return judged, own, unit
    return None, {}, ""


def _severity(judged: Measure) -> Severity:
    return "none" if judged.bound is not None else COUPLING_DBR.severity(judged.value)


def _finding(use: Use, judged: Measure, own: dict[str, Measure], unit: str, *, is_added: bool) -> Finding:
    severity = _severity(judged)
    sentence = _sentence(use, judged, unit, is_added=is_added)
    circuit = circuit_row(use, judged)
    known = severity != "none"
    evidence = [Evidence(measure=row.id) for row in (judged, *own.values(), circuit) if row is not None and row.id]
    curve = use.curves(_CURVE, use.key.role).get(judged.channel)
    evidence += [Evidence(curve=curve.id)] if curve is not None and curve.id else []
    return Finding(
        **judged.fields(),
        id=f"picture-{judged.quantity}-{use.words}",
        kind="picture",
        severity=severity,
        confidence="; ".join(part for part in (certainty(judged), _chance(use, judged)) if part),
        sentence=sentence,
        advice=list(_advice(use, judged)) if known else [],
        cautions=[advice.CABLE_CAUTION] if known else [],
        evidence=list(dict.fromkeys(evidence)),
    )


def _sentence(use: Use, judged: Measure, unit: str, *, is_added: bool) -> str:
    number = f"{judged.value:.0f} {unit}"
    beyond = " beside what the bench leaks without it" if is_added else ""
    through = use.key.role == "through"
    if judged.bound is not None:
        none = f"{use.subject} lets no picture into the sound" if through else "No picture leaks into the sound"
        sought = "the changes of its own picture" if _is_footage(judged) else "the known rows"
        return (
            f"{none} that could be measured{beyond}, though {sought} were sought in it: a full swing from black to "
            f"white at 1 kHz would stay below {number} ({_weaker(judged)})."
        )
    start = f"With {use.subject} in the path the" if through else "The"
    sentence = (
        f"{start} picture leaks into {channel_words(judged.channel)}{beyond}: a full swing from black to white at "
        f"1 kHz would stand at {number} in the sound, {_weaker(judged)}{_way_words(use, judged)}"
    )
    if judged.picture not in (None, "rows") and not _is_footage(judged):
        sentence += f". The recording is labelled {judged.picture}, but the known rows were shown: check the label"
    return f"{sentence}.{_worst_words(judged)}{circuit_words(use, judged)}"


def _is_footage(row: Measure) -> bool:
    """Return whether a coupling was read from the moving picture of the recording itself, not from coded rows."""
    return bool(row.detail.get("footage"))


def _worst_words(judged: Measure) -> str:
    """Return when the picture of footage is heard most."""
    at_s, worst_dbfs = judged.detail.get("worst_at_s"), judged.detail.get("worst_dbfs")
    if at_s is None or worst_dbfs is None:
        return ""
    return (
        f" It is strongest about {at_s:.0f} s into the recording: what it leaves there stands at {worst_dbfs:.0f} dBFS."
    )


def _weaker(row: Measure) -> str:
    if row.quantity.endswith("_rel"):
        return weaker_in_words(row.value)
    return weaker_in_words(row.value, "the strongest tone that the recorder can hold")


def _chance(use: Use, judged: Measure) -> str:
    """Return how surely the rows were found, from the p-value of the take's own row."""
    share = use.measures("picture_correlation", use.key.role).get(judged.channel)
    p_value = None if share is None or judged.bound is not None else share.detail.get("p_value")
    if p_value is None:
        return ""
    told = f"{p_value:.1g}" if p_value >= _LEAST_TOLD else "less than one in a million"
    what = "the picture" if _is_footage(judged) else "these rows"
    return f"the probability that a recording without {what} would match as well is {told}"


def _slope(use: Use, judged: Measure) -> Measure | None:
    """Return the slope of the channel's leak where it tells the way; of the added part alone none is known."""
    slope = use.measures("picture_coupling_slope", use.key.role).get(judged.channel)
    return slope if slope is not None and slope.low is not None and slope.high is not None else None


def _way_words(use: Use, judged: Measure) -> str:
    slope = _slope(use, judged)
    if slope is None or slope.low is None or slope.high is None:
        return ""
    if slope.low >= _CAPACITIVE:
        return (
            f". It grows with frequency ({slope.value:.1f} dB per octave), as through the small capacitance between "
            "two wires that run side by side"
        )
    if slope.high <= _SHARED:
        return (
            f". Low and high frequencies come through alike ({slope.value:.1f} dB per octave), as from a ground that "
            "picture and sound share"
        )
    if slope.high - slope.low < _CAPACITIVE - _SHARED:
        both = joined(["through a small capacitance", "by a shared ground"])
        return f". It grows with frequency, but less than through a capacitance alone: it comes {both}"
    return ". By which way cannot be told at so low a level"


def _advice(use: Use, judged: Measure) -> tuple[str, ...]:
    slope = _slope(use, judged)
    if slope is not None and slope.high is not None and slope.high <= _SHARED:
        return advice.RETURN
    return advice.CROSSTALK
