"""All takes of a bench set against each other: from takes measured alone to the rows of a results file."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

from humcheck.analyzers.clicks import EVENT
from humcheck.comparison.added import added_lines, added_noise
from humcheck.comparison.certainty import DEFAULT_CERTAINTY, CertaintySettings
from humcheck.comparison.changes import Compared, compare, judged, unit_of_change
from humcheck.comparison.contrasts import contrast_changes
from humcheck.comparison.curves import average_curves
from humcheck.comparison.driven_ports import bleed_rows, is_driven_elsewhere, noise_alone
from humcheck.comparison.events import clicks_alone
from humcheck.comparison.level_scatter import gain_levels
from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.occasions import occasions_of
from humcheck.comparison.pairs import pair_rows
from humcheck.comparison.picture_added import uses_with_rows
from humcheck.comparison.picture_added_curve import added_curves
from humcheck.comparison.picture_changes import compared_pictures
from humcheck.comparison.picture_traces import traces_of
from humcheck.comparison.ports import port_changes
from humcheck.comparison.readiness import resolvable_differences
from humcheck.comparison.references import References, is_compared, place_of, reference_for
from humcheck.comparison.relative import bounded_by_floor, lines_bounded_by_floor, relative_levels
from humcheck.comparison.repeats import aggregate_repeats
from humcheck.comparison.spans import judged_spans
from humcheck.comparison.split_takes import delay_rows, emptied, is_split
from humcheck.results import Change, Curve, Key, Line, Measure, NotMeasured, Trace

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
_FLOOR_ROLES = ("recorder", "source_off")

__all__ = ["compare_takes", "reference_for"]

Rows = dict[str, list[Any]]


def compare_takes(
    takes: Sequence[MeasuredTake], further: Sequence[Any] = (), certainty: CertaintySettings = DEFAULT_CERTAINTY
) -> Rows:
    """Return the rows of all takes: repeats averaged, floors applied, dBr, changes, added parts.

    Parameters
    ----------
    takes : sequence of MeasuredTake
        In the order of the day; takes of one key are repeats.
    further : sequence of rows, optional
        Rows of pairs that needed the recordings again (programme takes).
    certainty : CertaintySettings, optional
        What counts as the same.

    Returns
    -------
    dict
        Lists of rows by the name of their list in results.
    """
    occasions = occasions_of(take.row for take in takes)
    apart = [*bleed_rows(takes, occasions), *delay_rows(takes)]
    takes = [_as_far_as_its_own(take) for take in takes]
    # All together: whether the day drifts is judged from every quantity.
    merged = aggregate_repeats([*(row for take in takes for row in take.measures), *gain_levels(takes)], occasions)
    gains = [row for row in merged if row.quantity == "gain"]
    measures = _above_the_floor([row for row in merged if row.quantity != "gain"])
    full_scale = _full_scale_dbfs(takes)
    directs = References(row for row in measures if row.role == "direct")
    added = [*_added(measures, directs), *uses_with_rows(takes)]
    own_scale = [row for take in takes if take.role == "single" for row in _relative_to_itself(take, measures)]
    relative = relative_levels((row for row in (*measures, *added) if row.role != "single"), full_scale)
    pairs = [*pair_rows(takes, occasions), *further, *apart]
    paired: list[Measure] = [row for row in pairs if isinstance(row, Measure)]
    resolvable = resolvable_differences(row for row in (*gains, *measures) if row.role == "direct")
    paired_changes = (row for row in pairs if isinstance(row, Change))
    changes = [
        *_changes(measures, gains, certainty),
        *judged_spans(paired_changes, takes, occasions, certainty),
    ]
    missing = [row for row in pairs if isinstance(row, NotMeasured)]
    curves = average_curves(row for take in takes for row in take.curves)
    return {
        "measures": [*measures, *added, *relative, *own_scale, *paired, *resolvable],
        "changes": changes,
        "curves": [*curves, *added_curves(takes), *(row for row in pairs if isinstance(row, Curve))],
        "traces": [*traces_of(takes), *(row for row in pairs if isinstance(row, Trace))],
        "lines": _lines_of_first(takes),
        "not_measured": _still_missing(takes, [*measures, *paired, *changes], missing),
    }


def _as_far_as_its_own(take: MeasuredTake) -> MeasuredTake:
    """Return a take with those of its rows alone that are about the use that it names."""
    if is_split(take):
        return emptied(take)
    if EVENT in take.row.condition:
        return clicks_alone(take)
    return noise_alone(take) if is_driven_elsewhere(take) else take


def _changes(measures: Sequence[Measure], gains: Sequence[Measure], certainty: CertaintySettings) -> list[Change]:
    """Return the changes of all contrasts, judged together."""
    compared = [*measures, *gains]
    directs = References(row for row in compared if row.role == "direct")
    changes = [
        *_direct_changes(compared, directs),
        *compared_pictures(measures),
        *contrast_changes(compared),
        *port_changes(compared),
    ]
    return judged(changes, certainty)


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


def _direct_changes(measures: Iterable[Measure], directs: References) -> list[Compared]:
    changes: list[Compared | None] = []
    for row in measures:
        reference = directs.of(row) if row.role == "through" and is_compared(row.quantity) else None
        if reference is not None:
            changes.append(compare(row, reference, "direct", unit=unit_of_change(row)))
    return [change for change in changes if change is not None]


def _added(measures: Iterable[Measure], directs: References) -> list[Measure]:
    added = []
    for row in measures:
        combine = (
            added_lines if row.quantity in _LINE_LEVELS else added_noise if row.quantity in _NOISE_LEVELS else None
        )
        reference = None if combine is None or row.role != "through" else directs.of(row)
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
    rows = [*(row for take in takes for row in take.not_measured), *further]
    sought = {row.quantity for row in rows}
    found: list[Key] = [row for row in measures if row.quantity in sought]
    known_without_channel = {place_of(row, "channel") for row in found}
    found += [row for take in takes for row in take.curves if row.quantity in sought]
    known = {place_of(row) for row in found}
    missing: dict[tuple[Any, ...], NotMeasured] = {}
    for row in rows:
        place = place_of(row)
        if place in known or (row.channel == "both" and place_of(row, "channel") in known_without_channel):
            continue
        missing.setdefault(place, row)
    return list(missing.values())
