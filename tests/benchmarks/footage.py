"""A captured picture in its own sound, under bright music and without it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft

from humcheck.estimates.footage import FootageEstimate, find_footage
from humcheck.simulation.footage import game_rows, leak_of_fields
from humcheck.simulation.raster import TIMING_262
from tests.benchmarks.table import Row, judged

_RATE_HZ = 48000
_FIELD_HZ = TIMING_262.field_rate_hz
_MUSIC = "music -20 dBFS falling 6 dB per octave from 200 Hz"
#: A place is told from this probability on.
_CERTAIN = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class _Trial:
    """A capture: level of the leak, what plays, how the device captured, and what else is heard."""

    level_dbfs: float | None = None
    music: bool = True
    duration_s: int = 30
    crop_rows: int = 0
    n_captured: int = 240
    half_rate: bool = False
    tone: bool = False
    other_dbfs: float | None = None


_PLAIN = {"frames as drawn": _Trial(level_dbfs=-90.0)}
_CAPTURES = {
    "12 rows cropped at top and bottom, stretched to 480": _Trial(level_dbfs=-85.0, crop_rows=12, n_captured=480),
    "every other field lost": _Trial(level_dbfs=-85.0, half_rate=True),
}
_SILENT = {
    "under music": _Trial(duration_s=15),
    "under music, with a wavering line tone of -60 dBFS": _Trial(duration_s=15, tone=True),
    "in quiet, with a wavering line tone of -60 dBFS": _Trial(duration_s=15, music=False, tone=True),
    "under music, with the leak of another game of -85 dBFS": _Trial(duration_s=15, other_dbfs=-85.0),
    "in quiet, with the leak of another game of -110 dBFS": _Trial(duration_s=15, music=False, other_dbfs=-110.0),
}


def run(quick: bool) -> list[Row]:
    rows = []
    if quick:
        rows += _found_rows("frames as drawn", _Trial(level_dbfs=-80.0, duration_s=12), 1)
        return [*rows, *_alarm_rows({"under music": _Trial(duration_s=8)}, 1)]
    for how, trial in (_PLAIN | _CAPTURES).items():
        rows += _found_rows(how, trial, 20 if trial.level_dbfs == -90.0 else 8)
    return [*rows, *_alarm_rows(_SILENT, 30)]


def _found_rows(how: str, trial: _Trial, n_trials: int) -> list[Row]:
    assert trial.level_dbfs is not None
    made = [_made(seed, trial) for seed in range(n_trials)]
    where = f"{trial.duration_s} s, leak {trial.level_dbfs:.0f} dBFS, {_MUSIC}; {how}"
    found = [(estimate, lag_s) for estimate, lag_s in made if estimate.found]
    rows = [judged("footage found", where, len(found) / n_trials, 0.95, "share", n_trials, at_least=True)]
    if not found:
        return rows
    off = np.array([abs(estimate.lag_s - lag_s) * _RATE_HZ for estimate, lag_s in found])
    sure = np.array([estimate.lag_probability >= _CERTAIN for estimate, _ in found])
    error = np.array([estimate.level_dbfs[0] - trial.level_dbfs for estimate, _ in found])
    inside = [one.low_dbfs[0] <= trial.level_dbfs <= one.high_dbfs[0] for one, _ in found]
    rows += [
        judged("offset exact to the sample", where, float(np.mean(off < 0.5)), 0.9, "share", len(off), at_least=True),
        judged("places called certain", where, float(sure.mean()), 0.0, "share", len(off), at_least=True),
        judged("level error", where, float(np.sqrt(np.mean(error**2))), 0.5, "dB RMS", len(error)),
        judged("level inside its 95 % interval", where, float(np.mean(inside)), 0.85, "share", len(off), at_least=True),
    ]
    if len(error) > 1:  # of one trial it says nothing of its own
        rows.append(judged("mean level error", where, float(abs(error.mean())), 0.25, "dB", len(error)))
    if sure.any():
        rows.append(judged("worst certain offset", where, float(off[sure].max()), 0.5, "samples", int(sure.sum())))
    return rows


def _alarm_rows(silent: dict[str, _Trial], n_trials: int) -> list[Row]:
    rows = []
    for number, (where, trial) in enumerate(silent.items()):
        estimates = [_made(1000 * (number + 1) + seed, trial)[0] for seed in range(n_trials)]
        alarms = float(sum(estimate.found for estimate in estimates))
        least = min(estimate.p_value for estimate in estimates)
        note = f"least chance told {least:.1e}; found below 1e-5"
        rows.append(judged("false alarms", f"{trial.duration_s} s {where}", alarms, 0.0, "takes", n_trials, note=note))
    return rows


def _made(seed: int, trial: _Trial) -> tuple[FootageEstimate, float]:
    """Return what is found in a capture, and the truth: when the first captured row is drawn after its stamp."""
    rng = np.random.default_rng(seed)
    n_samples, n_fields = trial.duration_s * _RATE_HZ, int((trial.duration_s + 2) * _FIELD_HZ)
    rows = game_rows(n_fields, TIMING_262.n_rows, rng)
    late_s = float(rng.integers(-9000, 9000)) / _RATE_HZ
    sound = rng.normal(0, 10 ** (-90 / 20) / np.sqrt(2), n_samples)
    if trial.music:
        sound += _music(n_samples, rng)
    if trial.level_dbfs is not None:
        sound += leak_of_fields(rows, TIMING_262, _RATE_HZ, n_samples, late_s - 1.0, trial.level_dbfs)
    if trial.other_dbfs is not None:
        other = game_rows(n_fields, TIMING_262.n_rows, rng)
        sound += leak_of_fields(other, TIMING_262, _RATE_HZ, n_samples, late_s - 1.0, trial.other_dbfs)
    if trial.tone:
        time_s = np.arange(n_samples) / _RATE_HZ
        wavering = 1e-3 * (1 + 0.1 * np.sin(2 * np.pi * 0.3 * time_s))
        sound += wavering * np.sin(2 * np.pi * TIMING_262.line_rate_hz * time_s)
    frames = _captured(rows, trial, rng)
    step = 2 if trial.half_rate else 1
    times_s = np.arange(n_fields)[::step] / _FIELD_HZ - 1.0
    estimate = find_footage(sound[:, np.newaxis], _RATE_HZ, frames[::step], times_s)
    first_row = TIMING_262.first_row + TIMING_262.active_start + trial.crop_rows
    return estimate, late_s + first_row / TIMING_262.line_rate_hz


def _captured(rows: np.ndarray, trial: _Trial, rng: np.random.Generator) -> np.ndarray:
    kept = rows[:, trial.crop_rows : rows.shape[1] - trial.crop_rows]
    # Devices take the nearest row or mix two: here, what a bilinear stretch does.
    place = np.clip((np.arange(trial.n_captured) + 0.5) * kept.shape[1] / trial.n_captured - 0.5, 0, kept.shape[1] - 1)
    low = np.floor(place).astype(int)
    high, part = np.minimum(low + 1, kept.shape[1] - 1), place - low
    shown = kept[:, low] * (1 - part) + kept[:, high] * part
    return np.clip(shown + rng.normal(0, 1 / 255, shown.shape), 0, 1)


def _music(n_samples: int, rng: np.random.Generator) -> np.ndarray:
    """Noise of a falling spectrum whose level jumps by up to 15 dB every eighth of a second, -20 dBFS in all."""
    frequency_hz = scipy.fft.rfftfreq(n_samples, 1 / _RATE_HZ)
    shaped = scipy.fft.rfft(rng.normal(size=n_samples)) / np.sqrt(1 + (frequency_hz / 200.0) ** 2)
    jumps = 10 ** (rng.uniform(-15, 0, n_samples // 6000 + 1) / 20)
    sound = scipy.fft.irfft(shaped, n_samples) * np.repeat(jumps, 6000)[:n_samples]
    return sound / sound.std() * 10 ** (-20 / 20) / np.sqrt(2)
