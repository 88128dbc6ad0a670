"""One finding as it is shown: its sentence, what it rests on, its cause, and what to try."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from humcheck.report.catalogue import Catalogue, Numbered, Setup
from humcheck.report.order import (
    APART_KINDS,
    BESIDE_KINDS,
    GROUPS,
    NOTE_KINDS,
    ROLE_WORDS,
    SEVERITY_ORDER,
    SEVERITY_WORDS,
    Group,
    group_of_kind,
    title_of,
)
from humcheck.report.text import PAGE, NumberStyle, sentence, visible
from humcheck.report.use_words import uses_words
from humcheck.results import Change, Finding, quantity

#: More numbers than these are left to the tables.
_MOST_EVIDENCE = 2
_NUMBER = re.compile(r"[-+]?\d[\d.,]*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One finding as shown, with the same complaint in other set-ups folded under it.

    Attributes
    ----------
    anchor : str
        Its place in the page, from the program and not from outside.
    row : Finding
        The finding as it stands in results; the first of those that say the same.
    reasons, doubts : tuple of str
        What speaks for and against the cause.
    test : str
        The one test that would decide.
    advice : tuple of str
        What to try, in order.
    """

    anchor: str
    row: Finding
    severity: str
    severity_words: str
    sentence: str
    confidence: str
    where: str
    group: Group | None
    evidence: tuple[str, ...]
    reasons: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    test: str = ""
    advice: tuple[str, ...] = ()
    media: tuple[str, ...] = ()
    elsewhere: tuple[Found, ...] = ()

    @property
    def parts(self) -> tuple[str, str]:
        """The first sentence, and the others: where it is heard, the cause."""
        first, _, rest = self.sentence.partition(". ")
        # A point inside a figure or a name is no end: the next sentence begins with a capital.
        return (f"{first}.", rest) if rest[:1].isupper() else (self.sentence, "")

    @property
    def explains(self) -> bool:
        """Whether there is more to say of it than its sentence."""
        return bool(self.reasons or self.doubts or self.test or self.advice)

    @property
    def is_serious(self) -> bool:
        """Whether what is more to say should not be folded away."""
        return self.severity in ("strong", "clear")


def found_of(catalogue: Catalogue, findings: list[Finding], style: NumberStyle) -> Iterable[Found]:
    """Yield the most serious finding of each kind, the rest of its kind folded under it, by severity.

    Findings that say the same of several uses of a device, but for their numbers, are told once.
    """
    anchors = {
        id(row): f"{catalogue.prefix}finding-{number}" for number, row in enumerate(catalogue.results.findings, start=1)
    }

    def shown_as(alike: Sequence[Finding], elsewhere: tuple[Found, ...] = ()) -> Found:
        worst_first = sorted(alike, key=lambda row: -_size(catalogue, row))
        return _one_found(catalogue, worst_first, anchors[id(worst_first[0])], elsewhere, style)

    ordered = sorted(findings, key=lambda row: SEVERITY_ORDER.index(row.severity))
    kinds: dict[tuple[str, str], list[Finding]] = {}
    for row in ordered:
        kinds.setdefault((row.kind, row.quantity), []).append(row)
    for same in sorted(kinds.values(), key=lambda rows: (SEVERITY_ORDER.index(rows[0].severity), _complaint(rows[0]))):
        if same[0].kind in APART_KINDS:
            yield from (shown_as([row]) for row in same)
        else:
            first, *others = _alike(same)
            yield shown_as(first, tuple(shown_as(other) for other in others))


def _size(catalogue: Catalogue, row: Finding) -> float:
    """Return how large what a finding rests on is, to tell of several that say the same which is the worst."""
    for pointer in row.evidence:
        name = pointer.measure or pointer.change
        target = None if name is None else catalogue.by_id.get(name)
        if isinstance(target, Change):
            return abs(target.value)
        if isinstance(target, Numbered):
            return -target.value if quantity(target.quantity).lower_is_better is False else target.value
    return 0.0


def _alike(rows: Sequence[Finding]) -> list[list[Finding]]:
    """Return findings that say the same but for their numbers, in the order of the first of each; bench notes apart."""
    found: dict[tuple[str, str], list[Finding]] = {}
    for row in rows:
        words = row.id if row.role == "direct" else _NUMBER.sub("#", row.sentence.replace(_port_words(row), ""))
        found.setdefault((row.severity, words), []).append(row)
    return list(found.values())


def _port_words(row: Finding) -> str:
    """Return how a sentence names the port behind the device; where the finding was made is said beside it."""
    return f", port {row.port}" if row.port is not None and f"{row.subject}, port {row.port}" in row.sentence else "\0"


def _one_found(
    catalogue: Catalogue, alike: Sequence[Finding], anchor: str, elsewhere: tuple[Found, ...], style: NumberStyle
) -> Found:
    row = alike[0]
    said = row.sentence.replace(_port_words(row), "") if len(alike) > 1 else row.sentence
    group = group_of_kind(row.kind, row.quantity)
    # What the bench itself can resolve is no finding about a device.
    is_note = row.kind in NOTE_KINDS and row.severity == "none"
    worded = sentence if style is PAGE else visible
    return Found(
        anchor=anchor,
        row=row,
        severity="" if is_note else row.severity,
        severity_words="Note" if is_note else SEVERITY_WORDS[row.severity],
        sentence=worded(said),
        confidence=visible(row.confidence),
        where=_where(catalogue, alike),
        group=group if group in GROUPS else None,
        evidence=tuple(dict.fromkeys(_evidence(catalogue, row, style)))[:_MOST_EVIDENCE],
        reasons=tuple(worded(text) for text in row.reasons),
        doubts=tuple(worded(text) for text in row.doubts),
        test=worded(row.test),
        advice=tuple(worded(text) for text in row.advice),
        media=tuple(pointer.media for pointer in row.evidence if pointer.media is not None),
        elsewhere=elsewhere,
    )


def _where(catalogue: Catalogue, alike: Sequence[Finding]) -> str:
    """Return the uses that a finding is about, and of which of them its numbers are."""
    if len(alike) == 1:
        return catalogue.where(alike[0])
    where = uses_words(catalogue, (Setup.of(row) for row in alike))
    if len({row.sentence.replace(_port_words(row), "") for row in alike}) == 1:
        return where
    own = catalogue.where(alike[0])
    return f"{where}; the figures are those of {own}" if own and where else where


def _complaint(row: Finding) -> int:
    if row.kind in BESIDE_KINDS and row.quantity == "bench":
        return -1  # the order of the devices, before what it rests on
    group = group_of_kind(row.kind, row.quantity)
    return GROUPS.index(group) if group in GROUPS else len(GROUPS)


def _evidence(catalogue: Catalogue, row: Finding, style: NumberStyle) -> Iterable[str]:
    for pointer in row.evidence:
        for name in (pointer.measure, pointer.change):
            target = None if name is None else catalogue.by_id.get(name)
            if isinstance(target, Numbered):
                role = _change_words(target) if isinstance(target, Change) else ROLE_WORDS[target.role].lower()
                title = title_of(target.quantity)
                whose = f"{target.subject}: " if row.kind in BESIDE_KINDS else ""
                yield visible(f"{whose}{title}, {target.channel}, {role}: {style.full(target)}")


def _change_words(change: Change) -> str:
    if change.contrast == "device":
        return f"against {change.reference.get('subject')}"
    return "change re direct" if change.contrast == "direct" else f"change with another {change.contrast}"
