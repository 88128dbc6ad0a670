"""Faults that a climbing tone shows: automatic gain, overload, a noise gate, muting on digital zero.

A path under test must be linear: the same gain for soft and loud, from the start of each step to its end, and a noise
that does not care whether sound plays. What departs from that spoils quantities, which each fault names.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.analyzers.places import Place, span_s
from humcheck.analyzers.step_ladder import LINEAR_DB, LOUD_DBFS, SOFT_DBFS, UNREST, Ladder, gains_in_order, ladder_of
from humcheck.audio.levels import power_to_dbfs
from humcheck.estimates.tones.blocks import Floats
from humcheck.estimates.tones.distortion import ToneDistortion
from humcheck.estimates.tones.take_tones import TakeTones
from humcheck.results.quantities import QUANTITIES
from humcheck.results.rows import Channel, Fault
from humcheck.takes.take import Take

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
#: TPDF dither of a 16-bit track at 44.1 kHz, a quarter of a step squared spread over half the rate, in mean square per
#: Hz: it is in the quiet section, not in true zero.
_DITHER_16_DENSITY = 0.25 * (2.0**-15) ** 2 / 22050.0
_MUTES_DB = 3.0

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
    """What is wrong in one channel: a fault's code, how large, the channel, and where it shows."""

    code: str
    size_db: float
    channel: Channel
    places: tuple[Place, ...]


@dataclass(frozen=True, slots=True)
class _Sign:
    """One sign of a fault: how large, and where."""

    size_db: float
    places: tuple[Place, ...]


_LEVEL, _FULL_SCALE, _QUIET, _ZERO = (Place(name) for name in ("level", "full-scale", "quiet", "zero"))


def step_faults(tones: TakeTones, *, take: Take | None = None, noise_counts: bool = True) -> list[Fault]:
    """Return the faults of level handling that a take's steps, tones and silences show.

    Parameters
    ----------
    tones : TakeTones
        The tones of one take.
    take : Take, optional
        The take itself, to say when.
    noise_counts : bool, optional
        Whether noise that changes with the sound counts; not so where lossy coding explains it.

    Returns
    -------
    list of Fault
        Codes ``automatic-gain``, ``overload``, ``gate``, ``mutes-on-zero``; one each at most, with the channel where
        only one is affected.
    """
    seen = [fault for index in range(len(tones.channels)) for fault in _channel_faults(tones, index, noise_counts)]
    faults = [_fault(code, [one for one in seen if one.code == code], tones, take) for code in _SENTENCES]
    return [fault for fault in faults if fault is not None]


def _channel_faults(tones: TakeTones, index: int, noise_counts: bool) -> list[_Seen]:
    ladder = ladder_of(tones.steps, index)
    noises = [_noise_rise_db(tones, index), _noise_fall_db(tones, index), _mute_db(tones, index)]
    rise_db, fall_db, mute_db = noises if noise_counts else (0.0, 0.0, 0.0)
    restless = [
        *_moved(tones, index),
        *_uneven(tones, ladder, index),
        _shifted(tones, ladder, index),
        _Sign(rise_db, (_QUIET,)),
    ]
    signs = {"automatic-gain": restless, "overload": _overload(tones, ladder, index)}
    if not any(sign.size_db > 0.0 for sign in restless):
        signs["gate"] = [*_soft_loss(ladder), _Sign(fall_db, (_QUIET,))]
        signs["mutes-on-zero"] = [_Sign(mute_db, (_ZERO,))]
    found: list[_Seen] = []
    for code, all_signs in signs.items():
        there = [sign for sign in all_signs if sign.size_db > 0.0]
        if there:
            places = tuple(place for sign in there for place in sign.places)
            found.append(_Seen(code, max(sign.size_db for sign in there), tones.channels[index], places))
    return found


