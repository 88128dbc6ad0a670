"""What is added on the way: hum, picture, other lines, hiss."""

from __future__ import annotations

import numpy as np

from humcheck.audio.levels import Floats, dbfs_to_amplitude
from humcheck.simulation.clocks import Counter, TimeMap
from humcheck.simulation.components import Complexes
from humcheck.simulation.noise import merged
from humcheck.simulation.path import PathModel
from humcheck.simulation.periodic import add_periodic

#: Share of the rate up to which lines reach the file: above it the converter's filter has taken them.
LINE_LIMIT = 0.49


def add_lines(sound: Floats, path: PathModel, clock: TimeMap, mains: Counter, phases: Floats) -> None:
    """Add all lines of a path to `sound`, shape (2, n).

    Parameters
    ----------
    sound : numpy.ndarray, shape (2, n_samples)
        Changed in place.
    path : PathModel
        What to add.
    clock : TimeMap
        How the recorder's clock runs.
    mains : Counter
        Cycles of the mains along the take.
    phases : numpy.ndarray, shape (3 + n_tones,)
        Cycles at the start of mains, picture, frames and each tone.
    """
    n_samples = sound.shape[1]
    top_hz = LINE_LIMIT * clock.rate_hz
    if path.hum:
        _add_hum(sound, path, mains.grid(n_samples) + phases[0], clock.rate_hz)
    if path.picture is not None:
        repeat_hz = path.picture.timing.repeat_rate_hz
        _add(sound, path.picture.amplitudes(top_hz), clock, repeat_hz, phases[1])
    if path.frames is not None:
        _add(sound, path.frames.amplitudes(top_hz), clock, path.frames.frame_hz, phases[2])
    for index, tone in enumerate(path.tones):
        if tone.frequency_hz < top_hz:
            line = dbfs_to_amplitude(tone.level_dbfs) * np.array([[tone.left, tone.right]], dtype=np.complex128)
            _add(sound, line, clock, tone.frequency_hz, phases[3 + index])


def _add(sound: Floats, amplitudes: Complexes, clock: TimeMap, frequency_hz: float, start: float) -> None:
    if amplitudes.any():
        cycles = clock.true_counter(frequency_hz).grid(sound.shape[1]) + start
        add_periodic(sound, amplitudes, cycles)


def _add_hum(sound: Floats, path: PathModel, cycles: Floats, rate_hz: float) -> None:
    n_harmonics = max(len(hum.amplitudes) for hum in path.hum)
    n_harmonics = min(n_harmonics, int(LINE_LIMIT * rate_hz / path.mains.frequency_hz))
    steady = [hum for hum in path.hum if hum.modulation == 0]
    if steady:
        total = np.sum([hum.channel_amplitudes(n_harmonics) for hum in steady], axis=0)
        add_periodic(sound, total, cycles)
    for hum in path.hum:
        if hum.modulation != 0:
            part = np.zeros_like(sound)
            add_periodic(part, hum.channel_amplitudes(n_harmonics), cycles)
            sound += part * hum.swing(np.arange(sound.shape[1]) / rate_hz)


def add_hiss(sound: Floats, path: PathModel, rate_hz: float, rng: np.random.Generator) -> None:
    """Add the hiss of a path to `sound`, shape (2, n)."""
    white = [hiss for hiss in path.hiss if hiss.colour == "white"]
    for hiss in (*merged(white), *(hiss for hiss in path.hiss if hiss.colour != "white")):
        sound += hiss.samples(sound.shape[1], rate_hz, rng)
