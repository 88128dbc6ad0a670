"""The rows of a whole bench, by device and by what is set against each other."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from humcheck.findings.bench.questions import question_of
from humcheck.findings.index import RowIndex, Use, use_of, uses_of
from humcheck.results import Change, Finding, Key, Measure, Results, TakeRow
from humcheck.results.rows import Contrast, Severity

SEVERITIES: tuple[Severity, ...] = ("none", "slight", "clear", "strong")
#: Probability of a single false difference in all that is said of a bench.
SIGNIFICANCE = 0.05
#: So many times the usual step between takes no bench drifts by itself (common practice, no source).
_HUGE = 10.0
#: What a change's reference may hold: words, and whole numbers.
_WORDS = ("subject", "port", "picture", "fix", "differs", "quantity", "largest", "smallest", "repeatability")
_COUNTS = ("n_takes", "n_ports")
#: A device's rows stand in these roles.
_ROLES = ("through", "direct")


class BenchRows:
    """Rows of a bench, sorted once.

    Parameters
    ----------
    rows : RowIndex
        All rows.
    found : iterable of Finding, optional
        What was found of single uses: how much each complaint weighs.

    Attributes
    ----------
    results : Results
        All rows.
    devices : list of str
        In the order in which they were recorded.
    """

    def __init__(self, rows: RowIndex, found: Iterable[Finding] = ()) -> None:
        self.rows = rows
        self.results: Results = rows.results
        self.uses: dict[str, list[Use]] = {}
        for use in uses_of(rows, "through"):
            self.uses.setdefault(use.key.subject, []).append(use)
        self.devices = list(self.uses)
        self.takes: dict[str, list[TakeRow]] = {}
        self._takes_of_use: dict[tuple[Any, ...], int] = {}
        for take in self.results.takes:
            self.takes.setdefault(take.role, []).append(take)
            place = use_of(take)
            self._takes_of_use[place] = self._takes_of_use.get(place, 0) + 1
        self._changes: dict[tuple[str, str], list[Change]] = {}
        self._asked: set[tuple[str, str, str]] = set()
        self.add(self.results.changes)
        self._severities = _severities(found)

    def add(self, changes: Iterable[Change]) -> None:
        """Add changes; each question that is new among them counts among those that are asked of the bench."""
        for change in changes:
            counts = change.contrast != "direct" and change.role in _ROLES and change.listening is None
            if counts and _is_readable(change.reference):
                self._changes.setdefault((change.contrast, change.subject), []).append(change)
                asked = _asked(change)
                if asked is not None:
                    self._asked.add(asked)

    def changes(self, contrast: Contrast, subject: str) -> list[Change]:
        """Return the changes of a contrast and a subject."""
        return self._changes.get((contrast, subject), [])

    def subjects(self, contrast: Contrast) -> list[str]:
        """Return the subjects that have changes of a contrast, in the order of their rows."""
        return [subject for of, subject in self._changes if of == contrast]

    @property
    def n_questions(self) -> int:
        """How many questions are asked of the bench, of which each may be answered wrongly by chance."""
        return len(self._asked)

    def holds(self, change: Change) -> bool:
        """Return whether a difference stands out of all questions of the bench together, and not of its own alone.

        Notes
        -----
        `p_adjusted` is Holm's over the rows of one question; times the number of questions that are asked of the bench
        (Bonferroni) it holds for all of them: a bench without any difference gives a false one in 5 % at most. Where
        scatter is known from a take or two, no difference however large would pass: one that its own question tells
        from chance, and that is ten times what takes usually differ by, passes too.
        """
        question = question_of(change)
        if change.p_adjusted is None or question is None:
            return True
        is_huge = abs(change.value) >= _HUGE * question.step
        return is_huge or change.p_adjusted * self.n_questions < SIGNIFICANCE

    def severity(self, subject: str, kind: str, use: Key | None = None) -> Severity:
        """Return how much a complaint weighs, of one use or of the worst."""
        place = (subject, kind, None if use is None else use_of(use))
        return self._severities.get(place, "none")

    def is_nothing(self, subject: str, kind: str) -> bool:
        """Return whether a complaint was judged and weighs nothing in any use."""
        return self._severities.get((subject, kind, None)) == "none"

    def ports(self, subject: str) -> list[str]:
        """Return the ports of a device, in the order in which they were recorded."""
        return list(dict.fromkeys(use.key.port for use in self.uses.get(subject, ()) if use.key.port is not None))

    def n_takes(self, key: Key) -> int:
        """Return how many takes a use has; 1 where results list none."""
        return self._takes_of_use.get(use_of(key), 0) or max(
            (row.n_takes for row in self.rows.rows(Measure, use_of(key), key.quantity) if row.role == key.role),
            default=1,
        )


def _is_readable(reference: dict[str, Any]) -> bool:
    """Return whether a reference, which a results file may fill with anything, holds what it should."""
    condition = reference.get("condition")
    return (
        all(isinstance(reference.get(name), str | None) for name in _WORDS)
        and all(isinstance(reference.get(name, 1), int) for name in _COUNTS)
        and (condition is None or (isinstance(condition, dict) and all(map(_is_word, condition.items()))))
        and all(isinstance(name, str) for name in reference.get("measures") or ())
    )


def _is_word(item: tuple[Any, Any]) -> bool:
    return all(isinstance(part, str) for part in item)


def _asked(change: Change) -> tuple[str, str, str] | None:
    """Return what a change asks, where a finding may claim a difference from it; None where none does."""
    question = question_of(change)
    # Of ports it is the spread that is asked for; which port stands out is told only then.
    single_port = change.contrast == "port" and change.quantity != "port_spread"
    if question is None or single_port or change.contrast == "direct" or change.p_adjusted is None:
        return None
    return change.contrast, change.role, question.quantity


def _severities(found: Iterable[Finding]) -> dict[tuple[Any, ...], Severity]:
    worst: dict[tuple[Any, ...], Severity] = {}
    for finding in found:
        for place in (
            (finding.subject, finding.kind, None),
            (finding.subject, finding.kind, use_of(finding)),
        ):
            worst[place] = heavier([worst.get(place, "none"), finding.severity])
    return worst


def heavier(severities: Sequence[Severity]) -> Severity:
    """Return the heaviest of several severities."""
    return max(severities, key=SEVERITIES.index)


def lighter(severities: Sequence[Severity]) -> Severity:
    """Return the lightest of several severities."""
    return min(severities, key=SEVERITIES.index)
