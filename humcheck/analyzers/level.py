"""The level at which the 997 Hz level tone arrives."""

from __future__ import annotations

from collections.abc import Sequence

from humcheck.analyzers.tone_rows import level_row, missing_row
from humcheck.estimates.tones.loudest_tone import LoudestTone
from humcheck.estimates.tones.take_tones import TakeTones
from humcheck.results import Measure, NotMeasured
from humcheck.results.rows import Channel, Key

QUANTITY = "tone_level"


def level_rows(tones: TakeTones, key: Key) -> list[Measure | NotMeasured]:
    """Return `tone_level` of each channel in dBFS, both channels driven.

    Parameters
    ----------
    tones : TakeTones
        The tones of one take.
    key : Key
        What the take belongs to; quantity and channel are filled in here.
    """
    if tones.level is None:
        reason = tones.reasons.get("level", "The take has no level section.")
        return [missing_row(key, QUANTITY, tones.channels, reason)]
    fit = tones.level
    rows: list[Measure | NotMeasured] = []
    for index, channel in enumerate(tones.channels):
        if not fit.heard[0, index]:
            rows.append(
                NotMeasured(
                    **key.fields(quantity=QUANTITY, channel=channel),
                    reason="No sound passes: the level tone is not heard in this channel.",
                )
            )
            continue
        value, sd = float(fit.level_dbfs[0, index]), float(fit.level_sd_db[0, index])
        received_hz = float(fit.received_hz[0])
        rows.append(level_row(key, QUANTITY, channel, value, sd, frequency_hz=received_hz, used_s=fit.used_s))
    return rows


def faint_level_rows(tone: LoudestTone | None, key: Key, channels: Sequence[Channel]) -> list[Measure | NotMeasured]:
    """Return `tone_level` of a take in which another port was driven and the track is too faint to be recognised.

    Parameters
    ----------
    tone : LoudestTone or None
        Of the take; None where the take is too short.
    key : Key
        What the take belongs to.
    channels : sequence of str
        Names of the channels.
    """
    if tone is None:
        return [missing_row(key, QUANTITY, tuple(channels), "The take is too short to hold the tone.")]
    rows: list[Measure | NotMeasured] = []
    for index, channel in enumerate(channels):
        value, sd = float(tone.level_dbfs[index]), float(tone.sd_db[index])
        if tone.found[index]:
            rows.append(level_row(key, QUANTITY, channel, value, sd))
        else:
            fields = key.fields(quantity=QUANTITY, channel=channel)
            rows.append(Measure(**fields, value=value, unit="dBFS", bound="upper"))
    return rows
