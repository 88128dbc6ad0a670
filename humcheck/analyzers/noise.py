"""Rows of the noise in a quiet section: levels, hiss, and the spectrum in third octaves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from humcheck.audio.levels import power_to_dbfs
from humcheck.audio.spectra import BandReading
from humcheck.estimates.noise import NoiseEstimate
from humcheck.results import Curve, Key, Measure, NotMeasured, quantity
from humcheck.results.rows import Channel

_DB_PER_LOG_POWER = float(10.0 / np.log(10.0))
_SILENT = "This channel is digitally silent here: exact zeros or one constant value, so there is no noise to measure."
_NO_LINES = "The lines in the quiet section were not sought, so hiss and lines cannot be told apart."


def noise_rows(noise: NoiseEstimate, key: Key, channels: Sequence[Channel]) -> list[Measure | Curve | NotMeasured]:
    """Return the rows of a noise estimate, of each channel and of both.

    Parameters
    ----------
    noise : NoiseEstimate
        From `humcheck.estimates.noise.measure_noise`.
    key : Key
        What the take belongs to.
    channels : sequence of str
        Names of the channels in the order of the samples: ``("left", "right")`` or ``("mono",)``.

    Returns
    -------
    list of Measure, Curve or NotMeasured
        Levels with the band they were read in as detail; both is the power mean of the channels.
    """
    names: list[Channel] = list(channels) if len(channels) == 1 else [*channels, "both"]
    rows: list[Measure | Curve | NotMeasured] = []
    for index, channel in enumerate(names):
        silent = bool(noise.silent[index]) if channel != "both" else bool(noise.silent.any())
        for name, reading in _readings(noise).items():
            fields = key.fields(quantity=name, channel=channel)
            if silent:
                rows.append(NotMeasured(**fields, reason=_SILENT))
            elif reading is None:
                rows.append(NotMeasured(**fields, reason=_NO_LINES))
            else:
                rows.append(_level(noise, reading, index, fields))
        for name, bands in (("noise_spectrum", noise.bands), ("hiss_spectrum", noise.hiss_bands)):
            rows.extend(_spectrum(noise, bands, index, key.fields(quantity=name, channel=channel), silent))
    return rows


def _readings(noise: NoiseEstimate) -> dict[str, BandReading | None]:
    return {
        "noise_level": noise.total,
        "noise_level_a": noise.total_a,
        "noise_level_468": noise.quasi_peak,
        "noise_level_ccir_rms": noise.total_ccir_rms,
        "hiss_level": noise.hiss,
        "hiss_level_a": noise.hiss_a,
    }


def _level(noise: NoiseEstimate, reading: BandReading, index: int, fields: dict[str, object]) -> Measure:
    name = str(fields["quantity"])
    value, low, high = _interval(reading, index)
    band = {} if name == "noise_level_468" else {"from_hz": noise.from_hz, "to_hz": noise.to_hz}
    return Measure(
        **fields,  # type: ignore[arg-type]
        value=value,
        unit=quantity(name).unit,
        low=low,
        high=high,
        interval="within",
        detail=band,
    )


def _interval(reading: BandReading, index: int) -> tuple[float, float, float]:
    """Return level, and both ends of its 95 % interval, in dBFS."""
    power = float(reading.power[index])
    value = float(power_to_dbfs(power))
    half = _coverage(reading.freedom) * _DB_PER_LOG_POWER * float(reading.sd[index]) / power if power > 0.0 else 0.0
    return value, value - half, value + half


def _coverage(freedom: float) -> float:
    """Return the factor that makes a 95 % interval of a standard uncertainty (Student's t)."""
    from scipy.special import stdtrit

    # Beyond this many degrees of freedom t is the normal quantile to four digits.
    return float(stdtrit(min(freedom, 1e6), 0.975))


def _spectrum(
    noise: NoiseEstimate, bands: Sequence[BandReading], index: int, fields: dict[str, object], silent: bool
) -> Iterator[Curve | NotMeasured]:
    if silent or not bands:
        yield NotMeasured(**fields, reason=_SILENT if silent else _NO_LINES)  # type: ignore[arg-type]
        return
    value, low, high = zip(*(_interval(reading, index) for reading in bands), strict=True)
    yield Curve(
        **fields,  # type: ignore[arg-type]
        unit=quantity(str(fields["quantity"])).unit,
        frequency_hz=noise.band_hz.tolist(),
        value=list(value),
        low=list(low),
        high=list(high),
        valid_from_hz=float(noise.band_hz[0]),
        valid_to_hz=float(noise.band_hz[-1]),
    )
