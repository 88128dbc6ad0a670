"""The level at which the 997 Hz level tone arrives."""

from __future__ import annotations

from humcheck.analyzers.tone_rows import level_row, missing_row
from humcheck.estimates.tones.take_tones import TakeTones
from humcheck.results import Measure, NotMeasured
from humcheck.results.rows import Key

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
