"""The picture of a video file in its sound: coupling, how much follows it, and when it is worst."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from humcheck.estimates.footage import FootageEstimate
from humcheck.results import Key, Measure, NotMeasured, quantity
from humcheck.results.rows import Channel

COUPLING, SHARE = "picture_coupling", "picture_correlation"
_NORMAL_95 = 1.959963984540054


def footage_rows(estimate: FootageEstimate, key: Key, channels: Sequence[Channel]) -> list[Measure | NotMeasured]:
    """Return `picture_coupling` for each channel, or bounds; the worst second is in its detail.

    Parameters
    ----------
    estimate : FootageEstimate
        Of one take.
    key : Key
        What it belongs to.
    channels : sequence of str
        Names of the channels.
    """
    rows: list[Measure | NotMeasured] = []
    for index, channel in enumerate(channels):
        fields = key.fields(quantity=COUPLING, channel=channel)
        level, sd = float(estimate.level_dbfs[index]), float(estimate.level_sd_db[index])
        if math.isfinite(level) and math.isfinite(sd):
            half = _NORMAL_95 * sd
            rows.append(
                Measure(
                    **fields,
                    value=level,
                    unit=quantity(COUPLING).unit,
                    low=level - half,
                    high=level + half,
                    interval="within",
                    detail=_detail(estimate, index),
                )
            )
        else:
            bound = float(estimate.bound_dbfs[index])
            rows.append(Measure(**fields, value=bound, unit=quantity(COUPLING).unit, bound="upper"))
    if not estimate.found:
        rows.append(NotMeasured(**key.fields(quantity=SHARE), reason=_not_found(estimate)))
        return rows
    return rows


def _not_found(estimate: FootageEstimate) -> str:
    if estimate.line_tone_found:
        return "A tone at the line rate is heard, but nothing that follows the changes of the picture was found."
    return "Nothing that follows the picture was found in the sound."


def _detail(estimate: FootageEstimate, index: int) -> dict[str, float]:
    worst = int(np.argmax(estimate.moments_dbfs))
    return {
        "score": estimate.score,
        "lag_s": estimate.lag_s,
        "line_rate_hz": estimate.line_rate_hz,
        "lines_per_field": estimate.lines_per_field,
        "share_8_to_20_khz": float(estimate.share[index]),
        "worst_at_s": float(estimate.moments_s[worst]),
        "worst_dbfs": float(estimate.moments_dbfs[worst]),
    }
