"""The coupling from picture to sound that a device adds, over frequency."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from humcheck.analyzers.picture_curves import bound_levels, curve_of
from humcheck.audio.levels import Floats
from humcheck.comparison.curves import average_curves
from humcheck.comparison.intervals import NORMAL_95
from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.picture_added import (
    GAIN_DRIFT_DB,
    channels_of,
    groups_with_rows,
    path_factors,
    reference_of,
    rows_of,
)
from humcheck.estimates.rows.added import added_to
from humcheck.estimates.rows.curve import CURVE_HZ
from humcheck.results import Curve

Flags = npt.NDArray[np.bool_]


def added_curves(takes: Sequence[MeasuredTake]) -> list[Curve]:
    """Return `picture_coupling_curve`, role ``added``, of every use of a device in which the rows were shown or found.

    Parameters
    ----------
    takes : sequence of MeasuredTake
        All takes of the bench. Where no direct take was made with the rows shown there is nothing to take off.

    Returns
    -------
    list of Curve
        One for each use and channel. Where what is added cannot be told from nothing, the point is an upper bound.
    """
    curves = []
    for ours, direct in groups_with_rows(takes):
        reference = reference_of(ours, direct)
        if reference is not None:
            curves += [curve for take in ours for curve in _of_take(take, reference)]
    return average_curves(curves)


def _of_take(take: MeasuredTake, reference: MeasuredTake) -> list[Curve]:
    channels = channels_of(take)
    size, low, high = _sizes(take, reference)
    hidden = low <= 0.0
    inside = _read_at(take)
    key = take.key.fields(role="added")
    levels = [_dbfs(np.where(hidden, high, size)), _dbfs(np.maximum(low, 1e-12)), _dbfs(high)]
    return [
        curve_of(key, channel, *(level[index] for level in levels), inside=inside, hidden=hidden[index])
        for index, channel in enumerate(channels)
    ]


def _sizes(take: MeasuredTake, reference: MeasuredTake) -> tuple[Floats, Floats, Floats]:
    """Return the gain that is added and both ends of where it lies, each of shape (n_ch, n_curve)."""
    ours, theirs = rows_of(take), rows_of(reference)
    direct = _most(theirs.level_bound) if theirs.coupling is None else np.abs(theirs.coupling.gain(CURVE_HZ))
    if ours.coupling is None or ours.lines is None:
        most = _most(ours.level_bound) + direct
        return most, np.zeros(most.shape), most
    if theirs.coupling is None:
        size, half = np.abs(ours.coupling.gain(CURVE_HZ)), ours.coupling.levels()[1] * NORMAL_95
        # Anything from nothing to the bound may have come from elsewhere.
        return size, size * 10 ** (-half / 20) - direct, size * 10 ** (half / 20) + direct
    drift = direct * (10 ** (GAIN_DRIFT_DB / 20) - 1)
    ends = []
    for factors in (path_factors(take, reference, channels_of(take)), np.ones(len(direct))):
        added = added_to(ours.lines, ours.coupling, theirs.coupling, factors)
        size, half = np.abs(added.curve), NORMAL_95 * np.hypot(added.curve_sd, drift)
        ends.append((size, size - half, np.maximum(size + half, added.curve_bound)))
    return ends[0][0], np.minimum(ends[0][1], ends[1][1]), np.maximum(ends[0][2], ends[1][2])


def _most(level_bound: Floats) -> Floats:
    return np.asarray(2 * 10 ** (bound_levels(level_bound) / 20))


def _read_at(take: MeasuredTake) -> Flags:
    lines = rows_of(take).lines
    return np.ones(CURVE_HZ.shape, dtype=bool) if lines is None else lines.covers(CURVE_HZ)


def _dbfs(gain: Floats) -> Floats:
    return np.asarray(20 * np.log10(np.maximum(gain, 1e-12) / 2))
