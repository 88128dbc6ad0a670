"""Volts at full scale, from a steady tone that was metered on the loaded line while it was recorded."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from humcheck.errors import MeasurementError, UnusableTake
from humcheck.estimates.tones.steady_tone import SteadyTone, find_steady_tone, steady_tone
from humcheck.takes.survey import survey
from humcheck.takes.take import Take, load_take

#: Left out at either end of a track's level section, fades included.
_SETTLE_S = 0.15
#: From here on a user should know (a share of the tone's level).
_UNSTEADY = 0.005
_REST = 0.02
_CHANNELS_DIFFER_DB = 0.1
_PER_DB = math.log(10.0) / 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """What a metered tone says about the recorder.

    Attributes
    ----------
    tone : SteadyTone
        The tone.
    channels : tuple of str
        Names of the channels.
    used : tuple of int
        Those whose level was used.
    volts_at_full_scale : float
        RMS volts of a sine that reads 0 dBFS.
    uncertainty_percent : float
        Of it, 95 %, the meter's part included as far as it was given.
    parts_percent : dict of str to float
        Standard uncertainties that it is made of.
    warnings : tuple of str
        What a user should know.
    """

    tone: SteadyTone
    channels: tuple[str, ...]
    used: tuple[int, ...]
    volts_at_full_scale: float
    uncertainty_percent: float
    parts_percent: dict[str, float]
    warnings: tuple[str, ...]

    @property
    def dbv_at_full_scale(self) -> float:
        """The same in dBV: decibels re 1 V RMS."""
        return 20.0 * math.log10(self.volts_at_full_scale)


def calibrate(
    path: str, volts: float, *, volts_percent: float | None = None, channel: str | None = None
) -> Calibration:
    """Return the volts at full scale.

    Parameters
    ----------
    path : str
        A recording of the tone, or of a track, whose level section is then the tone.
    volts : float
        RMS volts that the meter read on the line, the recorder connected.
    volts_percent : float, optional
        Limit of the meter's error in percent, as its maker states it.
    channel : str, optional
        ``"left"`` or ``"right"``: the line that was metered. By default both, which should agree.

    Raises
    ------
    UnusableTake
        If the file cannot be read, holds no steady tone, or was clipped.

    Notes
    -----
    Full scale is that of AES17: a full-scale sine reads 0 dBFS, so ``volts at full scale = volts / 10**(level / 20)``.
    Uncertainties are combined as JCGM 100 (GUM) has it: parts known by their limits count as rectangular, limit over
    the root of three (4.3.7). The 95 % interval is that of a rectangular part, the meter's, together with a normal
    one, all the rest: where the meter dominates, a factor of 1.96 would be too large (GUM G.6.5).
    """
    take = load_take(path)
    try:
        tone = _tone_of(take)
    except MeasurementError as error:
        raise UnusableTake(
            error.reason, where=path, remedy="record a steady tone of 200 to 2000 Hz for some ten seconds"
        ) from error
    _require_unclipped(take, tone, path)
    used = _used_channels(tone, take.channels, channel, path)
    levels = tone.level_dbfs[list(used)]
    level_dbfs = float(np.mean(levels))
    parts = _parts(tone, used)
    rest = math.hypot(*parts.values())
    limit = volts_percent or 0.0
    if limit:
        parts["meter"] = limit / math.sqrt(3.0)
    return Calibration(
        tone=tone,
        channels=take.channels,
        used=used,
        volts_at_full_scale=volts / 10.0 ** (level_dbfs / 20.0),
        uncertainty_percent=half_interval(limit, rest),
        parts_percent=parts,
        warnings=tuple(_warnings(tone, used, volts_percent)),
    )


def half_interval(limit: float, sd: float, certainty: float = 0.95) -> float:
    """Return half the interval that holds the sum of a rectangular part and a normal one with `certainty`.

    Parameters
    ----------
    limit : float
        Half the width of the rectangle.
    sd : float
        Standard deviation of the normal part.
    certainty : float, optional
        Probability inside.
    """
    from scipy.optimize import brentq
    from scipy.special import ndtr, ndtri

    if sd <= 1e-6 * limit:
        return certainty * limit
    if limit <= 1e-3 * sd:
        return float(ndtri(0.5 + 0.5 * certainty) * math.hypot(sd, limit / math.sqrt(3.0)))

    def integral(at: float) -> float:
        """Return the integral of the normal distribution function up to `at`."""
        return float(at * ndtr(at) + math.exp(-0.5 * at * at) / math.sqrt(2.0 * math.pi))

    def inside(half: float) -> float:
        ends = [(half + limit) / sd, (half - limit) / sd, (limit - half) / sd, (-half - limit) / sd]
        first, second, third, fourth = map(integral, ends)
        return (first - second - third + fourth) * sd / (2.0 * limit)

    return float(brentq(lambda half: inside(half) - certainty, 0.0, limit + 6.0 * sd))


def _tone_of(take: Take) -> SteadyTone:
    if not take.has_section("level"):
        return find_steady_tone(take.file)
    assert take.layout is not None
    fade_s = take.layout.section("level").fade_in_s + _SETTLE_S
    audio = take.section("level", before_s=-fade_s, after_s=-fade_s)
    return steady_tone(audio.samples, float(take.rate_hz), start_s=audio.start_index / take.rate_hz)


def _require_unclipped(take: Take, tone: SteadyTone, path: str) -> None:
    found = survey(take.file, int(tone.start_s * take.rate_hz), int(tone.end_s * take.rate_hz))
    if any(found.clipped_runs):
        raise UnusableTake(
            f"the tone is clipped: it stays at full scale {max(found.clipped_runs)} times",
            where=path,
            remedy="turn the recording level down until it peaks between -6 and -3 dBFS, and record it again",
        )


def _used_channels(tone: SteadyTone, names: tuple[str, ...], channel: str | None, path: str) -> tuple[int, ...]:
    carrying = [index for index in range(len(names)) if tone.carries[index]]
    if channel is None or len(names) == 1:
        return tuple(carrying)
    index = names.index(channel)
    if index not in carrying:
        raise UnusableTake(f"the {channel} channel does not hold the tone", where=path, remedy="name the other one")
    return (index,)


def _parts(tone: SteadyTone, used: tuple[int, ...]) -> dict[str, float]:
    """Return the standard uncertainties of the level, in percent."""
    at = list(used)
    fit = tone.fit
    noise = float(np.max(fit.level_sd_db[0][at])) * _PER_DB
    # The meter was read at some moment of a level that moves: anywhere between its start and its end.
    moved = float(np.max(np.abs(fit.movement.change_db[at]))) * _PER_DB / math.sqrt(12.0)
    # What stands beside the tone is read by the meter, too: from nothing to its whole share of the sum.
    beside = (math.hypot(1.0, float(np.max(tone.rest[at]))) - 1.0) / math.sqrt(12.0)
    parts = {"tone": 100.0 * math.hypot(noise, moved, beside)}
    if tone.mains_hz is not None:
        parts["hum"] = 100.0 * float(np.max(tone.hum[at])) / math.sqrt(3.0)
    if len(used) > 1:
        # One of the two was metered.
        parts["channels"] = 100.0 * 0.5 * float(np.ptp(tone.level_dbfs[at])) * _PER_DB / math.sqrt(3.0)
    return parts


def _warnings(tone: SteadyTone, used: tuple[int, ...], volts_percent: float | None) -> list[str]:
    at = list(used)
    fit, words = tone.fit, []
    change = float(np.max(np.abs(fit.movement.change_db[at])))
    unrest = float(np.max(fit.movement.unrest_db[at]))
    if max(change, unrest) * _PER_DB > _UNSTEADY or fit.used_s < 0.9 * fit.offered_s:
        words.append(
            f"The tone is not steady: its level moves by {max(change, unrest):.2f} dB. Look for automatic gain, and "
            "for a volume that somebody turns, and record it again."
        )
    if tone.mains_hz is not None:
        order = round(tone.frequency_hz / tone.mains_hz)
        share = max(100.0 * float(np.max(tone.hum[at])), 0.001)
        words.append(
            f"The tone is {order} times {tone.mains_hz:.0f} Hz, a multiple of a mains frequency: hum there cannot be "
            f"told from it, and may change its level by {share:.2g} %. A tone of 997 Hz is free of that."
        )
    rest = float(np.max(tone.rest[at]))
    if rest > _REST:
        words.append(
            f"Beside the tone there is other sound, {100.0 * rest:.1f} % of it in level: a meter reads that, too."
        )
    if len(used) > 1 and float(np.ptp(tone.level_dbfs[at])) > _CHANNELS_DIFFER_DB:
        words.append(
            f"The channels differ by {float(np.ptp(tone.level_dbfs[at])):.2f} dB: say with --channel which line was "
            "metered, and look for a balance control."
        )
    if len(fit.level_dbfs[0]) > len(used) == 1 and not all(tone.carries):
        words.append("Only one of the two channels holds the tone; the other one has not been calibrated.")
    if volts_percent is None:
        words.append(
            "The meter's own error is not in the uncertainty: give it with --volts-uncertainty (percent, at this "
            "frequency, from its manual)."
        )
    return words
