"""A small simulation for tests of sweeps: analytic sound at the times of a drifting clock, exact analogue filters.

Filters are applied in the frequency domain at the frequencies that the track plays. Noise is white over half the rate.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.fft

from humcheck.tracks.layouts import layout
from humcheck.tracks.waveforms import section_waveform

BEFORE_S, AFTER_S = 0.2, 0.7
#: Relative levels in dB of hum harmonics 1 to 6.
HUM_SHAPE_DB = np.array([0.0, -6.0, -3.0, -12.0, -8.0, -18.0])
HUM_WANDER_HZ = 0.02


@dataclass
class SweptSound:
    """What a take hands out of its sweep section."""

    samples: np.ndarray
    channels: tuple
    rate_hz: float
    section: object
    times_s: np.ndarray

    def track_time_s(self):
        return self.times_s


@lru_cache(maxsize=8)
def _pure_sweep(length, driven, rate_hz, ppm, after_s):
    section = layout("full", length).section(f"sweep-{driven}")
    n_samples = int((section.duration_s + BEFORE_S + after_s) * rate_hz)
    times_s = section.start_s - BEFORE_S + 0.37 / rate_hz + np.arange(n_samples) / (rate_hz * (1 + ppm * 1e-6))
    n_padded = scipy.fft.next_fast_len(2 * n_samples, real=True)
    spectrum = scipy.fft.rfft(section_waveform(section, times_s, driven, rate_hz), n_padded)
    frequency_hz = np.arange(spectrum.size) * (rate_hz * (1 + ppm * 1e-6) / n_padded)
    return section, times_s, spectrum, frequency_hz, n_padded


def swept(
    *,
    length="short",
    driven="left",
    rate_hz=48000.0,
    ppm=150.0,
    through=None,
    across=None,
    noise_dbfs=-90.0,
    hum_dbfs=None,
    mains_hz=50.0,
    seed=0,
    curve=None,
    after_s=AFTER_S,
):
    """Return a sweep recorded through `through` (complex gain over frequency) and `across` into the idle channel."""
    section, times_s, spectrum, frequency_hz, n_padded = _pure_sweep(length, driven, rate_hz, ppm, after_s)
    rng = np.random.default_rng(seed)
    n_samples = times_s.size
    samples = np.zeros((n_samples, 2))
    column = 0 if driven == "left" else 1
    passed = spectrum if through is None else spectrum * through(frequency_hz)
    samples[:, column] = scipy.fft.irfft(passed, n_padded)[:n_samples]
    if curve is not None:
        samples[:, column] = curve(samples[:, column])
    if across is not None:
        samples[:, 1 - column] = scipy.fft.irfft(passed * across(frequency_hz), n_padded)[:n_samples]
    samples += 10 ** (noise_dbfs / 20) / np.sqrt(2) * rng.standard_normal(samples.shape)
    if hum_dbfs is not None:
        samples += hum(n_samples, rate_hz, hum_dbfs, mains_hz, rng)
    return SweptSound(samples, ("left", "right"), rate_hz, section, times_s)


def hum(n_samples, rate_hz, level_dbfs, mains_hz, rng):
    """Return wandering hum (random walk of 20 mHz in 30 s) of six harmonics, phases differing between channels."""
    walk_hz = HUM_WANDER_HZ * np.cumsum(rng.standard_normal(n_samples)) * np.sqrt(1 / (rate_hz * 30.0))
    phase = 2 * np.pi * np.cumsum(mains_hz + walk_hz) / rate_hz
    amplitude = 10 ** (HUM_SHAPE_DB / 20)
    amplitude *= 10 ** (level_dbfs / 20) / np.sqrt(np.sum(amplitude**2))
    sound = np.zeros((n_samples, 2))
    for harmonic in range(1, 7):
        for column in range(2):
            start = rng.uniform(0, 2 * np.pi)
            sound[:, column] += amplitude[harmonic - 1] * np.cos(harmonic * phase + start)
    return sound


def high_pass(corner_hz):
    return lambda frequency_hz: 1j * frequency_hz / (corner_hz + 1j * frequency_hz)


def low_pass(corner_hz):
    return lambda frequency_hz: corner_hz / (corner_hz + 1j * frequency_hz)


def capacitive(farad, ohm):
    """Voltage ratio of a stray capacitance into a resistance."""
    return lambda frequency_hz: 2j * np.pi * frequency_hz * ohm * farad / (1 + 2j * np.pi * frequency_hz * ohm * farad)


def decibels(gain):
    return 20 * np.log10(np.abs(gain))
