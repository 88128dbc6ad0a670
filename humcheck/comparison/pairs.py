"""Through against direct where levels alone do not say it: gain, polarity, response, complex added parts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import msgspec

from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.port_responses import port_spans
from humcheck.comparison.responses import response_rows
from humcheck.comparison.tones import added_distortion, gain_changes, gain_level, polarity_rows
from humcheck.results import Key, Measure, NotMeasured


def pair_rows(takes: Sequence[MeasuredTake]) -> list[Any]:
    """Return the rows of uses against the direct takes, of ports and of the direct takes against each other.

    Parameters
    ----------
    takes : sequence of MeasuredTake
        All takes of the bench.
    """
    direct = [take for take in takes if take.role == "direct"]
    rows: list[Any] = []
    for group in _uses(takes):
        rows.extend(_against(group, direct, group[0].key))
    rows.extend(port_spans(_sound(takes, "response_delta")))
    if len(direct) > 1:
        # What the bench can resolve: one half of the direct takes against the other, taken by turns over the day.
        rows.extend(_resolution(direct[1::2], direct[0::2]))
    return rows


def gain_levels(takes: Sequence[MeasuredTake]) -> Iterator[Measure]:
    """Yield what each take tells of the gain: see `tones.gain_level`. All direct takes share one key."""
    direct = Key(subject="direct", role="direct", quantity="gain")
    for take in _sound([take for take in takes if take.role in ("direct", "through")], "gain"):
        if take.tones is None:
            continue
        for channel in take.tones.channels:
            level = gain_level(take.tones, direct if take.role == "direct" else take.key, channel)
            if level is not None:
                yield msgspec.structs.replace(level, takes=[take.row.id])


def _uses(takes: Sequence[MeasuredTake]) -> list[list[MeasuredTake]]:
    """Return the through takes, those of one key together."""
    groups: dict[tuple[Any, ...], list[MeasuredTake]] = {}
    for take in takes:
        if take.role == "through":
            groups.setdefault(take.key.identity(), []).append(take)
    return list(groups.values())


def _against(through: Sequence[MeasuredTake], direct: Sequence[MeasuredTake], key: Key) -> list[Any]:
    rows: list[Any] = [row for row in _gains(through, direct, key) if isinstance(row, NotMeasured)]
    ours, theirs = _tones(through, "gain"), _tones(direct, "gain")
    if ours and theirs:
        rows += polarity_rows(ours[0], theirs[0], key)
    full = [tones for tones in _tones(through, "thd") if tones.full_scale is not None]
    full_direct = [tones for tones in _tones(direct, "thd") if tones.full_scale is not None]
    if full and full_direct:
        rows += added_distortion(full, full_direct, key)
    return rows + _responses(through, direct, key)


def _resolution(later: Sequence[MeasuredTake], earlier: Sequence[MeasuredTake]) -> list[Any]:
    key = earlier[0].key
    return _gains(later, earlier, key) + _responses(later, earlier, key)


def _gains(through: Sequence[MeasuredTake], direct: Sequence[MeasuredTake], key: Key) -> list[Any]:
    ours, theirs = _tones(through, "gain"), _tones(direct, "gain")
    if ours and theirs:
        return list(gain_changes(ours, theirs, key))
    return _reasons([*through, *direct], key, "gain")


def _responses(through: Sequence[MeasuredTake], direct: Sequence[MeasuredTake], key: Key) -> list[Any]:
    ours = [take.responses for take in _sound(through, "response_delta") if take.responses]
    theirs = [take.responses for take in _sound(direct, "response_delta") if take.responses]
    if ours and theirs:
        return list(response_rows(ours, theirs, key))
    return _reasons([*through, *direct], key, "response_delta")


def _sound(takes: Sequence[MeasuredTake], name: str) -> list[MeasuredTake]:
    """Return the takes without a fault that spoils a quantity."""
    return [take for take in takes if not any(name in fault.spoils for fault in take.row.faults)]


def _tones(takes: Sequence[MeasuredTake], name: str) -> list[Any]:
    return [take.tones for take in _sound(takes, name) if take.tones is not None and take.tones.alone]


def _reasons(takes: Sequence[MeasuredTake], key: Key, name: str) -> list[NotMeasured]:
    """Return why a quantity cannot be had: the first fault that spoils it."""
    spoiling = [fault for take in takes for fault in take.row.faults if name in fault.spoils]
    return [NotMeasured(**key.fields(quantity=name), reason=spoiling[0].sentence)] if spoiling else []
