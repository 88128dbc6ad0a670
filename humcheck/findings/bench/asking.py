"""Which questions a set of changes answers."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.questions import QUESTIONS, Question, question_of
from humcheck.findings.index import use_of
from humcheck.results import Change, Measure

_SUM, _PARTS = "hum_and_buzz_level", ("hum_level", "buzz_level")


def by_question(bench: BenchRows, changes: Iterable[Change]) -> dict[Question, list[Change]]:
    """Return changes by question, in the order of questions.

    The sum of hum and buzz counts only where neither is known by itself on either side: of two uses of which one tells
    them apart and the other does not it is a remainder in the one and the whole in the other.
    """
    found: dict[Question, list[Change]] = {}
    for change in changes:
        question = question_of(change)
        if question is not None and (question.quantity != _SUM or _is_whole(bench, change)):
            found.setdefault(question, []).append(change)
    return {question: found[question] for question in QUESTIONS if question in found}


def _is_whole(bench: BenchRows, change: Change) -> bool:
    return not any(
        row.bound is None and row.role == change.role and row.channel == change.channel
        for place in _places(bench, change)
        for part in _PARTS
        for row in bench.rows.rows(Measure, place, part)
    )


def _places(bench: BenchRows, change: Change) -> list[tuple[Any, ...]]:
    """Return the uses on both sides of a change; of a spread over ports all ports."""
    subject, port, picture, condition, fix = use_of(change)
    if change.contrast == "port":
        every = [use_of(use.key) for use in bench.uses.get(subject, ())]
        return [place for place in every if place[2:] == (picture, condition, fix)]
    reference = change.reference
    given = reference.get("condition")
    other = (
        reference.get("subject", subject),
        reference.get("port", port),
        reference.get("picture", picture),
        condition if given is None else tuple(sorted(given.items())),
        reference.get("fix", fix),
    )
    return [use_of(change), other]
