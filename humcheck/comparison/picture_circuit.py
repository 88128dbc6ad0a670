"""The picture's leak as a part of a circuit: a stray capacitance in picofarads, or the resistance of a shared ground.

A video line of 0.7 V from black to white [1]_ leaks through a capacitance ``C`` into the sound line, which stands on
the source's and the load's resistance in parallel, ``R``: a first-order high-pass, ``|H| = x / sqrt(1 + x^2)`` with
``x = 2 pi f R C``. A ground of resistance ``r`` that carries the picture's current, 0.7 V into 75 ohm [1]_, stands in
series with the source; the load sees its share: ``|H| = r / 75 ohm * load / (source + load)``.

References
----------
.. [1] Recommendation ITU-R BT.1700 / SMPTE 170M: luminance of 0.7 V (714 mV at 525 lines with set-up: 2 % more) on
   lines of 75 ohm.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from humcheck.results import Measure, Settings, quantity

FULL_SWING_V = 0.7
LINE_OHMS = 75.0
#: RMS of a luma sine of full swing.
SWING_RMS_V = FULL_SWING_V / 2 / math.sqrt(2.0)
AT_HZ = 1000.0
#: Slopes in dB per octave that name the way: about 6 a capacitance, about 0 a resistance.
CAPACITIVE, SHARED = (4.5, 7.5), (-1.5, 1.5)
_OCTAVE_DB = 20 * math.log10(2.0)
_COUPLING, _SLOPE = "picture_coupling", "picture_coupling_slope"


def circuit_rows(measures: Sequence[Measure], settings: Settings) -> list[Measure]:
    """Return `picture_capacitance` or `picture_ground_resistance` for every coupling whose slope names its way.

    Parameters
    ----------
    measures : sequence of Measure
        With `picture_coupling` and its slope. Bounds, and slopes between the two ways, give no row.
    settings : Settings
        Circuit values and calibration; without all three of them there is no row.
    """
    if None in (settings.volts_at_full_scale, settings.source_ohms, settings.load_ohms):
        return []
    slopes = {row.identity(): row for row in measures if row.quantity == _SLOPE}
    return [row for measure in measures for row in _rows(measure, slopes, settings)]


def _rows(measure: Measure, slopes: dict[tuple[object, ...], Measure], settings: Settings) -> Iterator[Measure]:
    if measure.quantity != _COUPLING or measure.channel == "both" or measure.bound is not None:
        return
    # Of the added part alone no slope is known; it is the device's as far as it outweighs the direct leak.
    role = "through" if measure.role == "added" else measure.role
    key = Measure(**measure.fields(quantity=_SLOPE, role=role), value=0.0, unit="").identity()
    slope = slopes.get(key)
    if slope is None or slope.low is None or slope.high is None:
        return
    low, value, high = (ratio(level, settings) for level in _ends(measure))
    more = 1 + (settings.volts_uncertainty_percent or 0.0) / 100
    low, high = low / more, high * more
    if CAPACITIVE[0] <= slope.low and slope.high <= CAPACITIVE[1] and high < 1:
        shares = [capacitive_share(at) for at in (slope.low, slope.value, slope.high)]
        gains = [gain * math.sqrt(share) for gain, share in zip((low, value, high), shares, strict=True)]
        yield _row(measure, "picture_capacitance", [1e12 * capacitance(gain, settings) for gain in gains])
    elif SHARED[0] <= slope.low and slope.high <= SHARED[1]:
        shares = [1 - capacitive_share(at) for at in (slope.high, slope.value, slope.low)]
        gains = [gain * math.sqrt(share) for gain, share in zip((low, value, high), shares, strict=True)]
        yield _row(measure, "picture_ground_resistance", [1e3 * resistance(gain, settings) for gain in gains])


def _ends(measure: Measure) -> tuple[float, float, float]:
    low = measure.value if measure.low is None else measure.low
    return low, measure.value, measure.value if measure.high is None else measure.high


def ratio(level_dbfs: float, settings: Settings) -> float:
    """Return volts of sound over volts of picture at 1 kHz."""
    assert settings.volts_at_full_scale is not None
    return settings.volts_at_full_scale * 10 ** (level_dbfs / 20) / SWING_RMS_V


def capacitance(gain: float, settings: Settings) -> float:
    """Return the capacitance in farads of a high-pass with this gain at 1 kHz."""
    assert settings.source_ohms is not None
    assert settings.load_ohms is not None
    ohms = settings.source_ohms * settings.load_ohms / (settings.source_ohms + settings.load_ohms)
    return gain / math.sqrt(1 - gain**2) / (2 * math.pi * AT_HZ * ohms)


def resistance(gain: float, settings: Settings) -> float:
    """Return the resistance in ohm of a shared ground with this gain."""
    assert settings.source_ohms is not None
    assert settings.load_ohms is not None
    return gain * LINE_OHMS * (settings.source_ohms + settings.load_ohms) / settings.load_ohms


def capacitive_share(slope: float) -> float:
    """Return the capacitance's share of the power: a resistance beside it stands at a right angle, and is level.

    With ``|H|^2 = (a f)^2 + b^2`` the slope is ``6.02 dB (a f)^2 / |H|^2`` per octave.
    """
    return min(1.0, max(0.0, slope / _OCTAVE_DB))


def _row(measure: Measure, name: str, ends: Sequence[float]) -> Measure:
    low, value, high = ends
    return Measure(
        **measure.fields(quantity=name),
        value=value,
        unit=quantity(name).unit,
        low=low,
        high=high,
        interval="within",
        n_takes=measure.n_takes,
        takes=measure.takes,
        detail={"at_hz": AT_HZ},
    )