def _steps_at(ladder: Ladder, size_db: Floats, wrong: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> list[_Sign]:
    numbers = ladder.number[wrong].tolist()
    return [_Sign(float(size), (Place("steps", number),)) for size, number in zip(size_db[wrong], numbers, strict=True)]


def _uneven(tones: TakeTones, ladder: Ladder | None, index: int) -> list[_Sign]:
    """Return where the gain moves with the level or within a step."""
    if ladder is None:
        return []
    moving = np.abs(ladder.change_db) > ladder.still_db
    loud = ladder.nominal_dbfs > LOUD_DBFS
    # Too much gain for soft sound, uneven in the middle, or for loud sound more than its harmonics explain.
    uneven = (ladder.gain_db > ladder.allowed_db) & ~loud | ladder.middle & (-ladder.gain_db > ladder.allowed_db)
    bent_db = _BENT_DB * _harmonic_share(tones.full_scale, index)
    uneven |= loud & (np.abs(ladder.gain_db) > ladder.allowed_db + bent_db)
    return [
        *_steps_at(ladder, np.abs(ladder.change_db), moving),
        *_steps_at(ladder, np.abs(ladder.gain_db), uneven),
    ]


def _moved(tones: TakeTones, index: int) -> list[_Sign]:
    """Return where the gain moved within the long tones or between the first and the last loud one."""
    signs: list[_Sign] = []
    loud = tones.full_scale.tone if tones.full_scale else None
    fits = [(fit, place) for fit, place in ((tones.level, _LEVEL), (loud, _FULL_SCALE)) if fit is not None]
    for fit, place in fits:
        change = float(abs(fit.movement.change_db[index]))
        if fit.heard[0, index] and change > max(LINEAR_DB, UNREST * float(fit.movement.unrest_db[index])):
            signs.append(_Sign(change, (place,)))
    return signs


def _shifted(tones: TakeTones, ladder: Ladder | None, index: int) -> _Sign:
    """Return how far the gain moved between the first and the last loud tone, and between which tones."""
    gains = gains_in_order(tones, ladder, index)
    if len(gains) < 2 or gains[0][0] != "level" or gains[-1][0] != "full-scale":
        return _Sign(0.0, ())
    moved_db = gains[-1][2] - gains[0][2]
    if abs(moved_db) <= LINEAR_DB:
        return _Sign(0.0, ())
    # Tones between may lie on another part of a bent curve: the first to have made most of the way counts.
    after = next(number for number, gain in enumerate(gains) if (gain[2] - gains[0][2]) / moved_db > 0.5)
    before, latter = gains[after - 1], gains[after]
    return _Sign(abs(moved_db), (Place(before[0], before[1], "end"), Place(latter[0], latter[1], "start")))


def _overload(tones: TakeTones, ladder: Ladder | None, index: int) -> list[_Sign]:
    """Return how much of the loudest step is cut off.

    A curve that bends smoothly takes from the step before as well; that is distortion, not overload.
    """
    if ladder is None or len(ladder.gain_db) < 2 or ladder.nominal_dbfs[-1] <= LOUD_DBFS:
        return []
    loss, loss_before = -float(ladder.gain_db[-1]), -float(ladder.gain_db[-2])
    if _harmonic_share(tones.full_scale, index) < _CLIPPED_SHARE or loss < _CLIPPED_DB:
        return []
    if loss <= _MUCH_CLIPPED_DB and loss_before >= _ABRUPT_SHARE * loss:
        return []
    # Steps cut as the last one is, from the first of them on; the loud tones are as loud as the last step.
    number = ladder.number[-ladder.gain_db > _ABRUPT_SHARE * loss][0]
    level_cut = tones.level is not None and _shifted(tones, ladder, index).size_db == 0.0
    return [_Sign(loss, (*([_LEVEL] if level_cut else []), Place("steps", int(number)), _FULL_SCALE))]


def _harmonic_share(loud: ToneDistortion | None, index: int) -> float:
    return 0.0 if loud is None else float(np.sqrt(np.sum(np.abs(loud.harmonics.share[:, index]) ** 2)))


def _soft_loss(ladder: Ladder | None) -> list[_Sign]:
    """Return which of the softest steps lose gain."""
    if ladder is None:
        return []
    lost = (ladder.nominal_dbfs < SOFT_DBFS) & (-ladder.gain_db > ladder.allowed_db)
    return _steps_at(ladder, -ladder.gain_db, lost)


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
    """Return by how much the hiss falls at true zero, 0 where the track's own dither may explain it."""
    if tones.quiet is None or tones.zero is None:
        return 0.0
    full_scale_dbfs = tones.full_scale_dbfs.get(tones.channels[index])
    if full_scale_dbfs is None:
        return 0.0
    quiet, zero = float(tones.quiet.hiss_density[index]), float(tones.zero.hiss_density[index])
    dither = _DITHER_16_DENSITY * 10.0 ** (full_scale_dbfs / 10.0)
    fall_db = _ratio_db(quiet, zero)
    return fall_db if quiet - zero > 2.0 * dither and fall_db > _MUTES_DB else 0.0


def _ratio_db(power: float, reference: float) -> float:
    return float(power_to_dbfs(float(power)) - power_to_dbfs(float(reference)))


_SENTENCES = {
    "automatic-gain": (
        "Something in this take changes the gain by itself, by {size:.1f} dB{where}: levels cannot be compared. Switch "
        "automatic level control and sound enhancements off, do not touch the level while recording, and record again.",
        _GAIN_SPOILS,
    ),
    "overload": (
        "The loudest tone is cut off by {size:.1f} dB{where}: an input is overloaded. Turn the level down by 6 dB and "
        "record again.",
        _OVERLOAD_SPOILS,
    ),
    "gate": (
        "Soft sound is turned down, by {size:.1f} dB{where}: a noise gate or a muting circuit hides hum and hiss. "
        "Switch it off and record again.",
        _GATE_SPOILS,
    ),
    "mutes-on-zero": (
        "The player mutes its output on digital silence (the hiss falls by {size:.1f} dB there): the noise was "
        "measured while it plays very soft dither, so it is right.",
        [],
    ),
}


def _fault(code: str, seen: list[_Seen], tones: TakeTones, take: Take | None) -> Fault | None:
    if not seen:
        return None
    sentence, spoils = _SENTENCES[code]
    span = span_s(take, [place for one in seen for place in one.places])
    where = "" if span is None else f", between {span[0]:.1f} and {span[1]:.1f} s"
    return Fault(
        code=code,
        sentence=sentence.format(size=max(one.size_db for one in seen), where=where),
        channel=seen[0].channel if len(seen) == 1 and len(tones.channels) > 1 else None,
        start_s=None if span is None else span[0],
        end_s=None if span is None else span[1],
        spoils=list(spoils),
    )
