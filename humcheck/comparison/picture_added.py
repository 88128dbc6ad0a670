"""The coupling from picture to sound that a device adds: a complex difference, because the rows give the phase."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.comparison.intervals import NORMAL_95, mean_of_repeats
from humcheck.comparison.material import MeasuredTake
from humcheck.estimates.rows import RowsEstimate
from humcheck.estimates.rows.added import AddedCoupling, added_to
from humcheck.results import Measure, quantity
from humcheck.results.rows import Channel

NAME = "picture_coupling"
#: Gain drifts by so much from take to take on a good bench: that part of the direct leak is not certain.
GAIN_DRIFT_DB = 0.03
_DB = 20.0 / math.log(10.0)


def added_coupling(through: Sequence[MeasuredTake], direct: Sequence[MeasuredTake]) -> list[Measure]:
    """Return `picture_coupling`, role ``added``, of each channel: through minus direct.

    Parameters
    ----------
    through, direct : sequence of MeasuredTake
        Takes of one use, and direct ones. Where no direct take was made with the rows shown there is nothing to take
        off, and no row.

    Returns
    -------
    list of Measure
        Values, or upper bounds. The direct leak may enter before the device or after it: its gain and polarity then
        matter or not, and the range covers both.
    """
    ours = [take for take in through if take.coded_rows is not None]
    reference = reference_of(ours, direct)
    if reference is None:
        return []
    channels = channels_of(ours[0])
    parts = [_parts(take, reference, channels) for take in ours]
    rows = [_row(ours, channels[index], [part[index] for part in parts]) for index in range(len(channels))]
    return rows if len(channels) < 2 else [*rows, _both(rows)]


class _Part:
    """One channel of one take: value, lowest and highest level in dBFS; the value is None where there is a bound."""

    def __init__(self, value: float | None, low: float | None, high: float) -> None:
        self.value, self.low, self.high = value, low, high


def reference_of(ours: Sequence[MeasuredTake], direct: Sequence[MeasuredTake]) -> MeasuredTake | None:
    """Return the direct take that is taken off: the one in which the rows are surest, if all have the same channels."""
    theirs = [take for take in direct if take.coded_rows is not None]
    if not ours or not theirs:
        return None
    reference = min(theirs, key=lambda take: rows_of(take).p_value)
    channels = channels_of(ours[0])
    return None if any(channels_of(take) != channels for take in (*ours, reference)) else reference


def rows_of(take: MeasuredTake) -> RowsEstimate:
    """Return a take's coded rows, which it must have."""
    assert take.coded_rows is not None
    return take.coded_rows


def channels_of(take: MeasuredTake) -> list[Channel]:
    """Return the channels in which the rows were sought."""
    return [row.channel for row in take.measures if row.quantity == NAME and row.channel != "both"]


def _parts(take: MeasuredTake, reference: MeasuredTake, channels: Sequence[Channel]) -> list[_Part]:
    ours, theirs = rows_of(take), rows_of(reference)
    most_direct = theirs.level_bound.max(axis=0)
    if ours.coupling is None or ours.lines is None:
        most = ours.level_bound.max(axis=0) + (most_direct if theirs.coupling is None else _sizes(theirs))
        return [_Part(None, None, _dbfs(float(size))) for size in most]
    if theirs.coupling is None:
        # Anything from nothing to the bound may have come from elsewhere.
        return [
            _around(float(size), 0.0, float(unsure)) for size, unsure in zip(_sizes(ours), most_direct, strict=True)
        ]
    direct = _sizes(theirs)
    after = added_to(ours.lines, ours.coupling, theirs.coupling, np.ones(len(channels)))
    before = added_to(ours.lines, ours.coupling, theirs.coupling, path_factors(take, reference, channels))
    return [_of_two(before, after, index, float(direct[index])) for index in range(len(channels))]


def _sizes(estimate: RowsEstimate) -> Floats:
    """Return the gains at 1 kHz in size."""
    assert estimate.coupling is not None
    n_channels = len(estimate.coupling.factors)
    return np.array([abs(estimate.coupling.at_1k(index)[0]) for index in range(n_channels)], dtype=np.float64)


