"""Reading a bench file: which takes there are, how each was made, and what counts."""

from __future__ import annotations

import math
import os
import unicodedata
from collections.abc import Iterator
from typing import cast

from humcheck.benches.model import Bench, BenchRun, BenchTake, Limit, LongRecording
from humcheck.benches.tables import FileTables, Label, RunTable, file_tables, limit_table, refuse_unknown
from humcheck.benches.take_files import TakeFiles
from humcheck.benches.toml_text import KeyPath, TomlText, read_toml
from humcheck.errors import UnusableCall
from humcheck.results.quantities import QUANTITIES
from humcheck.results.rows import Role

LONGEST_LABEL = 80
#: Labels that one would write in two ways by mistake.
_NAMED = ("device", "port", "picture", "fix")


def read_bench(path: str | os.PathLike[str]) -> Bench:
    """Read a bench file, check it, and find the files that it names.

    Parameters
    ----------
    path : path
        The bench file (TOML). Files in it are named from its folder; folders above it and absolute names are allowed.

    Returns
    -------
    Bench
        Checked as far as can be without opening a recording.

    Raises
    ------
    UnusableCall
        If the file cannot be read, or something in it makes no sense: names the key, its line, and the remedy. Files
        that are missing, empty or named twice are told all at once.
    """
    text = read_toml(path)
    tables = file_tables(text)
    files = TakeFiles(text=text)
    takes = tuple(_takes(text, tables, files))
    recordings = tuple(_recordings(text, tables, files))
    calibration, circuit = tables.calibration, tables.circuit
    if calibration.uncertainty_percent is not None and calibration.volts_at_full_scale is None:
        text.refuse(
            ("calibration", "uncertainty_percent"), "is of no use without volts_at_full_scale", "give both, or none"
        )
    bench = Bench(
        path=os.path.abspath(text.where),
        name=_bench_name(text, tables),
        mains_hz=None if tables.bench.mains_hz == "auto" else float(tables.bench.mains_hz),
        listening=_listening(text, tables),
        volts_at_full_scale=_above_zero(text, ("calibration", "volts_at_full_scale"), calibration.volts_at_full_scale),
        volts_uncertainty_percent=_above_zero(
            text, ("calibration", "uncertainty_percent"), calibration.uncertainty_percent
        ),
        source_ohms=_above_zero(text, ("circuit", "source_ohms"), circuit.source_ohms),
        load_ohms=_above_zero(text, ("circuit", "load_ohms"), circuit.load_ohms),
        margins=_margins(text, tables),
        limits=_limits(text, tables),
        takes=takes,
        recordings=recordings,
    )
    _require_direct(text, tables)
    files.refuse_problems()
    return bench


def _bench_name(text: TomlText, tables: FileTables) -> str:
    name = _label(text, ("bench", "name"), tables.bench.name)
    folder = os.path.basename(os.path.dirname(os.path.abspath(text.where)))
    return name or "".join(character for character in folder if character.isprintable()) or "bench"


def _listening(text: TomlText, tables: FileTables) -> tuple[str, ...]:
    from humcheck.audio.hearing.listening import listening_settings

    for index, name in enumerate(tables.bench.listening):
        try:
            listening_settings([name])
        except UnusableCall as error:
            text.refuse(("bench", "listening", index), error.problem, error.remedy or "see --listening")
    return tuple(tables.bench.listening)


def _above_zero(text: TomlText, place: KeyPath, value: float | None) -> float | None:
    if value is not None and not (math.isfinite(value) and value > 0.0):
        text.refuse(place, f"{value:g} makes no sense", "write a number above zero")
    return value


def _require_quantity(text: TomlText, place: KeyPath) -> None:
    if place[-1] not in QUANTITIES:
        refuse_unknown(text, place, tuple(QUANTITIES), "quantity")


def _margins(text: TomlText, tables: FileTables) -> dict[str, float]:
    margins = {}
    for name, value in tables.margins.items():
        place: KeyPath = ("margins", name)
        _require_quantity(text, place)
        if isinstance(value, bool) or not isinstance(value, int | float) or abs(value) > 1e9:
            text.refuse(place, "is no margin", f"write a number, such as {name} = 0.3")
        margins[name] = cast(float, _above_zero(text, place, float(value)))
    return margins


def _limits(text: TomlText, tables: FileTables) -> dict[str, Limit]:
    limits = {}
    for name, value in tables.limits.items():
        place: KeyPath = ("limits", name)
        _require_quantity(text, place)
        limit = limit_table(text, name, value)
        low, high = limit.min, limit.max
        if not all(math.isfinite(end) for end in (low, high) if end is not None):
            text.refuse(place, "is no finite number", "leave out the side that is open")
        if low is None and high is None:
            text.refuse(place, "says neither min nor max", f"write {name} = {{ max = ... }}")
        if low is not None and high is not None and low > high:
            text.refuse(place, f"min {low:g} is larger than max {high:g}", "exchange them")
        limits[name] = Limit(min=low, max=high)
    return limits


