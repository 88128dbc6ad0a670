"""A quiet section taken apart: hum, buzz, other steady tones, and what is left without them.

The lines that were measured are made to sound again and taken off. What swells and fades around a line, and lines
whose phase was not measured, are then followed by an amplitude that changes slowly.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import gcd

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import Floats
from humcheck.estimates.lines import FamilyEstimate, LineEstimate
from humcheck.evidence.slow_lines import SlowLine, follow, grid_s
from humcheck.evidence.waveform import comb_waveform, wander_of

Complexes = npt.NDArray[np.complex128]

#: Rate of excerpts: it keeps the whistle of a picture's line rate, 15.7 kHz.
EXCERPT_RATE_HZ = 32_000
#: What lies below is taken away with a soft edge: offsets and drifts are no sound, but would be raised with the rest.
SOUND_FROM_HZ = (10.0, 18.0)
#: The top, where the sampling rate ends, has a soft edge of this width.
_TOP_EDGE_HZ = 100.0
#: Faded part at either end of a stretch, and the most of the stretch that it may take.
FLANK_S = 0.5
_FLANK_SHARE = 0.1
#: The part that each family of lines belongs to.
PART_OF_FAMILY = {
    "mains": "hum",
    "field": "buzz",
    "line_rate": "whistle",
    "mains_or_field": "hum_and_buzz",
    "digital": "tones",
    "other": "tones",
}
#: Families whose lines were measured with their phase.
_WITH_PHASE = ("mains", "field")
#: Amplitudes may bend at points this far apart; where two families beat, faster.
_KNOT_S = 1.0
_BEATING_KNOT_S = 0.25
#: A line closer than this to one that was followed already would follow the same sound.
_NEAR_HZ = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietSound:
    """A few seconds of a quiet section, whole and in parts that add up to it.

    Attributes
    ----------
    rate_hz : int
        Sampling rate of the sounds.
    whole : numpy.ndarray, shape (n, n_channels)
        The section as it is, without what lies below the range of hearing or above half the rate. Full scale 1.0.
    parts : dict of str to numpy.ndarray
        ``"hum"``, ``"buzz"``, ``"hum_and_buzz"``, ``"whistle"``, ``"tones"``, as far as found, and ``"hiss"``: what
        is left.
    """

    rate_hz: int
    whole: Floats
    parts: dict[str, Floats]


def separate(samples: Floats, rate_hz: int, lines: LineEstimate, *, start_s: float) -> QuietSound:
    """Take a stretch of a quiet section apart.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        The stretch; half a second at either end (a tenth of it at most) is faded and not returned.
    rate_hz : int
        Its sampling rate.
    lines : LineEstimate
        What was measured in the section.
    start_s : float
        Start of the stretch, from the start of the section that was measured.
    """
    stretch = _Stretch(len(samples), rate_hz)
    time_s = start_s + stretch.time_s
    whole = stretch.spectrum(samples - samples.mean(axis=0))
    left = whole.copy()
    parts: dict[str, Complexes] = {}
    for family in lines.families:
        if family.kind in _WITH_PHASE:
            found = stretch.spectrum(comb_waveform(family, time_s, lines.duration_s))
            _take_off(left, found, parts, family)
    taken_hz: list[float] = []
    for family in sorted(lines.families, key=lambda one: -float(one.power.sum())):
        followed = _lines_to_follow(family, taken_hz, start_s + grid_s(stretch.duration_s), lines.duration_s)
        taken_hz += [line.frequency_hz for line in followed]
        knot_s = _BEATING_KNOT_S if family.kind == "mains_or_field" else _KNOT_S
        _take_off(left, follow(left, stretch.duration_s, stretch.fade, followed, knot_s=knot_s), parts, family)
    sounds = {kind: stretch.sound(part) for kind, part in (parts | {"hiss": left}).items()}
    return QuietSound(rate_hz=stretch.out_rate_hz, whole=stretch.sound(whole), parts=sounds)


def _take_off(left: Complexes, found: Complexes, parts: dict[str, Complexes], family: FamilyEstimate) -> None:
    name = PART_OF_FAMILY[family.kind]
    parts[name] = parts.get(name, np.zeros_like(left)) + found
    left -= found


def _lines_to_follow(
    family: FamilyEstimate, taken_hz: list[float], time_s: Floats, duration_s: float
) -> list[SlowLine]:
    """Return the lines that stand out by themselves, but those beside a line that was followed already."""
    taken = np.array(taken_hz)
    wander = wander_of(family, time_s, duration_s)
    followed = []
    for line_hz in family.frequency_hz[family.detected.any(axis=1)]:
        if not taken.size or np.abs(taken - line_hz).min() > _NEAR_HZ:
            turns = line_hz / family.fundamental_hz if family.phase is not None else 0.0
            followed.append(SlowLine(frequency_hz=float(line_hz), beside=turns * wander))
    return followed


class _Stretch:
    """The faded stretch in frequency, and the way back to the excerpt."""

    def __init__(self, n_samples: int, rate_hz: int) -> None:
        self.out_rate_hz = min(rate_hz, EXCERPT_RATE_HZ)
        step = rate_hz // gcd(rate_hz, self.out_rate_hz)
        self.n = _fast_multiple(n_samples, step)
        self.n_out = self.n // step * (self.out_rate_hz * step // rate_hz)
        self.duration_s = self.n / rate_hz
        self.time_s: Floats = np.arange(self.n) / rate_hz
        self.flank_s = min(FLANK_S, _FLANK_SHARE * self.duration_s)
        frequency_hz = np.arange(self.n_out // 2 + 1) / self.duration_s
        low_hz, high_hz = SOUND_FROM_HZ
        top = np.clip((0.5 * self.out_rate_hz - frequency_hz) / _TOP_EDGE_HZ, 0.0, 1.0)
        self._band = _smooth(np.clip((frequency_hz - low_hz) / (high_hz - low_hz), 0.0, 1.0)) * _smooth(top)

    def fade(self, n_points: int) -> Floats:
        """Return the fade on a grid of points over the stretch, shape (n_points,)."""
        time_s = np.arange(n_points) * (self.duration_s / n_points)
        return _smooth(np.clip(np.minimum(time_s, self.duration_s - time_s) / self.flank_s, 0.0, 1.0))

    def spectrum(self, samples: Floats) -> Complexes:
        """Return the spectrum of the faded samples, shape (n_channels, n_bins)."""
        import scipy.fft

        fade = self.fade(self.n)
        return np.stack([scipy.fft.rfft(column[: self.n] * fade) for column in samples.T])

    def sound(self, spectrum: Complexes) -> Floats:
        """Return what a spectrum sounds like at the excerpt's rate, between the faded ends, (n_samples, n_channels)."""
        import scipy.fft

        cut = spectrum[:, : self._band.size] * self._band
        samples = scipy.fft.irfft(cut, self.n_out, axis=1).T * (self.n_out / self.n)
        flank = int(np.ceil(self.flank_s * self.out_rate_hz))
        return np.ascontiguousarray(samples[flank : self.n_out - flank])


def _smooth(share: Floats) -> Floats:
    """Return a step from 0 to 1 whose first two derivatives vanish at both ends."""
    return np.asarray(share**3 * (10.0 - 15.0 * share + 6.0 * share**2))


def _fast_multiple(n_samples: int, step: int) -> int:
    """Return the largest multiple of twice a step, at most `n_samples`, at which the FFT is fast."""
    import scipy.fft

    count = n_samples // (2 * step)
    while count > 1 and scipy.fft.next_fast_len(count, real=True) != count:
        count -= 1
    return 2 * step * count
