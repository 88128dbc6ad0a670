"""Rows of families of lines: what the analyzers of hum, buzz, whistle and other steady lines share."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from humcheck.audio.levels import Floats, power_to_dbfs
from humcheck.audio.weighting import a_weighting_db
from humcheck.estimates.lines import FamilyEstimate, LineEstimate
from humcheck.results import Key, Line, Measure, quantity
from humcheck.results.rows import Channel, Family

_NORMAL_95 = 1.959963984540054
_NORMAL_ONE_SIDED_95 = 1.6448536269514722


def level_rows(
    lines: LineEstimate, kind: Family, name: str, key: Key, channels: Sequence[Channel]
) -> Iterator[Measure]:
    """Yield the level of a kind of family for each channel and both, and its A-weighted twin if there is one.

    Parameters
    ----------
    lines : LineEstimate
        Of one quiet section.
    kind : str
        Family; several families of a kind (two pictures) are summed.
    name : str
        Quantity of the level.
    key : Key
        What the take belongs to.
    channels : sequence of str
        Names of the channels.
    """
    families = lines.of_kind(kind)
    if families:
        yield from _found(families, name, key, channels, weighted=False)
        if _has_weighted(name):
            yield from _found(families, f"{name}_a", key, channels, weighted=True)
    elif kind in lines.bounds:
        yield from _bounded(lines.bounds[kind], name, key, channels)


def frequency_rows(family: FamilyEstimate, name: str, key: Key, channels: Sequence[Channel]) -> Iterator[Measure]:
    """Yield the fundamental for each channel: estimated jointly, so all are the same."""
    half_hz = _NORMAL_95 * family.fundamental_sd_hz
    for channel in channels:
        yield _measure(
            key, name, channel, family.fundamental_hz, family.fundamental_hz - half_hz, family.fundamental_hz + half_hz
        )


def single_lines(lines: LineEstimate, kind: Family, name: str, key: Key, channels: Sequence[Channel]) -> Iterator[Line]:
    """Yield every line of a kind that stands out by itself."""
    for family in lines.of_kind(kind):
        order_known = kind in ("mains", "field", "mains_or_field")
        for index, column in np.argwhere(family.detected):
            power, sd = family.mean_square[index, column], family.mean_square_sd[index, column]
            if power <= 0:
                continue
            low, high = _interval_dbfs(float(power), float(sd))
            yield Line(
                **key.fields(quantity=name, channel=channels[column]),
                family=kind,
                harmonic=int(family.harmonics[index]) if order_known and family.harmonics[index] else None,
                frequency_hz=float(family.frequency_hz[index]),
                level_dbfs=float(power_to_dbfs(power)),
                low=low,
                high=high,
            )


def _has_weighted(name: str) -> bool:
    return quantity(f"{name}_a").unit == "dBFS(A)"


def _found(
    families: Sequence[FamilyEstimate], name: str, key: Key, channels: Sequence[Channel], *, weighted: bool
) -> Iterator[Measure]:
    powers = [_weighted(family) if weighted else (family.power, family.power_sd) for family in families]
    power = np.sum([power for power, _ in powers], axis=0)
    sd = np.sqrt(np.sum([sd**2 for _, sd in powers], axis=0))
    yield from _power_rows(power, sd, name, key, channels)


def _power_rows(power: Floats, sd: Floats, name: str, key: Key, channels: Sequence[Channel]) -> Iterator[Measure]:
    for column, channel in enumerate(channels):
        yield _power_row(float(power[column]), float(sd[column]), name, key, channel)
    if len(channels) == 2:
        # Both channels share noise and phase errors in part: their uncertainties are added, not squared and added.
        yield _power_row(float(power.mean()), float(sd.mean()), name, key, "both")


def _power_row(power: float, sd: float, name: str, key: Key, channel: Channel) -> Measure:
    """Return a level, or an upper bound where the power is not above zero by its own uncertainty."""
    if power <= _NORMAL_ONE_SIDED_95 * sd:
        bound = float(power_to_dbfs(max(power, 0.0) + _NORMAL_ONE_SIDED_95 * sd))
        return Measure(
            **key.fields(quantity=name, channel=channel), value=bound, unit=quantity(name).unit, bound="upper"
        )
    low, high = _interval_dbfs(power, sd)
    return _measure(key, name, channel, float(power_to_dbfs(power)), low, high)


def _interval_dbfs(power: float, sd: float) -> tuple[float, float]:
    """Return the 95 % interval of a level: of the power where that stays above zero, else of the level itself."""
    low = power - _NORMAL_95 * sd
    if low <= 0:
        # Lognormal with the same relative spread: a power has no negative values.
        spread = np.sqrt(np.log1p((sd / power) ** 2))
        low = power * np.exp(-_NORMAL_95 * spread)
    return float(power_to_dbfs(low)), float(power_to_dbfs(power + _NORMAL_95 * sd))


def _weighted(family: FamilyEstimate) -> tuple[Floats, Floats]:
    return family.weighted_power(10 ** (a_weighting_db(np.maximum(family.frequency_hz, 1.0)) / 10))


def _bounded(bound: Floats, name: str, key: Key, channels: Sequence[Channel]) -> Iterator[Measure]:
    values: list[tuple[Channel, float]] = list(zip(channels, (float(value) for value in bound), strict=True))
    if len(channels) == 2:
        values.append(("both", float(bound.mean())))
    for channel, power in values:
        yield Measure(
            **key.fields(quantity=name, channel=channel),
            value=float(power_to_dbfs(power)),
            unit=quantity(name).unit,
            bound="upper",
        )


def _measure(key: Key, name: str, channel: Channel, value: float, low: float, high: float, **more: Any) -> Measure:
    return Measure(
        **key.fields(quantity=name, channel=channel),
        value=value,
        unit=quantity(name).unit,
        low=low,
        high=high,
        interval="within",
        **more,
    )
