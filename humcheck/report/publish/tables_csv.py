"""Rows as CSV for spreadsheets and programs (RFC 4180): one header, every row, numbers as they are."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from typing import Any

from humcheck.audio.writing import MARK
from humcheck.report.text import visible
from humcheck.results import Change, Curve, Key, Line, Measure, Results, quantity
from humcheck.version import __version__

#: A spreadsheet would run a cell that begins with one of these.
_FORMULA = ("=", "+", "-", "@")
_KEY = ("subject", "role", "port", "picture", "condition", "fix", "channel", "quantity", "meaning", "listening")
_OF_NUMBER = ("value (see unit)", "unit", "low, 95 % (see unit)", "high, 95 % (see unit)", "bound")
#: The last column says what made the file, so that it can be known again.
_SOURCE = f"{MARK}, version"

Cell = str | float | int | None


def measures_csv(results: Results) -> str:
    """Return every measure."""
    header = ("id", *_KEY, *_OF_NUMBER, "interval", "number of takes", "takes", "detail")
    return _written(header, (_measure(row) for row in results.measures))


def changes_csv(results: Results) -> str:
    """Return every change, with what it is set against and what the statistics say of it."""
    header = (
        "id", *_KEY, "contrast", "reference", *_OF_NUMBER, "p", "p, adjusted", "told apart", "equal within margin",
        "margin (see unit)", "takes needed on each side",
    )  # fmt: skip
    return _written(header, (_change(row) for row in results.changes))


def curves_csv(results: Results) -> str:
    """Return every curve, a row for each of its points."""
    header = ("id", *_KEY, "frequency (Hz)", *_OF_NUMBER, "valid from (Hz)", "valid to (Hz)", "thinned")
    return _written(header, (line for row in results.curves for line in _curve(row)))


def lines_csv(results: Results) -> str:
    """Return every steady tone that was sought."""
    header = (
        "id", *_KEY, "family", "harmonic", "sideband", "frequency (Hz)", "level (dBFS)", "low, 95 % (dBFS)",
        "high, 95 % (dBFS)", "bound",
    )  # fmt: skip
    return _written(header, (_line(row) for row in results.lines))


def _written(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    text = io.StringIO()
    # The module's own way is that of RFC 4180: CRLF, quotes where they are needed, quotes in quotes doubled.
    writer = csv.writer(text)
    writer.writerow((*header, _SOURCE))
    writer.writerows((*map(_safe, row), __version__) for row in rows)
    return text.getvalue()


def _safe(cell: Cell) -> Cell:
    return _guarded(cell) if isinstance(cell, str) else cell


@lru_cache(maxsize=4096)
def _guarded(cell: str) -> str:
    """Return outside text without control characters, and so that no spreadsheet takes it for a formula."""
    shown = visible(cell)
    return f"'{shown}" if shown.lstrip().startswith(_FORMULA) else shown


def _key(row: Key) -> Iterator[Cell]:
    yield from (row.subject, row.role, row.port, row.picture)
    yield _pairs(row.condition)
    yield from (row.fix, row.channel, row.quantity, quantity(row.quantity).title, row.listening)


def _pairs(values: dict[str, Any]) -> str:
    return "; ".join(f"{name}={value}" for name, value in values.items())


def _measure(row: Measure) -> Sequence[Cell]:
    takes, detail = " ".join(row.takes), _pairs(row.detail)
    numbers = (row.value, row.unit, row.low, row.high, row.bound)
    return (row.id, *_key(row), *numbers, row.interval, row.n_takes, takes, detail)


def _change(row: Change) -> Sequence[Cell]:
    numbers = (row.value, row.unit, row.low, row.high, row.bound)
    told = (row.p_value, row.p_adjusted, _yes(row.distinguishable), _yes(row.equivalent), row.margin, row.takes_needed)
    return (row.id, *_key(row), row.contrast, _pairs(row.reference), *numbers, *told)


def _yes(value: bool | None) -> str | None:
    return None if value is None else "yes" if value else "no"


def _curve(row: Curve) -> Iterator[Sequence[Cell]]:
    key = (row.id, *_key(row))
    rest = (row.valid_from_hz, row.valid_to_hz, _yes(row.thinned))
    for index, (frequency_hz, value) in enumerate(zip(row.frequency_hz, row.value, strict=True)):
        ends = (None if column is None else column[index] for column in (row.low, row.high, row.bound))
        yield (*key, frequency_hz, value, row.unit, *ends, *rest)


def _line(row: Line) -> Sequence[Cell]:
    numbers = (row.frequency_hz, row.level_dbfs, row.low, row.high, row.bound)
    return (row.id, *_key(row), row.family, row.harmonic, row.sideband, *numbers)
