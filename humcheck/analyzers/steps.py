"""Faults that a climbing tone shows: automatic gain, overload, a noise gate, muting on digital zero.

A path under test must be linear: the same gain for soft and loud, from the start of each step to its end, and a noise
that does not care whether sound plays. What departs from that spoils quantities, which each fault names.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import power_to_dbfs
from humcheck.estimates.tones.blocks import Floats
from humcheck.estimates.tones.distortion import ToneDistortion
from humcheck.estimates.tones.steps import Steps
from humcheck.estimates.tones.take_tones import TakeTones
from humcheck.results.quantities import QUANTITIES
from humcheck.results.rows import Channel, Fault

#: A linear path keeps its gain within this between steps (common practice, no source)...
LINEAR_DB = 0.1
#: ... and within this from the start to the end of a step.
STILL_DB = 0.15
#: Hum that beats with the tone may move a step by a few times the RMS movement of its 10 ms means.
_UNREST = 4.0
_SOFT_DBFS, _LOUD_DBFS = -40.0, -12.0
#: A bent curve changes the gain of a loud tone by about three times the share of its harmonics (a cubic one exactly, in
#: nepers), clipping by less; a limiter leaves none.
_BENT_DB = 4.0 * 8.686
#: Clipping shows by its harmonics, by what it takes off the tone, and by coming all at once: from the step before it
#: takes less than this share (a cubic curve: 0.63), unless the tone is cut by a decibel and more.
_CLIPPED_SHARE = 0.005
_CLIPPED_DB = 0.03
_ABRUPT_SHARE = 0.35
_MUCH_CLIPPED_DB = 1.0
_NOISE_RISES_DB = 6.0
_NOISE_FALLS_DB = 10.0
#: TPDF dither of a 16-bit track, A-weighted 20 Hz-20 kHz at 48 kHz: it is in the quiet section, not in true zero.
_DITHER_16_DBFS_A = -96.16

_LEVELS = tuple(name for name, entry in QUANTITIES.items() if entry.kind == "level")
_NOISES = tuple(name for name in _LEVELS if name != "tone_level")
_RANGES = ("dynamic_range", "dynamic_range_a")
_DISTORTIONS = ("thd", "thd_n", "imd_smpte", "imd_difference")
_RESPONSES = ("response_delta", "response_span", "low_corner", "high_corner")
_GAIN_SPOILS = ["gain", "balance", *_LEVELS, *_RANGES, *_RESPONSES, *_DISTORTIONS]
_OVERLOAD_SPOILS = ["tone_level", *_DISTORTIONS, *_RANGES]
_GATE_SPOILS = [*_NOISES, *_RANGES]


@dataclass(frozen=True, slots=True)
class _Seen:
    """What is wrong in one channel: a fault's code, how large, and the channel."""

    code: str
    size_db: float
    channel: Channel


def step_faults(tones: TakeTones, *, noise_counts: bool = True) -> list[Fault]:
    """Return the faults of level handling that a take's steps, tones and silences show.

    Parameters
    ----------
    tones : TakeTones
        The tones of one take.
    noise_counts : bool, optional
        Whether noise that changes with the sound counts; not so where lossy coding explains it.

    Returns
    -------
    list of Fault
        Codes ``automatic-gain``, ``overload``, ``gate``, ``mutes-on-zero``; one each at most, with the channel where
        only one is affected.
    """
    seen = [fault for index in range(len(tones.channels)) for fault in _channel_faults(tones, index, noise_counts)]
    faults = [_fault(code, [one for one in seen if one.code == code], tones) for code in _SENTENCES]
    return [fault for fault in faults if fault is not None]


