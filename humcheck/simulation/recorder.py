"""The recorder's end: what it does to the sum of everything, and what goes wrong in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.dither import quantise, tpdf_dither
from humcheck.audio.levels import Floats, db_to_ratio, dbfs_to_amplitude, power_to_dbfs

_ENVELOPE_S = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class GainControl:
    """Automatic gain: moves the level towards a target, fast down and slowly up.

    Attributes
    ----------
    target_dbfs, most_gain_db : float
        Level it aims at, and the gain at which it stops raising what is too soft.
    attack_s, release_s : float
        Time constants.
    """

    target_dbfs: float = -12.0
    most_gain_db: float = 20.0
    attack_s: float = 0.05
    release_s: float = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseGate:
    """Turns down what is soft.

    Attributes
    ----------
    threshold_dbfs, reduction_db : float
        Level under which it closes, and by how much it turns down.
    hold_s : float
        How long it stays open after the last loud moment.
    """

    threshold_dbfs: float = -55.0
    reduction_db: float = 30.0
    hold_s: float = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Splice:
    """Samples lost (count above 0) or inserted (below 0, the last sample held) at a moment of the take.

    Attributes
    ----------
    at_s : float
        Moment in the undisturbed take, in seconds of its nominal rate.
    count : int
        Samples lost, or minus the samples inserted.
    """

    at_s: float
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropout:
    """A stretch of digital silence, in seconds of the undisturbed take.

    Attributes
    ----------
    start_s, duration_s : float
        Where, and for how long.
    """

    start_s: float
    duration_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorder:
    """A recorder.

    Attributes
    ----------
    bits : int or None
        Word length; None keeps the numbers as they are.
    dither : bool
        Whether triangular dither is added before rounding.
    n_channels : int
        1 keeps the left channel alone.
    dc : tuple of float
        Offset of either channel, full scale = 1.
    clip_dbfs : float
        Peak level at which its input clips.
    gain_control, gate : GainControl or None, NoiseGate or None
        What it does unasked.
    splices, dropouts : tuple
        What it loses.
    """

    bits: int | None = 24
    dither: bool = True
    n_channels: int = 2
    dc: tuple[float, float] = (0.0, 0.0)
    clip_dbfs: float = 0.0
    gain_control: GainControl | None = None
    gate: NoiseGate | None = None
    splices: tuple[Splice, ...] = ()
    dropouts: tuple[Dropout, ...] = ()

    def record(self, sound: Floats, rate_hz: int, rng: np.random.Generator) -> Floats:
        """Return what is in the file, from sound of shape (2, n); the result has shape (n_channels, n_in_file)."""
        sound = sound[: self.n_channels]
        if any(self.dc):
            sound = sound + np.array(self.dc)[: self.n_channels, np.newaxis]
        if self.gain_control is not None:
            sound = sound * _control_gain(sound, rate_hz, self.gain_control)
        if self.gate is not None:
            sound = sound * _gate_gain(sound, rate_hz, self.gate)
        limit = dbfs_to_amplitude(self.clip_dbfs)
        np.clip(sound, -limit, limit, out=sound)
        if self.bits is not None:
            if self.dither:
                sound += tpdf_dither(sound.shape, self.bits, rng)
            sound = quantise(sound, self.bits)
        for dropout in self.dropouts:
            start = round(dropout.start_s * rate_hz)
            sound[:, start : start + round(dropout.duration_s * rate_hz)] = 0.0
        return _spliced(sound, rate_hz, self.splices)

    def file_index(self, index: Floats, rate_hz: int) -> Floats:
        """Return where samples of the undisturbed take stand in the file (those that are lost: at the splice)."""
        result = np.asarray(index, dtype=np.float64).copy()
        for splice in self.splices:
            at = round(splice.at_s * rate_hz)
            after = np.asarray(index) >= at
            if splice.count > 0:
                result[after] -= np.minimum(np.asarray(index)[after] - at, splice.count)
            else:
                result[after] -= splice.count
        return result


def _spliced(sound: Floats, rate_hz: int, splices: tuple[Splice, ...]) -> Floats:
    pieces, start = [], 0
    for splice in sorted(splices, key=lambda splice: splice.at_s):
        at = round(splice.at_s * rate_hz)
        pieces.append(sound[:, start:at])
        if splice.count < 0:
            pieces.append(np.repeat(sound[:, at - 1 : at], -splice.count, axis=1))
        start = at + max(splice.count, 0)
    if not pieces:
        return sound
    return np.concatenate([*pieces, sound[:, start:]], axis=1)


def _envelope_dbfs(sound: Floats, rate_hz: int) -> tuple[Floats, int]:
    """Return the level of both channels together in steps of 10 ms, and the step in samples."""
    step = max(1, round(_ENVELOPE_S * rate_hz))
    padded = np.pad(sound, ((0, 0), (0, -sound.shape[1] % step)))
    mean_square = (padded**2).reshape(sound.shape[0], -1, step).mean(axis=2).max(axis=0)
    return power_to_dbfs(mean_square), step


def _control_gain(sound: Floats, rate_hz: int, control: GainControl) -> Floats:
    level_dbfs, step = _envelope_dbfs(sound, rate_hz)
    step_s = step / rate_hz
    gain_db = np.empty(level_dbfs.size)
    # It waits where it was before anything came: gain all the way up.
    current = control.most_gain_db
    for index, level in enumerate(level_dbfs):
        wanted = min(control.target_dbfs - level, control.most_gain_db)
        time_s = control.attack_s if wanted < current else control.release_s
        current += (wanted - current) * (1 - np.exp(-step_s / time_s))
        gain_db[index] = current
    return _spread(10 ** (gain_db / 20), step, sound.shape[1])


def _gate_gain(sound: Floats, rate_hz: int, gate: NoiseGate) -> Floats:
    level_dbfs, step = _envelope_dbfs(sound, rate_hz)
    hold = max(1, round(gate.hold_s * rate_hz / step))
    loud = level_dbfs > gate.threshold_dbfs
    last_loud = np.maximum.accumulate(np.where(loud, np.arange(loud.size), -hold - 1))
    is_open = np.arange(loud.size) - last_loud <= hold
    return _spread(np.where(is_open, 1.0, db_to_ratio(-gate.reduction_db)), step, sound.shape[1])


def _spread(gain: Floats, step: int, n_samples: int) -> Floats:
    """Return a gain given in steps at every sample, straight lines between."""
    return np.interp(np.arange(n_samples), (np.arange(gain.size) + 0.5) * step, gain)
