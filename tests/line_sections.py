"""Quiet sections with known lines, made by plain sums of sines: nothing of the estimators is used."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

_MINUTE_S = 60.0


@dataclass(frozen=True)
class Comb:
    """A comb of lines: fundamental, peak amplitudes by order, and how they change.

    `wander_hz` is the standard deviation of the frequency's change over 30 s, `walk_ppm` that of a clock over a minute
    (the same walk at random, in other units), `swell` the depth of a slow change of all amplitudes.
    """

    fundamental_hz: float
    levels_dbfs: dict[int, float]
    wander_hz: float = 0.0
    right: float = 1.0
    walk_ppm: float = 0.0
    swell: float = 0.0
    swell_hz: float = 0.3
    phases: dict[int, float] = field(default_factory=dict)

    @property
    def total_dbfs(self) -> float:
        """RMS sum of the lines in the left channel, swelling left out."""
        return float(10 * np.log10(sum(10 ** (level / 10) for level in self.levels_dbfs.values())))


def quiet_section(
    duration_s, combs, rng, *, rate_hz=4800.0, noise_dbfs=-90.0, n_channels=1, noise_to_hz=None, jitter_s=0.0
):
    """Return samples (n, n_channels) and, for each comb, its mean frequency over the section.

    The noise has its level up to half the rate, or up to `noise_to_hz`, of which only what is below that half is there.
    """
    n = int(duration_s * rate_hz)
    noise_rms = 10 ** (noise_dbfs / 20) / np.sqrt(2)
    if noise_to_hz is not None:
        noise_rms *= np.sqrt(rate_hz / 2 / noise_to_hz)
    samples = rng.normal(0, noise_rms, (n, n_channels))
    time_s = np.arange(n) / rate_hz
    jitter = rng.normal(0, jitter_s, n) if jitter_s else np.zeros(n)
    means_hz = []
    for comb in combs:
        frequency_hz = np.full(n, comb.fundamental_hz)
        walk_hz = comb.wander_hz / np.sqrt(30.0) + comb.walk_ppm * 1e-6 * comb.fundamental_hz / np.sqrt(_MINUTE_S)
        if walk_hz:
            walk = np.cumsum(rng.normal(0, walk_hz / np.sqrt(rate_hz), n))
            frequency_hz = frequency_hz + walk - walk[n // 2]
        phase = 2 * np.pi * np.concatenate([[0.0], np.cumsum(frequency_hz)[:-1]]) / rate_hz
        phase = phase + 2 * np.pi * comb.fundamental_hz * jitter
        means_hz.append(float(frequency_hz.mean()))
        sound = _harmonics(comb, phase, rng)
        if comb.swell:
            sound *= 1 + comb.swell * np.sin(2 * np.pi * comb.swell_hz * time_s + rng.uniform(0, 2 * np.pi))
        samples[:, 0] += sound
        if n_channels == 2:
            samples[:, 1] += comb.right * sound
    return samples, means_hz


def _harmonics(comb, phase, rng):
    turn = np.exp(1j * phase)
    power, reached = np.ones_like(turn), 0
    sound = np.zeros(phase.size)
    for order in sorted(comb.levels_dbfs):
        # Small steps by multiplication, which is faster; after a large one the rounding starts anew.
        power = power * turn ** (order - reached) if order - reached < 8 else np.exp(1j * order * phase)
        reached = order
        start = comb.phases.get(order, rng.uniform(0, 2 * np.pi))
        amplitude = 10 ** (comb.levels_dbfs[order] / 20) * np.exp(1j * start)
        sound += amplitude.real * power.real - amplitude.imag * power.imag
    return sound


def harmonics(orders, rng, low_dbfs=-110.0, high_dbfs=-80.0):
    """Return random levels for orders."""
    return {int(order): float(rng.uniform(low_dbfs, high_dbfs)) for order in orders}
