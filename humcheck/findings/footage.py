"""The picture of a captured video file in its own sound, in sentences: how strongly, how sure, and when most."""

from __future__ import annotations

from humcheck.findings import advice
from humcheck.findings.index import Use, worst
from humcheck.findings.picture import COUPLING_DBR
from humcheck.findings.words import certainty, channel_words, weaker_in_words
from humcheck.results import Evidence, Finding, Measure

_NAME = "picture_coupling"
_LOUDEST = "the strongest tone that the recorder can hold"


def footage_findings(use: Use) -> list[Finding]:
    """Return what a recording's own frames tell of the leak in its sound; nothing where none were compared."""
    own = use.measures(_NAME, use.key.role)
    judged = worst(own)
    if judged is None or "footage" not in judged.detail:
        return []
    weaker = weaker_in_words(judged.value, _LOUDEST)
    known = judged.bound is None
    severity = COUPLING_DBR.severity(judged.value) if known else "none"
    sentence = _found(judged, _into(own, judged), weaker) if known else _not_found(judged, weaker)
    rows = dict.fromkeys(row.id for row in (judged, *own.values()))
    helped = severity != "none"
    return [
        Finding(
            **judged.fields(),
            id=f"footage-{judged.quantity}-{use.words}",
            kind="picture",
            severity=severity,
            confidence=certainty(judged),
            sentence=sentence,
            advice=list(advice.CROSSTALK) if helped else [],
            cautions=[advice.CABLE_CAUTION] if helped else [],
            evidence=[Evidence(measure=name) for name in rows if name],
        )
    ]


def _into(own: dict[str, Measure], judged: Measure) -> str:
    in_all = len(own) > 1 and all(row.bound is None for row in own.values())
    return channel_words("both" if in_all else judged.channel)


def _found(row: Measure, into: str, weaker: str) -> str:
    sentence = (
        f"The file's own picture leaks into {into}: the sound follows the changes of the frames. "
        f"A full swing from black to white at 1 kHz would stand at {row.value:.0f} dBFS in the sound, {weaker}"
    )
    if "worst_at_s" in row.detail:
        sentence += f". It is strongest {_clock(row.detail['worst_at_s'])} into the recording"
    if "worst_quiet_at_s" in row.detail:
        sentence += f"; while nothing plays, {_clock(row.detail['worst_quiet_at_s'])} into it"
    return sentence + "."


def _not_found(row: Measure, weaker: str) -> str:
    sentence = (
        "Nothing in the sound follows the changes of the file's own picture: a full swing from black to white at "
        f"1 kHz would stay below {row.value:.0f} dBFS ({weaker})"
    )
    if row.detail.get("line_tone_found"):
        sentence += ". A steady tone at a picture's line rate is heard, but it does not tell whose picture it is"
    return sentence + "."


def _clock(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"
