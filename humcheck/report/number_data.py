"""All numbers of a large bench as data: the page makes a table of them only when a reader opens it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from humcheck.report.catalogue import Catalogue
from humcheck.report.order import Group
from humcheck.report.tables import COLUMNS, Block, Cell, GroupTable, TableRow

#: A page with more rows than this folds them: nobody reads thousands of rows in a line.
MOST_ROWS = 700


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """The numbers of one complaint and one device.

    Attributes
    ----------
    index : int
        Its place in the page's data.
    """

    index: int
    title: str
    n_rows: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FoldedGroup:
    """One complaint with its parts."""

    group: Group
    parts: tuple[Part, ...]


def is_long(tables: Sequence[GroupTable]) -> bool:
    """Return whether tables are too long to stand in the page as they are."""
    return sum(len(block.rows) for table in tables for block in (*table.main, *table.further)) > MOST_ROWS


def folded_numbers(catalogue: Catalogue, tables: Sequence[GroupTable]) -> tuple[list[FoldedGroup], dict[str, Any]]:
    """Return the headings of what can be opened, and the data behind them.

    Returns
    -------
    groups : list of FoldedGroup
    data : dict
        ``{"parts": [{"columns": [...], "blocks": [[title, [[row, takes, cell, ...], ...]], ...]}, ...]}``; a cell is
        its text, a list of value and small print, or 0 where there is none.
    """
    groups: list[FoldedGroup] = []
    parts: list[dict[str, Any]] = []
    for table in tables:
        of_group = []
        for subject in dict.fromkeys(row.subject for block in (*table.main, *table.further) for row in block.rows):
            blocks = [
                [block.title, rows]
                for block in (*table.main, *table.further)
                if (rows := _rows(block, subject, table.columns))
            ]
            part = Part(
                index=len(parts), title=_title(catalogue, subject), n_rows=sum(len(block[1]) for block in blocks)
            )
            parts.append({"columns": [COLUMNS[name] for name in table.columns], "blocks": blocks})
            of_group.append(part)
        groups.append(FoldedGroup(group=table.group, parts=tuple(of_group)))
    return groups, {"parts": parts}


def _title(catalogue: Catalogue, subject: str) -> str:
    return "Direct and the bench itself" if subject == "direct" else catalogue.title(subject)


def _rows(block: Block, subject: str, columns: Sequence[str]) -> list[list[Any]]:
    """Return a device's rows; the mean of both channels only where they do not stand apart."""
    mine = [row for row in block.rows if row.subject == subject]
    apart = {row.where for row in mine if row.channel in ("left", "right")}
    kept = [row for row in mine if row.channel != "both" or row.where not in apart]
    return [_row(row, columns) for row in kept]


def _row(row: TableRow, columns: Sequence[str]) -> list[Any]:
    title = ", ".join(part for part in (row.where, "" if row.channel == "mono" else row.channel) if part)
    cells = [_cell(row.cells[name]) if name in row.cells else 0 for name in columns]
    return [title or row.title, row.takes, *cells]


def _cell(cell: Cell) -> Any:
    small = [text for text in (cell.interval, cell.detail) if text]
    return [cell.value, *small] if small else cell.value