def path_factors(take: MeasuredTake, reference: MeasuredTake, channels: Sequence[Channel]) -> Floats:
    """Return what the path through the device makes of a leak that enters before it: gain and sign, 1 where unknown."""
    factors = np.ones(len(channels))
    if take.tones is None or reference.tones is None:
        return factors
    for index, channel in enumerate(channels):
        through, direct = (tones.full_scale_dbfs.get(channel) for tones in (take.tones, reference.tones))
        if through is not None and direct is not None:
            factors[index] = 10 ** ((through - direct) / 20)
        factors[index] *= take.tones.polarity.get(channel, 1) * reference.tones.polarity.get(channel, 1)
    return factors


def _of_two(before: AddedCoupling, after: AddedCoupling, index: int, direct: float) -> _Part:
    """Return one channel's part; its range covers a direct leak before the device and one after it."""
    drift = direct * (10 ** (GAIN_DRIFT_DB / 20) - 1)
    ends = []
    for one in (before, after):
        size, sd = abs(complex(one.gain[index])), math.hypot(float(one.sd[index]), drift)
        seen = size > NORMAL_95 * sd
        ends.append((size - NORMAL_95 * sd if seen else 0.0, size, max(size + NORMAL_95 * sd, float(one.bound[index]))))
    low, high = min(end[0] for end in ends), max(end[2] for end in ends)
    if low <= 0.0:
        return _Part(None, None, _dbfs(high))
    return _Part(_dbfs(ends[0][1]), _dbfs(low), _dbfs(high))


def _around(size: float, sd: float, unsure: float) -> _Part:
    low, high = size - NORMAL_95 * sd - unsure, size + NORMAL_95 * sd + unsure
    return _Part(_dbfs(size), _dbfs(low), _dbfs(high)) if low > 0.0 else _Part(None, None, _dbfs(high))


def _dbfs(gain: float) -> float:
    return _DB * math.log(max(gain, 1e-12) / 2)


def _row(takes: Sequence[MeasuredTake], channel: Channel, parts: Sequence[_Part]) -> Measure:
    """Return one row for repeated takes: their mean, within the widest of their ranges; or the highest bound."""
    names = [take.row.id for take in takes]
    fields = takes[0].key.fields(quantity=NAME, channel=channel, role="added")
    unit = quantity(NAME).unit
    values = [part.value for part in parts if part.value is not None]
    if len(values) < len(parts):
        bound = max(part.high for part in parts)
        return Measure(**fields, value=bound, unit=unit, bound="upper", n_takes=len(takes), takes=names)
    mean = mean_of_repeats(values, [0.0] * len(values))
    low, high = mean.interval()
    return Measure(
        **fields,
        value=mean.value,
        unit=unit,
        low=min([low, *(part.low for part in parts if part.low is not None)]),
        high=max(high, *(part.high for part in parts)),
        interval="within" if len(takes) == 1 else "between",
        n_takes=len(takes),
        takes=names,
    )


def _both(rows: Sequence[Measure]) -> Measure:
    """Return the power mean of the channels; a bound where one of them is one."""
    first = rows[0]

    def mean(levels: Sequence[float]) -> float:
        return 10 * math.log10(math.fsum(10 ** (level / 10) for level in levels) / len(levels))

    common: dict[str, Any] = {"unit": first.unit, "n_takes": first.n_takes, "takes": first.takes}
    fields = first.fields(channel="both")
    if any(row.bound for row in rows):
        ends = [row.value if row.high is None else row.high for row in rows]
        return Measure(**fields, value=mean(ends), bound="upper", **common)
    return Measure(
        **fields,
        value=mean([row.value for row in rows]),
        low=mean([row.value if row.low is None else row.low for row in rows]),
        high=mean([row.value if row.high is None else row.high for row in rows]),
        interval=first.interval,
        **common,
    )


def uses_with_rows(takes: Sequence[MeasuredTake]) -> list[Measure]:
    """Return the added coupling of every use of a device in which the rows were shown or found.

    Parameters
    ----------
    takes : sequence of MeasuredTake
        All takes of the bench.
    """
    return [row for ours, direct in groups_with_rows(takes) for row in added_coupling(ours, direct)]


def groups_with_rows(takes: Sequence[MeasuredTake]) -> list[tuple[list[MeasuredTake], list[MeasuredTake]]]:
    """Return the takes of every use in which the rows were shown or found, each with all direct takes."""
    direct = [take for take in takes if take.role == "direct"]
    groups: dict[tuple[object, ...], list[MeasuredTake]] = {}
    for take in takes:
        if take.role == "through" and take.coded_rows is not None:
            groups.setdefault(take.key.identity(), []).append(take)
    return [(group, direct) for group in groups.values()]
