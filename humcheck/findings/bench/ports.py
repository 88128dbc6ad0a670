"""Whether all ports of a device pass the sound alike, and which one is the worst."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from humcheck.findings.audibility import difference_severity, difference_words
from humcheck.findings.bench.asking import by_question
from humcheck.findings.bench.bench_rows import BenchRows, heavier, lighter
from humcheck.findings.bench.claims import Claim, claim_of, evidence_of
from humcheck.findings.bench.making import certainty_of, finding_of
from humcheck.findings.bench.questions import Question
from humcheck.findings.bench.wording import (
    capital,
    channel_in,
    count_words,
    difference_in_words,
    listed,
    margin_words,
    size_words,
    within_words,
)
from humcheck.findings.index import use_of
from humcheck.findings.words import joined
from humcheck.results import Change, Finding
from humcheck.results.rows import Severity

KIND = "ports"
SPREAD = "port_spread"
#: Common practice, no source.
HARDEST = (
    "The input farthest from the output is usually the hardest case: plug the source that matters most into the port "
    "that measured best, and record the farthest one again to be sure."
)
#: More takes of each port nobody makes.
_PATIENCE = 12
REPEAT = "Record each port again, unplugged and plugged in between, {count} takes in all of each."


def port_findings(bench: BenchRows) -> Iterator[Finding]:
    """Yield for each device with several ports which complaints depend on the port, which do not, what is open."""
    for device in bench.devices:
        ports = bench.ports(device)
        if len(ports) < 2:
            continue
        spreads = [row for row in bench.changes("port", device) if row.quantity == SPREAD and row.fix is None]
        claims = [
            claim_of(bench, question, _of_most_ports(rows)) for question, rows in by_question(bench, spreads).items()
        ]
        for claim in claims:
            if claim.state in ("different", "perhaps"):
                yield _differ(bench, device, claim)
        yield from _alike(device, [claim for claim in claims if claim.state == "same"], len(ports))
        yield from _open(bench, device, [claim for claim in claims if claim.state == "open"], len(ports))


def _of_most_ports(rows: Sequence[Change]) -> list[Change]:
    """Return the rows that compare the most ports: a picture shown at two ports says nothing of the others."""
    most = max(int(row.reference.get("n_ports", 0)) for row in rows)
    return [row for row in rows if int(row.reference.get("n_ports", 0)) == most]


def _differ(bench: BenchRows, device: str, claim: Claim) -> Finding:
    change, question = claim.change, claim.question
    largest, smallest = str(change.reference.get("largest")), str(change.reference.get("smallest"))
    sure = claim.state == "different"
    apart = f"{size_words(change, digits=2)} apart{channel_in(change)}"
    most, least = _ends(question)
    how = "are not alike in" if sure else "measured unlike, which is not certain until it is repeated, in"
    opening = f"The ports of {device} {how} {question.noun}"
    sentence = f"{opening}: {most} at port {largest}, {least} at port {smallest}, {apart}{_where(change)}."
    worst = _standing_out(bench, device, claim)
    if worst is not None:
        sentence += f" Port {worst.port} stands out: {_against_others(worst, question)}."
    if question.kind == "level":
        sentence += f" That is {difference_words('level', change.value)}."
    evidence = [*claim.evidence, *(evidence_of([worst]) if worst is not None else ())]
    severity = _severity(bench, device, claim, largest) if sure else "none"
    return finding_of(
        KIND,
        device,
        sentence,
        quantity=question.quantity,
        severity=severity,
        confidence=certainty_of([claim]),
        evidence=evidence,
        advice=[HARDEST] if severity != "none" else [] if sure else [REPEAT.format(count="two or more")],
    )


def _ends(question: Question) -> tuple[str, str]:
    if question.noun == "level":
        return "highest", "lowest"
    return ("most to the left", "most to the right") if question.noun == "balance" else ("most", "least")


def _where(change: Change) -> str:
    told = [] if change.picture is None else [f"{change.picture} picture"]
    told += [f"{name} {value}" for name, value in sorted(change.condition.items())]
    return f" ({', '.join(told)})" if told else ""


def _standing_out(bench: BenchRows, device: str, claim: Claim) -> Change | None:
    """Return the port that is shown to differ from the median of the others, if it is the one at the bad end."""
    spread = claim.change
    if int(spread.reference.get("n_ports", 0)) < 3:
        return None
    ends = (spread.reference.get("largest"), spread.reference.get("smallest"))
    # Of a noise only more of it is bad; of a level both ends are.
    wanted = ends if claim.question.kind == "level" else ends[:1]
    place = use_of(spread)
    rows = [
        row
        for row in bench.changes("port", device)
        if row.quantity == claim.question.quantity
        and row.port in wanted
        and row.channel == spread.channel
        and row.distinguishable
        and bench.holds(row)
        and not row.equivalent
        and (use_of(row)[0], *use_of(row)[2:]) == (place[0], *place[2:])
    ]
    return max(rows, key=lambda row: abs(row.value), default=None)


def _against_others(row: Change, question: Question) -> str:
    than = "against" if question.noun == "balance" else "than"
    return f"{difference_in_words(row, question.noun)} {than} the middle one of the other ports"


def _severity(bench: BenchRows, device: str, claim: Claim, port: str) -> Severity:
    """Return how much the difference weighs: no more than the noise itself does at its worst port."""
    step = difference_severity("level", claim.change.value)
    if claim.question.kind == "level":
        return step
    own = [bench.severity(device, claim.question.kind, use.key) for use in bench.uses[device] if use.key.port == port]
    weight = heavier(["none", *own])
    return lighter([weight, step if claim.change.unit == "dB" else weight])


def _alike(device: str, claims: Sequence[Claim], n_ports: int) -> Iterator[Finding]:
    if not claims:
        return
    by_margin: dict[str, list[str]] = {}
    for claim in claims:
        by_margin.setdefault(margin_words(claim.change), []).append(claim.question.noun)
    compared = min(int(claim.change.reference.get("n_ports", n_ports)) for claim in claims)
    every = compared == n_ports
    every_words = "both ports" if n_ports == 2 else f"all {count_words(n_ports)} ports"
    which = every_words if every else f"{count_words(compared)} of {n_ports} ports"
    found = listed([f"{claim.question.noun} {size_words(claim.change, digits=2)}" for claim in claims])
    sentence = (
        f"{capital(which)} of {device} pass the sound alike in what could be shown: {within_words(by_margin)}. "
        f"The largest differences found: {found}."
    )
    yield finding_of(
        KIND,
        device,
        sentence,
        quantity=SPREAD,
        confidence=certainty_of(claims),
        evidence=[pointer for claim in claims for pointer in claim.evidence[:2]],
        more_id="alike",
    )


def _open(bench: BenchRows, device: str, claims: Sequence[Claim], n_ports: int) -> Iterator[Finding]:
    if not claims:
        return
    nouns = joined([claim.question.noun for claim in claims])
    needed = max((claim.takes_needed or 0 for claim in claims), default=0)
    unknown = all(claim.change.reference.get("repeatability") not in ("own", "borrowed") for claim in claims)
    sentence = f"Whether the {count_words(n_ports)} ports of {device} are alike in {nouns} is not shown"
    sentence += ", because nothing is known of how much one take differs from the next" if unknown else ""
    sentence += f". Measured: {listed([_measured(claim) for claim in claims])}."
    matters = not all(bench.is_nothing(device, claim.question.kind) for claim in claims)
    if not matters:
        sentence += " None of it is found to matter at any port."
    elif needed:
        sentence += f" About {needed} takes of each port would probably show it, if they are."
    count = str(needed) if needed else "two or more"
    yield finding_of(
        KIND,
        device,
        sentence,
        quantity=claims[0].question.quantity,
        confidence="not shown",
        evidence=[pointer for claim in claims for pointer in claim.evidence[:1]],
        more_id="open",
        advice=[REPEAT.format(count=count)] if needed <= _PATIENCE and matters else [],
    )


def _measured(claim: Claim) -> str:
    largest, smallest = (claim.change.reference.get(name) for name in ("largest", "smallest"))
    most, least = _ends(claim.question)
    apart = size_words(claim.change, digits=2)
    return f"{claim.question.noun} {most} at port {largest} and {least} at port {smallest}, {apart} apart"
