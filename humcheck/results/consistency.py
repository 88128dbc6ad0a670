"""Whether rows that were read make sense in themselves: what types alone do not say."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import msgspec

from humcheck.results.rows import Curve, Line, Results, Row, Trace

#: Far above any number of any unit here: what lies beyond it is no measurement, and cannot be reckoned with.
LARGEST_NUMBER = 1e15
#: Beyond this a ratio of powers, ten to the power of 300, is no number any more.
LARGEST_DB = 3000.0

_LEVELS = ("value", "level_dbfs", "low", "high")


def require_consistent(results: Results) -> None:
    """Raise if rows that were read contradict themselves.

    Raises
    ------
    ValueError
        If a number is far beyond anything measured, a curve or trace has more values than places, or a frequency is
        not above zero or comes out of order. Names the row.
    """
    for kind in ("takes", "measures", "changes", "curves", "traces", "lines", "limits", "media"):
        for index, row in enumerate(getattr(results, kind)):
            require_consistent_row(row, f"{kind}[{index}]")
    require_consistent_row(results.settings, "settings")
    for name in ("mains_hz", "volts_at_full_scale", "source_ohms", "load_ohms"):
        value = getattr(results.settings, name)
        if value is not None and value <= 0.0:
            raise ValueError(f"settings.{name} is {value:g}, not above zero")


def require_consistent_row(row: Row, place: str) -> None:
    """Raise `ValueError` if one row contradicts itself; `place` says which it is."""
    if isinstance(row, Curve):
        _require_curve(row, place)
    elif isinstance(row, Trace):
        _require_trace(row, place)
    else:
        plain = msgspec.to_builtins(row)
        _require_sane(plain, place)
        _require_level([plain.get(name) for name in _LEVELS], plain.get("unit", "dBFS"), place)
    if isinstance(row, Line) and row.frequency_hz <= 0.0:
        raise ValueError(f"{place} has a frequency of {row.frequency_hz:g} Hz")


def _require_curve(curve: Curve, place: str) -> None:
    across = curve.frequency_hz
    for name in ("value", "low", "high", "bound"):
        values = getattr(curve, name)
        if values is not None and len(values) != len(across):
            raise ValueError(f"{place} has {len(across)} frequencies and {len(values)} entries in {name}")
        if name != "bound":
            _require_sane(values, f"{place}.{name}")
            _require_level(values or (), curve.unit, f"{place}.{name}")
    _require_sane(across, f"{place}.frequency_hz")
    if any(frequency_hz <= 0.0 for frequency_hz in across):
        raise ValueError(f"{place} has a frequency that is not above zero")
    if any(after < before for before, after in zip(across, across[1:], strict=False)):
        raise ValueError(f"{place} has frequencies out of order")


def _require_trace(trace: Trace, place: str) -> None:
    if len(trace.x) != len(trace.y):
        raise ValueError(f"{place} has {len(trace.x)} values in x and {len(trace.y)} in y")
    _require_sane(trace.x, f"{place}.x")
    _require_sane(trace.y, f"{place}.y")


def _require_level(values: Iterable[object], unit: str, place: str) -> None:
    """Raise where a level is beyond anything that can be turned into a ratio."""
    if unit.startswith("dB") and any(abs(value) > LARGEST_DB for value in values if isinstance(value, int | float)):
        raise ValueError(f"{place} holds a level beyond {LARGEST_DB:g} dB")


def _require_sane(value: object, place: str) -> None:
    for number in _numbers(value):
        if not -LARGEST_NUMBER <= number <= LARGEST_NUMBER:
            raise ValueError(f"{place} holds {number:.3g}, which nothing here can be")


def _numbers(value: object) -> Iterator[float]:
    if isinstance(value, int | float):
        yield value
    elif isinstance(value, dict):
        for item in value.values():
            yield from _numbers(item)
    elif isinstance(value, list | tuple):
        for item in value:
            yield from _numbers(item)
