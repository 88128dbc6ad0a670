"""Rows from tones: values with intervals, bounds, and reasons why not."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from humcheck.estimates.tones.intervals import PowerEstimate
from humcheck.results import Measure, NotMeasured
from humcheck.results.quantities import quantity
from humcheck.results.rows import Channel, Key

NORMAL_95 = 1.959963984540054
_DB_PER_LOG_POWER = float(10.0 / np.log(10.0))


def level_row(key: Key, name: str, channel: Channel, value: float, sd: float, **detail: float) -> Measure:
    """Return a level or ratio in decibels with the interval of its standard uncertainty."""
    half = NORMAL_95 * sd
    return _row(key, name, channel, value, value - half, value + half, detail)


def power_sd_db(power: float, sd: float) -> float:
    """Return the standard uncertainty in decibels of a power with this standard uncertainty."""
    return _DB_PER_LOG_POWER * sd / power if power > 0.0 else 0.0


def percent_row(
    key: Key, name: str, channel: Channel, shares: PowerEstimate, detail: Mapping[str, float] | None = None
) -> Measure:
    """Return a distortion in percent from squared shares: a value, or an upper bound where noise hides it."""
    extra = dict(detail or {})
    if shares.hidden:
        fields = key.fields(quantity=name, channel=channel)
        value = _percent(shares.upper)
        return Measure(**fields, value=value, unit=quantity(name).unit, bound="upper", detail=extra)
    return _row(key, name, channel, _percent(shares.power), _percent(shares.low), _percent(shares.high), extra)


def missing_row(key: Key, name: str, channels: tuple[Channel, ...], reason: str) -> NotMeasured:
    """Return why a quantity is not there, once for all channels."""
    channel: Channel = "mono" if channels == ("mono",) else "both"
    return NotMeasured(**key.fields(quantity=name, channel=channel), reason=reason)


def _row(
    key: Key, name: str, channel: Channel, value: float, low: float, high: float, detail: Mapping[str, float]
) -> Measure:
    return Measure(
        **key.fields(quantity=name, channel=channel),
        value=float(value),
        unit=quantity(name).unit,
        low=float(low),
        high=float(high),
        interval="within",
        detail={label: float(number) for label, number in detail.items()},
    )


def _percent(squared_share: float) -> float:
    return float(100.0 * np.sqrt(max(squared_share, 0.0)))
