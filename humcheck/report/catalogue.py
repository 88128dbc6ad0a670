"""Rows found by what they belong to: devices, set-ups, and the direct row that stands beside each."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from humcheck.audio.hearing.listening import words_of
from humcheck.report.text import visible
from humcheck.results import Change, Curve, Key, Line, Measure, Results, TakeRow, Trace

AnyRow = TypeVar("AnyRow", bound=Key)
Numbered = Measure | Change

_DEVICE_ROLES = ("through", "added")
_FLOOR_ROLES = ("recorder", "source_off")
_CHANNEL_ORDER = {"left": 0, "right": 1, "mono": 2, "both": 3}


@dataclass(frozen=True, slots=True)
class Setup:
    """One way of using a device: what a row belongs to, apart from its role, channel and quantity."""

    subject: str
    port: str | None = None
    picture: str | None = None
    condition: tuple[tuple[str, str], ...] = ()
    fix: str | None = None
    listening: str | None = None

    @classmethod
    def of(cls, row: Key | TakeRow) -> Setup:
        """Return the set-up of a row or of a take."""
        condition = tuple(sorted(row.condition.items()))
        if isinstance(row, TakeRow):
            return cls(row.device or "", row.port, row.picture, condition, row.fix)
        return cls(row.subject, row.port, row.picture, condition, row.fix, row.listening)

    @property
    def parts(self) -> tuple[str, ...]:
        """What is said of the use beside the subject, each part in words."""
        parts = [] if self.port is None else [f"port {self.port}"]
        if self.picture is not None:
            parts.append(f"{self.picture} picture")
        parts += [f"{name.replace('_', ' ')} {value}" for name, value in self.condition]
        if self.fix is not None:
            parts.append(f"with {self.fix}")
        if self.listening is not None:
            parts.append(f"heard {words_of(self.listening)}")
        return tuple(visible(part) for part in parts)

    @property
    def words(self) -> str:
        """The set-up without its subject, ``port 3, white picture, supply off``; empty where nothing is said."""
        return ", ".join(self.parts)


class Catalogue:
    """The rows of one results file, indexed.

    Parameters
    ----------
    results : Results
        All rows.
    prefix : str
        What the names of its places in the page begin with, where several benches share one.

    Attributes
    ----------
    devices, singles : list of str
        Subjects under test, and takes inspected alone, in the order of first appearance.
    has_direct : bool
        Whether there is a control recording.
    common : tuple of str
        What is the same in all uses of all devices: said once, not beside every number.
    """

    def __init__(self, results: Results, prefix: str = "") -> None:
        self.results = results
        self.prefix = prefix
        self.by_id: dict[str, Key] = {}
        self._rows: dict[tuple[type, str, str], list[Key]] = {}
        roles: dict[str, dict[str, None]] = {}
        for row in self._all_rows():
            self._rows.setdefault((type(row), row.quantity, row.role), []).append(row)
            roles.setdefault(row.role, {})[row.subject] = None
            row_id = getattr(row, "id", "")
            if row_id:
                self.by_id.setdefault(row_id, row)
        for take in results.takes:
            if take.role == "through" and take.device is not None:
                roles.setdefault("through", {})[take.device] = None
            elif take.role == "single":
                roles.setdefault("single", {})[take.id] = None
        self.devices = list({name: None for role in _DEVICE_ROLES for name in roles.get(role, {})})
        self.singles = [name for name in roles.get("single", {}) if name not in self.devices]
        self.floors = [role for role in _FLOOR_ROLES if role in roles]
        self.has_direct = "direct" in roles or any(take.role == "direct" for take in results.takes)
        self.common = self._common_parts()
        self._uses = self._uses_by_subject()
        self._drawn_traces = _traces_as_curves(results.traces)
        self._file_of = {take.id: take.file for take in results.takes}

    @property
    def dbv_at_full_scale(self) -> float | None:
        """What 0 dBFS is in dBV (decibels re 1 V RMS); None where the recorder was not calibrated."""
        volts = self.results.settings.volts_at_full_scale
        return None if volts is None else 20.0 * math.log10(volts)

    def _all_rows(self) -> Iterable[Key]:
        results = self.results
        yield from results.measures
        yield from results.changes
        yield from results.curves
        yield from results.traces
        yield from results.lines
        yield from results.findings
        yield from results.not_measured

    def _common_parts(self) -> tuple[str, ...]:
        """Return what all recordings through devices share; where none is listed, what their measures share."""
        uses: Iterable[Key | TakeRow] = [take for take in self.results.takes if take.role == "through"]
        uses = uses or [row for row in self.results.measures if row.role in _DEVICE_ROLES]
        parts = {Setup.of(use).parts for use in uses}
        if not parts:
            return ()
        first, *others = parts
        return tuple(part for part in first if all(part in other for other in others))

    def _uses_by_subject(self) -> dict[str, dict[Setup, None]]:
        found: dict[str, dict[Setup, None]] = {}
        takes = [take for take in self.results.takes if take.role == "through"]
        rows = [row for row in self.results.measures if row.role in _DEVICE_ROLES and row.listening is None]
        for use in map(Setup.of, takes or rows):
            found.setdefault(use.subject, {})[use] = None
        return found

    def uses(self, subject: str) -> list[Setup]:
        """Return the ways in which a device was used, in the order of its recordings."""
        return list(self._uses.get(subject, ()))

    def where(self, use: Key | Setup) -> str:
        """Return a row's set-up in words, without what is the same for all; empty where nothing is left to say."""
        setup = use if isinstance(use, Setup) else Setup.of(use)
        return ", ".join(part for part in setup.parts if part not in self.common)

    def title(self, subject: str) -> str:
        """Return a subject's name for people: the file name of a take inspected alone."""
        if subject == "direct":
            return "Direct"
        return visible(self._file_of.get(subject, subject)) if subject in self.singles else visible(subject)

    def measures(self, quantity: str, role: str, subject: str | None = None) -> list[Measure]:
        """Return measures of a quantity and role, of one subject or of all."""
        return self._of(Measure, quantity, role, subject)

    def changes(self, quantity: str, subject: str | None = None, contrast: str = "direct") -> list[Change]:
        """Return changes of a quantity, whatever their role."""
        return [
            row
            for role in (*_DEVICE_ROLES, "direct", "single")
            for row in self._of(Change, quantity, role, subject)
            if row.contrast == contrast
        ]

    def curves(self, quantity: str, role: str, subject: str | None = None) -> list[Curve]:
        """Return curves of a quantity and role that have points; traces over frequency are curves too."""
        traced = [
            curve
            for curve in self._drawn_traces
            if curve.quantity == quantity and curve.role == role and subject in (None, curve.subject)
        ]
        return [curve for curve in (*self._of(Curve, quantity, role, subject), *traced) if curve.frequency_hz]

    def lines(self, role: str, families: Sequence[str], subject: str | None = None) -> list[Line]:
        """Return lines of a role and of some families."""
        return [
            line
            for (kind, _, row_role), rows in self._rows.items()
            if kind is Line and row_role == role
            for line in rows
            if isinstance(line, Line) and line.family in families and subject in (None, line.subject)
        ]

    def control(self, row: Key, candidates: Sequence[AnyRow]) -> AnyRow | None:
        """Return the direct row that stands beside `row`: same channel and listening, best the same picture.

        A direct row of another picture is better than none; the table says so beside it.
        """
        heard_in = (row.channel, row.listening)
        same = [candidate for candidate in candidates if (candidate.channel, candidate.listening) == heard_in]
        return max(same, key=lambda candidate: _likeness(row, candidate), default=None)

    def _of(self, kind: type[AnyRow], quantity: str, role: str, subject: str | None) -> list[AnyRow]:
        rows = self._rows.get((kind, quantity, role), [])
        return [row for row in rows if isinstance(row, kind) and subject in (None, row.subject)]


