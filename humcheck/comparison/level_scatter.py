"""Levels at 997 Hz: what each take tells of the gain, and how a level scatters from take to take on this bench."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any

import msgspec

from humcheck.comparison.drift import NO_DRIFT
from humcheck.comparison.intervals import Estimate, difference
from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.occasions import Occasions
from humcheck.comparison.references import place_of
from humcheck.comparison.repeats import cell_of
from humcheck.comparison.scatter import Pool
from humcheck.comparison.tones import gain_level
from humcheck.results import Key, Measure


def sound_takes(takes: Iterable[MeasuredTake], name: str) -> list[MeasuredTake]:
    """Return the takes without a fault that spoils a quantity."""
    return [take for take in takes if not any(name in fault.spoils for fault in take.row.faults)]


def gain_levels(takes: Sequence[MeasuredTake]) -> Iterator[Measure]:
    """Yield what each take tells of the gain: see `tones.gain_level`. All direct takes share one key."""
    direct = Key(subject="direct", role="direct", quantity="gain")
    for take in sound_takes([take for take in takes if take.role in ("direct", "through")], "gain"):
        if take.tones is None:
            continue
        for channel in take.tones.channels:
            level = gain_level(take.tones, direct if take.role == "direct" else take.key, channel)
            if level is not None:
                yield msgspec.structs.replace(level, takes=[take.row.id])


class LevelScatter:
    """How the level of the mean of some takes scatters, by all tones of the bench.

    Few takes hold sweeps, but nearly all hold the tone at 997 Hz; what happens to its level happens to theirs.
    """

    def __init__(self, takes: Sequence[MeasuredTake], occasions: Occasions, groups: Sequence[Sequence[MeasuredTake]]):
        by_channel: dict[str, list[Measure]] = {}
        for row in gain_levels(takes):
            by_channel.setdefault(row.channel, []).append(row)
        self._known: dict[tuple[str, tuple[str, ...]], Estimate] = {}
        for channel, rows in by_channel.items():
            self._learn(channel, rows, occasions, groups)

    def _learn(
        self, channel: str, rows: Sequence[Measure], occasions: Occasions, groups: Sequence[Sequence[MeasuredTake]]
    ) -> None:
        uses: dict[tuple[Any, ...], list[Measure]] = {}
        for row in rows:
            uses.setdefault(place_of(row), []).append(row)
        cells = [cell_of(use, occasions) for use in uses.values()]
        asked = [_ids(group) for group in groups]
        wanted = [(ids, members) for ids in asked if (members := [row for row in rows if row.takes[0] in ids])]
        cells += [replace(cell_of(members, occasions), counts=False) for _, members in wanted]
        found = Pool(cells, "levels").scatter(NO_DRIFT)[len(uses) :]
        for (ids, members), scatter in zip(wanted, found, strict=True):
            if scatter.repeatability in ("own", "borrowed") and len(members) == len(ids):
                self._known[channel, ids] = scatter.estimate

    def between(self, channel: str, ours: Sequence[MeasuredTake], theirs: Sequence[MeasuredTake]) -> Estimate | None:
        """Return the uncertainty of the difference of two groups' levels; None where it is not known."""
        one, other = (self._known.get((channel, _ids(takes))) for takes in (ours, theirs))
        return None if one is None or other is None else difference(one, other)


def _ids(takes: Sequence[MeasuredTake]) -> tuple[str, ...]:
    return tuple(take.row.id for take in takes)
