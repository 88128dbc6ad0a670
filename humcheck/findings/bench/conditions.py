"""Which condition, or picture, explains a change: one thing differs, all else is alike.

Keys of a condition are free. Those whose meaning is known here are listed in `MEANINGS`; of any other key the change
is told, and nothing is made of it. The number of loaded outputs is `outputs` = ``"1"``, ``"2"``, ...: see `loading`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from humcheck.findings import advice
from humcheck.findings.bench.asking import by_question
from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.claims import Claim, claim_of
from humcheck.findings.bench.loading import KEY as OUTPUTS
from humcheck.findings.bench.making import UNSURE, certainty_of, finding_of
from humcheck.findings.bench.wording import (
    capital,
    condition_words,
    difference_in_words,
    listed,
    margin_words,
    within_words,
)
from humcheck.findings.words import joined
from humcheck.results import Change, Finding
from humcheck.results.rows import Severity

KIND = "conditions"
#: What falls by less than this is not gone: another part of it has another way in.
_GONE_DB = 10.0
#: Words that say that a thing is off or away (common practice, no source).
OFF = ("off", "unplugged", "disconnected", "none", "no", "without", "battery", "removed", "muted", "silent", "idle")
_PICTURE = "picture"


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """What it says if a noise goes with a thing, and if it does not.

    Attributes
    ----------
    keys : tuple of str
        Keys of a condition, in lower case, that name the thing.
    gone, stays : str
        Sentences with the noise as ``{noise}``.
    advice : tuple of str
        What to try where the noise goes.
    cautions : tuple of str
        What to take care of.
    """

    keys: tuple[str, ...]
    gone: str
    stays: str
    advice: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


#: Elementary: what is off or unplugged lets nothing in (the conclusions are common practice, no source).
MEANINGS = (
    Meaning(
        keys=("supply", "power", "psu", "power supply", "adapter supply"),
        gone="{noise} goes with the supply: the supply, or the earth that it brings, is the way in.",
        stays="So the supply is not the way in of the {noise}.",
        advice=advice.RIPPLE,
        cautions=(advice.SUPPLY_CAUTION, advice.EARTH_CAUTION),
    ),
    Meaning(
        keys=("neighbour", "neighbor", "neighbours", "neighbors", "other port", "other ports", "other source"),
        gone="{noise} goes when the neighbour is off: it comes over from the other port.",
        stays="So the {noise} does not come over from the other port.",
        advice=advice.BLEED,
    ),
    Meaning(
        keys=("display", "screen", "monitor", "television", "tv"),
        gone="{noise} goes without the display: the display, its supply or its lead is the way in.",
        stays="So the display is not the way in of the {noise}.",
        advice=advice.DISPLAY,
        cautions=(advice.DISPLAY_CAUTION,),
    ),
    Meaning(
        keys=("charger", "computer charger", "laptop charger"),
        gone="{noise} goes without the charger: the charger, or the earth that it brings, is the way in.",
        stays="So the charger is not the way in of the {noise}.",
        cautions=(advice.EARTH_CAUTION,),
    ),
)
_BLACK = Meaning(
    keys=(_PICTURE,),
    gone="{noise} comes and goes with the picture: the picture is what gets into the sound.",
    stays="So the brightness of the picture is not what makes the {noise}.",
    advice=advice.CROSSTALK,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """One thing in two states."""

    name: str
    now: str | None
    before: str | None

    @property
    def words(self) -> str:
        if self.name == _PICTURE:
            return f"a {self.now} picture instead of a {self.before} one"
        return condition_words(self.name, self.now, self.before)

    @property
    def meaning(self) -> Meaning | None:
        if self.name == _PICTURE:
            return _BLACK
        return next((meaning for meaning in MEANINGS if self.name.lower() in meaning.keys), None)

    @property
    def off_sign(self) -> int:
        """1 where the thing is off now, -1 where it was off before, 0 where neither or both are off."""
        if self.name == _PICTURE:
            return -1
        off_now, off_before = ((value or "").strip().lower() in OFF for value in (self.now, self.before))
        return int(off_now) - int(off_before)


def condition_findings(bench: BenchRows) -> Iterator[Finding]:
    """Yield for each device, and for the direct path, what each condition and each picture changes."""
    for contrast in ("picture", "condition"):
        for subject in bench.subjects(contrast):
            pairs: dict[_Pair, list[Change]] = {}
            for row in bench.changes(contrast, subject):
                pair = _pair_of(row)
                if pair is not None:
                    pairs.setdefault(pair, []).append(row)
            for pair, rows in pairs.items():
                claims = [claim_of(bench, question, same) for question, same in by_question(bench, rows).items()]
                if claims:
                    yield _finding(bench, subject, pair, claims)


def _pair_of(row: Change) -> _Pair | None:
    if row.contrast == "picture":
        return _Pair(name=_PICTURE, now=row.picture, before=row.reference.get("picture"))
    name, reference = row.reference.get("differs"), row.reference.get("condition") or {}
    # What several loads do to the level is told by `loading`.
    if name is None or (str(name).lower() == OUTPUTS and row.quantity == "gain"):
        return None
    return _Pair(name=str(name), now=row.condition.get(name), before=reference.get(name))


def _finding(bench: BenchRows, subject: str, pair: _Pair, claims: Sequence[Claim]) -> Finding:
    name = "in the direct path" if subject == "direct" else f"through {subject}"
    differing = [claim for claim in claims if claim.state == "different"]
    perhaps = [claim for claim in claims if claim.state == "perhaps"]
    parts = []
    if differing:
        told = [_difference(claim) for claim in differing]
        parts.append(f"With {pair.words} there is {listed(told)} {name}.")
    if perhaps:
        told = [_difference(claim) for claim in perhaps]
        parts.append(
            f"{'Perhaps' if differing else f'With {pair.words} perhaps'} there is {listed(told)} "
            f"{'too' if differing else name}: {UNSURE}."
        )
    parts += _unchanged(pair, name, claims, first=not parts)
    clues = _clues(pair, claims)
    parts += [sentence for sentence, _ in clues]
    severity = _severity(bench, subject, differing)
    meaning = pair.meaning
    helps = meaning is not None and severity != "none" and any(gone for _, gone in clues)
    return finding_of(
        KIND,
        subject,
        " ".join(parts),
        quantity=(differing or perhaps or list(claims))[0].question.quantity,
        severity=severity,
        confidence=certainty_of(differing or perhaps or claims),
        evidence=[pointer for claim in (*differing, *perhaps, *claims) for pointer in claim.evidence[:3]],
        more_id=f"{pair.name}={pair.now}-{pair.before}",
        advice=list(meaning.advice) if meaning is not None and helps else [],
        cautions=list(meaning.cautions) if meaning is not None and helps else [],
    )


def _difference(claim: Claim) -> str:
    told = difference_in_words(claim.change, claim.question.noun)
    if claim.is_both_ways:
        return f"{told} at its most, but the other way elsewhere"
    return told


def _unchanged(pair: _Pair, name: str, claims: Sequence[Claim], *, first: bool) -> Iterator[str]:
    """Yield what is shown to stay, and what is not shown either way; `first` where nothing was said before."""
    same = [claim for claim in claims if claim.state == "same"]
    unshown = [claim for claim in claims if claim.state == "open"]
    if same:
        by_margin: dict[str, list[str]] = {}
        for claim in same:
            by_margin.setdefault(margin_words(claim.change), []).append(claim.question.noun)
        opening = f"With {pair.words} it is shown that {name} nothing changes in" if first else "Shown to be unchanged:"
        yield f"{opening} {within_words(by_margin)}."
    if unshown:
        nouns = joined([claim.question.noun for claim in unshown])
        where = f"With {pair.words} {name} neither" if first and not same else "Neither"
        needed = max((claim.takes_needed or 0 for claim in unshown), default=0)
        aside = f"; about {needed} takes of each would probably show sameness, if it is there" if needed else ""
        yield f"{where} a difference nor sameness is shown in {nouns}{aside}."


def _clues(pair: _Pair, claims: Sequence[Claim]) -> list[tuple[str, bool]]:
    """Return what the change says of where a noise comes from, and whether it says that it goes."""
    meaning, sign = pair.meaning, pair.off_sign
    if meaning is None or sign == 0:
        return []
    gone, stays = [], []
    for claim in claims:
        if not claim.question.is_noise or claim.question.kind == "hiss":
            continue
        falls = claim.change.value * sign < 0
        if claim.state == "different" and falls and not claim.is_both_ways:
            gone.append(f"{_share(claim.change)}the {claim.question.noun}")
        elif claim.state == "same":
            stays.append(claim.question.noun)
    said = [(capital(meaning.gone.format(noise=joined(gone))), True)] if gone else []
    return said + ([(meaning.stays.format(noise=joined(stays)), False)] if stays else [])


def _share(change: Change) -> str:
    """Return whether all of a noise goes, or part of it, as far as is known."""
    if abs(change.value) >= _GONE_DB:
        return ""
    return "part of " if change.bound is None else "at least part of "


def _severity(bench: BenchRows, subject: str, differing: Sequence[Claim]) -> Severity:
    """Return slight where something that matters changes: what it weighs is told of the noise itself."""
    for claim in differing:
        if claim.question.kind != "level" and bench.severity(subject, claim.question.kind) == "none":
            continue
        if claim.change.unit != "dB" or abs(claim.change.value) >= claim.question.step:
            return "slight"
    return "none"
