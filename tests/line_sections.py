"""Quiet sections with known lines, made by plain sums of sines: nothing of the estimators is used."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Comb:
    """A comb of lines: fundamental, peak amplitudes by order, and how much it wanders in 30 s."""

    fundamental_hz: float
    levels_dbfs: dict[int, float]
    wander_hz: float = 0.0
    right: float = 1.0

    @property
    def total_dbfs(self) -> float:
        """RMS sum of the lines in the left channel."""
        return float(10 * np.log10(sum(10 ** (level / 10) for level in self.levels_dbfs.values())))


def quiet_section(duration_s, combs, rng, *, rate_hz=4800.0, noise_dbfs=-90.0, n_channels=1):
    """Return samples (n, n_channels) and, for each comb, its mean frequency over the section."""
    n = int(duration_s * rate_hz)
    samples = rng.normal(0, 10 ** (noise_dbfs / 20) / np.sqrt(2), (n, n_channels))
    means_hz = []
    for comb in combs:
        frequency_hz = np.full(n, comb.fundamental_hz)
        if comb.wander_hz:
            steps = rng.normal(0, comb.wander_hz / np.sqrt(30.0) / np.sqrt(rate_hz), n)
            walk = np.cumsum(steps)
            frequency_hz = frequency_hz + walk - walk[n // 2]
        phase = 2 * np.pi * np.concatenate([[0.0], np.cumsum(frequency_hz)[:-1]]) / rate_hz
        means_hz.append(float(frequency_hz.mean()))
        for order, level_dbfs in comb.levels_dbfs.items():
            line = 10 ** (level_dbfs / 20) * np.cos(order * phase + rng.uniform(0, 2 * np.pi))
            samples[:, 0] += line
            if n_channels == 2:
                samples[:, 1] += comb.right * line
    return samples, means_hz


def harmonics(orders, rng, low_dbfs=-110.0, high_dbfs=-80.0):
    """Return random levels for orders."""
    return {int(order): float(rng.uniform(low_dbfs, high_dbfs)) for order in orders}
