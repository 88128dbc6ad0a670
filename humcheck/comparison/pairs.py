"""Through against direct where levels alone do not say it: gain, polarity, response, complex added parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from humcheck.comparison.level_scatter import LevelScatter, sound_takes
from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.occasions import Occasions
from humcheck.comparison.port_responses import port_spans
from humcheck.comparison.responses import response_rows
from humcheck.comparison.tones import added_distortion, gain_changes, polarity_rows
from humcheck.results import Key, NotMeasured


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bench:
    """What all takes with sweeps tell of scatter.

    Attributes
    ----------
    sweeps : list of list of MeasuredTake
        Takes of each use, and the direct ones, whose sweeps can be used.
    levels : LevelScatter
        Of the same takes.
    """

    sweeps: list[list[MeasuredTake]]
    levels: LevelScatter


def pair_rows(takes: Sequence[MeasuredTake], occasions: Occasions) -> list[Any]:
    """Return the rows of uses against the direct takes, of ports and of the direct takes against each other.

    Parameters
    ----------
    takes : sequence of MeasuredTake
        All takes of the bench.
    occasions : mapping of str to Occasion
        When they were made.
    """
    direct = [take for take in takes if take.role == "direct"]
    halves = [direct[1::2], direct[0::2]] if len(direct) > 1 else []
    uses = _uses(takes)
    sweeps = [_with_sweeps(group) for group in (direct, *uses, *halves)]
    bench = _Bench(sweeps=sweeps[: 1 + len(uses)], levels=LevelScatter(takes, occasions, sweeps))
    rows: list[Any] = []
    for group in uses:
        rows.extend(_against(group, direct, group[0].key, bench))
    rows.extend(port_spans(sound_takes(takes, "response_delta"), bench.sweeps))
    if halves:
        # What the bench can resolve: one half of the direct takes against the other, taken by turns over the day.
        rows.extend(_resolution(halves[0], halves[1], bench))
    return rows


def _with_sweeps(takes: Sequence[MeasuredTake]) -> list[MeasuredTake]:
    return [take for take in sound_takes(takes, "response_delta") if take.responses]


def _uses(takes: Sequence[MeasuredTake]) -> list[list[MeasuredTake]]:
    """Return the through takes, those of one key together."""
    groups: dict[tuple[Any, ...], list[MeasuredTake]] = {}
    for take in takes:
        if take.role == "through":
            groups.setdefault(take.key.identity(), []).append(take)
    return list(groups.values())


def _against(through: Sequence[MeasuredTake], direct: Sequence[MeasuredTake], key: Key, bench: _Bench) -> list[Any]:
    rows: list[Any] = [row for row in _gains(through, direct, key) if isinstance(row, NotMeasured)]
    ours, theirs = _tones(through, "gain"), _tones(direct, "gain")
    if ours and theirs:
        rows += polarity_rows(ours[0], theirs[0], key)
    full = [tones for tones in _tones(through, "thd") if tones.full_scale is not None]
    full_direct = [tones for tones in _tones(direct, "thd") if tones.full_scale is not None]
    if full and full_direct:
        rows += added_distortion(full, full_direct, key)
    return rows + _responses(through, direct, key, bench)


def _resolution(later: Sequence[MeasuredTake], earlier: Sequence[MeasuredTake], bench: _Bench) -> list[Any]:
    key = earlier[0].key
    return _gains(later, earlier, key) + _responses(later, earlier, key, bench)


def _gains(through: Sequence[MeasuredTake], direct: Sequence[MeasuredTake], key: Key) -> list[Any]:
    ours, theirs = _tones(through, "gain"), _tones(direct, "gain")
    if ours and theirs:
        return list(gain_changes(ours, theirs, key))
    return _reasons([*through, *direct], key, "gain")


def _responses(through: Sequence[MeasuredTake], direct: Sequence[MeasuredTake], key: Key, bench: _Bench) -> list[Any]:
    sides = [_with_sweeps(through), _with_sweeps(direct)]
    if not all(sides):
        return _reasons([*through, *direct], key, "response_delta")
    ours, theirs = ([take.responses for take in side] for side in sides)
    return list(
        response_rows(
            ours,
            theirs,
            key,
            cells=[[take.responses for take in cell] for cell in bench.sweeps],
            level=lambda channel: bench.levels.between(channel, *sides),
        )
    )


def _tones(takes: Sequence[MeasuredTake], name: str) -> list[Any]:
    return [take.tones for take in sound_takes(takes, name) if take.tones is not None and take.tones.alone]


def _reasons(takes: Sequence[MeasuredTake], key: Key, name: str) -> list[NotMeasured]:
    """Return why a quantity cannot be had: the first fault that spoils it."""
    spoiling = [fault for take in takes for fault in take.row.faults if name in fault.spoils]
    return [NotMeasured(**key.fields(quantity=name), reason=spoiling[0].sentence)] if spoiling else []
