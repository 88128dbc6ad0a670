"""A quiet section taken apart: hum, buzz, other steady tones, and what is left without them.

The lines that were measured are made to sound again and taken off. What swells and fades around a line, and lines
whose phase was not measured, are then followed by an amplitude that changes slowly.
"""

from __future__ import annotations

from functools import cached_property
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
_KNOT_S = 0.5
_BEATING_KNOT_S = 0.25
#: A line this many times its uncertainty lies some 20 dB above the noise beside it.
_STRONG = 7.0
#: Bins that a median is taken over.
_BINS_PER_BAND = 500
#: A line closer than this to one that was followed already would follow the same sound.
_NEAR_HZ = 1.5


class QuietStretch:
    """A few seconds of a quiet section, as a spectrum: to be heard whole, or in parts that add up to it.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        The stretch, full scale 1.0; half a second at either end (a tenth of it at most) is faded and not heard.
    rate_hz : int
        Its sampling rate.
    """

    def __init__(self, samples: Floats, rate_hz: int) -> None:
        import scipy.fft

        self.rate_hz = min(rate_hz, EXCERPT_RATE_HZ)
        step = rate_hz // gcd(rate_hz, self.rate_hz)
        n = _fast_multiple(len(samples), step)
        self._n = n // step * (self.rate_hz * step // rate_hz)
        self.duration_s = n / rate_hz
        self._flank_s = min(FLANK_S, _FLANK_SHARE * self.duration_s)
        frequency_hz = np.arange(self._n // 2 + 1) / self.duration_s
        low_hz, high_hz = SOUND_FROM_HZ
        top = np.clip((0.5 * self.rate_hz - frequency_hz) / _TOP_EDGE_HZ, 0.0, 1.0)
        self._band = _smooth(np.clip((frequency_hz - low_hz) / (high_hz - low_hz), 0.0, 1.0)) * _smooth(top)
        faded = (samples[:n] - samples[:n].mean(axis=0)).T * self.fade(n)
        bins: Complexes = np.stack([scipy.fft.rfft(column)[: self._band.size] for column in faded])
        self._spectrum = bins * (self._n / n)

    def fade(self, n_points: int) -> Floats:
        """Return the fade on a grid of points over the stretch, shape (n_points,)."""
        gain = np.ones(n_points)
        n_flank = int(np.ceil(self._flank_s / self.duration_s * n_points))
        rise = _smooth(np.arange(n_flank, dtype=np.float64) * (self.duration_s / n_points / self._flank_s))
        gain[:n_flank] = rise
        gain[: n_points - n_flank : -1] = rise[1:]  # the end is one step after the last point
        return gain

    def whole(self) -> Floats:
        """Return the stretch without what lies below the range of hearing or above half the rate, (n, n_channels)."""
        return self._sound(self._spectrum)

    @cached_property
    def hiss_rms(self) -> Floats:
        """RMS of the hiss, shape (n_channels,): lines stand in few bins, so medians over narrow bands pass them by."""
        power = np.abs(self._spectrum) ** 2
        width = min(_BINS_PER_BAND, power.shape[1])
        bands = power[:, : power.shape[1] // width * width].reshape(len(power), -1, width)
        # Powers of noise in one bin are spread exponentially: their mean is the median over ln 2.
        total = np.median(bands, axis=2).mean(axis=1) * power.shape[1] / np.log(2.0)
        return np.asarray(np.sqrt(2.0 * total / np.mean(self.fade(self._n) ** 2)) / self._n)

    def parts(self, lines: LineEstimate, start_s: float) -> dict[str, Floats]:
        """Take the stretch apart.

        Parameters
        ----------
        lines : LineEstimate
            What was measured in the quiet section.
        start_s : float
            Start of the stretch, from the start of the section that was measured.

        Returns
        -------
        dict of str to numpy.ndarray, shape (n, n_channels)
            ``"hum"``, ``"buzz"``, ``"hum_and_buzz"``, ``"whistle"``, ``"tones"``, as far as found, and ``"hiss"``: what
            is left.
        """
        left = self._spectrum.copy()
        parts: dict[str, Complexes] = {}
        time_s = start_s + np.arange(self._n) / self.rate_hz
        for family in lines.families:
            if family.kind in _WITH_PHASE:
                waveform = comb_waveform(family, time_s, lines.duration_s, 0.5 * self.rate_hz - _TOP_EDGE_HZ)
                _take_off(left, self._faded(waveform), parts, family)
        taken_hz: list[float] = []
        for family in sorted(lines.families, key=lambda one: -float(one.power.sum())):
            followed = _lines_to_follow(family, taken_hz, start_s + grid_s(self.duration_s), lines.duration_s)
            taken_hz += [line.frequency_hz for line in followed]
            knot_s = _BEATING_KNOT_S if family.kind == "mains_or_field" else _KNOT_S
            _take_off(left, follow(left, self.duration_s, self.fade, followed, knot_s=knot_s), parts, family)
        return {kind: self._sound(part) for kind, part in (parts | {"hiss": left}).items()}

    def _faded(self, samples: Floats) -> Complexes:
        import scipy.fft

        return np.stack([scipy.fft.rfft(column) for column in samples.T * self.fade(self._n)])

    def _sound(self, spectrum: Complexes) -> Floats:
        """Return what a spectrum sounds like between the faded ends, shape (n, n_channels)."""
        import scipy.fft

        samples = scipy.fft.irfft(spectrum * self._band, self._n, axis=1).T
        flank = int(np.ceil(self._flank_s * self.rate_hz))
        return np.ascontiguousarray(samples[flank : self._n - flank])


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
    chosen = family.detected
    if family.kind in _WITH_PHASE:
        # Of a line that was taken off already, only the changes of a strong one are left to be heard.
        chosen = chosen & (family.mean_square > _STRONG * family.mean_square_sd)
    followed = []
    for line_hz in family.frequency_hz[chosen.any(axis=1)]:
        if not taken.size or np.abs(taken - line_hz).min() > _NEAR_HZ:
            turns = line_hz / family.fundamental_hz if family.phase is not None else 0.0
            followed.append(SlowLine(frequency_hz=float(line_hz), beside=turns * wander))
    return followed


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
