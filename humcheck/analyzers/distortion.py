"""Harmonic distortion, and distortion with noise, of the 997 Hz tone near full scale.

`thd` is the RMS of harmonics 2-10 over the fundamental (often written THD_F); `thd_n` is the RMS of everything but the
tone over the RMS of the total, 20 Hz-20 kHz (AES17). Harmonics that the band has no room for are left out and counted.
"""

from __future__ import annotations

import numpy as np

from humcheck.analyzers.tone_rows import NORMAL_95, missing_row, percent_row
from humcheck.estimates.tones.distortion import ToneDistortion
from humcheck.estimates.tones.intervals import PowerEstimate
from humcheck.estimates.tones.take_tones import TakeTones
from humcheck.results import Measure, NotMeasured
from humcheck.results.rows import Key

_NOT_THERE = "The take has no tone near full scale."


def distortion_rows(tones: TakeTones, key: Key) -> list[Measure | NotMeasured]:
    """Return `thd` and `thd_n` of each channel in percent.

    Parameters
    ----------
    tones : TakeTones
        The tones of one take.
    key : Key
        What the take belongs to.
    """
    if tones.full_scale is None:
        reason = tones.reasons.get("full-scale", _NOT_THERE)
        return [missing_row(key, name, tones.channels, reason) for name in ("thd", "thd_n")]
    measured = tones.full_scale
    rows: list[Measure | NotMeasured] = []
    for index, channel in enumerate(tones.channels):
        if not measured.tone.heard[0, index]:
            reason = "The tone near full scale is not heard in this channel."
            rows += [
                NotMeasured(**key.fields(quantity=name, channel=channel), reason=reason) for name in ("thd", "thd_n")
            ]
            continue
        rows.append(_thd_row(measured, key, index, tones))
        band = {"band_from_hz": measured.residual.band_hz[0], "band_to_hz": measured.residual.band_hz[1]}
        rows.append(percent_row(key, "thd_n", channel, share_of_total(measured, index), band))
    return rows


def _thd_row(measured: ToneDistortion, key: Key, index: int, tones: TakeTones) -> Measure | NotMeasured:
    channel, harmonics = tones.channels[index], measured.harmonics
    if len(harmonics.multiples) == 0:
        reason = "The recording does not reach up to the second harmonic."
        return NotMeasured(**key.fields(quantity="thd", channel=channel), reason=reason)
    shares = 100.0 * np.abs(harmonics.share[:, index])
    detail = {f"h{order}_percent": float(share) for order, share in zip(harmonics.order, shares, strict=True)}
    detail["harmonics_used"] = float(len(harmonics.multiples))
    detail["harmonics_left_out"] = float(len(harmonics.left_out))
    return percent_row(key, "thd", channel, harmonics.total(index), detail)


def share_of_total(measured: ToneDistortion, index: int) -> PowerEstimate:
    """Return the power of everything but the tone over the total power in one channel."""
    tone = 0.5 * float(measured.tone.power[0, index])
    rest, sd = float(measured.residual.flat[index]), float(measured.residual.flat_sd[index])
    ratio = rest / max(tone + rest, 1e-300)
    relative = sd / max(rest, 1e-300)
    spread = float(np.exp(NORMAL_95 * relative))
    return PowerEstimate(
        power=ratio, sd=ratio * relative, low=ratio / spread, high=ratio * spread, upper=ratio * spread
    )
