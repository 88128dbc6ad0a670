"""Intermodulation of two tones.

`imd_smpte` (SMPTE RP 120; 60 Hz and 7 kHz, amplitudes 4:1) is the RMS sum of the four sidebands of second and third
order, 7 kHz +- 60 Hz and +- 120 Hz, over the 7 kHz tone. `imd_difference` (IEC 60268-3; 19 and 20 kHz, 1:1) is the RMS
sum of the products at 1 kHz (second order), 18 and 21 kHz (third order, where the band has room for them) over the
arithmetic sum of both tones' amplitudes.
"""

from __future__ import annotations

import numpy as np

from humcheck.analyzers.tone_rows import missing_row, percent_row
from humcheck.estimates.tones.distortion import PairDistortion
from humcheck.estimates.tones.take_tones import TakeTones
from humcheck.results import Measure, NotMeasured
from humcheck.results.rows import Key

#: A pair is not judged where one tone arrives this much (amplitude) below what it should be against the other.
_LOST_SHARE = 0.3


def intermodulation_rows(tones: TakeTones, key: Key) -> list[Measure | NotMeasured]:
    """Return `imd_smpte` and `imd_difference` of each channel in percent.

    Parameters
    ----------
    tones : TakeTones
        The tones of one take.
    key : Key
        What the take belongs to.
    """
    pairs = (("imd_smpte", "imd-smpte", tones.smpte, 4.0), ("imd_difference", "imd-difference", tones.difference, 1.0))
    rows: list[Measure | NotMeasured] = []
    for name, section, pair, ratio in pairs:
        if pair is None:
            reason = tones.reasons.get(section, f"The take has no section {section}.")
            rows.append(missing_row(key, name, tones.channels, reason))
            continue
        rows += [_row(pair, key, name, ratio, index, tones) for index in range(len(tones.channels))]
    return rows


def _row(
    pair: PairDistortion, key: Key, name: str, ratio: float, index: int, tones: TakeTones
) -> Measure | NotMeasured:
    channel = tones.channels[index]
    reason = _why_not(pair, ratio, index)
    if reason is not None:
        return NotMeasured(**key.fields(quantity=name, channel=channel), reason=reason)
    detail = {
        "products_used": float(len(pair.products.multiples)),
        "products_left_out": float(len(pair.products.left_out)),
    }
    for multiples, share in zip(pair.products.multiples, pair.products.share[:, index], strict=True):
        detail[f"{_place_hz(pair, multiples):.0f}_hz_percent"] = float(100.0 * np.abs(share))
    return percent_row(key, name, channel, pair.products.total(index), detail)


def _why_not(pair: PairDistortion, ratio: float, index: int) -> str | None:
    low, high = np.abs(pair.tones.amplitude[:, index])
    first_hz, second_hz = pair.tones.frequency_hz
    if not pair.tones.heard[:, index].all() or high < _LOST_SHARE * low / ratio or low / ratio < _LOST_SHARE * high:
        return f"The tones at {first_hz:.0f} and {second_hz:.0f} Hz do not both get through."
    if len(pair.products.multiples) == 0:
        return "The recording has no room for the products."
    return None


def _place_hz(pair: PairDistortion, multiples: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> float:
    return float(multiples @ pair.tones.frequency_hz)
