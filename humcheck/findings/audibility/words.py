"""Whether it is heard, in words; and what listeners notice of differences."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from humcheck.audio.hearing.listening import words_of
from humcheck.findings.audibility.families import margin_quantity
from humcheck.findings.index import Use, use_of, worst
from humcheck.findings.scale import Scale
from humcheck.results import Evidence, Measure
from humcheck.results.rows import Severity

Verdict = Literal["heard", "perhaps", "not"]
Difference = Literal["level", "tone"]

_PREDICTION = "prediction"
_PREDICTION_RE_PEAK = "prediction, if the loudest sound of the recording is played at full scale"

#: Margins in dB: just heard, plain in silence, in the way of soft music (this project's own convention).
MARGIN_DB = Scale(0.0, 15.0, 30.0)
#: What listeners notice of a step in level or a change of tone: about 1 dB by itself, about half of that (of tone a
#: quarter) when compared side by side (handbook rule; from memory).
NOTICED_DB = 1.0
SIDE_BY_SIDE_DB: dict[Difference, float] = {"level": 0.5, "tone": 0.25}


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """Whether a family is heard in one listening setting.

    Attributes
    ----------
    setting, words : str
        The setting's name, and its words in a sentence.
    verdict : str
        ``"heard"`` or ``"not"`` where the whole 95 % interval lies on that side of the threshold, else ``"perhaps"``.
    measure : Measure
        The margin of both channels: on headphones that of the worse ear, of loudspeakers that of their sum.
    """

    setting: str
    words: str
    verdict: Verdict
    measure: Measure


def heard(use: Use, family: str, role: str | None = None) -> list[Heard]:
    """Return whether a family is heard, for each listening setting; empty where there are no margins.

    Parameters
    ----------
    use : Use
        The use of a device, or a take.
    family : str
        ``"hum"``, ``"buzz"``, ``"hum_and_buzz"``, ``"whistle"``, ``"digital"``, ``"other"``, ``"hiss"`` or ``"noise"``.
    role : str, optional
        Without it: what the device adds, where that is known, else what is heard through it, else the use's own role.
        ``"added"`` falls back on ``"through"``: of a family that direct takes do not hold, all is added.
    """
    margins = use.rows.rows(Measure, use_of(use.key), margin_quantity(family))
    roles = ("added", "through", use.key.role) if role is None else (role, "through") if role == "added" else (role,)
    for wanted in roles:
        found: dict[str, dict[str, Measure]] = {}
        for row in margins:
            if row.role == wanted and row.listening is not None:
                found.setdefault(row.listening, {})[row.channel] = row
        if found:
            return [_heard(setting, rows.get("both") or worst(rows)) for setting, rows in found.items()]
    return []


def _heard(setting: str, row: Measure | None) -> Heard:
    assert row is not None  # there is one in every group
    if row.bound is not None:
        verdict: Verdict = "not" if row.value < 0 else "perhaps"
    else:
        low, high = row.value if row.low is None else row.low, row.value if row.high is None else row.high
        verdict = "heard" if low > 0 else "not" if high < 0 else "perhaps"
    return Heard(setting=setting, words=words_of(setting), verdict=verdict, measure=row)


def heard_sentence(use: Use, family: str, role: str | None = None) -> str:
    """Return in a sentence where a family is heard; empty where there are no margins. Parameters as for `heard`."""
    found = heard(use, family, role)
    places: dict[str, list[str]] = {}
    for one in found:
        places.setdefault(one.verdict, []).append(one.words)
    if not places:
        return ""
    said = _PREDICTION_RE_PEAK if any("re_peak" in one.measure.detail for one in found) else _PREDICTION
    if list(places) == ["not"]:
        return f"Not heard {_joined(places['not'], 'or')}, not even in quiet passages ({said})."
    first, *rest = [verdict for verdict in ("heard", "perhaps", "not") if verdict in places]
    openings = {"heard": "Heard", "perhaps": "Perhaps heard"}
    parts = [f"{openings[first]} {_joined(places[first], 'and')} in quiet passages"]
    parts += [f"{verdict} {_joined(places[verdict], 'or' if verdict == 'not' else 'and')}" for verdict in rest]
    return f"{', '.join(parts)} ({said})."


def _joined(words: list[str], last: str) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def margin_severity(use: Use, family: str, role: str | None = None) -> Severity | None:
    """Return how much in the way a family is, from its largest margin; None where there are no margins.

    What is hidden, and what lies below the threshold, is ``"none"``.
    """
    margins = [one.measure for one in heard(use, family, role)]
    if not margins:
        return None
    return MARGIN_DB.severity(max((row.value for row in margins if row.bound is None), default=-1.0))


def margin_evidence(use: Use, family: str, role: str | None = None) -> list[Evidence]:
    """Return pointers to the margins that `heard_sentence` rests on."""
    return [Evidence(measure=one.measure.id) for one in heard(use, family, role) if one.measure.id]


def difference_words(kind: Difference, size_db: float) -> str:
    """Return whether listeners notice a difference in level or tone of this size, as a phrase without a full stop."""
    if abs(size_db) >= NOTICED_DB:
        return "more than listeners notice (about 1 dB)"
    if abs(size_db) >= SIDE_BY_SIDE_DB[kind]:
        return "noticed at most when compared side by side"
    return "less than listeners notice even side by side"


def difference_severity(kind: Difference, size_db: float) -> Severity:
    """Return how much a difference in level or tone weighs: from side by side on slight, from 1 dB on clear."""
    return Scale(SIDE_BY_SIDE_DB[kind], NOTICED_DB, 3 * NOTICED_DB).severity(abs(size_db))
