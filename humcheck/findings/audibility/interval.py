"""One margin with its interval: the measurement's own, and that of the sound pressure that is assumed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from humcheck.audio.hearing.ear import excess
from humcheck.audio.hearing.listening import ListeningSetting
from humcheck.findings.audibility.parts import Part

#: One-sided over two-sided 95 % quantile of the normal distribution.
_ONE_SIDED = 1.6448536269514722 / 1.959963984540054


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """Excess over what can just be heard.

    Attributes
    ----------
    value : float
        In dB; of what is hidden, a one-sided 95 % upper limit.
    low, high : float or None
        95 % interval; None where `value` is a limit.
    frequency_hz : float
        Centre of the auditory filter in which it is largest.
    """

    value: float
    low: float | None
    high: float | None
    frequency_hz: float

    @property
    def rank(self) -> tuple[bool, float]:
        """Sort key: a value before a limit, then the larger one."""
        return self.low is not None, self.value


def margin_of(setting: ListeningSetting, part: Part, masker: Part | None, *, tonal: bool) -> Margin:
    """Return the margin of a part in the hiss that comes with it.

    Parameters
    ----------
    setting : ListeningSetting
        Way of listening.
    part : Part
        What is to be heard.
    masker : Part or None
        The hiss around it.
    tonal : bool
        Whether the part consists of tones.

    Notes
    -----
    The sound pressure moves the part and its own hiss together, so a tone that its hiss hides gains nothing from more
    volume: both ends are computed, not added. Where the hiss itself is only a bound, the least it may be is nothing.
    """
    nothing = np.zeros_like(part.high)
    quieter, usual, louder = (
        (masker.low, masker.value, masker.high) if masker is not None else (nothing, nothing, nothing)
    )
    spread_db = setting.uncertainty_db
    if part.hidden:
        value, at_hz = excess(setting, part.high, quieter, tonal=tonal, louder_db=spread_db * _ONE_SIDED)
        return Margin(value=value, low=None, high=None, frequency_hz=at_hz)
    value, at_hz = excess(setting, part.value, usual, tonal=tonal)
    ends = (excess(setting, part.low, louder, tonal=tonal)[0], excess(setting, part.high, quieter, tonal=tonal)[0])
    soft, loud = (excess(setting, part.value, usual, tonal=tonal, louder_db=by)[0] for by in (-spread_db, spread_db))
    return Margin(
        value=value,
        low=value - math.hypot(value - ends[0], value - soft),
        high=value + math.hypot(ends[1] - value, loud - value),
        frequency_hz=at_hz,
    )
