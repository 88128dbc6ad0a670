"""Made-up benches whose truth is known by construction: takes with values, set against each other by comparison."""

from __future__ import annotations

import numpy as np
from msgspec.structs import replace

from humcheck.comparison.certainty import CertaintySettings
from humcheck.comparison.compare import compare_takes
from humcheck.comparison.material import MeasuredTake
from humcheck.results import Bench, Key, Measure, Results, Settings, TakeRow
from humcheck.results.quantities import quantity as registry

#: True values of a direct take, and how much takes scatter (standard deviation), in each quantity's unit.
DIRECT = {
    "hum_level": -95.0,
    "buzz_level": -110.0,
    "hum_and_buzz_level": -95.0,
    "hiss_level": -98.0,
    "gain": -4.0,
    "balance": 0.02,
    "crosstalk_1k": -85.0,
}
SCATTER = {
    "hum_level": 0.3,
    "buzz_level": 0.4,
    "hum_and_buzz_level": 0.3,
    "hiss_level": 0.05,
    "gain": 0.02,
    "balance": 0.005,
    "crosstalk_1k": 0.1,
}
#: What a take holds unless it is said otherwise.
USUAL = tuple(name for name in DIRECT if name != "hum_and_buzz_level")
#: Of a take by itself, half of its 95 % interval.
OWN_HALF = 0.02


class Day:
    """Takes in the order of the day."""

    def __init__(self, seed=0, quantities=USUAL, channels=("left",), scatter=1.0):
        self.random = np.random.default_rng(seed)
        self.quantities, self.channels, self.scatter = quantities, channels, scatter
        self.takes = []

    def take(self, device=None, *, role=None, count=1, hidden=(), changes=None, **use):
        """Add takes of one key; `changes` are true differences from the direct path, `hidden` are upper bounds."""
        role = role or ("direct" if device is None else "through")
        for _ in range(count):
            name = f"t{len(self.takes) + 1}"
            key = Key(subject=device or role, role=role, quantity="take", **use)
            row = TakeRow(
                id=name, file=f"{name}.wav", sha256="", role=role, device=device, rate_hz=48000, channels=2,
                sample_format="s24", duration_s=60.0, **use,
            )  # fmt: skip
            measures = [
                self._measure(key, quantity, channel, name, (changes or {}).get(quantity, 0.0), quantity in hidden)
                for quantity in self.quantities
                for channel in self.channels
            ]
            self.takes.append(MeasuredTake(row=row, key=key, measures=tuple(measures)))
        return self

    def _measure(self, key, quantity, channel, name, change, is_hidden):
        value = DIRECT[quantity] + change + self.random.normal(0.0, SCATTER[quantity] * self.scatter)
        known = (
            {"bound": "upper"}
            if is_hidden
            else {"low": value - OWN_HALF, "high": value + OWN_HALF, "interval": "within"}
        )
        fields = key.fields(quantity=quantity, channel=channel)
        return Measure(**fields, value=value, unit=registry(quantity).unit, takes=[name], **known)

    def results(self, margins=None, **more):
        rows = compare_takes(self.takes, certainty=CertaintySettings(margins=margins or {}))
        made = {name: list(numbered(name, rows[name])) for name in ("measures", "changes")}
        return Results(
            bench=Bench(id="b", name="bench", created=""), settings=Settings(), humcheck_version="0", numbers_version=1,
            created="", takes=[take.row for take in self.takes], **made, **more,
        )  # fmt: skip


def numbered(kind, rows):
    """Rows with ids of their own."""
    return (replace(row, id=f"{kind}-{number}") for number, row in enumerate(rows, start=1))


def of_kind(found, kind, subject=None):
    """The sentences of a kind, joined."""
    return " ".join(row.sentence for row in found if row.kind == kind and subject in (None, row.subject))
