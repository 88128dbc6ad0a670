"""Hypotheses weighed by clues, each clue in words.

The weights are this project's own convention, written beside each clue: 1 a hint, 2 a good sign, 3 nearly decides,
negative against. They order hypotheses and say how close the second is; they are no probabilities.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from humcheck.results import Evidence

#: Ahead of the next hypothesis by this much: likely; by this much: a guess; by less: open.
_LIKELY = 1.5
_GUESS = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """One cause that may be behind a finding.

    Attributes
    ----------
    name : str
        Short name, as it stands in results.
    short : str
        What it is in a few words, to begin a clause.
    words : str
        What it is and how it works, to follow "most likely the cause is".
    test : str
        The one test that would decide.
    advice, cautions : tuple of str
        What to try, in order, and what to take care of.
    opening : str
        Words before `words`.
    group : str
        What several hypotheses have in common, to follow "that it is"; empty where a hypothesis stands alone.
    undecided : bool
        Whether it says itself that two causes cannot be told apart.
    """

    name: str
    short: str
    words: str
    test: str
    advice: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    opening: str = "Most likely the cause is"
    group: str = ""
    undecided: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Clue:
    """Something seen, and what it says of each hypothesis by name; without weights it is told beside the reasons.

    ``changed`` tells that it rests on a change of one thing, not on a pattern alone, ``helped`` that the change is a
    remedy to keep, ``done`` which piece of advice was followed with it.
    """

    words: str
    weights: Mapping[str, float]
    evidence: tuple[Evidence, ...] = ()
    changed: bool = False
    helped: bool = False
    done: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What the clues say.

    Attributes
    ----------
    best : Hypothesis
        The most likely one.
    second : Hypothesis or None
        The next one, if it comes close enough to be named.
    is_open : bool
        Whether the two cannot be told apart.
    confidence : str
        How sure, in words.
    reasons, doubts : tuple of str
        What speaks for and against.
    test : str
        What would decide.
    evidence : tuple of Evidence
        Rows that the clues rest on.
    helped, done : tuple of str
        Changes that took the noise away, in words; advice that was followed already.
    """

    best: Hypothesis
    second: Hypothesis | None
    is_open: bool
    confidence: str
    reasons: tuple[str, ...]
    doubts: tuple[str, ...]
    test: str
    evidence: tuple[Evidence, ...] = field(default=())
    helped: tuple[str, ...] = ()
    done: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Short name of the cause; ``"open"`` where two cannot be told apart."""
        return "open" if self.is_open else self.best.name

    @property
    def sentence(self) -> str:
        """Return the cause as a sentence."""
        if self.is_open and self.second is not None:
            return f"Two causes come equally close: {self.best.words}; or {self.second.words}."
        return f"{self.best.opening} {self.best.words}."

    def sentence_after(self, noise: str) -> str:
        """Return the cause as a sentence where the same was said of another noise just before."""
        return f"Most likely it has the same cause as the {noise}: {self.best.short}."


def weigh(hypotheses: Sequence[Hypothesis], clues: Sequence[Clue]) -> Verdict:
    """Return which hypothesis the clues support, and how far ahead of the next it is."""
    totals = {
        hypothesis.name: sum(clue.weights.get(hypothesis.name, 0.0) for clue in clues) for hypothesis in hypotheses
    }
    ordered = sorted(hypotheses, key=lambda hypothesis: -totals[hypothesis.name])
    best = ordered[0]
    second = ordered[1] if len(ordered) > 1 else None
    lead = totals[best.name] - totals[second.name] if second is not None else _LIKELY
    near = second if second is not None and lead < _LIKELY else None
    others = [totals[other.name] for other in ordered if not best.group or other.group != best.group]
    group_lead = totals[best.name] - max(others, default=0.0)
    changed = any(clue.changed and clue.weights.get(best.name, 0.0) > 0 for clue in clues)
    doubts = [clue.words for clue in clues if clue.weights.get(best.name, 0.0) < 0]
    if near is not None and lead >= _GUESS:
        doubts.append(f"{near.short} comes close")
    reasons = [clue.words for clue in clues if clue.weights.get(best.name, 0.0) > 0]
    return Verdict(
        best=best,
        second=near,
        is_open=lead < _GUESS,
        confidence=_confidence(best, lead, group_lead, changed),
        reasons=(*reasons, *(clue.words for clue in clues if not clue.weights)),
        doubts=tuple(doubts),
        test=_MADE if changed and near is None and not best.group else best.test,
        evidence=tuple(
            pointer for clue in sorted(clues, key=lambda clue: not clue.changed) for pointer in clue.evidence
        ),
        helped=tuple(clue.words for clue in clues if clue.helped),
        done=tuple(clue.done for clue in clues if clue.done),
    )


_MADE = (
    "The deciding test was made. Make it again, twice with and twice without the change in turn, to be sure that "
    "nothing else had changed."
)


def _confidence(best: Hypothesis, lead: float, group_lead: float, changed: bool) -> str:
    if best.undecided:
        return "cause open: the two cannot be told apart"
    sure = "well supported, by a change of one thing" if changed else "likely, from the pattern alone"
    if best.group and group_lead >= _LIKELY and (changed or lead < _LIKELY):
        # What was changed speaks for the group; which of the group it is comes from the pattern.
        way = "open" if lead < _GUESS else "a guess" if lead < _LIKELY else "likely, from the pattern"
        return f"that it is {best.group}: {sure}; which way it takes: {way}"
    if lead >= _LIKELY:
        return f"cause: {sure}"
    return "cause open" if lead < _GUESS else "cause: a guess, another comes close"
