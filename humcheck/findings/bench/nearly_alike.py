"""Devices that were never used under quite the same conditions, set against each other in their usual use.

A box without a supply has no condition ``supply``, and comparison takes that for another use than ``supply = "on"``.
Where two devices share no use at all, each is taken as it was first recorded at a port and under a picture, if no
condition that both name differs; that they were not used quite alike is said beside whatever follows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import msgspec

from humcheck.comparison.certainty import CertaintySettings
from humcheck.comparison.changes import Compared, compare, judged
from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.questions import QUESTIONS, Question
from humcheck.findings.index import Use
from humcheck.results import Change, Measure

#: Within one bench the tone's level tells the gain of devices apart: the direct path, which both share, cancels.
_MEASURED_AS = {"gain": "tone_level"}
_Usual = dict[tuple[str | None, str | None], Use]


def nearly_alike_changes(bench: BenchRows) -> list[Change]:
    """Return changes of contrast ``device`` between devices that share no use; their reference tells its condition."""
    together = {
        frozenset((device, str(row.reference.get("subject"))))
        for device in bench.devices
        for row in bench.changes("device", device)
    }
    usual = {device: _usual_uses(bench.uses[device]) for device in bench.devices}
    compared = [
        change
        for earlier, later in combinations(bench.devices, 2)
        if frozenset((earlier, later)) not in together
        for change in _of_pair(usual[earlier], usual[later])
    ]
    return judged(compared, CertaintySettings(margins=bench.results.settings.margins))


def _usual_uses(uses: Sequence[Use]) -> _Usual:
    """Return the first use without a fix at each port and under each picture."""
    usual: _Usual = {}
    for use in uses:
        if use.key.fix is None:
            usual.setdefault((use.key.port, use.key.picture), use)
    return usual


def _of_pair(earlier: _Usual, later: _Usual) -> Iterator[Compared]:
    for place, use in later.items():
        other = earlier.get(place)
        if other is None:
            continue
        ours, theirs = use.key.condition, other.key.condition
        if any(ours[name] != theirs[name] for name in ours.keys() & theirs.keys()):
            continue
        for question in QUESTIONS:
            yield from _of_question(question, use, other)


def _of_question(question: Question, use: Use, other: Use) -> Iterator[Compared]:
    unit = "percent" if question.quantity == "thd" else "dB"
    ours, theirs = _measures(question, use), _measures(question, other)
    for channel in ours.keys() & theirs.keys():
        value, reference = ours[channel], theirs[channel]
        more = {"condition": dict(other.key.condition), "measures": [row.id for row in (value, reference) if row.id]}
        change = compare(value, reference, "device", unit=unit, more=more)
        if change is not None:
            yield change


def _measures(question: Question, use: Use) -> dict[str, Measure]:
    """Return what a question asks of a use, by channel; what is told of both channels only where it stands alone."""
    rows = use.measures(_MEASURED_AS.get(question.quantity, question.quantity), "through")
    single = {channel: row for channel, row in rows.items() if channel != "both"} or rows
    return {channel: msgspec.structs.replace(row, quantity=question.quantity) for channel, row in single.items()}
