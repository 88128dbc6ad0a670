"""Left against right."""

from __future__ import annotations

import numpy as np

from humcheck.analyzers.tone_rows import level_row, missing_row
from humcheck.estimates.tones.take_tones import TakeTones
from humcheck.results import Measure, NotMeasured
from humcheck.results.rows import Key

QUANTITY = "balance"
#: Wirings in which left and right are still two channels.
_TWO_CHANNELS = ("straight", "swapped")


def balance_rows(tones: TakeTones, key: Key, *, channel_map: str = "straight") -> list[Measure | NotMeasured]:
    """Return `balance`: left minus right at 997 Hz, each driven alone at the same level.

    Parameters
    ----------
    tones : TakeTones
        The tones of one take.
    key : Key
        What the take belongs to.
    channel_map : str, optional
        How the track's channels arrive (see `Alignment.channel_map`): where they are merged there is no balance.
    """
    if len(tones.channels) < 2 or channel_map not in _TWO_CHANNELS:
        reason = "Left and right do not arrive as two channels, so there is no balance between them."
        return [missing_row(key, QUANTITY, tones.channels, reason)]
    left, right = tones.alone.get("left"), tones.alone.get("right")
    if left is None or right is None:
        name = "tone-left" if left is None else "tone-right"
        reason = tones.reasons.get(name, f"The take has no section {name}.")
        return [missing_row(key, QUANTITY, tones.channels, reason)]
    value = float(left.level_dbfs[0, 0] - right.level_dbfs[0, 0])
    sd = float(np.hypot(left.level_sd_db[0, 0], right.level_sd_db[0, 0]))
    return [level_row(key, QUANTITY, "both", value, sd)]
