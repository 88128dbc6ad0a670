"""The steps of a climbing tone as gains beside what a linear path may show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.tones.blocks import Floats
from humcheck.estimates.tones.steps import Steps
from humcheck.estimates.tones.take_tones import TakeTones

#: A linear path keeps its gain within this between steps (common practice, no source)...
LINEAR_DB = 0.1
#: ... and within this from the start to the end of a step.
STILL_DB = 0.15
#: Hum that beats with the tone may move a step by a few times the RMS movement of its 10 ms means.
UNREST = 4.0
SOFT_DBFS, LOUD_DBFS = -40.0, -12.0


@dataclass(frozen=True, slots=True)
class Ladder:
    """One channel's steps that are heard, gain re the steps in the middle; `number` counts all steps."""

    number: np.ndarray[tuple[int, ...], np.dtype[np.intp]]
    nominal_dbfs: Floats
    gain_db: Floats
    allowed_db: Floats
    change_db: Floats
    still_db: Floats
    middle_gain_db: float

    @property
    def middle(self) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Steps that are neither the softest nor the loudest."""
        return (self.nominal_dbfs >= SOFT_DBFS) & (self.nominal_dbfs <= LOUD_DBFS)


def ladder_of(steps: Steps | None, index: int) -> Ladder | None:
    """Return the ladder of a channel, None where too little of it is heard.

    Parameters
    ----------
    steps : Steps or None
        As measured.
    index : int
        The channel.
    """
    if steps is None:
        return None
    heard = steps.heard[:, index]
    nominal, gain = steps.nominal_dbfs[heard], steps.gain_db[heard, index]
    middle = (nominal >= SOFT_DBFS) & (nominal <= LOUD_DBFS)
    if not middle.any():
        return None
    middle_gain_db = float(np.median(gain[middle]))
    unrest = UNREST * steps.unrest_db[heard, index]
    return Ladder(
        number=np.flatnonzero(heard),
        nominal_dbfs=nominal,
        gain_db=gain - middle_gain_db,
        middle_gain_db=middle_gain_db,
        allowed_db=np.maximum(LINEAR_DB, unrest),
        change_db=steps.change_db[heard, index],
        still_db=np.maximum(STILL_DB, unrest),
    )


def gains_in_order(tones: TakeTones, ladder: Ladder | None, index: int) -> list[tuple[str, int | None, float]]:
    """Return section, step and gain of each tone of a channel that is heard, as the track plays them.

    Parameters
    ----------
    tones : TakeTones
        The tones of the take.
    ladder : Ladder or None
        The steps of the channel.
    index : int
        The channel.
    """
    channel = tones.channels[index]
    loud = tones.full_scale.tone if tones.full_scale else None
    found: list[tuple[str, int | None, float]] = []
    if tones.level is not None and tones.level.heard[0, index]:
        found.append(("level", None, float(tones.level.level_dbfs[0, index]) - (tones.level_nominal_dbfs or 0.0)))
    if channel in tones.alone and channel != "mono" and tones.alone_nominal_dbfs is not None:
        found.append((f"tone-{channel}", None, float(tones.alone[channel].level_dbfs[0, 0]) - tones.alone_nominal_dbfs))
    if ladder is not None:
        gains_db = (ladder.gain_db + ladder.middle_gain_db).tolist()
        found += [("steps", int(number), gain) for number, gain in zip(ladder.number, gains_db, strict=True)]
    if loud is not None and loud.heard[0, index]:
        found.append(("full-scale", None, float(loud.level_dbfs[0, index]) - (tones.level_nominal_dbfs or 0.0)))
    return found
