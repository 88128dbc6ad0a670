"""The square card: each device in a line of words."""

from __future__ import annotations

from collections.abc import Sequence

from humcheck.report.catalogue import Catalogue
from humcheck.report.order import SEVERITY_ORDER
from humcheck.report.page import when_words
from humcheck.report.publish.canvas import (
    DOTS,
    HAIR,
    SEVERITIES,
    SOFT,
    SQUARE,
    Canvas,
    shortened,
    shortened_name,
    width_of,
    wrapped,
)
from humcheck.report.publish.spoken import clause, full_words, heard_words
from humcheck.report.summary import Card, cards
from humcheck.report.text import visible
from humcheck.report.use_words import joined

_EDGE = 72.0
_MOST = 12
#: More devices than this have one line each.
_ROOMY = 6


def card_picture(catalogue: Catalogue) -> bytes | None:
    """Return the card, or None where nothing was judged."""
    made = [card for card in cards(catalogue) if card.kind in ("device", "take")]
    if not made:
        return None
    canvas = Canvas(SQUARE)
    room = canvas.width - 2 * _EDGE
    y = 60.0
    for size in (56.0, 46.0, 38.0):
        lines = wrapped(visible(catalogue.results.bench.name) or "A sound test", size, room, 2, bold=True)
        if not lines[-1].endswith("…"):
            break
    for line in lines:
        y += 1.18 * size
        canvas.text(_EDGE, y, line, size, bold=True)
    canvas.text(_EDGE, y + 54, _subtitle(made), 32, color=SOFT)
    _rows(canvas, catalogue, made, y + 92)
    said = when_words(catalogue.results.created).partition(",")[0]
    canvas.text(_EDGE, 1040, said, 26, color=SOFT)
    canvas.text(canvas.width - _EDGE, 1040, "measured with humcheck", 26, color=SOFT, align="right")
    return canvas.png()


def _subtitle(made: Sequence[Card]) -> str:
    if any(card.kind == "take" for card in made):
        return "What is in the recording" + ("s" if len(made) > 1 else "")
    return "What each does to the sound" if len(made) > 1 else "What it does to the sound"


def _rows(canvas: Canvas, catalogue: Catalogue, made: Sequence[Card], top: float) -> None:
    shown = list(made)
    if len(made) > _MOST:
        kept = sorted(made, key=lambda card: SEVERITY_ORDER.index(card.severity or "none"))[: _MOST - 1]
        shown = [card for card in made if any(card is other for other in kept)]
    left_out = len(made) - len(shown)
    height = min(260.0, (980 - top) / (len(shown) + (1 if left_out else 0)))
    for index, card in enumerate(shown):
        y = top + index * height
        canvas.line([_EDGE, canvas.width - _EDGE], [y, y], HAIR, 2)
        (_roomy_row if len(shown) <= _ROOMY else _low_row)(canvas, catalogue, card, y, height)
    if left_out:
        canvas.text(_EDGE, top + len(shown) * height + 0.62 * height, f"and {left_out} more", 30, color=SOFT)


def _roomy_row(canvas: Canvas, catalogue: Catalogue, card: Card, y: float, height: float) -> None:
    verdict, large = _verdict(card), height > 200
    right, size = canvas.width - _EDGE, 38 if large else 32
    base = y + height * 0.1 + 44
    room = right - _EDGE - width_of(verdict, 32, bold=True) - 30
    canvas.text(_EDGE, base, shortened_name(card.title, 46, room), 46, bold=True)
    canvas.text(right, base, verdict, 32, bold=True, color=SEVERITIES.get(card.severity or "", SOFT), align="right")
    lines = wrapped(_complaint(catalogue, card), size, right - _EDGE, 2 if height > 150 else 1)
    for line in lines:
        base += (1.45 if line is lines[0] else 1.25) * size
        canvas.text(_EDGE, base, line, size)
    others = _others(card)
    if others and base + 64 < y + height:
        canvas.text(_EDGE, base + 46, shortened(others, 30, right - _EDGE), 30, color=SOFT)


def _low_row(canvas: Canvas, catalogue: Catalogue, card: Card, y: float, height: float) -> None:
    right, base = canvas.width - _EDGE, y + 0.5 * height + 10
    canvas.text(_EDGE, base, shortened_name(card.title, 30, 320), 30, bold=True)
    color = SEVERITIES.get(card.severity or "", SOFT)
    canvas.text(_EDGE + 335, base, DOTS.get(card.severity or "", ""), 24, color=color)
    words = shortened(_complaint(catalogue, card, brief=True), 26, right - _EDGE - 430)
    canvas.text(_EDGE + 430, base, words, 26)


def _verdict(card: Card) -> str:
    return f"{DOTS[card.severity]} {card.verdict.lower()}" if card.severity in DOTS else card.verdict.lower()


def _complaint(catalogue: Catalogue, card: Card, *, brief: bool = False) -> str:
    """Return the worst complaint in plain words."""
    if not card.found:
        return "No finding was written about it."
    worst = card.found[0]
    if worst.severity == "none":
        return "No effect that could be measured, or none that matters."
    name, _ = clause(catalogue, worst.row)
    words = full_words(catalogue, worst.row).removeprefix(name).strip()
    words = f"{words[:1].upper()}{words[1:]}"
    heard = heard_words(catalogue, worst.row)
    return words if brief else f"{', '.join(part for part in (words, heard) if part)}."


def _others(card: Card) -> str:
    """Return what else was found, by its complaint."""
    found = [item for item in card.found[1:] if item.severity not in ("none", "") and item.group is not None]
    first = card.found[0].group if card.found else None
    groups = dict.fromkeys(item.group for item in found if item.group is not None and item.group is not first)
    titles = [group.title.partition(" ")[0].lower() for group in groups]
    return f"Also: {joined(titles)}." if titles else ""