def _takes(text: TomlText, tables: FileTables, files: TakeFiles) -> Iterator[BenchTake]:
    for index, table in enumerate(tables.takes):
        place: KeyPath = ("takes", index)
        run = _run(text, place, table)
        for path in files.matching(_file_name(text, (*place, "file"), table.file), (*place, "file")):
            yield BenchTake(path=path, **{name: getattr(run, name) for name in BenchRun.__struct_fields__})
    _require_one_spelling(text, tables)


def _recordings(text: TomlText, tables: FileTables, files: TakeFiles) -> Iterator[LongRecording]:
    for index, table in enumerate(tables.recordings):
        place: KeyPath = ("recordings", index)
        if not table.runs:
            text.refuse((*place, "runs"), "names no runs", 'write runs = [ { role = "direct" }, ... ]')
        runs = tuple(_track_run(text, (*place, "runs", number), run) for number, run in enumerate(table.runs))
        paths = files.matching(_file_name(text, (*place, "file"), table.file), (*place, "file"))
        if len(paths) > 1:
            text.refuse(
                (*place, "file"), f"stands for {len(paths)} files", "give each recording its own [[recordings]]"
            )
        for path in paths:
            yield LongRecording(path=path, runs=runs)


def _file_name(text: TomlText, place: KeyPath, name: str) -> str:
    if not name.strip():
        text.refuse(place, "is empty", "write the name of the recording")
    return name


def _run(text: TomlText, place: KeyPath, table: RunTable) -> BenchRun:
    """Return how a take was made, the role filled in."""
    labels = {
        name: _label(text, (*place, name), getattr(table, name))
        for name in ("device", "port", "picture", "fix", "plugging")
    }
    role: Role = table.role or ("direct" if labels["device"] is None else "through")
    if role == "through" and labels["device"] is None:
        text.refuse(place, "a take through a device does not say which", 'add device = "..."')
    if table.role is None and labels["device"] is None and labels["port"] is not None:
        text.refuse((*place, "port"), "a port of which device", 'add device = "...", or say role = "direct"')
    return BenchRun(role=role, condition=_condition(text, (*place, "condition"), table.condition), **labels)


def _track_run(text: TomlText, place: KeyPath, table: RunTable) -> BenchRun:
    run = _run(text, place, table)
    if run.role in ("recorder", "source_off"):
        text.refuse(
            (*place, "role"), "no track plays in such a take, so it cannot be cut out", "record it to a file of its own"
        )
    return run


def _condition(text: TomlText, place: KeyPath, table: dict[str, object]) -> dict[str, str]:
    condition = {}
    for key, value in table.items():
        if isinstance(value, bool):
            value = "yes" if value else "no"
        elif isinstance(value, float) and math.isfinite(value):
            value = f"{value:g}"
        if not isinstance(value, str | int):
            text.refuse((*place, key), "is no label", f'write text in quotes, such as {key} = "off"')
        name, label = _label(text, (*place, key), key), _label(text, (*place, key), value)
        condition[cast(str, name)] = cast(str, label)
    return condition


def _label(text: TomlText, place: KeyPath, value: Label) -> str | None:
    """Return a label as text: one line, not empty, not long, its letters composed alike on every system."""
    if value is None:
        return None
    label = str(value) if isinstance(value, str) or abs(value) < 10**9 else ""
    label = unicodedata.normalize("NFC", label.strip())
    if not label or len(label) > LONGEST_LABEL or not label.isprintable():
        text.refuse(place, "is no usable label", f"write 1 to {LONGEST_LABEL} characters on one line")
    return label


def _require_one_spelling(text: TomlText, tables: FileTables) -> None:
    """Raise where two labels of one kind differ in nothing but capitals or blanks: they would be two devices."""
    seen: dict[tuple[str, str], tuple[str, KeyPath]] = {}
    for place, table in _all_runs(tables):
        for name in _NAMED:
            label = _label(text, (*place, name), getattr(table, name))
            if label is None:
                continue
            alike = (name, "".join(label.casefold().split()))
            earlier, earlier_place = seen.setdefault(alike, (label, (*place, name)))
            if earlier != label:
                text.refuse(
                    (*place, name), f"{label!r} is {earlier!r} in {text.place(earlier_place)}", "write them alike"
                )


def _all_runs(tables: FileTables) -> Iterator[tuple[KeyPath, RunTable]]:
    for index, table in enumerate(tables.takes):
        yield ("takes", index), table
    for index, recording in enumerate(tables.recordings):
        for number, run in enumerate(recording.runs):
            yield ("recordings", index, "runs", number), run


def _require_direct(text: TomlText, tables: FileTables) -> None:
    runs = [table for _, table in _all_runs(tables)]
    if not runs:
        raise UnusableCall("names no takes", where=text.where, remedy='add [[takes]] with file = "..."')
    if not any(table.role == "direct" or (table.role is None and table.device is None) for table in runs):
        raise UnusableCall(
            "names no direct take, and nothing is judged without one",
            where=text.where,
            remedy='add [[takes]] with file = "..." and role = "direct"',
        )
