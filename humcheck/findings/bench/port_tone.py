"""Whether all ports of a device pass all frequencies alike."""

from __future__ import annotations

from collections.abc import Iterator

from humcheck.findings.audibility import difference_severity, difference_words
from humcheck.findings.bench.bench_rows import SIGNIFICANCE, BenchRows, lighter
from humcheck.findings.bench.claims import evidence_of
from humcheck.findings.bench.making import UNSURE, finding_of
from humcheck.findings.bench.ports import HARDEST, KIND, REPEAT, SPREAD
from humcheck.findings.bench.wording import count_words
from humcheck.findings.sound import INSIDE_HZ
from humcheck.findings.words import decibels
from humcheck.results import Change, Finding
from humcheck.results.rows import Severity

TONE = "response_span"
#: Less is not told: sentences have hundredths of a decibel.
_LEAST_DB = 0.01
_ONCE = "Not every port was plugged in more than once: another time may make more of a difference."


def port_tone_findings(bench: BenchRows) -> Iterator[Finding]:
    """Yield for each device whose ports were swept how far they lie apart, and which one differs most."""
    for device in bench.devices:
        spreads = [
            row
            for row in bench.changes("port", device)
            if row.quantity == SPREAD and row.reference.get("quantity") == TONE and row.fix is None
        ]
        if spreads:
            most = max(int(row.reference.get("n_ports", 0)) for row in spreads)
            rows = [row for row in spreads if int(row.reference.get("n_ports", 0)) == most]
            yield _finding(bench, device, max(rows, key=_at_most_db), rows, most)


def _finding(bench: BenchRows, device: str, row: Change, rows: list[Change], n_ports: int) -> Finding:
    compared = count_words(n_ports) if n_ports == len(bench.ports(device)) else f"{count_words(n_ports)} compared"
    judged = row.reference.get("repeatability") == "own"
    sure = judged and _stands_out(bench, row)
    severity: Severity = "none"
    advice: list[str] = []
    if row.bound == "upper" or row.equivalent:
        sentence = _alike(device, row, compared, judged=judged)
        confidence = "shown to be the same within the margin (95 %)" if row.equivalent else "a bound (95 %)"
    else:
        sentence = _apart(device, row, compared, sure=sure)
        severity = _severity(row) if sure else "none"
        confidence = "larger than the scatter from take to take (95 %)" if sure else "not shown"
        advice = [] if sure and severity == "none" else [HARDEST if sure else REPEAT.format(count="two or more")]
    return finding_of(
        KIND, device, sentence, quantity=SPREAD, severity=severity, confidence=confidence, evidence=evidence_of(rows),
        more_id="tone", advice=advice,
    )  # fmt: skip


def _alike(device: str, row: Change, compared: str, *, judged: bool) -> str:
    within = decibels(max(_at_most_db(row), _LEAST_DB), 2)
    sentence = f"The {compared} ports of {device} pass all frequencies alike within {within}, level set aside."
    return sentence if judged else f"{sentence} {_ONCE}"


def _apart(device: str, row: Change, compared: str, *, sure: bool) -> str:
    how = "do not pass all frequencies alike" if sure else f"seem not to pass all frequencies alike, {UNSURE}"
    ends = f"port {row.reference.get('largest')} passes most and port {row.reference.get('smallest')} least"
    sentence = (
        f"The {compared} ports of {device} {how}: up to {decibels(max(row.value, _LEAST_DB), 2)} apart, level set "
        f"aside, at {_hertz(row)}, where {ends}. That is {difference_words('tone', row.value)}."
    )
    port = row.reference.get("stands_out")
    return f"{sentence} Port {port} differs most from the others." if isinstance(port, str) else sentence


def _severity(row: Change) -> Severity:
    """Return how much it weighs: at the ends of hearing alone no more than slightly."""
    severity = difference_severity("tone", row.value)
    at_hz = row.reference.get("at_hz")
    inside = isinstance(at_hz, int | float) and INSIDE_HZ[0] <= at_hz <= INSIDE_HZ[1]
    return severity if inside else lighter([severity, "slight"])


def _at_most_db(row: Change) -> float:
    return row.value if row.high is None else row.high


def _stands_out(bench: BenchRows, row: Change) -> bool:
    """Return whether the difference stands out of all questions of the bench together, this one included."""
    return bool(row.distinguishable) and (row.p_adjusted or 0.0) * (bench.n_questions + 1) < SIGNIFICANCE


def _hertz(row: Change) -> str:
    at_hz = row.reference.get("at_hz")
    if not isinstance(at_hz, int | float):
        return "a frequency not told"
    return f"{at_hz:.0f} Hz" if at_hz < 1000 else f"{at_hz / 1000:.1f} kHz"
