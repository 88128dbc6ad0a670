"""Null of split takes: the same sound in both channels, one through the device and one direct, recorded at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from humcheck.comparison.intervals import mean_of_repeats
from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.split_takes import THROUGH_CHANNEL, is_split
from humcheck.errors import MeasurementError
from humcheck.estimates.split_null import UNLIKE_DB, SplitNull, split_null
from humcheck.results import Measure, NotMeasured
from humcheck.results.rows import Channel

QUANTITY = "residual_level"
_LONGEST_S = 100.0
_UNLIKE = "The two channels do not hold the same sound: for the null, play music in mono into the device and past it."


def split_null_rows(takes: Sequence[tuple[MeasuredTake, str]]) -> list[Any]:
    """Return `residual_level` of each split take of music or other material, in the channel that went through.

    Parameters
    ----------
    takes : sequence of (MeasuredTake, str)
        The takes of a comparison, each with its file's path.

    Returns
    -------
    list of Measure and NotMeasured
        In dB re the direct channel, noise taken off, or an upper bound where noise hides it. Takes with both channels
        direct have one, too: what the bench itself leaves. Takes that hold a track have none: its sweeps do not play in
        both channels at once.
    """
    uses: dict[tuple[object, ...], list[tuple[MeasuredTake, str]]] = {}
    for take, path in takes:
        if is_split(take) and take.row.track is None and take.role in ("direct", "through"):
            uses.setdefault(take.key.identity(), []).append((take, path))
    return [_of_use(group) for group in uses.values()]


def _of_use(takes: Sequence[tuple[MeasuredTake, str]]) -> Measure | NotMeasured:
    key = takes[0][0].key
    through: Channel = "right" if key.condition[THROUGH_CHANNEL] == "right" else "left"
    others = {name: value for name, value in key.condition.items() if name != THROUGH_CHANNEL}
    fields = key.fields(quantity=QUANTITY, channel=through, condition=others)
    try:
        found = [_null(path, through) for _, path in takes]
    except MeasurementError as error:
        return NotMeasured(**fields, reason=error.reason[:1].upper() + error.reason[1:].rstrip(".") + ".")
    if any(10 * math.log10(one.of_through) > UNLIKE_DB for one in found):
        return NotMeasured(**fields, reason=_UNLIKE)
    return _row(found, fields, [take.row.id for take, _ in takes])


def _null(path: str, through: Channel) -> SplitNull:
    from humcheck.audio.files import open_take

    file = open_take(path)
    if file.n_channels != 2:
        raise MeasurementError("a split take needs two channels")
    samples = file.read(0, min(file.n_samples, int(_LONGEST_S * file.rate_hz)))
    left, right = samples[:, 0], samples[:, 1]
    direct, received = (right, left) if through == "left" else (left, right)
    return split_null(direct, received, float(file.rate_hz))


def _row(found: Sequence[SplitNull], fields: dict[str, Any], ids: list[str]) -> Measure:
    own = mean_of_repeats([one.own for one in found], [one.own_sd for one in found])
    total, noises = math.fsum(one.total for one in found) / len(found), [one.noise for one in found]
    detail = {"scored_s": math.fsum(one.scored_s for one in found), "all_that_is_left_db": _db(total)}
    if None not in noises:
        detail["noise_db"] = _db(math.fsum(noise or 0.0 for noise in noises) / len(found))
    told: dict[str, Any] = {"unit": "dB", "takes": ids, "n_takes": len(ids), "detail": detail}
    low, high = own.interval(0.90)
    # Where nothing is known of noise, all that is left may be noise.
    if None in noises or low <= 0:
        return Measure(**fields, value=_db(high), bound="upper", **told)
    low, high = own.interval()
    return Measure(
        **fields,
        value=_db(own.value),
        low=_db(max(low, own.value / 100)),
        high=_db(high),
        interval="between" if len(ids) > 1 else "within",
        **told,
    )


def _db(power: float) -> float:
    return 10 * math.log10(max(power, 1e-40))
