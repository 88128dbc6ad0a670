"""What a page says of its results at first sight: when, how many recordings, the worst of each complaint."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime

from humcheck.report.catalogue import Catalogue
from humcheck.report.found import Found
from humcheck.report.order import GROUPS, SEVERITY_ORDER, SEVERITY_WORDS, group_of_kind
from humcheck.report.summary import Card
from humcheck.report.text import visible

_LONGEST_TITLE = 60
_SENTENCE_END = re.compile(r"(?<=\.) (?=[A-Z])")
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def when_words(created: str) -> str:
    """Return an ISO time as ``3 February 2026, 14:25 UTC``; anything else as it stands."""
    try:
        moment = datetime.fromisoformat(created)
    except ValueError:
        return visible(created)
    zone = " UTC" if moment.utcoffset() is not None and not moment.utcoffset() else ""
    return f"{moment.day} {_MONTHS[moment.month - 1]} {moment.year}, {moment:%H:%M}{zone}"


def shortened(title: str) -> str:
    """Return a title as short as a browser's tab needs it."""
    return title if len(title) <= _LONGEST_TITLE else title[: _LONGEST_TITLE - 1] + "…"


def lead(catalogue: Catalogue) -> str:
    """Return what was recorded, in one sentence."""
    takes = catalogue.results.takes
    if not takes:
        return "No recording was measured."
    counts = {role: sum(take.role == role for take in takes) for role in ("direct", "through", "single")}
    other = len(takes) - sum(counts.values())
    words = (
        (counts["direct"], "direct, without a device"),
        (counts["through"], "through a device"),
        (counts["single"], "inspected alone"),
        (other, "of the bench's own floor"),
    )
    said = [(count, what) for count, what in words if count]
    recordings_words = f"{len(takes)} recording{'s' if len(takes) > 1 else ''}"
    if len(said) == 1:
        return f"{recordings_words}, {said[0][1]}."
    return f"{recordings_words}: {'; '.join(f'{count} {what}' for count, what in said)}."


def in_short(cards: Sequence[Card]) -> list[tuple[Card, Found | None, str]]:
    """Return, for two and more devices, each card with its most serious finding and what it comes to in a few words."""
    devices = [card for card in cards if card.kind == "device"]
    if len(devices) < 2:
        return []
    told = [next((found for found in card.told if found.severity not in ("", "none")), None) for card in devices]
    return [(card, found, _short(found)) for card, found in zip(devices, told, strict=True)]


def _short(found: Found | None) -> str:
    """Return what was found, whether it is heard, its cause, and what to try first; figures are left to the card."""
    if found is None:
        return ""
    first, rest = found.parts
    others = _SENTENCE_END.split(rest) if rest else []
    heard = next((one for one in others if "(prediction" in one), "")
    cause = next((one for one in others if one.startswith("Most likely")), "")
    said = [_until_colon(first) if heard else first, heard, _until_colon(cause)]
    if found.advice:
        said.append(f"Try first: {found.advice[0]}")
    return " ".join(part for part in said if part)


def _until_colon(text: str) -> str:
    head, colon, _ = text.partition(": ")
    return f"{head}." if colon else text


def glance(catalogue: Catalogue) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return, for two and more devices, the most serious finding of each complaint."""
    if len(catalogue.devices) < 2:
        return []
    worst: dict[tuple[str, str], int] = {}
    for row in catalogue.results.findings:
        place = (row.subject, group_of_kind(row.kind, row.quantity).key)
        worst[place] = min(worst.get(place, 99), SEVERITY_ORDER.index(row.severity))
    lines = []
    for subject in catalogue.devices:
        steps = [worst.get((subject, group.key)) for group in GROUPS]
        severities = ["" if step is None else SEVERITY_ORDER[step] for step in steps]
        lines.append(
            (catalogue.title(subject), [(step, SEVERITY_WORDS.get(step, "Not judged")) for step in severities])
        )
    return lines
