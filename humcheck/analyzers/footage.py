"""The picture of a video file in its sound: coupling, how much follows it, and when it is worst."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from humcheck.estimates.footage import FootageEstimate
from humcheck.results import Key, Measure, NotMeasured, Trace, quantity
from humcheck.results.rows import Channel

COUPLING, SHARE = "picture_coupling", "picture_correlation"
#: A place that is less likely is not told.
_CERTAIN = 0.95
_NORMAL_95 = 1.959963984540054
_ONE_SIDED_95 = 1.6448536269514722


def footage_rows(
    estimate: FootageEstimate,
    key: Key,
    channels: Sequence[Channel],
    *,
    start_s: float = 0.0,
    quiet_s: tuple[float, float] | None = None,
) -> list[Measure | NotMeasured | Trace]:
    """Return `picture_coupling` for each channel, or bounds; the worst second is in its detail.

    Parameters
    ----------
    estimate : FootageEstimate
        Of one take.
    key : Key
        What it belongs to.
    channels : sequence of str
        Names of the channels.
    start_s : float
        Where in the recording the sound that was read begins.
    quiet_s : tuple of float, optional
        Where nothing plays, from there.
    """
    rows: list[Measure | NotMeasured | Trace] = []
    for index, channel in enumerate(channels):
        fields = key.fields(quantity=COUPLING, channel=channel) | {"unit": quantity(COUPLING).unit}
        level, low = float(estimate.level_dbfs[index]), float(estimate.low_dbfs[index])
        detail = _detail(estimate, index) | _worst(estimate, start_s, quiet_s)
        if math.isfinite(level) and math.isfinite(low):
            high = float(estimate.high_dbfs[index])
            rows.append(Measure(**fields, value=level, low=low, high=high, interval="within", detail=detail))
        elif math.isfinite(float(estimate.bound_dbfs[index])):
            bound = float(estimate.bound_dbfs[index])
            rows.append(Measure(**fields, value=bound, bound="upper", detail=detail))
    if estimate.found and estimate.quiet_share is not None:
        return [*rows, *_shares(estimate, key, channels)]
    return [*rows, NotMeasured(**key.fields(quantity=SHARE), reason=_why_no_share(estimate))]


def _shares(estimate: FootageEstimate, key: Key, channels: Sequence[Channel]) -> list[Measure]:
    assert estimate.quiet_share is not None
    assert estimate.quiet_share_sd is not None
    rows = []
    for channel, share, sd in zip(channels, estimate.quiet_share, estimate.quiet_share_sd, strict=True):
        fields = key.fields(quantity=SHARE, channel=channel) | {
            "unit": quantity(SHARE).unit,
            "detail": {"footage": 1.0, "p_value": estimate.p_value},
        }
        high = min(float(share) + _NORMAL_95 * float(sd), 1.0)
        low = float(share) - _NORMAL_95 * float(sd)
        if low > 0:
            rows.append(Measure(**fields, value=float(share), low=low, high=high, interval="within"))
        else:
            rows.append(Measure(**fields, value=min(float(share) + _ONE_SIDED_95 * float(sd), 1.0), bound="upper"))
    return rows


def _why_no_share(estimate: FootageEstimate) -> str:
    if estimate.found:
        return (
            "The picture was found in the sound, but above 8 kHz only, where what plays hides it least: what share of "
            "the energy from 100 Hz to 8 kHz follows it cannot be told without a stretch in which nothing plays."
        )
    if estimate.line_tone_found:
        return "A tone at the line rate is heard, but nothing that follows the changes of the picture was found."
    return "Nothing that follows the picture was found in the sound."


def _detail(estimate: FootageEstimate, index: int) -> dict[str, float]:
    detail = {
        "footage": 1.0,
        "p_value": estimate.p_value,
        "line_rate_hz": estimate.line_rate_hz,
        "lines_per_field": estimate.lines_per_field,
        "line_tone_found": float(estimate.line_tone_found),
    }
    if not estimate.found:
        return detail
    detail |= {
        "share_8_to_20_khz": float(estimate.share[index]),
        "field_probability": estimate.field_probability,
        "lag_probability": estimate.lag_probability,
        "scale": estimate.scale,
    }
    if estimate.lag_probability >= _CERTAIN:
        detail["lag_s"] = estimate.lag_s
    return detail


def _worst(estimate: FootageEstimate, start_s: float, quiet_s: tuple[float, float] | None) -> dict[str, float]:
    """Return the second in which the leak is strongest, of all and of those in which nothing plays."""
    if not estimate.found:
        return {}
    at_s, level = estimate.moments_s, estimate.moments_dbfs
    worst = int(np.argmax(level))
    told = {"worst_at_s": start_s + float(at_s[worst]), "worst_dbfs": float(level[worst])}
    if quiet_s is None:
        return told
    inside = np.flatnonzero((at_s >= quiet_s[0]) & (at_s + 1.0 <= quiet_s[1]))
    if inside.size:
        told["worst_quiet_at_s"] = start_s + float(at_s[inside[int(np.argmax(level[inside]))]])
    return told
