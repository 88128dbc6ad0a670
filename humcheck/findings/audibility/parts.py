"""Each family's power behind the auditory filters, with interval; of direct and through takes and of added parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from humcheck.audio.hearing.ear import Ear
from humcheck.audio.levels import Floats
from humcheck.comparison.compare import reference_for
from humcheck.findings.audibility.families import FAMILIES, Family
from humcheck.findings.audibility.levels import Levels, Readings
from humcheck.results import Measure

#: Families that stand for a sum where two cannot be told apart; each alone is then at most the sum.
_SUM = next(family for family in FAMILIES if family.name == "hum_and_buzz")
_IN_SUM = ("hum", "buzz")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """Power of one family behind each filter, full scale at 0 dB SPL.

    Attributes
    ----------
    value, low, high : numpy.ndarray, shape (n_filters,)
        The power and the ends of its 95 % interval. Of a family that is hidden only `high` is known; the others are 0.
    hidden : bool
        Whether the family's level is only an upper bound.
    seen : bool
        Whether anything of it was measured: of a family that was sought and not found, nothing was.
    """

    value: Floats
    low: Floats
    high: Floats
    hidden: bool = False
    seen: bool = True


def total(parts: Sequence[Part]) -> Part:
    """Return several parts together: hidden ones only add to what it is at most.

    Those not found are left out as long as anything was: what there is of them lies in the hiss.
    """
    counted = [part for part in parts if part.seen] or parts
    return Part(
        value=np.sum([part.value for part in counted], axis=0),
        low=np.sum([part.low for part in counted], axis=0),
        high=np.sum([part.high for part in counted], axis=0),
        hidden=all(part.hidden for part in counted),
        seen=any(part.seen for part in parts),
    )


def part_of(ear: Ear, levels: Levels, family: Family, row: Measure) -> Part | None:
    """Return a family's part in one channel of one use.

    Parameters
    ----------
    ear : Ear
        The filters.
    levels : Levels
        All rows.
    family : Family
        Which family.
    row : Measure
        Its level in dBFS; of the role ``added``, the device's own part.
    """
    if row.role == "added":
        return _added(ear, levels, family, row)
    return _lines_part(ear, levels, family, row) if family.tonal else _hiss_part(ear, levels, row)


def _hiss_part(ear: Ear, levels: Levels, row: Measure) -> Part | None:
    bands = levels.bands(row, "hiss_spectrum")
    if bands is None:
        return None
    value, low, high = (ear.noise(bands.frequency_hz, level) for level in (bands.value, bands.low, bands.high))
    part = Part(value=value, low=low, high=high)
    return _hidden(part.high) if row.bound is not None else part


def _lines_part(ear: Ear, levels: Levels, family: Family, row: Measure) -> Part | None:
    lines = levels.lines(row, family.level)
    if row.bound is None and not lines.is_empty:
        return _found(ear, _as_strong_as(lines, levels, row) if row.n_takes > 1 else lines, row)
    if lines.is_empty and family.name in _IN_SUM:
        lines = levels.lines(row, _SUM.level)
    most_db = (row.value if row.high is None else row.high) + (levels.shift_db(row) or 0.0)
    if not lines.is_empty:
        # What is there is at most as strong as the bound, and distributed as its lines are.
        lines = lines.raised(max(0.0, most_db - lines.total_db()))
        return replace(_hidden(ear.tones(lines.frequency_hz, lines.value)), seen=family.name not in _IN_SUM)
    bands = levels.bands(row, "noise_spectrum")
    band_hz, band_db = (np.zeros(0), np.zeros(0)) if bands is None else (bands.frequency_hz, bands.high)
    return replace(_hidden(ear.hidden_tones(most_db, band_hz, band_db, family.between_hz)), seen=False)


def _as_strong_as(lines: Readings, levels: Levels, row: Measure) -> Readings:
    """Return the lines, which are those of the first take, as strong as the mean of all takes."""
    return lines.raised(row.value + (levels.shift_db(row) or 0.0) - lines.total_db())


def _found(ear: Ear, lines: Readings, row: Measure) -> Part:
    """Return the part of lines; its interval is the wider one of the lines' own and of the family's level."""
    value, low, high = (ear.tones(lines.frequency_hz, level) for level in (lines.value, lines.low, lines.high))
    if row.low is not None and row.high is not None:
        low = np.minimum(low, value * 10 ** ((row.low - row.value) / 10))
        high = np.maximum(high, value * 10 ** ((row.high - row.value) / 10))
    return Part(value=value, low=low, high=high)


def _hidden(high: Floats) -> Part:
    nothing = np.zeros_like(high)
    return Part(value=nothing, low=nothing, high=high, hidden=True)


def _added(ear: Ear, levels: Levels, family: Family, row: Measure) -> Part | None:
    """Return what the device itself contributes: of hiss a difference of powers, of lines of unknown phase a range."""
    through_row = levels.measure(row, role="through")
    if through_row is None:
        return None
    direct_row = reference_for(through_row, levels.directs)
    through = part_of(ear, levels, family, through_row)
    direct = None if direct_row is None else part_of(ear, levels, family, direct_row)
    if through is None or direct is None:
        return None
    if through.hidden and not through.seen:
        return through
    added = _difference_of_lines(through, direct) if family.tonal else _difference_of_noise(through, direct)
    return _hidden(added.high) if row.bound is not None or through.hidden else added


def _difference_of_noise(through: Part, direct: Part) -> Part:
    low = np.maximum(through.low - direct.high, 0.0)
    value = np.maximum(through.value - direct.value, low)
    return Part(value=value, low=low, high=np.maximum(through.high - direct.low, value))


def _difference_of_lines(through: Part, direct: Part) -> Part:
    """Return the range from |T - D| to T + D, which holds for all lines in a filter together as for each of them."""
    low = np.maximum(np.sqrt(through.low) - np.sqrt(direct.high), 0.0) ** 2
    high = (np.sqrt(through.high) + np.sqrt(direct.high)) ** 2
    return Part(value=np.clip(through.value - direct.value, low, high), low=low, high=high)
