"""All uses of all devices side by side: a row for each, a column for each complaint."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from humcheck.audio.hearing.listening import words_of
from humcheck.report.catalogue import Catalogue, Numbered, Setup, channels_in_order, worst
from humcheck.report.order import SEVERITY_ORDER, group_of_kind, title_of
from humcheck.report.text import PAGE, NumberStyle, bound_words, unit_words, visible
from humcheck.results import Change, Measure

#: One row for the worse channel of each use.
WORSE = "worse"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One complaint.

    Attributes
    ----------
    quantities : tuple of str
        What may stand in it, best first.
    group : str
        Complaint whose severity stands beside its values.
    changes : bool
        Whether the change re direct is shown, not the value.
    """

    key: str
    title: str
    quantities: tuple[str, ...]
    group: str
    changes: bool = False
    unit: str = ""


_COLUMNS = (
    Column(key="hum", title="Hum", quantities=("hum_level", "hum_and_buzz_level"), group="hum"),
    Column(key="buzz", title="Buzz", quantities=("buzz_level",), group="buzz"),
    Column(key="hiss", title="Hiss", quantities=("hiss_level",), group="hiss"),
    Column(key="level", title="Level, change", quantities=("gain",), group="level", changes=True),
    Column(key="balance", title="Balance, change", quantities=("balance",), group="balance", changes=True),
    Column(key="tone", title="Tone, change", quantities=("response_span",), group="tone", changes=True),
    Column(key="bleed", title="Bleed", quantities=("crosstalk_1k", "crosstalk_worst"), group="bleed"),
    Column(key="ports", title="Bleed of other ports", quantities=("bleed_1k",), group="bleed"),
    Column(key="distortion", title="Distortion", quantities=("thd", "thd_n"), group="distortion"),
    Column(key="heard", title="Heard (prediction)", quantities=("audible_margin",), group="audibility"),
)
_FILTERS = {"port": "Port", "picture": "Picture", "condition": "Condition", "fix": "Fix", "channel": "Channel"}
_BY_SIZE = ("gain", "balance")


@dataclass(frozen=True, slots=True, kw_only=True)
class SideCell:
    """One number: as shown, for sorting, and the ends within which it may lie."""

    value: str
    interval: str
    note: str
    severity: str
    number: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SideRow:
    """One use and channel."""

    title: str
    where: str
    port: str
    picture: str
    condition: str
    fix: str
    channel: str
    is_control: bool
    cells: dict[str, SideCell] = field(default_factory=dict)

    @property
    def channel_words(self) -> str:
        """The channel for people; nothing where there is one only."""
        return {WORSE: "worse channel", "mono": ""}.get(self.channel, self.channel)


@dataclass(frozen=True, slots=True, kw_only=True)
class SidePart:
    """Rows that stand together; those of the control are not sorted among the others."""

    rows: tuple[SideRow, ...]
    fixed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SideBySide:
    """The whole table; no rows where there is nothing to compare."""

    columns: tuple[Column, ...]
    rows: tuple[SideRow, ...]
    listening: str

    @property
    def parts(self) -> tuple[SidePart, ...]:
        """The control's rows, which stay on top, and the others."""
        control = tuple(row for row in self.rows if row.is_control)
        others = tuple(row for row in self.rows if not row.is_control)
        return tuple(SidePart(rows=rows, fixed=rows is control) for rows in (control, others) if rows)

    @property
    def channels(self) -> bool:
        """Whether channels stand apart."""
        return any(row.channel == WORSE for row in self.rows) and len({row.channel for row in self.rows}) > 1

    @property
    def filters(self) -> str:
        """What rows can be chosen by, with headings, where they differ in it."""
        told = [
            f"{name}:{words}"
            for name, words in _FILTERS.items()
            if len({getattr(row, name) for row in self.rows if not row.is_control}) > 1
        ]
        return ",".join(["device:Device", *told])


def side_by_side(catalogue: Catalogue, style: NumberStyle = PAGE, *, least_uses: int = 2) -> SideBySide:
    """Return the table of all uses, the direct recordings first."""
    index = _Index(catalogue)
    uses = [use for use in index.uses if use.subject in catalogue.devices]
    if len(uses) < least_uses:
        return SideBySide(columns=(), rows=(), listening="")
    directs = [use for use in index.uses if use.subject == "direct"]
    columns = tuple(column for made in _COLUMNS if (column := index.fitted(made)) is not None)
    rows = [row for use in (*directs, *_ordered(catalogue, uses)) for row in _rows_of(index, use, columns, style)]
    return SideBySide(columns=columns, rows=tuple(row for row in rows if row.cells), listening=index.listening_words)


