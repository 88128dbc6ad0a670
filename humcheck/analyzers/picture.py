"""The picture in the sound: coupling, its slope over frequency, and how much of the quiet follows the picture."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from humcheck.estimates.rows import RowsEstimate
from humcheck.estimates.rows.curve import CouplingFit
from humcheck.results import Key, Measure, NotMeasured, quantity
from humcheck.results.rows import Channel

PICTURE_QUANTITIES = ("picture_coupling", "picture_coupling_slope", "picture_correlation")
_NORMAL_95 = 1.959963984540054
_DB = 20.0 / np.log(10.0)
_NOT_FOUND = "The rows of the picture were not found in the sound, so there is no leak whose slope could be read."


def picture_rows(estimate: RowsEstimate, key: Key, channels: Sequence[Channel]) -> list[Measure | NotMeasured]:
    """Return `picture_coupling`, `picture_coupling_slope` and `picture_correlation`, or bounds.

    Parameters
    ----------
    estimate : RowsEstimate
        Of one quiet section.
    key : Key
        What the take belongs to.
    channels : sequence of str
        Names of the channels.
    """
    rows: list[Measure | NotMeasured] = []
    if estimate.coupling is None:
        rows += _bounds(estimate, key, channels)
        rows.append(NotMeasured(**key.fields(quantity="picture_coupling_slope"), reason=_NOT_FOUND))
        return rows
    fit = estimate.coupling
    levels = [coupling_level(fit, index) for index in range(len(channels))]
    for index, channel in enumerate(channels):
        detail = _detail(estimate, fit, index)
        rows.append(_value(key, "picture_coupling", channel, *levels[index], detail))
        slope, low, high = _slope(fit, index)
        bend, bend_sd = fit.bend(index)
        bent = {"bend": bend, "bend_low": bend - _NORMAL_95 * bend_sd, "bend_high": bend + _NORMAL_95 * bend_sd}
        rows.append(_between(key, "picture_coupling_slope", channel, slope, low, high, bent))
    if len(channels) == 2:
        rows.append(_value(key, "picture_coupling", "both", *_mean_level(levels), _detail(estimate, fit, None)))
    rows += _shares(estimate, key, channels)
    return rows


def coupling_level(fit: CouplingFit, index: int) -> tuple[float, float]:
    """Return the level in dBFS of a luma sine of full swing at 1 kHz in one channel, and its standard uncertainty."""
    gain, covariance = fit.at_1k(index)
    size: float = max(float(abs(gain)), 1e-12)
    along = np.array([gain.real, gain.imag]) / size
    sd_db = _DB * math.sqrt(max(0.0, float(along @ covariance @ along))) / size
    # A sine of full swing has an amplitude of half the step from black to white.
    return 20 * math.log10(size / 2), math.hypot(sd_db, float(fit.spread_db[index]))


def _mean_level(levels: Sequence[tuple[float, float]]) -> tuple[float, float]:
    powers = np.array([10 ** (level / 10) for level, _ in levels])
    # Both channels share the uncertainty of the delay and of what the curve is like: added, not squared and added.
    sd = float((powers / powers.sum()) @ np.array([sd for _, sd in levels]))
    return float(10 * np.log10(powers.mean())), sd


def _slope(fit: CouplingFit, index: int) -> tuple[float, float, float]:
    slope, sd = fit.slope(index)
    low, high = slope - _NORMAL_95 * sd, slope + _NORMAL_95 * sd
    if len(fit.powers) == 1:
        low, high = min(low, float(fit.slope_range[index, 0])), max(high, float(fit.slope_range[index, 1]))
    return slope, low, high


def _detail(estimate: RowsEstimate, fit: CouplingFit, index: int | None) -> dict[str, float]:
    assert estimate.raster is not None
    detail = {
        "line_rate_hz": float(estimate.line_rate_hz),
        "field_rate_hz": float(estimate.field_rate_hz),
        "lines_per_field": float(estimate.raster.lines_per_field),
        "p_value": float(estimate.p_value),
    }
    if index is not None and fit.sign_is_certain:
        gain, _ = fit.at_1k(index)
        # Along the way that is stronger at 1 kHz: a shared ground's gain is real, a capacitance's imaginary.
        detail["polarity"] = float(np.sign(gain.real if abs(gain.real) > abs(gain.imag) else gain.imag))
    return detail


def _shares(estimate: RowsEstimate, key: Key, channels: Sequence[Channel]) -> list[Measure]:
    rows = []
    shares, sds = list(estimate.power_share), list(estimate.power_share_sd)
    names: list[Channel] = list(channels)
    if len(names) == 2:
        shares.append(float(np.mean(shares)))
        sds.append(float(np.mean(sds)))
        names.append("both")
    for channel, share, sd in zip(names, shares, sds, strict=True):
        low, high = max(0.0, share - _NORMAL_95 * sd), min(1.0, share + _NORMAL_95 * sd)
        detail = {"p_value": estimate.p_value}
        rows.append(_between(key, "picture_correlation", channel, float(share), low, high, detail))
    return rows


def _bounds(estimate: RowsEstimate, key: Key, channels: Sequence[Channel]) -> list[Measure]:
    """Return upper bounds: of the coupling the weaker one, so that it holds whichever way the picture takes."""
    rows = []
    names: list[Channel] = list(channels)
    shared, capacitive = (list(bound) for bound in estimate.level_bound)
    shares = list(estimate.power_share_bound)
    if len(names) == 2:
        names.append("both")
        for values in (shared, capacitive):
            values.append(float(np.sqrt(np.mean(np.square(values)))))
        shares.append(float(np.mean(shares)))
    for channel, one, other, share in zip(names, shared, capacitive, shares, strict=True):
        ways = {"shared_ground_dbfs": _level(one), "capacitance_dbfs": _level(other), "p_value": estimate.p_value}
        worst = max(ways["shared_ground_dbfs"], ways["capacitance_dbfs"])
        rows.append(_bound(key, "picture_coupling", channel, worst, ways))
        rows.append(_bound(key, "picture_correlation", channel, float(share), {"p_value": estimate.p_value}))
    return rows


def _level(gain: float) -> float:
    return 20 * math.log10(max(gain, 1e-12) / 2)


def _value(key: Key, name: str, channel: Channel, value: float, sd: float, detail: dict[str, float]) -> Measure:
    return _between(key, name, channel, value, value - _NORMAL_95 * sd, value + _NORMAL_95 * sd, detail)


def _between(
    key: Key, name: str, channel: Channel, value: float, low: float, high: float, detail: dict[str, float] | None = None
) -> Measure:
    return Measure(
        **key.fields(quantity=name, channel=channel),
        value=float(value),
        unit=quantity(name).unit,
        low=float(low),
        high=float(high),
        interval="within",
        detail=detail or {},
    )


def _bound(key: Key, name: str, channel: Channel, value: float, detail: dict[str, float]) -> Measure:
    return Measure(
        **key.fields(quantity=name, channel=channel),
        value=value,
        unit=quantity(name).unit,
        bound="upper",
        detail=detail,
    )
