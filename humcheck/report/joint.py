"""Devices of several benches in one table, in what does not depend on a recorder: ratios, dBr, changes re direct."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from humcheck.report.catalogue import Catalogue
from humcheck.report.side_by_side import Column, SideBySide, SideCell, SideRow, side_by_side
from humcheck.report.text import visible

#: Levels re the recorder's own full scale say nothing about another recorder.
_NOT_COMPARABLE = "dBFS"
_BY_SIZE = ("level", "balance")


@dataclass(frozen=True, slots=True, kw_only=True)
class JointCell:
    """The worst of a device's uses, where that was, and the bench's own direct value."""

    cell: SideCell
    where: str
    direct: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JointRow:
    """One device on one bench."""

    device: str
    bench: str
    n_uses: int
    cells: dict[str, JointCell]


@dataclass(frozen=True, slots=True, kw_only=True)
class JointTable:
    """All devices of all benches.

    Attributes
    ----------
    left_out : tuple of str
        Measures that some bench has in dBFS only.
    """

    columns: tuple[Column, ...]
    rows: tuple[JointRow, ...]
    left_out: tuple[str, ...]


def joint_table(catalogues: Sequence[Catalogue], names: Sequence[str]) -> JointTable:
    """Return the table; rows of one device stand together."""
    sides = [side_by_side(catalogue, least_uses=1) for catalogue in catalogues]
    columns: dict[str, Column] = {}
    left_out: dict[str, None] = {}
    for side in sides:
        for column in side.columns:
            if column.unit.startswith(_NOT_COMPARABLE):
                left_out[column.title] = None
            else:
                columns.setdefault(column.key, column)
    order = [column.key for side in sides for column in side.columns]
    kept = sorted(columns.values(), key=lambda column: order.index(column.key))
    rows = [
        _row(side, device, name, kept)
        for side, catalogue, name in zip(sides, catalogues, names, strict=True)
        for device in map(catalogue.title, catalogue.devices)
    ]
    first = list(dict.fromkeys(row.device for row in rows))
    rows.sort(key=lambda row: first.index(row.device))
    return JointTable(columns=tuple(kept), rows=tuple(rows), left_out=tuple(map(visible, left_out)))


def _row(side: SideBySide, device: str, bench: str, columns: Sequence[Column]) -> JointRow:
    comparable = {column.key for column in side.columns if not column.unit.startswith(_NOT_COMPARABLE)}
    mine = [row for row in side.rows if row.title == device and not row.is_control]
    # A fix is not the device: what it does shows only where nothing else was measured.
    mine = [row for row in mine if not row.fix] or mine
    uses = {(row.port, row.picture, row.condition, row.fix) for row in mine}
    cells = {}
    for column in columns:
        having = [row for row in mine if column.key in row.cells and column.key in comparable]
        if having:
            cells[column.key] = _worst(side, having, column)
    return JointRow(device=device, bench=bench, n_uses=len(uses), cells=cells)


def _worst(side: SideBySide, rows: Sequence[SideRow], column: Column) -> JointCell:
    def badness(row: SideRow) -> tuple[bool, float]:
        cell = row.cells[column.key]
        return cell.low is not None, abs(cell.number) if column.key in _BY_SIZE else cell.number

    chosen = max(rows, key=badness)
    direct = [row for row in side.rows if row.is_control and column.key in row.cells and row.channel == chosen.channel]
    best = max(direct, key=lambda row: row.picture == chosen.picture, default=None)
    told = "" if best is None or column.changes else best.cells[column.key].value
    return JointCell(cell=chosen.cells[column.key], where=chosen.where, direct=told)
