"""What the device itself contributes to a level, with the range that follows from what is not known.

Level minus level is not what a device adds. Noise powers add, so hiss is a difference of powers. Lines add as complex
amplitudes whose relative phase two takes do not share, so the device's own line lies anywhere from |T - D| to T + D.
"""

from __future__ import annotations

import math

from humcheck.comparison.intervals import NORMAL_ONE_SIDED_95, Estimate, difference
from humcheck.comparison.repeats import estimate_of
from humcheck.results import Measure


def added_noise(direct: Measure, through: Measure) -> Measure | None:
    """Return the device's own noise level: the difference of the two powers.

    Where the difference is not above zero by its own uncertainty (one-sided 95 %), an upper bound. None where the
    through level is itself a bound.
    """
    if through.bound is not None:
        return None if through.bound != "upper" else _bound(through, through.value)
    own = estimate_of(through)
    if direct.bound == "upper":
        # Anything from nothing to the bound may have come from elsewhere.
        return _range(through, _power_difference_db(own.value, direct.value), through.high)
    powers = difference(_as_power(own), _as_power(estimate_of(direct)))
    low, high = powers.interval()
    floor_sigma = powers.value - NORMAL_ONE_SIDED_95 * powers.standard_uncertainty
    if floor_sigma <= 0 or low <= 0:
        return _bound(through, _to_db(powers.value + NORMAL_ONE_SIDED_95 * powers.standard_uncertainty, own.value))
    return _added(through, value=_to_db(powers.value), low=_to_db(low), high=_to_db(high))


def added_lines(direct: Measure, through: Measure) -> Measure | None:
    """Return the device's own level of a family of lines: value from the powers, range |T - D| to T + D.

    An upper bound (T + D) where through is not above direct beyond doubt.
    """
    if through.bound == "lower":
        return None
    through_high = through.value if through.bound else _high(through)
    direct_high = direct.value if direct.bound else _high(direct)
    most = _sum_db(through_high, direct_high)
    if through.bound == "upper":
        return _bound(through, through.value if direct.bound == "upper" else most)
    if _low(through) <= direct_high:
        return _bound(through, most)
    least = 20 * math.log10(10 ** (_low(through) / 20) - 10 ** (direct_high / 20))
    value = through.value if direct.bound else _power_difference_db(through.value, direct.value)
    return _added(through, value=value if value is not None else least, low=least, high=most)


def _as_power(level: Estimate) -> Estimate:
    power = 10 ** (level.value / 10)
    return Estimate(
        value=power,
        standard_uncertainty=power * level.standard_uncertainty * math.log(10) / 10,
        degrees_of_freedom=level.degrees_of_freedom,
    )


def _to_db(power: float, ceiling_db: float = math.inf) -> float:
    return min(10 * math.log10(power), ceiling_db) if power > 0 else ceiling_db


def _power_difference_db(through_db: float, direct_db: float) -> float | None:
    power = 10 ** (through_db / 10) - 10 ** (direct_db / 10)
    return 10 * math.log10(power) if power > 0 else None


def _sum_db(one_db: float, other_db: float) -> float:
    return 20 * math.log10(10 ** (one_db / 20) + 10 ** (other_db / 20))


def _low(measure: Measure) -> float:
    return measure.value if measure.low is None else measure.low


def _high(measure: Measure) -> float:
    return measure.value if measure.high is None else measure.high


def _range(through: Measure, least: float | None, most: float | None) -> Measure:
    if least is None:
        return _bound(through, through.value if most is None else most)
    return _added(through, value=through.value, low=least, high=most)


def _added(through: Measure, *, value: float, low: float | None, high: float | None) -> Measure:
    return Measure(
        **through.fields(role="added"),
        value=value,
        unit=through.unit,
        low=low,
        high=high,
        interval=through.interval,
        n_takes=through.n_takes,
        takes=through.takes,
    )


def _bound(through: Measure, value: float) -> Measure:
    return Measure(
        **through.fields(role="added"),
        value=value,
        unit=through.unit,
        bound="upper",
        n_takes=through.n_takes,
        takes=through.takes,
    )
