"""Tables of numbers: every measured quantity beside its control, in the order of complaints."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from humcheck.report.catalogue import Catalogue, Numbered, Setup, channel_rank
from humcheck.report.order import AUDIBILITY, GROUPS, OTHER, Group, group_of, is_further, rank, title_of
from humcheck.report.text import PAGE, NumberStyle, bound_words, hertz, unit_words, visible
from humcheck.results import Change, Measure, Quantity, quantity

#: Columns in the order in which they are shown.
COLUMNS = {
    "recorder": "Recorder alone",
    "source_off": "Source off",
    "single": "Measured",
    "direct": "Direct",
    "through": "Through",
    "added": "Added by the device",
    "change": "Change re direct",
}


_OWN = ("single", "through", "added")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One number as shown."""

    value: str
    interval: str = ""
    note: str = ""
    detail: str = ""
    n_takes: int = 1


@dataclass(slots=True, kw_only=True)
class TableRow:
    """The numbers of one quantity for one set-up and channel, by column."""

    subject: str
    title: str
    where: str
    channel: str
    cells: dict[str, Cell] = field(default_factory=dict)

    @property
    def takes(self) -> str:
        """How many takes the row's values rest on, the direct ones apart where they differ; a change does not say."""
        own = max((cell.n_takes for column, cell in self.cells.items() if column in _OWN), default=0)
        direct = self.cells["direct"].n_takes if "direct" in self.cells else 0
        if own and direct and own != direct:
            return f"{own}, direct {direct}"
        return str(own or direct or "–")


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """All rows of one quantity."""

    quantity: Quantity
    title: str
    unit: str
    rows: list[TableRow]


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupTable:
    """The numbers of one complaint; further readings stand apart.

    Attributes
    ----------
    columns : tuple of str
        Keys of `COLUMNS` that any row fills.
    """

    group: Group
    columns: tuple[str, ...]
    main: list[Block]
    further: list[Block]


def group_tables(catalogue: Catalogue, style: NumberStyle = PAGE) -> list[GroupTable]:
    """Return the tables that have rows, in the order of complaints."""
    rows = _rows(catalogue, style)
    tables = []
    for group in (*GROUPS, AUDIBILITY, OTHER):
        names = sorted((name for name in rows if group_of(name) is group), key=rank)
        if not names:
            continue
        blocks = [_block(name, rows[name]) for name in names]
        used = {column for name in names for row in rows[name] for column in row.cells}
        tables.append(
            GroupTable(
                group=group,
                columns=tuple(column for column in COLUMNS if column in used),
                main=[block for block in blocks if not is_further(block.quantity.name)],
                further=[block for block in blocks if is_further(block.quantity.name)],
            )
        )
    return tables


def shown_quantities(tables: Iterable[GroupTable]) -> list[Quantity]:
    """Return the quantities that some table shows, in order, for the list of definitions."""
    return [block.quantity for table in tables for block in (*table.main, *table.further)]


def cell(row: Numbered, style: NumberStyle = PAGE, dbv_at_full_scale: float | None = None) -> Cell:
    """Return a measure or a change as a cell; a level in dBFS in dBV as well, where the recorder was calibrated."""
    in_volts = _in_volts(row, style, dbv_at_full_scale)
    return Cell(
        value=style.value(row),
        interval=style.interval(row),
        note=bound_words(row),
        detail="; ".join(part for part in (in_volts, _detail(row, style)) if part),
        n_takes=row.n_takes if isinstance(row, Measure) else 1,
    )


def _control_cell(catalogue: Catalogue, row: Numbered, control: Measure, style: NumberStyle) -> Cell:
    """Return the direct value; where it was taken in another use than the row's, it says in which."""
    shown = cell(control, style, catalogue.dbv_at_full_scale)
    own = Setup.of(control)
    differs = control.picture not in (None, row.picture) or (control.condition and control.condition != row.condition)
    if not differs:
        return shown
    return replace(shown, detail="; ".join(part for part in (catalogue.where(own), shown.detail) if part))


def _block(name: str, rows: list[TableRow]) -> Block:
    entry = quantity(name)
    return Block(quantity=entry, title=title_of(entry.name), unit=unit_words(visible(entry.unit)), rows=rows)


