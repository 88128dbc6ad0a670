"""One margin with its interval: the measurement's own, and that of the sound pressure that is assumed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from humcheck.audio.hearing.ear import excess
from humcheck.audio.hearing.listening import ListeningSetting
from humcheck.findings.audibility.parts import Part, total

#: One-sided over two-sided 95 % quantile of the normal distribution.
_ONE_SIDED = 1.6448536269514722 / 1.959963984540054
#: Equal tones in both loudspeakers may arrive in step: 3 dB above the sum of their powers.
_IN_STEP = 2.0


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sound:
    """What is to be heard in one channel, or of both loudspeakers.

    Attributes
    ----------
    tones, noise : Part or None
        Its tones and its noise.
    around : Part or None
        The hiss in which it is heard.
    """

    tones: Part | None = None
    noise: Part | None = None
    around: Part | None = None

    @property
    def is_hidden(self) -> bool:
        """Whether nothing of it is known but an upper bound."""
        return all(part is None or part.hidden for part in (self.tones, self.noise))

    def excess(self, setting: ListeningSetting, end: str, around: str, louder_db: float = 0.0) -> tuple[float, float]:
        """Return the largest excess in dB and its frequency in Hz, for one end of the interval of each part."""
        tones, noise, hiding = (
            None if part is None else getattr(part, which)
            for part, which in ((self.tones, end), (self.noise, end), (self.around, around))
        )
        return excess(setting, tones=tones, noise=noise, around=hiding, louder_db=louder_db)


def together(sounds: Sequence[Sound]) -> Sound:
    """Return the sounds of both loudspeakers at the listener: powers add, and equal tones may arrive in step."""
    tones, noise, around = (
        total(parts) if (parts := [part for sound in sounds if (part := getattr(sound, name)) is not None]) else None
        for name in ("tones", "noise", "around")
    )
    if tones is not None:
        tones = replace(tones, high=tones.high * _IN_STEP)
    return Sound(tones=tones, noise=noise, around=around)


def margin_of(setting: ListeningSetting, sound: Sound) -> Margin:
    """Return the margin of a sound.

    Notes
    -----
    The sound pressure moves a sound and its own hiss together, so a tone that its hiss hides gains nothing from more
    volume: both ends are computed, not added. Where the hiss itself is only a bound, the least it may be is nothing.
    """
    spread_db = setting.uncertainty_db
    if sound.is_hidden:
        value, at_hz = sound.excess(setting, "high", "low", spread_db * _ONE_SIDED)
        return Margin(value=value, low=None, high=None, frequency_hz=at_hz)
    value, at_hz = sound.excess(setting, "value", "value")
    weakest, strongest = sound.excess(setting, "low", "high")[0], sound.excess(setting, "high", "low")[0]
    soft, loud = (sound.excess(setting, "value", "value", by)[0] for by in (-spread_db, spread_db))
    return Margin(
        value=value,
        low=value - math.hypot(value - weakest, value - soft),
        high=value + math.hypot(strongest - value, loud - value),
        frequency_hz=at_hz,
    )
