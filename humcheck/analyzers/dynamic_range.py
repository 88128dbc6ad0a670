"""Dynamic range by AES17: full scale as it arrives, over what is left when a -60 dBFS tone is taken out.

The tone keeps muting and gating open. The residual holds noise, hum and the low-level tone's own distortion, weighted
with the CCIR-RMS curve (0 dB at 2 kHz), or A-weighted, 20 Hz-20 kHz.
"""

from __future__ import annotations

from humcheck.analyzers.tone_rows import level_row, missing_row, power_sd_db
from humcheck.audio.levels import power_to_dbfs
from humcheck.estimates.tones.take_tones import TakeTones
from humcheck.results import Measure, NotMeasured
from humcheck.results.rows import Key

QUANTITIES = ("dynamic_range", "dynamic_range_a")


def dynamic_range_rows(tones: TakeTones, key: Key) -> list[Measure | NotMeasured]:
    """Return `dynamic_range` and `dynamic_range_a` of each channel in dB.

    Parameters
    ----------
    tones : TakeTones
        The tones of one take.
    key : Key
        What the take belongs to.
    """
    full_scale_dbfs = tones.full_scale_dbfs
    if tones.minus_60 is None or not full_scale_dbfs:
        section = "minus-60" if tones.minus_60 is None else "level"
        reason = tones.reasons.get(section, f"The take has no section {section}.")
        return [missing_row(key, name, tones.channels, reason) for name in QUANTITIES]
    residual = tones.minus_60.residual
    weighted = ((residual.ccir, residual.ccir_sd), (residual.a_weighted, residual.a_weighted_sd))
    rows: list[Measure | NotMeasured] = []
    for index, channel in enumerate(tones.channels):
        for name, (power, sd) in zip(QUANTITIES, weighted, strict=True):
            if channel not in full_scale_dbfs or not tones.minus_60.tone.heard[0, index]:
                reason = "The tone at -60 dBFS is not heard in this channel."
                rows.append(NotMeasured(**key.fields(quantity=name, channel=channel), reason=reason))
                continue
            value = full_scale_dbfs[channel] - power_to_dbfs(float(power[index]))
            sd_db = power_sd_db(float(power[index]), float(sd[index]))
            rows.append(level_row(key, name, channel, value, sd_db, band_to_hz=residual.band_hz[1]))
    return rows
