"""Made-up music and exact ways to record it, for tests of programme takes."""

from __future__ import annotations

import numpy as np


def music(n_samples, rate_hz, rng):
    """Decaying notes with harmonics and a click each, -20 dBFS RMS or so: broadband, never repeating."""
    samples = np.zeros(n_samples)
    for _ in range(int(n_samples / rate_hz * 6)):
        length = int(rng.integers(rate_hz // 8, rate_hz // 2))
        start = int(rng.integers(0, n_samples - length))
        time_s = np.arange(length) / rate_hz
        envelope = np.exp(-8 * time_s) * np.minimum(1, 200 * time_s)
        pitch_hz = 110 * 2 ** (rng.integers(0, 48) / 12)
        for order in range(1, 12):
            if pitch_hz * order < 0.42 * rate_hz:
                tone = np.sin(2 * np.pi * pitch_hz * order * time_s + rng.uniform(0, 6))
                samples[start : start + length] += rng.uniform(0.3, 1) / order * envelope * tone
        samples[start : start + 2000] += 0.3 * rng.normal(size=2000) * np.exp(-np.arange(2000) / 400)
    return 0.07 * samples / np.std(samples)


def recorded(material, *, lead_samples, rng, noise_dbfs=-100.0, gain=1.0, slope=0.0):
    """Record `material` after a fractional lead, on a clock whose samples are 1 + `slope` as many; a column of samples.

    The clock is changed exactly, by a spectrum of the material's own length evaluated at warped times (chirp
    z-transform), so that the truth carries no resampler's rounding.
    """
    from scipy.signal import CZT

    n = len(material)
    n_out = int(n * (1 + slope)) + int(lead_samples) + 1
    spectrum = np.fft.rfft(material)
    spectrum[1:-1] *= 2
    step = 1 / (1 + slope)
    # y[m] = sum_k S_k exp(2 pi i k (m - lead) step / n) / n
    spectrum = spectrum * np.exp(-2j * np.pi * np.arange(len(spectrum)) * lead_samples * step / n)
    warped = CZT(len(spectrum), n_out, w=np.exp(2j * np.pi * step / n))(spectrum).real / n
    time = (np.arange(n_out) - lead_samples) * step
    warped[(time < 0) | (time > n - 1)] = 0
    noise = rng.normal(0, 10 ** (noise_dbfs / 20) / np.sqrt(2), n_out)
    return (gain * warped + noise)[:, None]
