"""The tables of a bench file as they are written, and what a user is told where one does not fit."""

from __future__ import annotations

import re
from difflib import get_close_matches
from typing import Any, Literal, NoReturn, get_args

import msgspec

from humcheck.benches.model import BenchRole
from humcheck.benches.toml_text import KeyPath, TomlText

Label = str | int | None


class _Table(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Base of all tables: a key that is not known is an error."""


class BenchTable(_Table, frozen=True, kw_only=True):
    """``[bench]``."""

    name: str | None = None
    mains_hz: Literal[50, 60, "auto"] = "auto"
    listening: list[str] = []


class CalibrationTable(_Table, frozen=True, kw_only=True):
    """``[calibration]``."""

    volts_at_full_scale: float | None = None
    uncertainty_percent: float | None = None


class CircuitTable(_Table, frozen=True, kw_only=True):
    """``[circuit]``."""

    source_ohms: float | None = None
    load_ohms: float | None = None


class RunTable(_Table, frozen=True, kw_only=True):
    """An item of ``runs``; `condition` is read by hand, for msgspec does not say which of its keys is wrong."""

    role: BenchRole | None = None
    device: Label = None
    port: Label = None
    picture: Label = None
    fix: Label = None
    plugging: Label = None
    condition: dict[str, Any] = {}


class TakeTable(RunTable, frozen=True, kw_only=True):
    """``[[takes]]``."""

    file: str


class RecordingTable(_Table, frozen=True, kw_only=True):
    """``[[recordings]]``."""

    file: str
    runs: list[RunTable]


class LimitTable(_Table, frozen=True, kw_only=True):
    """An entry of ``[limits]``."""

    min: float | None = None
    max: float | None = None


class FileTables(_Table, frozen=True, kw_only=True):
    """The whole file; quantities are read by hand, for msgspec does not say which is wrong."""

    bench: BenchTable = BenchTable()
    calibration: CalibrationTable = CalibrationTable()
    circuit: CircuitTable = CircuitTable()
    margins: dict[str, Any] = {}
    limits: dict[str, Any] = {}
    takes: list[TakeTable] = []
    recordings: list[RecordingTable] = []


_STEP = re.compile(r"\.([^.\[\]`]+)|\[(\d+)\]")
_UNKNOWN = re.compile(r"Object contains unknown field `(.*?)`(?: - at `\$|$)", re.DOTALL)
_MISSING = re.compile(r"Object missing required field `(\w+)`")
_EXPECTED = re.compile(r"Expected `([^`]*)`, got `([^`]*)`")
_ENUM = re.compile(r"Invalid enum value (.*?)(?: - at `\$|$)", re.DOTALL)
_PLAIN_WORDS = {
    "str": "text in quotes",
    "int": "a whole number",
    "float": "a number",
    "bool": "true or false",
    "object": "a table",
    "array": "a list",
    "null": "nothing",
}
_CHOICES = {"role": get_args(BenchRole), "mains_hz": ("50", "60", '"auto"')}
_TABLES: dict[str, type[msgspec.Struct]] = {
    "bench": BenchTable,
    "calibration": CalibrationTable,
    "circuit": CircuitTable,
    "takes": TakeTable,
    "recordings": RecordingTable,
    "runs": RunTable,
}


def file_tables(text: TomlText) -> FileTables:
    """Return the tables of a bench file.

    Raises
    ------
    UnusableCall
        If a key is unknown or missing, or a value of the wrong kind: names the key, its line, and what is right.
    """
    try:
        return msgspec.convert(text.values, FileTables)
    except msgspec.ValidationError as error:
        _refuse(text, str(error))


def limit_table(text: TomlText, quantity: str, value: object) -> LimitTable:
    """Return one entry of ``[limits]``; errors as for `file_tables`."""
    place: KeyPath = ("limits", quantity)
    if not isinstance(value, dict):
        text.refuse(place, "is no limit", f"write {quantity} = {{ min = -0.5, max = 0.5 }}, or one of the two")
    for key in value:
        if key not in LimitTable.__struct_fields__:
            refuse_unknown(text, (*place, key), LimitTable.__struct_fields__)
    try:
        return msgspec.convert(value, LimitTable)
    except msgspec.ValidationError as error:
        _refuse(text, str(error), place)


def refuse_unknown(text: TomlText, place: KeyPath, known: tuple[str, ...], what: str = "key") -> NoReturn:
    """Raise `UnusableCall` for a name that is not known, with the nearest that is."""
    name = str(place[-1])
    near = get_close_matches(name.lower(), known, n=1, cutoff=0.55)
    remedy = f"did you mean {near[0]}?" if near else f"known are {', '.join(known)}"
    text.refuse(place, f"there is no such {what}", remedy)


def _refuse(text: TomlText, message: str, before: KeyPath = ()) -> NoReturn:
    """Raise `UnusableCall` for what msgspec found: its message in plain words, with the line."""
    place = (*before, *_key_path(message))
    if found := _UNKNOWN.match(message):
        table = next((_TABLES[part] for part in reversed(place) if part in _TABLES), FileTables)
        refuse_unknown(text, (*place, found[1]), table.__struct_fields__)
    if found := _MISSING.match(message):
        text.refuse(place, f"the key {found[1]} is missing", f"add {found[1]} = ...")
    choices = _CHOICES.get(str(place[-1])) if place else None
    if choices is not None:
        value = found[1] if (found := _ENUM.match(message)) else "this"
        near = get_close_matches(value.strip("'").lower(), choices, n=1, cutoff=0.55)
        remedy = f"did you mean {near[0]}?" if near else f"write one of {', '.join(choices)}"
        text.refuse(place, f"{value} is not known here", remedy)
    if found := _EXPECTED.match(message):
        wanted = " or ".join(_PLAIN_WORDS.get(kind, kind) for kind in found[1].split(" | ") if kind != "null")
        text.refuse(place, f"is {_PLAIN_WORDS.get(found[2], found[2])}", f"write {wanted}")
    text.refuse(place, message.partition(" - at `$")[0], "see the bench file that 'humcheck new' writes")


def _key_path(message: str) -> KeyPath:
    shown = message.rpartition(" - at `$")[2] if " - at `$" in message else ""
    return tuple(name or int(index) for name, index in _STEP.findall(shown))
