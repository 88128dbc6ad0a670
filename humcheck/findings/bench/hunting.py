"""A hunt by halves: a series of steps, one thing unplugged or changed at each, and the step that took the hum away."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.claims import Claim
from humcheck.findings.bench.fixes import Fix, fixes_of
from humcheck.findings.bench.making import UNSURE, certainty_of, finding_of
from humcheck.findings.bench.wording import count_words, difference_in_words, listed
from humcheck.findings.words import joined
from humcheck.results import Finding

KIND = "hunt"
_LEAST_STEPS = 3
_NOISES = ("hum_level", "hum_and_buzz_level", "buzz_level")


def hunt_findings(bench: BenchRows) -> Iterator[Finding]:
    """Yield for each device with a series of three fixes and more which of them took a noise away."""
    for device in bench.devices:
        steps = fixes_of(bench, device)
        if len(steps) < _LEAST_STEPS or len({step.before for step in steps}) > 1:
            continue
        for quantity in _NOISES:
            known = [(step, claim) for step in steps if (claim := step.claim(quantity)) is not None]
            finding = _finding(bench, device, known) if len(known) >= _LEAST_STEPS else None
            if finding is not None:
                yield finding
                break


def _finding(bench: BenchRows, device: str, known: Sequence[tuple[Fix, Claim]]) -> Finding | None:
    taking = [index for index, (_, claim) in enumerate(known) if _takes(claim, "different")]
    perhaps = [index for index, (_, claim) in enumerate(known) if _takes(claim, "perhaps")]
    found = taking or perhaps
    # Where several take it away and it is there again between or after them, they are cures that stand side by side.
    if not found or (len(found) > 1 and found != list(range(found[0], len(known)))):
        return None
    first = found[0]
    step, claim = known[first]
    noun = claim.question.noun
    sure = bool(taking)
    before = [name.name for name, other in known[:first]]
    what = difference_in_words(claim.change, noun, aside=False)
    sentence = (
        f"Of {count_words(len(known))} things tried on {device} one after the other it is number {first + 1}, "
        f"{step.name!r}, that {'takes' if sure else 'seems to take'} the {noun} away ({what})."
    )
    if before:
        shown = all(other.state == "same" for _, other in known[:first])
        sentence += f" Before it {joined(before)} changed nothing{' (shown)' if shown else ' that is shown'}."
    sentence += _after(known, first, found)
    if not sure:
        sentence += f" That is {UNSURE}."
    claims = [claim, *(other for _, other in known if other is not claim)]
    return finding_of(
        KIND,
        device,
        sentence,
        quantity=claim.question.quantity,
        severity="slight" if sure and bench.severity(device, claim.question.kind) != "none" else "none",
        confidence=certainty_of([claim]),
        evidence=[pointer for one in claims for pointer in one.evidence[:1]],
        advice=[f"Undo {step.name!r} and do it again, a short quiet take each: the {noun} has to come and go with it."],
    )


def _takes(claim: Claim, state: str) -> bool:
    return claim.state == state and claim.change.value <= -claim.question.step and not claim.is_both_ways


def _after(known: Sequence[tuple[Fix, Claim]], first: int, found: Sequence[int]) -> str:
    """Return whether the noise stayed away in the steps after it: then steps were added, not exchanged."""
    after = range(first + 1, len(known))
    if not after:
        return ""
    if all(index in found for index in after):
        return " It stays away in all steps after it: each was added to those before it, or each helps by itself."
    back = [known[index][0].name for index in after if index not in found]
    return f" It is there again with {listed(back)}."
