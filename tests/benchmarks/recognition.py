"""Which track a take holds, through paths that change it much: the least signal to noise at which all are recognised.

Tracks are read through filters drawn beside the code, at falling signal to noise; and sound that holds no track is
searched for one.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import signal

from humcheck.takes.recognition import find_marker
from humcheck.takes.take import sought_in
from humcheck.tracks.layouts import layout
from humcheck.tracks.waveforms import track_waveform
from tests.benchmarks.table import Row, judged
from tests.programme_material import music
from tests.takes.memory import MemoryTake

RATE_HZ = 48000
TRACK = layout("silence", "short")
DRIFT_PPM = 60.0
#: RMS of a marker's chirp: -6 dBFS.
CHIRP_RMS = 0.354
SNRS_DB = (40.0, 20.0, 10.0, 3.0, 0.0, -3.0, -6.0)
#: Path, signal to noise of the track's own chirps (white noise, before the filter takes of them) at which it is read.
TARGETS_DB = {
    "nothing": -3.0,
    "speech filter, 4th order, 300 Hz": -3.0,
    "telephone, 300 to 3400 Hz": 10.0,
    "equalizer of 12 dB, any setting": 20.0,
    "resonance of 12 dB": 3.0,
    "all-passes from 300 Hz to 3 kHz": 0.0,
}
Sound = np.ndarray[Any, np.dtype[np.float64]]


def run(quick: bool) -> list[Row]:
    """Return the table; `quick` tries each path at its target alone, and few minutes without a track."""
    played = _played()
    rows = [_least_snr(name, played, quick) for name in TARGETS_DB]
    return [*rows, *(_false(name, 1 if quick else 10) for name in ("noise", "music", "chirps"))]


def _played() -> Sound:
    time_s = (np.arange(int((TRACK.duration_s + 2.0) * RATE_HZ)) / RATE_HZ - 1.0) / (1.0 + 1e-6 * DRIFT_PPM)
    return track_waveform(TRACK, time_s, RATE_HZ)


def _least_snr(name: str, played: Sound, quick: bool) -> Row:
    target_db = TARGETS_DB[name]
    n = 1 if quick else 5
    least_db, errors_ppm = np.inf, 0.0
    for snr_db in (target_db,) if quick else SNRS_DB:
        found = [_drift_error_ppm(name, played, snr_db, seed) for seed in range(n)]
        errors = [error for error in found if error is not None]
        if len(errors) < n:
            break
        least_db, errors_ppm = snr_db, float(np.max(np.abs(errors)))
    note = f"drift right to {errors_ppm:.2g} ppm there"
    return judged("least signal to noise", name, float(least_db), target_db, "dB", n, note)


def _drift_error_ppm(name: str, played: Sound, snr_db: float, seed: int) -> float | None:
    """Return how wrong the drift is; None where the track is not recognised."""
    rng = np.random.default_rng([seed, 3])
    sound = played
    for sections in _sections(name, rng):
        sound = signal.sosfilt(sections, sound, axis=0)
    # The loudest frequency of the path passes whole: an equalizer's gain is taken back.
    sound = sound * (0.89 / np.abs(sound).max())
    noise = CHIRP_RMS * 10.0 ** (-snr_db / 20.0) * rng.normal(size=sound.shape)
    take = sought_in(MemoryTake(sound + noise, RATE_HZ))  # type: ignore[arg-type]
    if take.track != TRACK.identity or take.alignment is None:
        return None
    return take.alignment.drift_ppm - DRIFT_PPM


def _sections(name: str, rng: np.random.Generator) -> list[Sound]:
    high = signal.butter(4, 300.0, "high", fs=RATE_HZ, output="sos")
    telephone = signal.ellip(8, 0.5, 60.0, 3400.0, "low", fs=RATE_HZ, output="sos")
    octaves_hz = 31.25 * 2.0 ** np.arange(10)
    settings_db = 12.0 * rng.choice([-1.0, 1.0], len(octaves_hz))
    return {
        "nothing": [],
        "speech filter, 4th order, 300 Hz": [high],
        "telephone, 300 to 3400 Hz": [high, telephone],
        "equalizer of 12 dB, any setting": [_bell(*one, 1.41) for one in zip(octaves_hz, settings_db, strict=True)],
        "resonance of 12 dB": [_bell(float(rng.uniform(500.0, 6000.0)), 12.0, 10.0)],
        "all-passes from 300 Hz to 3 kHz": [_allpass(hz) for hz in (300.0, 500.0, 800.0, 1200.0, 2000.0, 3000.0)],
    }[name]


def _bell(frequency_hz: float, gain_db: float, quality: float) -> Sound:
    size, turn = 10.0 ** (gain_db / 40.0), 2.0 * np.pi * frequency_hz / RATE_HZ
    width = np.sin(turn) / (2.0 * quality)
    above = [1.0 + width * size, -2.0 * np.cos(turn), 1.0 - width * size]
    return signal.tf2sos(above, [1.0 + width / size, -2.0 * np.cos(turn), 1.0 - width / size])


def _allpass(frequency_hz: float, quality: float = 3.0) -> Sound:
    turn = 2.0 * np.pi * frequency_hz / RATE_HZ
    width = np.sin(turn) / (2.0 * quality)
    below = [1.0 - width, -2.0 * np.cos(turn), 1.0 + width]
    return signal.tf2sos(below, below[::-1])


def _false(name: str, minutes: int) -> Row:
    """Return how many minutes of sound without a track are taken for one."""
    hits = 0
    for minute in range(minutes):
        rng = np.random.default_rng([minute, 17])
        n_samples = 60 * RATE_HZ
        sound = {"noise": _noise, "music": music, "chirps": _chirps}[name](n_samples, RATE_HZ, rng)
        hits += find_marker(MemoryTake(sound[:, None], RATE_HZ)).sighting is not None  # type: ignore[arg-type]
    return judged("false recognitions", f"{name}, minutes", hits, 0, "", minutes)


def _noise(n_samples: int, rate_hz: int, rng: np.random.Generator) -> Sound:
    return 0.1 * rng.normal(size=n_samples)


def _chirps(n_samples: int, rate_hz: int, rng: np.random.Generator) -> Sound:
    """The worst case: three hundred chirps a minute, up and down between any frequencies, as games have them."""
    sound = np.zeros(n_samples)
    for _ in range(300):
        duration_s = float(rng.uniform(0.05, 0.6))
        time_s = np.arange(int(duration_s * rate_hz)) / rate_hz
        start = int(rng.integers(0, n_samples - len(time_s)))
        first_hz, last_hz = rng.uniform(100.0, 18000.0, 2)
        phase = 2.0 * np.pi * (first_hz * time_s + 0.5 * (last_hz - first_hz) / duration_s * time_s**2)
        sound[start : start + len(time_s)] += 0.2 * np.sin(phase) * np.hanning(len(time_s))
    return sound