def is_over_frequency(trace: Trace) -> bool:
    """Return whether a trace runs over frequency, so that it can be drawn as a curve."""
    return trace.x_unit == "Hz" and len(trace.x) == len(trace.y) and all(hz > 0 for hz in trace.x)


def _traces_as_curves(traces: Sequence[Trace]) -> list[Curve]:
    return [
        Curve(**trace.fields(), id=trace.id, unit=trace.unit, frequency_hz=trace.x, value=trace.y)
        for trace in traces
        if is_over_frequency(trace)
    ]


def channels_in_order(channels: Iterable[str]) -> list[str]:
    """Return the different channels, left before right before what is made of both."""
    return sorted(set(channels), key=lambda name: _CHANNEL_ORDER.get(name, 9))


def channel_rank(channel: str) -> int:
    """Return a sort key for a channel."""
    return _CHANNEL_ORDER.get(channel, 9)


def worst(rows: Sequence[Numbered], *, by_size: bool = False) -> Numbered | None:
    """Return the row that speaks most against the device: a value before a bound; one channel before their mean.

    Parameters
    ----------
    rows : sequence
        Rows of one quantity for which less is better.
    by_size : bool
        Whether the distance from zero counts, as for a gain.
    """
    single = [row for row in rows if row.channel != "both"] or list(rows)
    if not single:
        return None
    return max(single, key=lambda row: (row.bound is None, abs(row.value) if by_size else row.value))


def _likeness(row: Key, candidate: Key) -> tuple[int, ...]:
    """Return how well a direct row fits as the control of `row`: for each field 2 the same, 1 unsaid, 0 another."""
    pairs = (
        (row.picture, candidate.picture),
        (row.condition, candidate.condition),
        (row.fix, candidate.fix),
        (row.port, candidate.port),
    )
    agreement = [2 if mine == theirs else 0 if theirs else 1 for mine, theirs in pairs]
    return (*agreement, getattr(candidate, "n_takes", 1))
