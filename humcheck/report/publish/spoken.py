"""Findings in a few words: titles of pictures, lines of the card."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from humcheck.audio.hearing.listening import words_of
from humcheck.report.catalogue import Catalogue, Setup, worst
from humcheck.report.order import APART_KINDS, SEVERITY_ORDER, SEVERITY_WORDS
from humcheck.report.text import PAGE, sentence, visible
from humcheck.report.use_words import joined
from humcheck.results import Finding, Measure

#: Where the first clause of a finding ends; a point inside a figure is no end.
_CHANGED = "because the bench was not the same"
_NOTICED = (
    "more than listeners notice",
    "noticed at most when compared side by side",
    "less than listeners notice even side by side",
)
_CLAUSE_END = re.compile(r": |; | \((?!inverted)|\. |\.$")


def clause(catalogue: Catalogue, row: Finding) -> tuple[str, str]:
    """Return a finding's first clause in two parts: the device's name, and what it does.

    The name is empty where the clause does not begin with it.
    """
    shown, name = catalogue.title(row.subject), sentence(row.subject)
    said = sentence(row.sentence)
    behind = f", port {visible(row.port)}" if row.port is not None else ""
    for start in (f"{name}{behind} ", f"{name} "):
        if said.startswith(start):
            return shown, _CLAUSE_END.split(said.removeprefix(start))[0].strip()
    # Names may hold what ends a clause.
    for told in filter(None, (f"{name}{behind}", name)):
        if told in said:
            said = said.replace(told, "\0", 1)
            break
    return "", _CLAUSE_END.split(said)[0].strip().replace("\0", shown)


def clause_words(catalogue: Catalogue, row: Finding) -> str:
    """Return a finding's first clause as one text: ``Alder adds mains hum``.

    What the device alone is not to blame for is said to come from a changed bench.
    """
    words = " ".join(part for part in clause(catalogue, row) if part)
    return f"{words}, on a changed bench" if _CHANGED in row.sentence else words


def full_words(catalogue: Catalogue, row: Finding) -> str:
    """Return a finding's first clause, and where it says so, whether listeners notice: they know no decibels."""
    noticed = "" if row.severity == "none" else next((words for words in _NOTICED if words in row.sentence), "")
    return ", ".join(part for part in (clause_words(catalogue, row), noticed) if part)


def about(catalogue: Catalogue, quantities: Sequence[str], subject: str | None = None) -> list[Finding]:
    """Return findings of what devices do to some quantities, the most serious first; not of fixes and limits."""
    found = [
        row
        for row in catalogue.results.findings
        if row.quantity.removesuffix("_rel") in quantities
        and row.kind not in APART_KINDS
        and row.role != "direct"
        and subject in (None, row.subject)
    ]
    return sorted(found, key=lambda row: SEVERITY_ORDER.index(row.severity))


def noise_title(catalogue: Catalogue, what: str, quantities: Sequence[str]) -> str:
    """Return what was found of a noise in all devices, as the title of their picture."""
    found = about(catalogue, quantities)
    if not found or not (catalogue.devices or catalogue.singles):
        return f"{what}: how strong it is"
    first = max(
        (row for row in found if row.severity == found[0].severity), key=lambda row: _level_of(catalogue, row)[0]
    )
    if first.severity == "none":
        return f"{what}: no effect found in {_any_of(catalogue)}"
    words = clause_words(catalogue, first)
    if first.role == "single":
        return words
    facts = [part for part in (_level_words(catalogue, first), heard_words(catalogue, first)) if part]
    return f"{words}: {', '.join(facts)}" if facts else words


def also(catalogue: Catalogue, quantities: Sequence[str]) -> str:
    """Return which other devices have a finding of the same, as a sentence; empty where none has."""
    found = [row for row in about(catalogue, quantities) if row.severity != "none"]
    steps: dict[str, str] = {}
    for row in found:
        steps.setdefault(catalogue.title(row.subject), SEVERITY_WORDS[row.severity].lower())
    others = [f"{name} ({step})" for name, step in list(steps.items())[1:]]
    if not others:
        return ""
    rest = f" and {len(others) - 4} more" if len(others) > 4 else ""
    return f"Also found: {', '.join(others[:4])}{rest}." if rest else f"Also found: {joined(others)}."


def _any_of(catalogue: Catalogue) -> str:
    subjects, kind = (catalogue.devices, "devices") if catalogue.devices else (catalogue.singles, "recordings")
    return catalogue.title(subjects[0]) if len(subjects) == 1 else f"any of the {len(subjects)} {kind}"


def _level_words(catalogue: Catalogue, row: Finding) -> str:
    level, relative = _level_of(catalogue, row)
    return f"{PAGE.number(level, 0)}\u00a0dB {relative}" if relative else ""


def _level_of(catalogue: Catalogue, row: Finding) -> tuple[float, str]:
    """Return the level that a finding of noise rests on, as it comes through the device, and what it is relative to."""
    for ending, relative in (("_rel", "re full scale"), ("", "re the recorder's full scale")):
        rows = [
            measure
            for measure in catalogue.measures(f"{row.quantity.removesuffix('_rel')}{ending}", row.role, row.subject)
            if Setup.of(measure) == Setup.of(row) and measure.bound is None
        ]
        level = worst(rows)
        if level is not None:
            return level.value, relative
    return float("-inf"), ""


def heard_words(catalogue: Catalogue, row: Finding) -> str:
    """Return where a noise is heard: ``heard on headphones``; empty where nothing was predicted."""
    margins = f"audible_margin_{row.quantity.removesuffix('_rel').removesuffix('_level')}"
    places: dict[str, list[str]] = {}
    for role in ("added", row.role):
        found: dict[str, list[Measure]] = {}
        for measure in catalogue.measures(margins, role, row.subject):
            if measure.listening is not None and replace(Setup.of(measure), listening=None) == Setup.of(row):
                found.setdefault(measure.listening, []).append(measure)
        for setting, rows in found.items():
            chosen = next((item for item in rows if item.channel == "both"), None) or worst(rows)
            if isinstance(chosen, Measure):
                places.setdefault(verdict(chosen), []).append(visible(words_of(setting)))
        if places:
            break
    for kind, words in (("heard", "heard"), ("perhaps", "perhaps heard"), ("not", "not heard")):
        if kind in places:
            return f"{words} {(_or if kind == 'not' else joined)(places[kind])}"
    return ""


def verdict(row: Measure) -> str:
    """Return whether a margin means ``heard``, ``perhaps`` or ``not``: its whole interval above or below zero."""
    if row.bound is not None:
        return "not" if row.value < 0 and row.bound == "upper" else "perhaps"
    low, high = row.value if row.low is None else row.low, row.value if row.high is None else row.high
    return "heard" if low > 0 else "not" if high < 0 else "perhaps"


def _or(texts: Sequence[str]) -> str:
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} or {texts[-1]}"
