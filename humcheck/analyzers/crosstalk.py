"""Crosstalk: how much of the driven channel is heard in the idle one, within one take."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from humcheck.analyzers.hidden import Reading, read_magnitudes
from humcheck.audio.levels import Floats
from humcheck.estimates.sweeps import IN_SERIES, Gain, ResponseEstimate
from humcheck.estimates.sweeps.grid import Flags
from humcheck.results import Curve, Measure, NotMeasured
from humcheck.results.rows import Bound, Channel, Key

CURVE, AT_1K, WORST = "crosstalk", "crosstalk_1k", "crosstalk_worst"
Rows = list[Curve | Measure | NotMeasured]

#: The largest crosstalk is sought where it can be heard.
AUDIBLE_HZ = (20.0, 20000.0)
#: Above this the two channels are one.
SAME_SOUND_DB = -3.0
#: Uncertainty this many times what even noise explains is hum's.
HUM_RATIO = 1.5

_REASONS = {
    "merged": "Both channels are merged on the way, so there is no crosstalk between them.",
    "mono-source": "The source sends one channel to both, so there is no crosstalk between them.",
    "left-only": "Only the left channel arrives; crosstalk needs both.",
    "right-only": "Only the right channel arrives; crosstalk needs both.",
    "none": "No sound of the track arrives.",
}


def crosstalk_rows(responses: Sequence[ResponseEstimate], key: Key, *, channel_map: str = "straight") -> Rows:
    """Return `crosstalk`, `crosstalk_1k` and `crosstalk_worst` of one take, for each idle channel.

    Parameters
    ----------
    responses : sequence of ResponseEstimate
        One for each sweep that could be read.
    key : Key
        What the take belongs to.
    channel_map : str, optional
        How the track's channels arrive (see `Alignment.channel_map`).

    Returns
    -------
    list
        A curve and two measures for each idle channel; where noise or hum hides it, upper bounds (one-sided 95 %) whose
        `detail` says which of the two sets the floor. `NotMeasured` rows where the take has no two channels.
    """
    if not responses:
        return []
    if channel_map in _REASONS:
        return missing_rows(key, "both", _REASONS[channel_map])
    rows: Rows = []
    for response in responses:
        if response.idle is None:
            return missing_rows(key, "mono", "The take has one channel; crosstalk needs both.")
        rows += _rows_of(response, key, response.idle)
    return rows


def missing_rows(key: Key, channel: Channel, reason: str) -> Rows:
    """Return a reason for each of the quantities."""
    return [NotMeasured(**key.fields(quantity=name, channel=channel), reason=reason) for name in (CURVE, AT_1K, WORST)]


def rows_of_gains(
    crosstalk: Gain, at_1k: Gain, frequency_hz: Floats, valid: Flags, key: Key, *, n_takes: int = 1
) -> Rows:
    """Return the curve and both measures.

    Parameters
    ----------
    crosstalk : Gain
        Idle re driven channel over `frequency_hz`.
    at_1k : Gain
        The same at 1000 Hz alone.
    frequency_hz : numpy.ndarray, shape (n_f,)
        The first points of the grid.
    valid : numpy.ndarray of bool, shape (n_f,)
        Where the driven channel is known.
    key : Key
        With the idle channel.
    n_takes : int, optional
        How many takes were averaged.
    """
    shown = valid & IN_SERIES[: valid.size]
    readings = read_magnitudes(crosstalk.value, crosstalk.sd, crosstalk.freedom)
    by_hum = crosstalk.sd > HUM_RATIO * crosstalk.noise_sd
    audible = shown & (frequency_hz >= AUDIBLE_HZ[0]) & (frequency_hz <= AUDIBLE_HZ[1])
    if not audible.any():
        return missing_rows(key, key.channel, "The driven channel does not stand far enough above its noise.")
    at_1k_reading = read_magnitudes(at_1k.value, at_1k.sd, at_1k.freedom)
    at_1k_detail = {"floor_is_hum": float(at_1k.sd[0] > HUM_RATIO * at_1k.noise_sd[0])}
    return [
        _curve(readings, frequency_hz, shown, key),
        _measure(at_1k_reading, 0, key.fields(quantity=AT_1K), n_takes, at_1k_detail),
        _worst(readings, frequency_hz, audible, by_hum, key, n_takes),
    ]


def _rows_of(response: ResponseEstimate, key: Key, idle: Channel) -> Rows:
    crosstalk, at_1k = response.crosstalk, response.crosstalk_1k
    if crosstalk is None or at_1k is None:
        return []
    key = Key(**key.fields(channel=idle))
    if np.abs(at_1k.value[0]) > 10.0 ** (SAME_SOUND_DB / 20.0):
        return missing_rows(key, idle, f"The {idle} channel carries the sound of the {response.driven} one.")
    return rows_of_gains(crosstalk, at_1k, response.frequency_hz, response.valid(), key)


def _curve(readings: Reading, frequency_hz: Floats, shown: Flags, key: Key) -> Curve:
    hidden = readings.hidden[shown]
    bound: list[Bound | None] = ["upper" if of_point else None for of_point in hidden.tolist()]
    return Curve(
        **key.fields(quantity=CURVE),
        unit="dB",
        frequency_hz=frequency_hz[shown].tolist(),
        value=readings.value_db[shown].tolist(),
        low=readings.low_db[shown].tolist(),
        high=readings.high_db[shown].tolist(),
        bound=bound if hidden.any() else None,
        valid_from_hz=float(frequency_hz[shown][0]),
        valid_to_hz=float(frequency_hz[shown][-1]),
    )


def _worst(readings: Reading, frequency_hz: Floats, audible: Flags, by_hum: Flags, key: Key, n_takes: int) -> Measure:
    """Return the largest reading; what hidden frequencies may hold beyond it widens its interval."""
    index = np.flatnonzero(audible)
    hidden, seen = index[readings.hidden[index]], index[~readings.hidden[index]]
    highest = None if hidden.size == 0 else int(hidden[np.argmax(readings.value_db[hidden])])
    best = highest if seen.size == 0 else int(seen[np.argmax(readings.value_db[seen])])
    if best is None:
        raise ValueError("audible has no point")
    detail = {"frequency_hz": float(frequency_hz[best])}
    high_db = None
    if highest is not None:
        detail["floor_is_hum"] = float(by_hum[highest])
        if highest != best and readings.value_db[highest] > readings.high_db[best]:
            high_db = float(readings.value_db[highest])
            detail["hidden_up_to_hz"] = float(frequency_hz[highest])
    return _measure(readings, best, key.fields(quantity=WORST), n_takes, detail, high_db)


def _measure(
    readings: Reading,
    index: int,
    fields: dict[str, object],
    n_takes: int,
    detail: dict[str, float],
    high_db: float | None = None,
) -> Measure:
    value_db = float(readings.value_db[index])
    if readings.hidden[index]:
        return Measure(**fields, value=value_db, unit="dB", bound="upper", n_takes=n_takes, detail=detail)  # type: ignore[arg-type]
    return Measure(
        **fields,  # type: ignore[arg-type]
        value=value_db,
        unit="dB",
        low=float(readings.low_db[index]),
        high=float(readings.high_db[index]) if high_db is None else high_db,
        interval="within" if n_takes == 1 else "between",
        n_takes=n_takes,
        detail=detail,
    )
