"""The findings for a post: as Markdown, and as plain text."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from humcheck.audio.writing import MARK
from humcheck.report.catalogue import Catalogue
from humcheck.report.found import Found
from humcheck.report.order import APART_KINDS
from humcheck.report.page import when_words
from humcheck.report.publish.markdown import plain
from humcheck.report.side_by_side import SideCell, SideRow, side_by_side
from humcheck.report.summary import Card, cards
from humcheck.report.text import PAGE, NumberStyle, visible
from humcheck.report.use_words import joined
from humcheck.version import __version__

#: True minus signs, but spaces that every editor knows.
_POST = NumberStyle(minus=PAGE.minus, space=" ", group=" ", times=" × ")
_MOST_ROWS = 12
_WIDTH = 88
#: More advice is left to the report.
_MOST_ADVICE = 3


@dataclass(frozen=True, slots=True)
class Summary:
    """What is said, for both forms.

    Attributes
    ----------
    table : list of list of str
        Headings, then rows.
    units : list of str
        Of the columns.
    method : list of str
        How it was measured.
    """

    title: str
    date: str
    cards: list[Card]
    table: list[list[str]]
    units: list[str]
    table_note: str
    method: list[str]


def summary_of(catalogue: Catalogue) -> Summary:
    """Return what a post would say."""
    results = catalogue.results
    table, units, note = _table(catalogue)
    return Summary(
        title=visible(results.bench.name) or "A sound test",
        date=when_words(results.created),
        cards=cards(catalogue, PAGE),
        table=table,
        units=units,
        table_note=note,
        method=_method(catalogue),
    )


def as_markdown(summary: Summary) -> str:
    """Return the summary as Markdown; nothing from outside is read as markup."""
    parts = [f"# {plain(summary.title)}", f"*{plain(summary.date)}, {MARK} {__version__}*"]
    for card in summary.cards:
        parts.append(f"## {plain(card.title)}: {card.verdict.lower()}")
        parts.append(
            "\n".join(filter(None, _card_lines(card, "- **{}:** {}", plain))) or "Nothing was found to say about it."
        )
    if len(summary.table) > 1:
        parts += ["## In numbers", _markdown_table(summary.table, summary.units), plain(summary.table_note)]
    parts += ["## How it was measured", "\n".join(f"- {plain(line)}" for line in summary.method)]
    return "\n\n".join(parts).replace("\u00a0", " ") + "\n"


def as_text(summary: Summary) -> str:
    """Return the summary as plain text of short lines."""
    parts = [f"{summary.title}\n{summary.date}, {MARK} {__version__}"]
    for card in summary.cards:
        lines = [line for text in _card_lines(card, "{}: {}", _as_it_is) for line in _wrapped(text)]
        parts.append("\n".join([f"{card.title}: {card.verdict.lower()}", *lines]))
    if len(summary.table) > 1:
        parts.append(f"{_text_table(summary.table, summary.units)}\n{summary.table_note}")
    parts.append("\n".join(["How it was measured", *(line for text in summary.method for line in _wrapped(text))]))
    return "\n\n".join(parts).replace("\u00a0", " ") + "\n"


def _as_it_is(text: str) -> str:
    return text


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)


def _card_lines(card: Card, form: str, worded: Callable[[str], str]) -> Iterator[str]:
    """Yield findings, those of no effect in one line; then advice with its cautions."""
    nothing = [found for found in card.found if _is_no_effect(card, found)]
    for found in card.found:
        if not _is_no_effect(card, found):
            words = "Also" if found.severity == "none" else found.severity_words
            yield form.format(words, worded(_found_words(found)))
    heard = {found.group for found in card.found if found.severity not in ("none", "")}
    clean = dict.fromkeys(found.group.title.lower() for found in nothing if found.group and found.group not in heard)
    if clean:
        yield form.format("No effect found on", worded(joined(list(clean))))
    if card.limits and not any(found.row.kind == "limits" for found in card.found):
        yield form.format("Limits not met", worded("; ".join(card.limits)))
    for text in card.advice[:_MOST_ADVICE]:
        yield form.format("Try", worded(text))
    for text in card.cautions:
        yield form.format("Take care", worded(text))


def _is_no_effect(card: Card, found: Found) -> bool:
    return found.severity == "none" and card.kind in ("device", "take") and found.row.kind not in APART_KINDS


def _found_words(found: Found) -> str:
    return f"{found.sentence} ({found.where})" if found.where else found.sentence


def _table(catalogue: Catalogue) -> tuple[list[list[str]], list[str], str]:
    """Return the main figures, a row for each use, or for each device where there are many; units; how to read it."""
    side = side_by_side(catalogue, _POST, least_uses=1)
    rows = [row for row in side.rows if row.channel in ("worse", "mono") or len(_channels_of(side.rows, row)) == 1]
    if not rows or not side.columns:
        return [], [], ""
    by_device = len(rows) > _MOST_ROWS
    headings = ["", *(column.title for column in side.columns)]
    units = ["", *(column.unit for column in side.columns)]
    keys = [column.key for column in side.columns]
    if by_device:
        names = list(dict.fromkeys(row.title for row in rows))
        made = [[name, *_worst_cells([row for row in rows if row.title == name], keys)] for name in names]
    else:
        made = [[_row_name(row), *(row.cells[key].value if key in row.cells else "" for key in keys)] for row in rows]
    note = "Each figure is that of the worse channel" + (", in the worst use of each device." if by_device else ".")
    return [headings, *made], units, f"{note} “<” means: not found, lies somewhere below."


def _channels_of(rows: Sequence[SideRow], row: SideRow) -> set[str]:
    return {other.channel for other in rows if (other.title, other.where) == (row.title, row.where)}


def _row_name(row: SideRow) -> str:
    return f"{row.title} ({row.where})" if row.where else row.title


def _worst_cells(rows: Sequence[SideRow], keys: Sequence[str]) -> Iterator[str]:
    for key in keys:
        cells = [row.cells[key] for row in rows if key in row.cells]
        by_size = key in ("level", "balance")
        yield max(cells, key=lambda cell: _badness(cell, by_size)).value if cells else ""


def _badness(cell: SideCell, by_size: bool) -> tuple[bool, float]:
    is_bound = (cell.low is None) != (cell.high is None)
    return not is_bound, abs(cell.number) if by_size else cell.number


def _markdown_table(table: Sequence[Sequence[str]], units: Sequence[str]) -> str:
    headings = [f"{heading}, {unit}" if unit else heading for heading, unit in zip(table[0], units, strict=True)]
    lines = [[plain(cell) for cell in row] for row in (headings, *table[1:])]
    lines.insert(1, ["---", *("---:" for _ in table[0][1:])])
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)


def _text_table(table: Sequence[Sequence[str]], units: Sequence[str]) -> str:
    """Return a list for each row: a table wider than a post would be torn."""
    headings, *rows = table
    lines = ["In numbers"]
    for name, *values in rows:
        columns = zip(headings[1:], values, units[1:], strict=True)
        said = [f"{heading} {value} {unit}".rstrip() for heading, value, unit in columns if value]
        lines += _wrapped(f"{name}: {'; '.join(said)}")
    return "\n".join(lines)


def _method(catalogue: Catalogue) -> list[str]:
    """Return in two lines how it was measured, and on what the prediction of what is heard rests."""
    takes = catalogue.results.takes
    counts = [(sum(take.role == role for take in takes), words) for role, words in _TAKES]
    said = ", ".join(f"{count} {words}" for count, words in counts if count)
    common = f" ({', '.join(catalogue.common)})" if catalogue.common else ""
    first = f"{len(takes)} recordings{common}: {said}." if len(takes) != 1 else f"1 recording{common}: {said}."
    if catalogue.has_direct and catalogue.devices:
        first += " Everything is set against the same path without the device; ranges hold with 95 %."
    lines = [first if takes else "No recording is listed."]
    settings = catalogue.results.settings
    mains = "" if settings.mains_hz is None else f"Mains {settings.mains_hz:g} Hz. "
    heard = [statement.partition("; ")[0].replace(": ", " (", 1) + ")" for statement in settings.listening]
    predicted = f" Whether it is heard is a prediction, for {joined(heard)}." if heard else ""
    lines.append(f"{mains}dBr: relative to the track's full scale.{predicted}")
    return [visible(line) for line in lines]


_TAKES = (
    ("direct", "direct, without a device"),
    ("through", "through a device"),
    ("single", "inspected alone"),
    ("recorder", "of the recorder alone"),
    ("source_off", "with the source off"),
)
