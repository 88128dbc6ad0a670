"""All takes of a bench set against each other: from takes measured alone to the rows of a results file."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

from humcheck.comparison.added import added_lines, added_noise
from humcheck.comparison.changes import change_between
from humcheck.comparison.curves import average_curves
from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.occasions import occasions_of
from humcheck.comparison.pairs import pair_rows
from humcheck.comparison.picture_added import uses_with_rows
from humcheck.comparison.picture_added_curve import added_curves
from humcheck.comparison.picture_changes import picture_changes
from humcheck.comparison.relative import bounded_by_floor, lines_bounded_by_floor, relative_levels
from humcheck.comparison.repeats import aggregate_repeats
from humcheck.results import QUANTITIES, Change, Curve, Key, Line, Measure, NotMeasured, Trace, quantity

#: Steady lines add as amplitudes of unknown phase; everything else that is a level adds as power.
_LINE_LEVELS = (
    "hum_level",
    "hum_level_a",
    "buzz_level",
    "buzz_level_a",
    "hum_and_buzz_level",
    "whistle_level",
    "digital_level",
    "other_lines_level",
)
_NOISE_LEVELS = ("hiss_level", "hiss_level_a")
#: Set against direct as they are; what has a comparison of its own (gain, polarity, response) is not here.
_COMPARED_RATIOS = (
    "balance",
    "crosstalk_1k",
    "crosstalk_worst",
    "thd",
    "thd_n",
    "imd_smpte",
    "imd_difference",
    "dynamic_range",
    "dynamic_range_a",
)
_FLOOR_ROLES = ("recorder", "source_off")

Rows = dict[str, list[Any]]


def compare_takes(takes: Sequence[MeasuredTake], further: Sequence[Any] = ()) -> Rows:
    """Return the rows of all takes: repeats averaged, floors applied, dBr, changes, added parts.

    Parameters
    ----------
    takes : sequence of MeasuredTake
        In the order of the requests; takes of one key are repeats.
    further : sequence of rows, optional
        Rows of pairs that needed the recordings again (programme takes).

    Returns
    -------
    dict
        Lists of rows by the name of their list in results.
    """
    occasions = occasions_of(take.row for take in takes)
    measures = _above_the_floor(aggregate_repeats((row for take in takes for row in take.measures), occasions))
    full_scale = _full_scale_dbfs(takes)
    directs = [row for row in measures if row.role == "direct"]
    added = [*_added(measures, directs), *uses_with_rows(takes)]
    own_scale = [row for take in takes if take.role == "single" for row in _relative_to_itself(take, measures)]
    relative = relative_levels((row for row in (*measures, *added) if row.role != "single"), full_scale)
    pairs = [*pair_rows(takes), *further]
    paired: list[Measure] = [row for row in pairs if isinstance(row, Measure)]
    contrasts = picture_changes(measures)
    changes = [*_level_changes(measures, directs), *contrasts, *(row for row in pairs if isinstance(row, Change))]
    missing = [row for row in pairs if isinstance(row, NotMeasured)]
    curves = average_curves(row for take in takes for row in take.curves)
    return {
        "measures": [*measures, *added, *relative, *own_scale, *paired],
        "changes": changes,
        "curves": [*curves, *added_curves(takes), *(row for row in pairs if isinstance(row, Curve))],
        "traces": [*(row for take in takes for row in take.traces), *(row for row in pairs if isinstance(row, Trace))],
        "lines": _lines_of_first(takes),
        "not_measured": _still_missing(takes, [*measures, *paired, *changes], missing),
    }


def _above_the_floor(measures: list[Measure]) -> list[Measure]:
    """Return the measures, those that the bench's own floor explains turned into bounds."""
    floor = [row for row in measures if row.role in _FLOOR_ROLES]
    above = bounded_by_floor((row for row in measures if row.role not in _FLOOR_ROLES), floor)
    return [*above, *floor]


def _full_scale_dbfs(takes: Sequence[MeasuredTake]) -> dict[str, float]:
    """Return the level at which full scale arrives in the direct takes, by channel, averaged over takes."""
    received: dict[str, list[float]] = {}
    for take in takes:
        if take.role == "direct" and take.tones is not None:
            for channel, level_dbfs in take.tones.full_scale_dbfs.items():
                received.setdefault(channel, []).append(level_dbfs)
    return {channel: math.fsum(levels) / len(levels) for channel, levels in received.items()}


def _relative_to_itself(take: MeasuredTake, measures: Iterable[Measure]) -> list[Measure]:
    if take.tones is None:
        return []
    return relative_levels((row for row in measures if row.takes == [take.row.id]), take.tones.full_scale_dbfs)


def reference_for(row: Key, references: Iterable[Measure]) -> Measure | None:
    """Return the direct measure that `row` is to be set against: same quantity and channel, best the same picture."""
    same = [r for r in references if (r.quantity, r.channel) == (row.quantity, row.channel)]
    same.sort(key=lambda r: (r.picture != row.picture, r.condition != row.condition, -r.n_takes))
    return same[0] if same else None


def _level_changes(measures: Iterable[Measure], directs: Sequence[Measure]) -> list[Change]:
    changes = []
    for row in measures:
        if row.role != "through" or not _is_compared(row.quantity):
            continue
        reference = reference_for(row, directs)
        unit = "dB" if quantity(row.quantity).kind == "level" else row.unit
        change = None if reference is None else change_between(row, reference, "direct", unit=unit)
        if change is not None:
            changes.append(change)
    return changes


def _is_compared(name: str) -> bool:
    return name in _COMPARED_RATIOS or (quantity(name).kind == "level" and f"{name}_rel" in QUANTITIES)


def _added(measures: Iterable[Measure], directs: Sequence[Measure]) -> list[Measure]:
    added = []
    for row in measures:
        combine = (
            added_lines if row.quantity in _LINE_LEVELS else added_noise if row.quantity in _NOISE_LEVELS else None
        )
        reference = None if combine is None or row.role != "through" else reference_for(row, directs)
        part = None if combine is None or reference is None else combine(reference, row)
        if part is not None:
            added.append(part)
    return added


def _lines_of_first(takes: Sequence[MeasuredTake]) -> list[Line]:
    """Return the lines of the first take of each key: lines of repeats would only crowd the table."""
    seen: set[tuple[Any, ...]] = set()
    lines: list[Line] = []
    for take in takes:
        identity = take.key.identity()
        if identity not in seen and take.lines:
            seen.add(identity)
            lines.extend(take.lines)
    floor = [line for line in lines if line.role in _FLOOR_ROLES]
    return [*lines_bounded_by_floor((line for line in lines if line.role not in _FLOOR_ROLES), floor), *floor]


def _still_missing(
    takes: Sequence[MeasuredTake], measures: Sequence[Key], further: Iterable[NotMeasured]
) -> list[NotMeasured]:
    """Return what no take of a key could measure, each reason once."""
    known = {row.identity() for row in measures} | {row.identity() for take in takes for row in take.curves}
    known_without_channel = {row.identity("channel") for row in measures}
    missing: dict[tuple[Any, ...], NotMeasured] = {}
    for row in (*(row for take in takes for row in take.not_measured), *further):
        if row.identity() in known or (row.channel == "both" and row.identity("channel") in known_without_channel):
            continue
        missing.setdefault(row.identity(), row)
    return list(missing.values())