def _channel_faults(tones: TakeTones, index: int, noise_counts: bool) -> list[_Seen]:
    channel = tones.channels[index]
    found: list[_Seen] = []
    restless_db = max(_gain_span_db(tones, index), _noise_rise_db(tones, index) if noise_counts else 0.0)
    overload_db = _overload_db(tones, index)
    if restless_db > 0.0:
        found.append(_Seen("automatic-gain", restless_db, channel))
    if overload_db > 0.0:
        found.append(_Seen("overload", overload_db, channel))
    gate_db = max(_soft_loss_db(tones, index), _noise_fall_db(tones, index) if noise_counts else 0.0)
    if gate_db > 0.0 and restless_db == 0.0:
        found.append(_Seen("gate", gate_db, channel))
    mute_db = _mute_db(tones, index) if noise_counts else 0.0
    if mute_db > 0.0 and restless_db == 0.0:
        found.append(_Seen("mutes-on-zero", mute_db, channel))
    return found


@dataclass(frozen=True, slots=True)
class _Ladder:
    """One channel's steps that are heard, gain re the steps in the middle."""

    nominal_dbfs: Floats
    gain_db: Floats
    allowed_db: Floats
    change_db: Floats
    still_db: Floats

    @property
    def middle(self) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        return (self.nominal_dbfs >= _SOFT_DBFS) & (self.nominal_dbfs <= _LOUD_DBFS)


def _ladder(steps: Steps | None, index: int) -> _Ladder | None:
    if steps is None:
        return None
    heard = steps.heard[:, index]
    nominal, gain = steps.nominal_dbfs[heard], steps.gain_db[heard, index]
    middle = (nominal >= _SOFT_DBFS) & (nominal <= _LOUD_DBFS)
    if not middle.any():
        return None
    unrest = _UNREST * steps.unrest_db[heard, index]
    return _Ladder(
        nominal_dbfs=nominal,
        gain_db=gain - float(np.median(gain[middle])),
        allowed_db=np.maximum(LINEAR_DB, unrest),
        change_db=steps.change_db[heard, index],
        still_db=np.maximum(STILL_DB, unrest),
    )


def _gain_span_db(tones: TakeTones, index: int) -> float:
    """Return by how much the gain moves with level or time, 0 where it does not."""
    sizes = [_moved_db(tones, index)]
    ladder = _ladder(tones.steps, index)
    if ladder is not None:
        moving = np.abs(ladder.change_db) > ladder.still_db
        loud = ladder.nominal_dbfs > _LOUD_DBFS
        # Too much gain for soft sound, uneven in the middle, or for loud sound more than its harmonics explain.
        uneven = (ladder.gain_db > ladder.allowed_db) & ~loud | ladder.middle & (-ladder.gain_db > ladder.allowed_db)
        bent_db = _BENT_DB * _harmonic_share(tones.full_scale, index)
        uneven |= loud & (np.abs(ladder.gain_db) > ladder.allowed_db + bent_db)
        sizes.append(float(np.max(np.abs(ladder.change_db[moving]), initial=0.0)))
        sizes.append(float(np.max(np.abs(ladder.gain_db[uneven]), initial=0.0)))
    return max(sizes)


def _moved_db(tones: TakeTones, index: int) -> float:
    """Return how far the gain moved within the long tones or between the first and the last loud one."""
    sizes = [0.0]
    fits = [fit for fit in (tones.level, tones.full_scale.tone if tones.full_scale else None) if fit is not None]
    for fit in fits:
        change = float(abs(fit.movement.change_db[index]))
        if fit.heard[0, index] and change > max(LINEAR_DB, _UNREST * float(fit.movement.unrest_db[index])):
            sizes.append(change)
    if len(fits) == 2 and all(fit.heard[0, index] for fit in fits):
        moved = float(abs(fits[1].level_dbfs[0, index] - fits[0].level_dbfs[0, index]))
        sizes.append(moved if moved > LINEAR_DB else 0.0)
    return max(sizes)


def _overload_db(tones: TakeTones, index: int) -> float:
    """Return how much of the loudest step is cut off, 0 where nothing is.

    A curve that bends smoothly takes from the step before as well; that is distortion, not overload.
    """
    ladder = _ladder(tones.steps, index)
    if ladder is None or len(ladder.gain_db) < 2 or ladder.nominal_dbfs[-1] <= _LOUD_DBFS:
        return 0.0
    loss, loss_before = -float(ladder.gain_db[-1]), -float(ladder.gain_db[-2])
    if _harmonic_share(tones.full_scale, index) < _CLIPPED_SHARE or loss < _CLIPPED_DB:
        return 0.0
    return loss if loss > _MUCH_CLIPPED_DB or loss_before < _ABRUPT_SHARE * loss else 0.0


