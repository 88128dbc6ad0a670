"""Where a take's sound ends: lossy coding, or a recorder set to a low rate, cuts the top off as no plain circuit does.

A smooth fall is the path's own response and no fault. An edge is called one only where the level falls by 20 dB within
a third of an octave (a filter of tenth order, which nobody builds of resistors and capacitors) and stays down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.audio.power_spectrum import PowerSpectrum
from humcheck.estimates.sweeps.grid import IN_SERIES, REFERENCE_HZ
from humcheck.estimates.sweeps.response import USABLE_SHARE, ResponseEstimate
from humcheck.results.rows import Channel, Fault, Role

#: Bands are asked for up to here; what ends above it is no fault.
AUDIBLE_TO_HZ = 20000.0
EDGE_DB = 20.0
#: Points of the twelfth-octave series in a third of an octave.
_EDGE_STEPS = 4
#: Readings are allowed this many standard uncertainties.
_CERTAIN_SD = 2.0
#: Limits of two channels this near to each other, one step of the series, are one limit.
_SAME_RATIO = 10.0 ** (1.0 / 40.0)
#: Highest line rate of the common television systems (525 lines, 59.94 fields), with room for a line's own width.
_WHISTLE_TO_HZ = 15800.0

#: In a spectrum of unknown sound the edge must be this abrupt, and this far below the sound just under it.
_SPECTRUM_GAP_HZ = 400.0
_SPECTRUM_BELOW_HZ = 1500.0
_SPECTRUM_STEP_HZ = 100.0
_SPECTRUM_LOWEST_HZ = 3000.0
_SPECTRUM_TOP_SHARE = 0.49


@dataclass(frozen=True, slots=True, kw_only=True)
class BandLimit:
    """Where the sound in one channel of a take ends.

    Attributes
    ----------
    channel : str
        ``"left"``, ``"right"``, ``"mono"``, or ``"both"`` where it was read from their sum.
    limit_hz : float
        Where the level has fallen by 20 dB, to about half a step of the series (3 %).
    cause : str
        ``"edge"``: found in the sound; ``"rate"``: the file's own sampling rate holds no more.
    """

    channel: Channel
    limit_hz: float
    cause: Literal["edge", "rate"]


def response_band_limit(response: ResponseEstimate, rate_hz: float) -> BandLimit | None:
    """Return where the response of a take ends below 20 kHz, None where it reaches that or falls smoothly.

    Parameters
    ----------
    response : ResponseEstimate
        From one sweep of the take.
    rate_hz : float
        Sampling rate of the take.
    """
    series = IN_SERIES[: response.frequency_hz.size]
    magnitude, margin = np.abs(response.gain.value), _CERTAIN_SD * response.gain.sd
    edge = edge_band_limit(response.driven, response.frequency_hz[series], magnitude[series], margin[series])
    return edge or _rate_limit(response.driven, rate_hz)


def edge_band_limit(channel: Channel, frequency_hz: Floats, magnitude: Floats, margin: Floats) -> BandLimit | None:
    """Return where a response ends in an edge below 20 kHz, None where it does not.

    Parameters
    ----------
    channel : str
        Channel of the response.
    frequency_hz : numpy.ndarray, shape (n_f,)
        Points of the twelfth-octave series, rising.
    magnitude, margin : numpy.ndarray, shape (n_f,)
        Size of the response, and how far off it may be.
    """
    upper = frequency_hz > REFERENCE_HZ
    frequency_hz, magnitude, margin = frequency_hz[upper], magnitude[upper], margin[upper]
    edge = _first_edge(_decibels(np.maximum(magnitude - margin, 0.0)), _decibels(magnitude + margin))
    if edge is None:
        return None
    limit_hz = _crossing_hz(frequency_hz, _decibels(magnitude), edge)
    return BandLimit(channel=channel, limit_hz=limit_hz, cause="edge") if limit_hz < AUDIBLE_TO_HZ else None


def _first_edge(at_least_db: Floats, at_most_db: Floats) -> int | None:
    """Return the first point that, with all above it, lies an edge below one of the points just before it."""
    highest_from_here = np.maximum.accumulate(at_most_db[::-1])[::-1]
    for index in range(1, len(at_least_db)):
        before = at_least_db[max(0, index - _EDGE_STEPS) : index]
        if highest_from_here[index] <= before.max() - EDGE_DB:
            return index
    return None


def _crossing_hz(frequency_hz: Floats, level_db: Floats, edge: int) -> float:
    """Return where the level crosses 20 dB below its highest before the edge, along a line in dB over log frequency."""
    crossed_db = level_db[max(0, edge - _EDGE_STEPS) : edge].max() - EDGE_DB
    fall_db = level_db[edge - 1] - level_db[edge]
    share = min(max((level_db[edge - 1] - crossed_db) / fall_db, 0.0), 1.0)
    return float(frequency_hz[edge - 1] * (frequency_hz[edge] / frequency_hz[edge - 1]) ** share)


def _rate_limit(channel: Channel, rate_hz: float) -> BandLimit | None:
    """Return the limit that the sampling rate itself sets, None where it leaves room for all that is measured."""
    if USABLE_SHARE * rate_hz >= AUDIBLE_TO_HZ:
        return None
    return BandLimit(channel=channel, limit_hz=rate_hz / 2.0, cause="rate")


def spectrum_band_limit(spectrum: PowerSpectrum) -> BandLimit | None:
    """Return where the sound of a take without a track ends below 20 kHz.

    Parameters
    ----------
    spectrum : PowerSpectrum
        Of the whole take, or of seconds of it; bins of 20 Hz or less.

    Returns
    -------
    BandLimit or None
        None where no abrupt edge is found: sound that fades out, or that never reaches up there, shows none.

    Notes
    -----
    Medians over 100 Hz, so that single lines count neither as sound nor as what comes after it. Just below the edge
    the sound must stand 20 dB above all that follows up to half the rate.
    """
    rate_hz = 2.0 * float(spectrum.frequency_hz[-1])
    centres_hz, level_db = _median_levels(spectrum, _SPECTRUM_TOP_SHARE * rate_hz)
    gap, below = (round(width / _SPECTRUM_STEP_HZ) for width in (_SPECTRUM_GAP_HZ, _SPECTRUM_BELOW_HZ))
    if len(level_db) <= gap + below:
        return None
    highest_from_here = np.maximum.accumulate(level_db[::-1])[::-1]
    for index in range(below + gap, len(level_db)):
        sound = level_db[index - gap - below : index - gap]
        if centres_hz[index] > _SPECTRUM_LOWEST_HZ and highest_from_here[index] <= sound.min() - EDGE_DB:
            limit_hz = float(centres_hz[index])
            return BandLimit(channel="both", limit_hz=limit_hz, cause="edge") if limit_hz < AUDIBLE_TO_HZ else None
    return None


def _median_levels(spectrum: PowerSpectrum, top_hz: float) -> tuple[Floats, Floats]:
    """Return centres and median levels of bands of 100 Hz, both channels together."""
    power = spectrum.power.sum(axis=1)
    width = max(1, round(_SPECTRUM_STEP_HZ / spectrum.bin_hz))
    n_bands = int(np.searchsorted(spectrum.frequency_hz, top_hz)) // width
    bands = power[: n_bands * width].reshape(n_bands, width)
    centres_hz = spectrum.frequency_hz[: n_bands * width].reshape(n_bands, width).mean(axis=1)
    return centres_hz, _decibels(np.sqrt(np.median(bands, axis=1)))


def band_limit_faults(limits: Sequence[BandLimit | None], role: Role) -> list[Fault]:
    """Return what a take's band limits are worth saying: one fault, or one for each channel where they differ.

    Parameters
    ----------
    limits : sequence of BandLimit or None
        One for each response of the take.
    role : str
        Role of the take. A through take's limit may be the device's own: then its high corner is a finding.
    """
    found = [limit for limit in limits if limit is not None]
    if not found:
        return []
    lowest = min(found, key=lambda limit: limit.limit_hz)
    alike = max(limit.limit_hz for limit in found) <= _SAME_RATIO * lowest.limit_hz
    if len(found) == len(limits) and alike:
        return [_fault(lowest, role, None)]
    return [_fault(limit, role, limit.channel) for limit in found]


def _fault(limit: BandLimit, role: Role, channel: Channel | None) -> Fault:
    where = "" if channel in (None, "both", "mono") else f" in the {channel} channel"
    reach = f"Nothing above about {limit.limit_hz / 1000.0:.1f} kHz arrives{where}: "
    if limit.cause == "rate":
        cause = f"the recording's sampling rate of {2.0 * limit.limit_hz:.0f} Hz holds no more."
    elif role == "through":
        cause = "lossy coding, a low rate somewhere, or the device itself, if the direct recording reaches further."
    else:
        cause = "lossy coding, or a player or recorder set to a low rate."
    advice = " Figures are taken below that; record uncompressed at 48 kHz to have all."
    return Fault(
        code="band-limit", channel=channel, sentence=reach + cause + advice, spoils=_spoilt(limit.limit_hz, role)
    )


def _spoilt(limit_hz: float, role: Role) -> list[str]:
    spoilt = ["imd_difference"]  # its tones of 19 and 20 kHz do not arrive
    if role != "through":
        spoilt.append("high_corner")
        if limit_hz < _WHISTLE_TO_HZ:
            spoilt += ["whistle_level", "whistle_frequency"]
    return spoilt


def _decibels(magnitude: Floats) -> Floats:
    decibels: Floats = 20.0 * np.log10(np.maximum(magnitude, 1e-12))
    return decibels
