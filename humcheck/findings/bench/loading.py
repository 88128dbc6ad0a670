"""Several outputs loaded at once: from the loss of level the ratio of source to load resistance.

The number of loaded outputs is the condition `outputs` = ``"1"``, ``"2"``, ... A source of resistance Rs that feeds n
equal loads R in parallel is a voltage divider of Rs and R/n, so that of its open voltage there is left

    level_n = (R/n) / (Rs + R/n) = R / (n Rs + R) = 1 / (1 + n r),    r = Rs / R.

From m to n loads (n > m) the level falls by the factor k = level_m / level_n = (1 + n r) / (1 + m r). Solved for r:

    k (1 + m r) = 1 + n r    =>    r = (k - 1) / (n - k m),    k = 10^(L / 20), L the loss in dB.

r grows with k as long as k < n / m, the loss of a source that is nothing but resistance; so the ends of the loss's
interval give the ends of r. From 1 to 2 loads: r = (k - 1) / (2 - k). Elementary circuit theory (Ohm, Kirchhoff).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from humcheck.findings.audibility import difference_severity, difference_words
from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.claims import Claim, claim_of
from humcheck.findings.bench.making import certainty_of, finding_of
from humcheck.findings.bench.questions import QUESTIONS
from humcheck.findings.bench.wording import channel_in, count_words, factor_words, margin_words
from humcheck.findings.words import decibels
from humcheck.results import Change, Finding

KIND = "loading"
KEY = "outputs"
ASSUMED = "1"
_LEVEL = next(question for question in QUESTIONS if question.quantity == "gain")


def source_over_load(loss_db: float, loads_before: int, loads_now: int) -> float | None:
    """Return the ratio of source to load resistance from a loss of level; None where sharing cannot explain it.

    Parameters
    ----------
    loss_db : float
        How much lower the level is with `loads_now` than with `loads_before`; a gain counts as no loss.
    loads_before, loads_now : int
        Equal loads in parallel, the second number the larger.

    Returns
    -------
    float or None
        Rs / R; infinite losses do not exist: at `loads_now` / `loads_before` and beyond there is no such ratio.

    Examples
    --------
    >>> round(source_over_load(20 * math.log10(3 / 2), 1, 2), 9)
    1.0
    """
    factor = 10 ** (max(loss_db, 0.0) / 20)
    room = loads_now - factor * loads_before
    return (factor - 1) / room if room > 0 else None


def loading_findings(bench: BenchRows) -> Iterator[Finding]:
    """Yield for each device what several loaded outputs do to the level, and what that says of the source."""
    for device in bench.devices:
        pairs: dict[tuple[int, int], list[Change]] = {}
        for row in bench.changes("condition", device):
            counts = _counts(row)
            if row.quantity == _LEVEL.quantity and counts is not None:
                pairs.setdefault(counts, []).append(row)
        for (before, now), rows in pairs.items():
            yield _finding(device, before, now, claim_of(bench, _LEVEL, rows))


def _counts(row: Change) -> tuple[int, int] | None:
    name, reference = str(row.reference.get("differs")), row.reference.get("condition") or {}
    if name.lower() != KEY:
        return None
    # Takes that do not say it have one output loaded, as a bench usually has; the finding says that this is assumed.
    values = [str(reference.get(name, ASSUMED)), str(row.condition.get(name, ASSUMED))]
    if not all(value.isdecimal() and int(value) > 0 for value in values):
        return None
    before, now = int(values[0]), int(values[1])
    return None if before == now else (before, now)


def _finding(device: str, before: int, now: int, claim: Claim) -> Finding:
    change = claim.change
    fewer, more = min(before, now), max(before, now)
    loaded = f"With {count_words(more)} outputs of {device} loaded in place of {count_words(fewer)}"
    ends = _losses(change, more_is_now=now > before)
    said = difference_words("level", change.value)
    if claim.state == "same":
        sentence = (
            f"{loaded} the level stays as it is (within {margin_words(change)}, shown): the box, or the source, is "
            f"strong enough to feed them all{_at_most(ends[2], fewer, more)}."
        )
    elif claim.state == "open":
        sentence = f"{loaded} no loss of level is shown, and that there is none is not shown either."
    elif ends[0] < 0:
        rise = decibels(-ends[0], 2)
        sentence = f"{loaded} the level is {rise} higher: sharing cannot explain that. Check what was plugged in."
    else:
        perhaps = "" if claim.state == "different" else ", as far as single takes tell"
        size = f"{decibels(ends[0], 2)} ({factor_words(-ends[0])}{channel_in(change)})"
        sentence = f"{loaded} the level falls by {size}{perhaps}: {said}. {_explained(device, ends, fewer, more)}"
    sure = claim.state == "different"
    return finding_of(
        KIND,
        device,
        sentence,
        quantity=_LEVEL.quantity,
        severity=difference_severity("level", change.value) if sure else "none",
        confidence=certainty_of([claim]),
        doubts=_doubts(claim),
        evidence=claim.evidence,
        more_id=f"{before}-{now}",
        advice=["Load one output at a time, or put a buffer amplifier between the box and the second load."]
        if sure and abs(change.value) >= 0.5
        else [],
    )


def _doubts(claim: Claim) -> list[str]:
    dicts = [part for row in claim.changes for part in (row.condition, row.reference.get("condition") or {})]
    if all(KEY in (name.lower() for name in part) for part in dicts):
        return []
    return ["some takes do not say how many outputs were loaded: one is assumed"]


def _losses(change: Change, *, more_is_now: bool) -> tuple[float, float, float]:
    """Return the loss in dB from fewer to more loads: value, least, most."""
    sign = -1.0 if more_is_now else 1.0
    ends = sorted(sign * (change.value if end is None else end) for end in (change.low, change.high))
    return sign * change.value, ends[0], ends[1]


def _at_most(loss_db: float, fewer: int, more: int) -> str:
    ratio = source_over_load(loss_db, fewer, more)
    return "" if ratio is None else f"; what feeds a load has at most {_ratio(ratio)} of that load's resistance"


def _explained(device: str, ends: Sequence[float], fewer: int, more: int) -> str:
    value, least, most = (source_over_load(loss_db, fewer, more) for loss_db in ends)
    if least is None:
        return (
            f"That is more than a source can lose that shares its signal between equal loads "
            f"({_largest(fewer, more)}): the loads are unequal, or something else was changed too."
        )
    opening = "A box that only passes the signal on shares it between its loads, and that is what is seen"
    if value is None or most is None:
        return f"{opening}: what feeds a load has at least {_ratio(least)} of that load's resistance."
    return (
        f"{opening}: what feeds a load (the source and {device} together) has {_ratio(value)} of the resistance of one "
        f"load, between {_ratio(least)} and {_ratio(most)} (equal loads assumed, nothing else in the way)."
    )


def _largest(fewer: int, more: int) -> str:
    return f"at most {decibels(20 * math.log10(more / fewer), 2)}"


def _ratio(ratio: float) -> str:
    return f"{100 * ratio:.0f} %" if ratio < 9.995 else f"{ratio:.0f} times"
