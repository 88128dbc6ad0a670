"""A captured picture in its own sound, under bright music."""

from __future__ import annotations

import numpy as np
import scipy.fft

from humcheck.estimates.footage import FootageEstimate, find_footage
from humcheck.simulation.footage import game_rows, leak_of_fields
from humcheck.simulation.raster import TIMING_262
from tests.benchmarks.table import Row

_RATE_HZ = 48000
_DURATION_S = 30


def run(quick: bool) -> list[Row]:
    n_trials = 1 if quick else 5
    levels = (-80.0,) if quick else (-80.0, -90.0)
    rows = []
    for level_dbfs in levels:
        made = [_trial(seed, level_dbfs) for seed in range(n_trials)]
        where = f"30 s, leak {level_dbfs:.0f} dBFS, music -20 dBFS falling 6 dB per octave from 200 Hz"
        found = [(estimate, lag_s) for estimate, lag_s in made if estimate.found]
        rows.append(_row("footage found", where, len(found) / n_trials, 1.0, "share", n_trials, at_least=True))
        if found:
            off = max(abs(estimate.lag_s - lag_s) * _RATE_HZ for estimate, lag_s in found)
            error = max(abs(estimate.level_dbfs[0] - level_dbfs) for estimate, _ in found)
            rows.append(_row("worst offset", where, off, 0.5, "samples", len(found)))
            rows.append(_row("worst level error", where, error, 0.5, "dB", len(found)))
    alarms = [_trial(100 + seed, None)[0].found for seed in range(n_trials)]
    rows.append(_row("false alarms", "the same without a leak", float(sum(alarms)), 0.0, "takes", n_trials))
    return rows


def _trial(seed: int, level_dbfs: float | None) -> tuple[FootageEstimate, float]:
    rng = np.random.default_rng(seed)
    n_samples, field_hz = _DURATION_S * _RATE_HZ, TIMING_262.field_rate_hz
    n_fields = int((_DURATION_S + 2) * field_hz)
    rows = game_rows(n_fields, TIMING_262.n_rows, rng)
    late_s = float(rng.integers(-9000, 9000)) / _RATE_HZ
    sound = _music(n_samples, rng) + rng.normal(0, 10 ** (-90 / 20) / np.sqrt(2), n_samples)
    if level_dbfs is not None:
        sound += leak_of_fields(rows, TIMING_262, _RATE_HZ, n_samples, late_s - 1.0, level_dbfs)
    frames = np.clip(rows + rng.normal(0, 1 / 255, rows.shape), 0, 1)
    estimate = find_footage(sound[:, np.newaxis], _RATE_HZ, frames, np.arange(n_fields) / field_hz - 1.0)
    first_row_s = (TIMING_262.first_row + TIMING_262.active_start) / TIMING_262.line_rate_hz
    return estimate, late_s + first_row_s


def _music(n_samples: int, rng: np.random.Generator) -> np.ndarray:
    """Noise of a falling spectrum whose level jumps by up to 15 dB every eighth of a second, -20 dBFS in all."""
    frequency_hz = scipy.fft.rfftfreq(n_samples, 1 / _RATE_HZ)
    shaped = scipy.fft.rfft(rng.normal(size=n_samples)) / np.sqrt(1 + (frequency_hz / 200.0) ** 2)
    jumps = 10 ** (rng.uniform(-15, 0, n_samples // 6000 + 1) / 20)
    sound = scipy.fft.irfft(shaped, n_samples) * np.repeat(jumps, 6000)[:n_samples]
    return sound / sound.std() * 10 ** (-20 / 20) / np.sqrt(2)


def _row(
    figure: str, condition: str, reached: float, target: float, unit: str, n: int, *, at_least: bool = False
) -> Row:
    passed = reached >= target if at_least else reached <= target
    return Row(figure=figure, condition=condition, reached=reached, target=target, unit=unit, n=n, passed=bool(passed))
