"""Two devices against each other, question by question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import msgspec

from humcheck.findings.bench.asking import by_question
from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.claims import Claim, claim_of
from humcheck.findings.bench.questions import Question
from humcheck.findings.index import use_of
from humcheck.results import Change


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """One question about two devices.

    Attributes
    ----------
    better : str or None
        The device of which less is shown; None where that is not shown, or depends on the port.
    worse : str or None
        The other one.
    devices : frozenset of str
        Both.
    claim : Claim
        What it rests on.
    """

    devices: frozenset[str]
    claim: Claim
    better: str | None = None
    worse: str | None = None

    @property
    def is_tie(self) -> bool:
        """Whether neither is shown to be better."""
        return self.better is None


def device_pairs(bench: BenchRows) -> dict[Question, list[Pair]]:
    """Return for every question what is known of every two devices, fixes left out where there are takes without."""
    rows: dict[tuple[str, str], list[Change]] = {}
    for device in bench.devices:
        for row in bench.changes("device", device):
            other = str(row.reference.get("subject"))
            if row.fix is None and other in bench.uses:
                rows.setdefault((device, other), []).append(row)
    pairs: dict[Question, list[Pair]] = {}
    for (device, other), changes in rows.items():
        for question, same in by_question(bench, changes).items():
            pairs.setdefault(question, []).append(_pair(bench, device, other, question, same))
    return {question: pairs[question] for question in sorted(pairs, key=lambda question: question.order)}


def _pair(bench: BenchRows, device: str, other: str, question: Question, changes: Sequence[Change]) -> Pair:
    if question.kind == "level":
        changes = [_of_sizes(bench, question, row) for row in changes]
    claim = claim_of(bench, question, changes)
    devices = frozenset((device, other))
    if claim.state != "different" or claim.is_both_ways:
        return Pair(devices=devices, claim=claim)
    worse, better = (device, other) if claim.change.value > 0 else (other, device)
    return Pair(devices=devices, claim=claim, better=better, worse=worse)


def _of_sizes(bench: BenchRows, question: Question, row: Change) -> Change:
    """Return a change as one of distances from the direct path; told apart only if their intervals lie apart.

    Of a level neither more nor less is good: what counts is how far it is from the direct one.
    """
    ours = _distance(bench, question, row, row.subject, row.port, row.condition)
    theirs = _distance(bench, question, row, *_other(row))
    if ours is None or theirs is None:
        return msgspec.structs.replace(row, distinguishable=None, p_adjusted=1.0)
    apart = ours[0] > theirs[1] or theirs[0] > ours[1]
    value = sum(ours) / 2 - sum(theirs) / 2
    told = bool(row.distinguishable and apart) if row.distinguishable is not None else None
    adjusted = row.p_adjusted if apart else 1.0
    return msgspec.structs.replace(row, value=value, distinguishable=told, p_adjusted=adjusted, low=None, high=None)


def _other(row: Change) -> tuple[str, str | None, dict[str, str]]:
    """Return device, port and condition of the other side."""
    condition = row.reference.get("condition")
    other = row.condition if condition is None else condition
    return str(row.reference.get("subject")), row.reference.get("port", row.port), other


def _distance(
    bench: BenchRows, question: Question, row: Change, device: str, port: str | None, condition: dict[str, str]
) -> tuple[float, float] | None:
    """Return the ends of the interval of a device's distance from the direct path."""
    place = use_of(msgspec.structs.replace(row, subject=device, port=port, condition=condition))
    direct = next(
        (
            change
            for change in bench.rows.rows(Change, place, question.quantity)
            if (change.contrast, change.channel) == ("direct", row.channel)
        ),
        None,
    )
    if direct is None or direct.low is None or direct.high is None:
        return None
    ends = sorted((abs(direct.low), abs(direct.high)))
    return (0.0 if direct.low <= 0 <= direct.high else ends[0]), ends[1]
