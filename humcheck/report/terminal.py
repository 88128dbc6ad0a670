"""The summary on the terminal: findings, main figures, and what was wrong with the recordings.

Plain text of at most the given width, readable without colour. Names come from outside: nothing in them is read as
markup or reaches the terminal as a control character.
"""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable
from io import StringIO
from typing import TextIO

from humcheck.errors import printable
from humcheck.report import recordings
from humcheck.report.catalogue import Catalogue
from humcheck.report.found import Found
from humcheck.report.summary import Card, cards
from humcheck.report.tables import Block, TableRow, group_tables
from humcheck.report.text import TERMINAL
from humcheck.results import Results

_NARROWEST = 40
_WIDEST = 100
#: More rows than this are left to the page; the cards then carry their key numbers.
_MOST_ROWS = 48
#: Columns that the terminal has room for; the page has them all.
_COLUMNS = {
    "single": "Measured",
    "direct": "Direct",
    "through": "Through",
    "added": "Added",
    "change": "Change",
}


def print_results(results: Results, stream: TextIO, *, width: int | None = None, has_report: bool = True) -> None:
    """Print the summary.

    Parameters
    ----------
    results : Results
        All rows.
    stream : text stream
        Where to; characters that its encoding lacks are written as escapes.
    width : int, optional
        Columns; by default the terminal's, 80 where there is none.
    has_report : bool, optional
        Whether a page is written too: what is left out here stands there.
    """
    columns = width or shutil.get_terminal_size((80, 24)).columns
    text = summary_text(results, width=columns, has_report=has_report)
    encoding = getattr(stream, "encoding", None) or "utf-8"
    stream.write(text.encode(encoding, "backslashreplace").decode(encoding))


def summary_text(results: Results, *, width: int = 80, has_report: bool = True) -> str:
    """Return the summary as text of lines no longer than `width`."""
    width = max(_NARROWEST, min(width, _WIDEST))
    catalogue = Catalogue(results)
    blocks = [(block, row) for table in group_tables(catalogue, TERMINAL) for block in table.main for row in block.rows]
    too_many = len(blocks) > _MOST_ROWS
    page = "see the report" if has_report else "see a report"
    parts = [_card(card, width, page, with_numbers=too_many) for card in cards(catalogue, TERMINAL)]
    if too_many:
        report = "The report" if has_report else "A report (humcheck inspect TAKE --out FILE.html)"
        parts.append(f"{report} has a table of all numbers.")
    elif blocks:
        parts.append(_numbers(catalogue, blocks, width))
    parts += [_faults(catalogue, width), _missing(catalogue, width), _limits(catalogue, width)]
    text = "\n\n".join(part for part in parts if part)
    return (text or "Nothing was measured.") + "\n"


def _card(card: Card, width: int, page: str, *, with_numbers: bool) -> str:
    lines = [_clipped(f"{printable(card.title)}: {card.verdict.lower()}", width)]
    for found in card.told:
        lines += _found(found, width, page)
    if card.folded:
        lines += _wrapped(f"{card.folded_summary} ({page}).", width, " " * 10, " " * 10)
    if with_numbers:
        for number in card.numbers:
            place = ", ".join(part for part in (number.where, number.channel) if part)
            value = f"{number.value} ({place})" if place else number.value
            lines += _wrapped(value, width, f"  {number.label:<22}", " " * 24)
    for text in card.advice:
        lines += _wrapped(f"Try: {text}", width, "  ", "       ")
    for text in card.cautions:
        lines += _wrapped(f"Take care: {text}", width, "  ", "       ")
    if not card.found:
        lines.append("  No finding was written about it.")
    return "\n".join(lines)


