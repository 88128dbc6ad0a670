"""What may be said of a difference, or of many of one kind: no more than their intervals carry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from humcheck.findings.bench.bench_rows import SIGNIFICANCE, BenchRows
from humcheck.findings.bench.questions import Question
from humcheck.results import Change, Evidence

State = Literal["different", "same", "perhaps", "open"]
#: Evidence of one finding.
MOST_EVIDENCE = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """What is known of one question.

    Attributes
    ----------
    question : Question
        What was asked.
    state : str
        ``"different"``: shown to differ in one row at least, beyond what chance would bring into all rows of all
        questions. ``"same"``: shown to be the same within the margin, in every row. ``"perhaps"``: measured to differ,
        but takes are too few, or questions too many, to tell it from chance. ``"open"``: neither is shown.
    change : Change
        The row that speaks for it most: of a difference the largest.
    changes : tuple of Change
        All rows that are of this state; of ``"open"`` all rows.
    """

    question: Question
    state: State
    change: Change
    changes: tuple[Change, ...]

    @property
    def evidence(self) -> list[Evidence]:
        """Pointers to its rows, the weightiest first."""
        return evidence_of([self.change, *self.changes])

    @property
    def is_both_ways(self) -> bool:
        """Whether some rows differ one way and some the other."""
        return len({change.value > 0 for change in self.changes}) > 1

    @property
    def takes_needed(self) -> int | None:
        """How many takes of each side would probably show sameness; None where that cannot be told."""
        return max((change.takes_needed or 0 for change in self.changes), default=0) or None


def evidence_of(changes: Sequence[Change]) -> list[Evidence]:
    """Return pointers to changes, each once."""
    pointers = []
    for change in changes:
        pointers += [Evidence(change=change.id)] if change.id else []
        # What was set against each other here, and not by comparison, points to what it was made of.
        pointers += [Evidence(measure=name) for name in change.reference.get("measures", ())]
    return list(dict.fromkeys(pointers))[:MOST_EVIDENCE]


def claim_of(bench: BenchRows, question: Question, changes: Sequence[Change]) -> Claim:
    """Return what the changes of one question say together.

    Parameters
    ----------
    bench : BenchRows
        For the number of takes.
    question : Question
        What they answer.
    changes : sequence of Change
        At least one: channels and uses.
    """
    states = [state_of(bench, question, change) for change in changes]
    found: State = "open"
    if "different" in states:
        found = "different"
    elif all(state == "same" for state in states):
        found = "same"
    elif "perhaps" in states:
        found = "perhaps"
    chosen = [change for change, state in zip(changes, states, strict=True) if found in ("open", state)]
    return Claim(
        question=question, state=found, change=max(chosen, key=lambda row: abs(row.value)), changes=tuple(chosen)
    )


def state_of(bench: BenchRows, question: Question, change: Change) -> State:
    """Return what one change says.

    Notes
    -----
    A bound has no probability. One that leaves zero by more than takes differ among themselves is a difference where
    both sides were recorded more than once. What stands out of its own question's scatter, but not when all questions
    of the bench are counted together, is only perhaps a difference.
    """
    if change.bound is not None:
        towards_zero = change.value if change.bound == "lower" else -change.value
        if towards_zero < question.step:
            return "open"
        several = min(int(change.reference.get("n_takes", 1)), _own_takes(bench, change)) > 1
        return "different" if several else "perhaps"
    if change.equivalent:
        return "same"
    if change.distinguishable is not None:
        return "open" if not change.distinguishable else "different" if bench.holds(change) else "perhaps"
    return "perhaps" if _stands_out(question, change) else "open"


def _own_takes(bench: BenchRows, change: Change) -> int:
    # The spread over ports counts the takes of every port already.
    return 2 if change.quantity == "port_spread" else bench.n_takes(change)


def _stands_out(question: Question, change: Change) -> bool:
    """Return whether a difference of single takes is worth a word: beyond their own noise and beyond a usual step."""
    if change.p_adjusted is not None:
        return change.p_adjusted < SIGNIFICANCE
    if change.low is None or change.high is None:
        return abs(change.value) >= question.step
    return abs(change.value) >= question.step and (change.low > 0 or change.high < 0)
