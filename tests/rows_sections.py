"""Quiet sections with a picture in them, made by the simulation; the estimators' model is not used."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from humcheck.simulation import COMPOSITE_SYNC, TIMING_312, Picture
from humcheck.simulation.periodic import add_periodic
from humcheck.tracks.pictures import brightness_of_lines


def rows_section(
    duration_s,
    leaks,
    *,
    seed=0,
    timing=TIMING_312,
    rows=None,
    clock_ppm=50.0,
    clock_ppm_per_minute=0.0,
    hum_dbfs=-70.0,
    mains_hz=None,
    noise_dbfs=-90.0,
    sync=COMPOSITE_SYNC,
    rate_hz=48000,
):
    """Return samples (n, 2): white noise, wandering hum of 20 harmonics, and a picture that leaks.

    Noise is an RMS over the whole band, by the convention of a full-scale sine.
    """
    rng = np.random.default_rng([seed, 77])
    n_samples = int(duration_s * rate_hz)
    time_s = np.arange(n_samples) / rate_hz
    sound = rng.normal(0, 10 ** (noise_dbfs / 20) / np.sqrt(2), (2, n_samples))
    if hum_dbfs is not None:
        _add_hum(sound, time_s, rng, hum_dbfs, mains_hz or (50.0 if timing.lines_per_field > 300 else 60.0), rate_hz)
    if leaks:
        shown = brightness_of_lines("rows", timing.n_rows) / 255.0 if rows is None else rows
        brightness = tuple(float(row) for row in shown)
        picture = Picture(rows=brightness, timing=replace(timing, sync_level=sync), leaks=leaks)
        bend = 0.5 * clock_ppm_per_minute * 1e-6 / 60.0
        cycles = picture.timing.repeat_rate_hz * (1 + 1e-6 * clock_ppm) * (time_s + bend * time_s**2) + rng.random()
        add_periodic(sound, picture.amplitudes(0.49 * rate_hz), cycles)
    return np.ascontiguousarray(sound.T)


def _add_hum(sound, time_s, rng, level_dbfs, mains_hz, rate_hz):
    wander = np.cumsum(rng.normal(0, 0.02 / np.sqrt(30.0 * rate_hz), time_s.size)) / rate_hz
    order = np.arange(1, 21)
    lines = 10 ** (level_dbfs / 20) * order**-0.7 * np.exp(2j * np.pi * rng.random(20))
    add_periodic(sound, lines[:, np.newaxis] * np.array([1.0, 0.8]), mains_hz * time_s + wander)
