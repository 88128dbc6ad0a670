"""The picture in the sound, to be looked at: coupling over frequency, and the sound folded over one field."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import Floats
from humcheck.estimates.lines import LineEstimate
from humcheck.estimates.rows import RowsEstimate
from humcheck.estimates.rows.curve import AT_1K, CURVE_HZ
from humcheck.estimates.rows.fold import FoldedField, field_family, fold_family, fold_rows
from humcheck.results import Curve, Key, Trace, quantity
from humcheck.results.rows import Channel

Flags = npt.NDArray[np.bool_]
CURVE_NAME = "picture_coupling_curve"
FOLD_NAME, NOISE_NAME, ROWS_NAME = "picture_fold", "picture_fold_noise", "picture_rows"
#: Pictures of which it is known how bright each row is; what the coded rows leave is read with them.
FOLDED_PICTURES = ("white", "top-half")
_NORMAL_95 = 1.959963984540054
#: Uncertainties above this say no more.
_MOST_DB = 30.0


def coupling_curves(estimate: RowsEstimate, key: Key, channels: Sequence[Channel]) -> list[Curve]:
    """Return `picture_coupling_curve` of every channel: a value with its band, or a bound where nothing was found.

    Parameters
    ----------
    estimate : RowsEstimate
        Of one quiet section.
    key : Key
        What the take belongs to.
    channels : sequence of str
        Names of the channels.
    """
    everywhere = np.ones(CURVE_HZ.shape, dtype=bool)
    if estimate.coupling is None or estimate.lines is None:
        most = bound_levels(estimate.level_bound)
        return [
            curve_of(key.fields(), channel, most[index], most[index], most[index], inside=everywhere, hidden=everywhere)
            for index, channel in enumerate(channels)
        ]
    level, sd = estimate.coupling.levels()
    half = np.minimum(_NORMAL_95 * sd, _MOST_DB)
    ends = {"inside": estimate.lines.covers(CURVE_HZ), "hidden": ~everywhere}
    return [
        curve_of(key.fields(), channel, level[index], level[index] - half[index], level[index] + half[index], **ends)
        for index, channel in enumerate(channels)
    ]


def bound_levels(level_bound: Floats) -> Floats:
    """Return the highest level that may have gone unseen, whichever way it takes, shape (n_ch, n_curve).

    Parameters
    ----------
    level_bound : numpy.ndarray, shape (2, n_ch)
        Gains at 1 kHz of a shared ground and of a stray capacitance.
    """
    shared, capacitive = level_bound[0][:, np.newaxis], level_bound[1][:, np.newaxis] * (CURVE_HZ / CURVE_HZ[AT_1K])
    return np.asarray(20 * np.log10(np.maximum(np.maximum(shared, capacitive), 1e-12) / 2))


def curve_of(
    key: Mapping[str, Any], channel: Channel, level: Floats, low: Floats, high: Floats, *, inside: Flags, hidden: Flags
) -> Curve:
    """Return the curve of one channel.

    Parameters
    ----------
    key : mapping
        Fields of the row's key; quantity and channel are filled in here.
    channel : str
        Name of the channel.
    level, low, high : numpy.ndarray, shape (n_curve,)
        dBFS at `CURVE_HZ`, with the 95 % band; `level` is an upper bound where `hidden` is true.
    inside : numpy.ndarray of bool, shape (n_curve,)
        Where lines were read.
    hidden : numpy.ndarray of bool, shape (n_curve,)
        Where there is only a bound.
    """
    banded = not hidden[inside].any()
    return Curve(
        **{**key, "quantity": CURVE_NAME, "channel": channel},
        unit=quantity(CURVE_NAME).unit,
        frequency_hz=CURVE_HZ[inside].tolist(),
        value=_rounded(level[inside], 3),
        low=_rounded(low[inside], 3) if banded else None,
        high=_rounded(high[inside], 3) if banded else None,
        bound=None if banded else ["upper" if at_most else None for at_most in hidden[inside]],
    )


def fold_of_rows(estimate: RowsEstimate, key: Key, channels: Sequence[Channel]) -> list[Trace]:
    """Return `picture_fold` of every channel and `picture_rows`, where the coded rows were found."""
    if estimate.coupling is None or estimate.lines is None:
        return []
    return _traces(fold_rows(estimate.lines, estimate.coupling), key, channels)


def fold_of_lines(lines: LineEstimate, key: Key, channels: Sequence[Channel]) -> list[Trace]:
    """Return the same for a picture that is no code, from the lines at its field rate, where there are any."""
    if key.picture not in FOLDED_PICTURES:
        return []
    seen = next((family.fundamental_hz for family in lines.of_kind("line_rate")), None)
    field = field_family(lines, seen)
    folded = None if field is None else fold_family(field, key.picture, seen)
    return [] if folded is None else _traces(folded, key, channels)


def _traces(folded: FoldedField, key: Key, channels: Sequence[Channel]) -> list[Trace]:
    time_ms = 1e3 * folded.time_s
    made = []
    for channel, sound, noise in zip(channels, 1e6 * folded.sound, 1e6 * folded.noise_sd, strict=True):
        made.append(_trace(key, FOLD_NAME, channel, time_ms, sound))
        made.append(_trace(key, NOISE_NAME, channel, time_ms[[0, -1]], np.array([noise, noise])))
    if folded.brightness.size:
        whole: Channel = "both" if len(channels) > 1 else channels[0]
        made.append(_trace(key, ROWS_NAME, whole, 1e3 * folded.line_time_s, folded.brightness))
    return made


def _trace(key: Key, name: str, channel: Channel, time_ms: Floats, value: Floats) -> Trace:
    return Trace(
        **key.fields(quantity=name, channel=channel),
        x=_rounded(time_ms, 4),
        x_unit="ms",
        y=_rounded(value, 3),
        unit=quantity(name).unit,
    )


def _rounded(values: Floats, decimals: int) -> list[float]:
    return [round(float(value), decimals) for value in values]