def _found(found: Found, width: int, page: str) -> Iterable[str]:
    indent = " " * 10
    sentence = f"{found.where}: {found.sentence}" if found.where else found.sentence
    yield from _wrapped(sentence, width, f"  {found.severity_words:<8}", indent)
    if found.reasons and found.is_serious:
        yield from _wrapped(f"Why: {'; '.join(found.reasons)}.", width, indent, indent)
    if found.test and found.is_serious:
        yield from _wrapped(f"To decide: {found.test}", width, indent, indent)
    if found.elsewhere:
        others = f"{len(found.elsewhere)} other set-up{'s' if len(found.elsewhere) > 1 else ''}"
        yield from _wrapped(f"({others}: {page})", width, indent, indent)


def _numbers(catalogue: Catalogue, blocks: list[tuple[Block, TableRow]], width: int) -> str:
    """Return the main quantities as a table; the page has the further readings."""
    used = [name for name in _COLUMNS if any(name in row.cells for _, row in blocks)]
    rows = []
    before = ""
    for block, row in blocks:
        label = _label(catalogue, block, row)
        values = [row.cells[name].value if name in row.cells else "" for name in used]
        rows.append(["" if label == before else label, "" if row.channel == "mono" else row.channel, *values])
        before = label
    return _table(["", "", *(_COLUMNS[name] for name in used)], rows, width)


def _label(catalogue: Catalogue, block: Block, row: TableRow) -> str:
    several = len(catalogue.devices) + len(catalogue.singles) > 1
    told = several or row.subject not in (*catalogue.devices, *catalogue.singles)
    return ", ".join(part for part in (block.title, row.title if told else "", row.where) if part)


def _table(headings: list[str], rows: list[list[str]], width: int) -> str:
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    for index, heading in enumerate(headings):
        table.add_column(Text(heading), justify="left" if index < 2 else "right", overflow="fold", no_wrap=index > 0)
    for row in rows:
        # Text objects: a name is read neither as markup nor as an emoji code.
        table.add_row(*(Text(printable(cell)) for cell in row))
    written = StringIO()
    Console(file=written, width=width, color_system=None, legacy_windows=False).print(table)
    # The rule is the only character that is not the user's own or ASCII.
    lines = written.getvalue().replace("\u2500", "-").splitlines()
    return "\n".join(line.rstrip() for line in lines if line.strip())


def _faults(catalogue: Catalogue, width: int) -> str:
    lines: list[str] = []
    told = {finding.sentence for finding in catalogue.results.findings}
    for row, take in zip(catalogue.results.takes, recordings.recordings(catalogue, TERMINAL), strict=True):
        for fault, words in zip(row.faults, take.faults, strict=True):
            if f"{row.file}: {fault.sentence}" not in told:
                lines += _wrapped(f"{take.file}: {words}", width, "  ", "    ")
            elif fault.spoils:
                spoils = f"{take.file}: what is said of it above spoils {recordings.spoiled(fault)}."
                lines += _wrapped(spoils, width, "  ", "    ")
    lines = list(dict.fromkeys(lines))
    return "\n".join(["Recordings:", *lines]) if lines else ""


def _missing(catalogue: Catalogue, width: int) -> str:
    titles: dict[str, list[str]] = {}
    for row in recordings.missing(catalogue):
        titles.setdefault(row.reason, []).append(row.title)
    lines: list[str] = []
    for reason, named in titles.items():
        lines += _wrapped(f"{', '.join(dict.fromkeys(named))}: {reason}", width, "  ", "    ")
    return "\n".join(["Not measured:", *lines]) if lines else ""


def _limits(catalogue: Catalogue, width: int) -> str:
    lines: list[str] = []
    for row in recordings.limits(catalogue, TERMINAL):
        lines += _wrapped(f"{row.title}, {row.place}: {row.limit}, {row.outcome}", width, "  ", "    ")
    return "\n".join(["Limits:", *lines]) if lines else ""


def _wrapped(text: str, width: int, first: str, rest: str) -> list[str]:
    plain = " ".join(printable(text).split())
    return textwrap.wrap(plain, width, initial_indent=first, subsequent_indent=rest) or [first.rstrip()]


def _clipped(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 3] + "..."