def _rows(catalogue: Catalogue, style: NumberStyle) -> dict[str, list[TableRow]]:
    """Return the rows of each quantity: set-ups of devices, then what is direct alone."""
    made: dict[str, dict[tuple[Setup, str], TableRow]] = {}
    controls = _by_quantity(row for row in catalogue.results.measures if row.role == "direct" and _is_tabled(row))
    used: set[int] = set()
    for row, column in _columned(catalogue):
        rows = made.setdefault(row.quantity, {})
        place = (Setup.of(row), row.channel)
        if place not in rows:
            rows[place] = _new_row(catalogue, row)
            control = catalogue.control(row, controls.get(row.quantity, []))
            if control is not None and row.role != "direct":
                used.add(id(control))
                rows[place].cells["direct"] = _control_cell(catalogue, row, control, style)
        rows[place].cells[column] = cell(row, style, catalogue.dbv_at_full_scale)
    for name, candidates in controls.items():
        for row in candidates:
            if id(row) not in used:
                rows = made.setdefault(name, {})
                rows.setdefault((Setup.of(row), row.channel), _new_row(catalogue, row)).cells["direct"] = cell(
                    row, style, catalogue.dbv_at_full_scale
                )
    _add_floors(catalogue, made, style)
    order = {name: index for index, name in enumerate((*catalogue.devices, *catalogue.singles))}
    return {
        name: sorted(
            rows.values(),
            key=lambda row: (order.get(row.subject, len(order)), row.where, channel_rank(row.channel)),
        )
        for name, rows in made.items()
    }


def _columned(catalogue: Catalogue) -> Iterable[tuple[Numbered, str]]:
    for measure in catalogue.results.measures:
        if measure.role in ("through", "added", "single") and _is_tabled(measure):
            yield measure, measure.role
    for change in catalogue.results.changes:
        if change.contrast == "direct":
            yield change, "change"


def _is_tabled(row: Measure) -> bool:
    """Return whether a row gets a place: what is heard is told of both channels together, which holds the worse one."""
    return row.listening is None or row.channel in ("both", "mono")


def _add_floors(catalogue: Catalogue, made: dict[str, dict[tuple[Setup, str], TableRow]], style: NumberStyle) -> None:
    """Put the bench's own floor beside every row of its quantity and channel."""
    for measure in catalogue.results.measures:
        if measure.role not in ("recorder", "source_off"):
            continue
        rows = made.setdefault(measure.quantity, {})
        matching = [row for (_, channel), row in rows.items() if channel == measure.channel]
        if not matching:
            matching = [rows.setdefault((Setup.of(measure), measure.channel), _new_row(catalogue, measure))]
        for row in matching:
            row.cells.setdefault(measure.role, cell(measure, style, catalogue.dbv_at_full_scale))


def _new_row(catalogue: Catalogue, row: Numbered) -> TableRow:
    named = row.subject in catalogue.devices or row.subject in catalogue.singles
    title = catalogue.title(row.subject) if named else COLUMNS.get(row.role, visible(row.subject))
    return TableRow(subject=row.subject, title=title, where=catalogue.where(row), channel=row.channel)


def _by_quantity(rows: Iterable[Measure]) -> dict[str, list[Measure]]:
    found: dict[str, list[Measure]] = {}
    for row in rows:
        found.setdefault(row.quantity, []).append(row)
    return found


def _in_volts(row: Numbered, style: NumberStyle, dbv_at_full_scale: float | None) -> str:
    if dbv_at_full_scale is None or isinstance(row, Change) or not row.unit.startswith("dBFS"):
        return ""
    number = style.number(row.value + dbv_at_full_scale, quantity(row.quantity).decimals)
    return style.with_unit(number, row.unit.replace("dBFS", "dBV"))


def _detail(row: Numbered, style: NumberStyle) -> str:
    """Return what a measure says beside its value, such as the frequency of a worst case."""
    if isinstance(row, Change):
        return {True: "told apart from direct", False: "not told apart from direct", None: ""}[row.distinguishable]
    parts = []
    for name, value in row.detail.items():
        if name == "frequency_hz":
            parts.append(f"at {hertz(value, style)}")
        elif name == "floor_dbfs":
            parts.append(f"the recorder's own floor is {style.with_unit(style.number(value, 1), 'dBFS')}")
        elif name == "floor_is_hum" and value:
            parts.append("hidden by hum")
    if {"from_hz", "to_hz"} <= row.detail.keys():
        low, high = row.detail["from_hz"], row.detail["to_hz"]
        # Only a band other than the usual one needs to be said.
        if abs(low / 20 - 1) > 0.01 or abs(high / 20000 - 1) > 0.01:
            parts.append(f"{hertz(low, style)} to {hertz(high, style)}")
    return "; ".join(parts)