def _harmonic_share(loud: ToneDistortion | None, index: int) -> float:
    return 0.0 if loud is None else float(np.sqrt(np.sum(np.abs(loud.harmonics.share[:, index]) ** 2)))


def _soft_loss_db(tones: TakeTones, index: int) -> float:
    """Return how much gain the softest steps lose, 0 where none."""
    ladder = _ladder(tones.steps, index)
    if ladder is None:
        return 0.0
    lost = (ladder.nominal_dbfs < _SOFT_DBFS) & (-ladder.gain_db > ladder.allowed_db)
    return float(np.max(-ladder.gain_db[lost], initial=0.0))


def _noise_rise_db(tones: TakeTones, index: int) -> float:
    """Return by how much the noise rises when a loud tone stops, 0 where it does not."""
    if tones.quiet is None or tones.full_scale is None:
        return 0.0
    rise_db = _ratio_db(tones.quiet.density[index], tones.full_scale.tone.density[0, index])
    return rise_db if rise_db > _NOISE_RISES_DB else 0.0


def _noise_fall_db(tones: TakeTones, index: int) -> float:
    """Return by how much the noise falls when a soft tone stops, 0 where it does not."""
    if tones.quiet is None or tones.minus_60 is None:
        return 0.0
    fall_db = _ratio_db(tones.minus_60.residual.a_weighted[index], tones.quiet.a_weighted[index])
    return fall_db if fall_db > _NOISE_FALLS_DB else 0.0


def _mute_db(tones: TakeTones, index: int) -> float:
    """Return by how much the noise falls at true zero, 0 where the track's own dither may explain it."""
    if tones.quiet is None or tones.zero is None:
        return 0.0
    full_scale_dbfs = tones.full_scale_dbfs.get(tones.channels[index])
    if full_scale_dbfs is None:
        return 0.0
    quiet, zero = float(tones.quiet.a_weighted[index]), float(tones.zero.a_weighted[index])
    dither = 0.5 * 10.0 ** ((_DITHER_16_DBFS_A + full_scale_dbfs) / 10.0)
    fall_db = _ratio_db(quiet, zero)
    return fall_db if quiet - zero > 2.0 * dither and fall_db > 3.0 else 0.0


def _ratio_db(power: float, reference: float) -> float:
    return float(power_to_dbfs(float(power)) - power_to_dbfs(float(reference)))


_SENTENCES = {
    "automatic-gain": (
        "Something in this take changes the gain by itself, by {size:.1f} dB: levels cannot be compared. Switch "
        "automatic level control and sound enhancements off, do not touch the level while recording, and record again.",
        _GAIN_SPOILS,
    ),
    "overload": (
        "The loudest tone is cut off by {size:.1f} dB: an input is overloaded. Turn the level down by 6 dB and record "
        "again.",
        _OVERLOAD_SPOILS,
    ),
    "gate": (
        "Soft sound is turned down, by {size:.1f} dB: a noise gate or a muting circuit hides hum and hiss. Switch it "
        "off and record again.",
        _GATE_SPOILS,
    ),
    "mutes-on-zero": (
        "The player mutes its output on digital silence (the noise falls by {size:.1f} dB there): the noise was "
        "measured while it plays very soft dither, so it is right.",
        [],
    ),
}


def _fault(code: str, seen: list[_Seen], tones: TakeTones) -> Fault | None:
    if not seen:
        return None
    sentence, spoils = _SENTENCES[code]
    only = seen[0].channel if len(seen) == 1 and len(tones.channels) > 1 else None
    size_db = max(one.size_db for one in seen)
    return Fault(code=code, sentence=sentence.format(size=size_db), channel=only, spoils=list(spoils))