class _Index:
    """Rows by column, use and channel."""

    def __init__(self, catalogue: Catalogue) -> None:
        self.catalogue = catalogue
        names = {name for column in _COLUMNS for name in column.quantities}
        names |= {f"{name}_rel" for name in names}
        self.rows: dict[tuple[str, bool, Setup], list[Numbered]] = {}
        self.units: dict[str, str] = {}
        uses: dict[Setup, None] = {}
        every: list[Numbered] = [*catalogue.results.measures, *catalogue.results.changes]
        for row in every:
            if row.quantity not in names or row.role not in ("through", "direct"):
                continue
            is_change = isinstance(row, Change)
            if isinstance(row, Change) and row.contrast != "direct":
                continue
            use = replace(Setup.of(row), listening=None)
            uses[use] = None
            self.rows.setdefault((row.quantity, is_change, use), []).append(row)
            self.units[row.quantity] = row.unit
        self.uses = list(uses)
        self.severities = _severities(catalogue)
        named = dict.fromkeys(row.listening for row in catalogue.results.measures if row.listening is not None)
        self.listening_words = " or ".join(visible(words_of(name)) for name in named)

    def fitted(self, column: Column) -> Column | None:
        """Return the column with the quantities and the unit that are there: dBr rather than dBFS."""
        for ending in ("_rel", ""):
            names = tuple(f"{name}{ending}" for name in column.quantities)
            found = [name for name in names if any(key[:2] == (name, column.changes) for key in self.rows)]
            if found:
                return replace(column, quantities=tuple(found), unit=unit_words(visible(self.units[found[0]])))
        return None

    def of(self, column: Column, use: Setup) -> list[Numbered]:
        """Return what a column has of a use, whatever its channel."""
        for name in column.quantities:
            rows = self.rows.get((name, column.changes, use))
            if rows:
                return rows
        return []


def _severities(catalogue: Catalogue) -> dict[tuple[str, Setup], str]:
    """Return the most serious finding by complaint and use."""
    steps: dict[tuple[str, Setup], int] = {}
    for row in catalogue.results.findings:
        if row.quantity == "polarity":
            continue  # a finding about level that no column shows: its dots beside a level would speak of another thing
        group = "balance" if row.quantity == "balance" else group_of_kind(row.kind, row.quantity).key
        place = (group, replace(Setup.of(row), listening=None))
        steps[place] = min(steps.get(place, 99), SEVERITY_ORDER.index(row.severity))
    return {place: SEVERITY_ORDER[step] for place, step in steps.items()}


def _ordered(catalogue: Catalogue, uses: Sequence[Setup]) -> list[Setup]:
    order = {name: index for index, name in enumerate(catalogue.devices)}
    return sorted(uses, key=lambda use: order[use.subject])


def _rows_of(index: _Index, use: Setup, columns: Sequence[Column], style: NumberStyle) -> Iterable[SideRow]:
    found = {column.key: index.of(column, use) for column in columns}
    single = channels_in_order(
        row.channel for rows in found.values() for row in rows if row.channel in ("left", "right", "mono")
    )
    channels = [WORSE, *single] if len(single) > 1 else single or [WORSE]
    for channel in channels:
        cells = {}
        for column in columns:
            row = _chosen(found[column.key], channel, by_size=column.quantities[0] in _BY_SIZE)
            if row is not None:
                cells[column.key] = _cell(row, column, index.severities.get((column.group, use), ""), style)
        yield _row(index.catalogue, use, channel, cells)


def _chosen(rows: Sequence[Numbered], channel: str, *, by_size: bool) -> Numbered | None:
    """Return a channel's row; what is told of both channels together stands for either."""
    if channel == WORSE:
        return worst(rows, by_size=by_size)
    own = [row for row in rows if row.channel == channel] or [row for row in rows if row.channel == "both"]
    return max(own, key=lambda row: abs(row.value) if by_size else row.value, default=None)


def _row(catalogue: Catalogue, use: Setup, channel: str, cells: dict[str, SideCell]) -> SideRow:
    return SideRow(
        title=catalogue.title(use.subject),
        where=catalogue.where(use),
        port=visible(use.port or ""),
        picture=visible(use.picture or ""),
        condition=visible(", ".join(f"{name} {value}" for name, value in use.condition)),
        fix=visible(use.fix or ""),
        channel=channel,
        is_control=use.subject == "direct",
        cells=cells,
    )


def _cell(row: Numbered, column: Column, severity: str, style: NumberStyle) -> SideCell:
    unit = unit_words(row.unit)
    value = style.value(row)
    low, high = row.low, row.high
    if row.bound is not None:
        low, high = (None, row.value) if row.bound == "upper" else (row.value, None)
    elif low is None or high is None:
        low = high = row.value
    note = bound_words(row)
    if isinstance(row, Measure) and row.listening is not None:
        note = visible(words_of(row.listening))
    if row.quantity != column.quantities[0]:
        note = "; ".join(part for part in (title_of(row.quantity).lower(), note) if part)
    return SideCell(
        value=value.removesuffix(f"{style.space}{unit}") if unit else value,
        interval=style.interval(row),
        note=note,
        severity=severity,
        number=row.value,
        low=low,
        high=high,
    )
