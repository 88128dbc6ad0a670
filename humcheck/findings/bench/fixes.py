"""Fixes before and after: what each gains, what it costs, and which step of a hunt took the hum away."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from humcheck.findings import advice
from humcheck.findings.audibility import FAMILIES, difference_severity, difference_words, heard
from humcheck.findings.bench.asking import by_question
from humcheck.findings.bench.bass import BASS_HZ, BassLoss, bass_loss
from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.claims import Claim, claim_of
from humcheck.findings.bench.making import UNSURE, certainty_of, finding_of
from humcheck.findings.bench.wording import count_words, difference_in_words, listed
from humcheck.findings.index import Use, use_of
from humcheck.findings.words import decibels, joined
from humcheck.results import Change, Finding, Key
from humcheck.results.rows import Severity

KIND = "fixes"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fix:
    """One fix of one device, against the same without it.

    Attributes
    ----------
    name : str
        As the bench file calls it.
    before : str or None
        The fix that it is set against; None for no fix.
    claims : tuple of Claim
        One for each question.
    bass : BassLoss or None
        What it takes of the bass.
    heard_before, heard_after : str
        Noises that are heard without and with it: predictions.
    """

    device: str
    name: str
    before: str | None
    claims: tuple[Claim, ...]
    bass: BassLoss | None = None
    heard_before: tuple[str, ...] = field(default=())
    heard_after: tuple[str, ...] = field(default=())

    @property
    def gains(self) -> list[Claim]:
        """Noises that it makes weaker, the most first."""
        found = [claim for claim in self.claims if claim.question.is_noise and claim.state == "different"]
        return sorted(
            (claim for claim in found if claim.change.value < 0 and _is_noticed(claim)),
            key=lambda claim: claim.change.value,
        )

    @property
    def costs(self) -> list[Claim]:
        """What it makes worse: more noise, bleed or distortion, and another level or balance that is noticed."""
        found = [claim for claim in self.claims if claim.state == "different"]
        return [claim for claim in found if _is_noticed(claim) and (claim.change.value > 0 or _is_level(claim))]

    @property
    def gain_db(self) -> float:
        """How much of its worst noise it takes away, as far as that is shown."""
        return -self.gains[0].change.value if self.gains else 0.0

    def claim(self, quantity: str) -> Claim | None:
        """Return what is known of a quantity."""
        return next((claim for claim in self.claims if claim.question.quantity == quantity), None)


def _is_level(claim: Claim) -> bool:
    return claim.question.kind == "level"


def _is_noticed(claim: Claim) -> bool:
    """Return whether a difference is large enough to be worth a word."""
    if _is_level(claim):
        return difference_severity("level", claim.change.value) != "none"
    return abs(claim.change.value) >= claim.question.step


def fix_findings(bench: BenchRows) -> Iterator[Finding]:
    """Yield for each device what each fix gains and costs, and the order of several fixes."""
    for device in bench.devices:
        fixes = fixes_of(bench, device)
        if len(fixes) > 1:
            yield _ranking(bench, fixes)
        for fix in fixes:
            yield _finding(bench, fix)


def fixes_of(bench: BenchRows, device: str) -> list[Fix]:
    """Return the fixes of a device in the order in which they were recorded."""
    by_name: dict[tuple[str, str | None], list[Change]] = {}
    for row in bench.changes("fix", device):
        if row.fix is not None:
            by_name.setdefault((row.fix, row.reference.get("fix")), []).append(row)
    made = []
    for (name, before), rows in by_name.items():
        claims = tuple(claim_of(bench, question, same) for question, same in by_question(bench, rows).items())
        if claims:
            made.append(_described(bench, device, name, before, claims))
    return made


def _described(bench: BenchRows, device: str, name: str, before: str | None, claims: tuple[Claim, ...]) -> Fix:
    uses = {use_of(use.key): use for use in bench.uses[device]}
    pairs = [
        (plain, use)
        for use in uses.values()
        if use.key.fix == name and (plain := uses.get(use_of(_with_fix(use.key, before)))) is not None
    ]
    losses = [loss for plain, use in pairs if (loss := bass_loss(plain, use)) is not None]
    return Fix(
        device=device,
        name=name,
        before=before,
        claims=claims,
        bass=max(losses, key=lambda loss: loss.loss_db, default=None),
        heard_before=_heard([plain for plain, _ in pairs]),
        heard_after=_heard([use for _, use in pairs]),
    )


def _with_fix(key: Key, fix: str | None) -> Key:
    return Key(**key.fields(fix=fix))


def _heard(uses: Sequence[Use]) -> tuple[str, ...]:
    """Return the noises of which at least one use and way of listening lets something be heard."""
    told: dict[str, None] = {}
    for family in FAMILIES:
        for use in uses:
            if any(one.verdict == "heard" for one in heard(use, family.name)):
                told[family.name.replace("_", " ")] = None
    return tuple(told)


def _finding(bench: BenchRows, fix: Fix) -> Finding:
    gains, costs = fix.gains, fix.costs
    perhaps = [claim for claim in fix.claims if claim.state == "perhaps" and _is_noticed(claim)]
    against = "" if fix.before is None else f", against {fix.before}"
    parts = []
    if gains:
        told = listed([difference_in_words(claim.change, claim.question.noun) for claim in gains])
        parts.append(f"{fix.device} with {fix.name}{against}: {told}{_both_ways(gains)}.")
    elif perhaps:
        told = listed([difference_in_words(claim.change, claim.question.noun) for claim in perhaps])
        parts.append(f"{fix.device} with {fix.name}{against}: perhaps {told}: {UNSURE}.")
    else:
        parts.append(f"{fix.device} with {fix.name}{against}: no worthwhile difference {_nothing(fix)}.")
    parts += [_heard_words(fix), _cost_words(fix, costs)]
    severity: Severity = "slight" if _matters(bench, fix) or _dear(fix) else "none"
    main = (gains or perhaps or list(fix.claims))[0]
    claims = [*gains, *costs, *perhaps] or list(fix.claims)
    evidence = [pointer for claim in claims for pointer in claim.evidence[:2]]
    return finding_of(
        KIND,
        fix.device,
        " ".join(part for part in parts if part),
        quantity=main.question.quantity,
        severity=severity,
        confidence=certainty_of(claims),
        evidence=[*evidence[:8], *(() if fix.bass is None else fix.bass.evidence)],
        more_id=fix.name if fix.before is None else f"{fix.name}-{fix.before}",
        advice=[] if gains or not perhaps else [f"Record {fix.device} again, twice with {fix.name} and twice without."],
        cautions=[advice.EARTH_CAUTION] if gains else [],
    )


def _both_ways(claims: Sequence[Claim]) -> str:
    return ", at its best; elsewhere it is the other way" if any(claim.is_both_ways for claim in claims) else ""


def _nothing(fix: Fix) -> str:
    """Return whether nothing is shown, or shown to be nothing."""
    noises = [claim for claim in fix.claims if claim.question.is_noise]
    same = [claim.question.noun for claim in noises if claim.state == "same"]
    unshown = [claim.question.noun for claim in noises if claim.state == "open"]
    told = [f"in {joined(same)} (shown)"] if same else []
    told += [f"in {joined(unshown)} (none could be shown)"] if unshown else []
    return joined(told) if told else "was measured"


def _heard_words(fix: Fix) -> str:
    gone = [noise for noise in fix.heard_before if noise not in fix.heard_after]
    kept = [noise for noise in fix.heard_before if noise in fix.heard_after]
    if not fix.heard_before or not fix.gains:
        return ""
    parts = [f"{joined(gone)} that was heard is then not surely heard any more"] if gone else []
    parts += [f"{joined(kept)} is still heard"] if kept else []
    return f"In quiet passages {' and '.join(parts)} (prediction)."


def _cost_words(fix: Fix, costs: Sequence[Claim]) -> str:
    told = [difference_in_words(claim.change, claim.question.noun) for claim in costs]
    if fix.bass is not None and fix.bass.is_shown:
        told.append(
            f"bass: {decibels(fix.bass.loss_db, 1)} less at {BASS_HZ:.0f} Hz, the lowest note of a bass guitar "
            f"({difference_words('tone', fix.bass.loss_db)})"
        )
    if told:
        return f"It costs {listed(told)}."
    return "Nothing that it costs and that would be noticed was found." if fix.gains else ""


def _matters(bench: BenchRows, fix: Fix) -> bool:
    """Return whether what it makes weaker weighs anything."""
    return any(bench.severity(fix.device, claim.question.kind) != "none" for claim in fix.gains)


def _dear(fix: Fix) -> bool:
    """Return whether it costs what listeners notice."""
    return fix.bass is not None and fix.bass.is_shown and fix.bass.loss_db >= 1.0


def _ranking(bench: BenchRows, fixes: Sequence[Fix]) -> Finding:
    """Return the order of fixes by what is shown to be gained."""
    device = fixes[0].device
    helping = sorted((fix for fix in fixes if fix.gains), key=lambda fix: -fix.gain_db)
    unsure = [fix.name for fix in fixes if not fix.gains and any(_may_help(claim) for claim in fix.claims)]
    others = [fix.name for fix in fixes if not fix.gains and fix.name not in unsure]
    opening = f"Of the {count_words(len(fixes))} fixes tried on {device}"
    if not helping:
        sentence = f"{opening} none is shown to make a worthwhile difference."
    else:
        told = [
            f"{fix.name} ({difference_in_words(fix.gains[0].change, fix.gains[0].question.noun, aside=False)})"
            for fix in helping
        ]
        sentence = f"{opening}, by what they are shown to gain: {listed(told, 6)}."
        sentence += _ties(helping)
        if others:
            sentence += f" No worthwhile difference is shown for {listed(others)}."
    if unsure:
        sentence += f" Perhaps {listed(unsure)} too: {UNSURE}."
    claims = [fix.gains[0] for fix in helping] or [claim for fix in fixes for claim in fix.claims[:1]]
    return finding_of(
        KIND,
        device,
        sentence,
        quantity=claims[0].question.quantity,
        severity="slight" if any(_matters(bench, fix) for fix in helping) else "none",
        confidence=certainty_of(claims),
        evidence=[pointer for claim in claims for pointer in claim.evidence[:2]],
        more_id="order",
    )


def _may_help(claim: Claim) -> bool:
    return claim.state == "perhaps" and claim.question.is_noise and claim.change.value < 0 and _is_noticed(claim)


def _ties(helping: Sequence[Fix]) -> str:
    """Return neighbours in the order whose intervals overlap: which of them is better is not shown."""
    tied = [
        f"{better.name} and {worse.name}"
        for better, worse in zip(helping, helping[1:], strict=False)
        if not _is_better(better.gains[0].change, worse.gains[0].change)
    ]
    return f" Which is better of {listed(tied)} is not shown." if tied else ""


def _is_better(better: Change, worse: Change) -> bool:
    """Return whether intervals lie apart; of a bound only its own end is known."""
    if worse.bound is not None:
        return False
    most = better.value if better.high is None else better.high
    least = worse.value if worse.low is None else worse.low
    return better.quantity == worse.quantity and most < least
