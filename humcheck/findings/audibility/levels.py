"""What audibility rests on: lines and noise of a results file, in dB re the track's full scale (dBr).

The levels in the rows are those of the recorder, dBFS. Every level that has a ``_rel`` twin shows where the track's
full scale lies, and everything is counted from there: the recorder's gain drops out. So it does where a recording of
other material is counted from its own loudest peak.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.results import Curve, Key, Line, Measure, Results

_SUFFIX = "_rel"


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Lines or bands with their levels in dBr.

    Attributes
    ----------
    frequency_hz, value, low, high : numpy.ndarray, shape (n,)
        Frequencies in Hz, levels and the ends of their 95 % intervals.
    """

    frequency_hz: Floats
    value: Floats
    low: Floats
    high: Floats

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing."""
        return len(self.frequency_hz) == 0

    def raised(self, by_db: float) -> Readings:
        """Return the same, all levels moved."""
        return Readings(
            frequency_hz=self.frequency_hz, value=self.value + by_db, low=self.low + by_db, high=self.high + by_db
        )

    def total_db(self) -> float:
        """Return the power sum of all levels."""
        return float(10 * np.log10(np.sum(10 ** (self.value / 10))))


class Levels:
    """The rows of a results file, found by what they belong to, their levels in dBr.

    Parameters
    ----------
    results : Results
        Measures, curves and lines are read.
    """

    def __init__(self, results: Results) -> None:
        self.measures = {row.identity(): row for row in results.measures}
        self.directs = [row for row in results.measures if row.role == "direct"]
        self._curves: dict[tuple[Any, ...], Curve] = {row.identity(): row for row in results.curves}
        self._lines: dict[tuple[Any, ...], list[Line]] = {}
        for line in results.lines:
            if line.bound is None:
                self._lines.setdefault(line.identity(), []).append(line)
        self._shift_db: dict[tuple[str, str], float] = {}
        self._peak_db: dict[str, float] = {}
        for row in results.measures:
            level = self._level_of(row)
            if level is not None:
                self._shift_db.setdefault(_scale_of(row), row.value - level.value)
            if row.quantity == "peak_level" and row.role in ("direct", "single"):
                scale, _ = _scale_of(row)
                self._peak_db[scale] = max(row.value, self._peak_db.get(scale, row.value))

    def _level_of(self, row: Measure) -> Measure | None:
        if not row.quantity.endswith(_SUFFIX):
            return None
        fields = row.fields(quantity=row.quantity.removesuffix(_SUFFIX))
        return self.measures.get(Key(**fields).identity())

    def shift_db(self, row: Key) -> float | None:
        """Return what turns this row's dBFS into dBr; None where full scale is not known.

        Of a recording without the track its own loudest peak, in whichever channel, stands for full scale.
        """
        if self.rests_on_peak(row):
            return -self._peak_db[_scale_of(row)[0]]
        return self._shift_db.get(_scale_of(row))

    def rests_on_peak(self, row: Key) -> bool:
        """Return whether the own loudest peak stands for full scale, for want of a tone of known level."""
        scale, channel = _scale_of(row)
        return (scale, channel) not in self._shift_db and scale in self._peak_db

    def measure(self, row: Key, **changed: Any) -> Measure | None:
        """Return the measure whose key is `row`'s with some fields changed."""
        return self.measures.get(Key(**row.fields(**changed)).identity())

    def lines(self, row: Key, quantity: str) -> Readings:
        """Return the lines of a family that stand out by themselves, for the key of `row`."""
        found = self._lines.get(Key(**row.fields(quantity=quantity)).identity(), [])
        readings = _readings((line.frequency_hz, line.level_dbfs, line.low, line.high) for line in found)
        return readings.raised(self.shift_db(row) or 0.0)

    def bands(self, row: Key, quantity: str) -> Readings | None:
        """Return a spectrum in third octaves for the key of `row`, or None."""
        curve = self._curves.get(Key(**row.fields(quantity=quantity)).identity())
        if curve is None or not curve.frequency_hz:
            return None
        low, high = curve.low or curve.value, curve.high or curve.value
        readings = _readings(zip(curve.frequency_hz, curve.value, low, high, strict=True))
        return readings.raised(self.shift_db(row) or 0.0)


def _scale_of(row: Key) -> tuple[str, str]:
    """Return which full scale a row counts from: that of the direct takes, or of a take alone its own; by channel."""
    return row.subject if row.role == "single" else "", row.channel


def _readings(points: Iterable[tuple[float, float, float | None, float | None]]) -> Readings:
    listed = [
        (hz, value, value if low is None else low, value if high is None else high) for hz, value, low, high in points
    ]
    columns = np.array(listed, dtype=np.float64).reshape(-1, 4).T
    return Readings(frequency_hz=columns[0], value=columns[1], low=columns[2], high=columns[3])
