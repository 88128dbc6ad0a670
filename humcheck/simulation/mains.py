"""Mains hum: a frequency that wanders, and the waveforms that a mains supply leaves in sound."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats, db_to_ratio, dbfs_to_amplitude
from humcheck.simulation.components import Complexes

_REFERENCE_WALK_S = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Mains:
    """The mains frequency in true time.

    Attributes
    ----------
    frequency_hz : float
        Its mean (with a correlation time), or its value at the start (without).
    wander_mhz : float
        With a correlation time: standard deviation over a long time. Without: RMS change of a random walk in 30 s.
    correlation_s : float
        Time constant by which the frequency returns to its mean (Ornstein-Uhlenbeck); infinite is a random walk.
    """

    frequency_hz: float = 50.0
    wander_mhz: float = 0.0
    correlation_s: float = math.inf

    def track_hz(self, time_s: Floats, rng: np.random.Generator) -> Floats:
        """Return the frequency at evenly spaced times, shape (n,)."""
        noise = rng.standard_normal(time_s.size)
        step_s = float(time_s[1] - time_s[0])
        sd_hz = self.wander_mhz / 1000
        if math.isinf(self.correlation_s):
            noise[0] = 0.0
            return np.asarray(self.frequency_hz + np.cumsum(noise) * sd_hz * math.sqrt(step_s / _REFERENCE_WALK_S))
        kept = math.exp(-step_s / self.correlation_s)
        deviation = np.empty(time_s.size)
        deviation[0] = noise[0]
        for index in range(1, time_s.size):
            deviation[index] = kept * deviation[index - 1] + math.sqrt(1 - kept**2) * noise[index]
        return np.asarray(self.frequency_hz + sd_hz * deviation)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hum:
    """One contribution of the mains to a take.

    Attributes
    ----------
    amplitudes : tuple of complex
        Peak amplitude (full scale = 1) and phase of harmonics 1, 2, ... K of the mains.
    left, right : float
        Factors by which the channels receive it; their signs may differ.
    modulation : float
        Depth of a slow sine-shaped change of all amplitudes, 0 to 1.
    modulation_hz : float
        Its frequency.
    """

    amplitudes: tuple[complex, ...]
    left: float = 1.0
    right: float = 1.0
    modulation: float = 0.0
    modulation_hz: float = 0.5

    def swing(self, time_s: Floats) -> Floats:
        """Return the factor by which the amplitudes swell at take times, shape of `time_s`."""
        return np.asarray(1 + self.modulation * np.sin(2 * np.pi * self.modulation_hz * time_s))

    def channel_amplitudes(self, n_harmonics: int) -> Complexes:
        """Return the amplitudes in both channels, shape (n_harmonics, 2)."""
        amplitudes = np.zeros(n_harmonics, dtype=np.complex128)
        kept = min(n_harmonics, len(self.amplitudes))
        amplitudes[:kept] = self.amplitudes[:kept]
        return np.asarray(amplitudes[:, np.newaxis] * np.array([self.left, self.right]))


def harmonics(levels_dbfs: Mapping[int, float], phase_seed: int = 0) -> tuple[complex, ...]:
    """Return amplitudes for levels given by harmonic; phases are drawn from a seed.

    Parameters
    ----------
    levels_dbfs : mapping of int to float
        Level of each harmonic that is there, in dBFS.
    phase_seed : int
        The same seed gives the same phases.
    """
    phases = np.random.default_rng([phase_seed, 50]).uniform(0, 2 * np.pi, max(levels_dbfs))
    return tuple(
        complex(dbfs_to_amplitude(levels_dbfs[k]) * np.exp(1j * phases[k - 1])) if k in levels_dbfs else 0j
        for k in range(1, max(levels_dbfs) + 1)
    )


def ground_loop(
    level_dbfs: float, n_harmonics: int = 15, fall_db: float = 6.0, phase_seed: int = 0
) -> tuple[complex, ...]:
    """Return the fundamental and odd harmonics, as the mains voltage itself holds them.

    Parameters
    ----------
    level_dbfs : float
        Level of the fundamental.
    n_harmonics : int
        Highest harmonic.
    fall_db : float
        How much each odd harmonic lies under the one before.
    phase_seed : int
        Seed of the phases.
    """
    odd = range(1, n_harmonics + 1, 2)
    return harmonics({k: level_dbfs - fall_db * (k - 1) / 2 for k in odd}, phase_seed)


def rectified(level_dbfs: float, n_harmonics: int = 40) -> tuple[complex, ...]:
    """Return the ripple of an ideal full-wave rectifier: 2, 4, 6 ... times the mains, as ``2 / (4 k^2 - 1)``.

    Parameters
    ----------
    level_dbfs : float
        Level of twice the mains frequency.
    n_harmonics : int
        Highest harmonic of the mains.
    """
    scale = dbfs_to_amplitude(level_dbfs) / (2 / 3)
    result = [0j] * n_harmonics
    for k in range(1, n_harmonics // 2 + 1):
        # |sin x| = 2/pi (1 - sum of 2 cos(2 k x) / (4 k^2 - 1)).
        result[2 * k - 1] = complex(-scale * 2 / (4 * k**2 - 1))
    return tuple(result)


def bursts(
    level_dbfs: float,
    *,
    mains_hz: float = 50.0,
    ring_hz: float = 4000.0,
    decay_s: float = 0.3e-3,
    n_harmonics: int = 400,
) -> tuple[complex, ...]:
    """Return short bursts twice in each mains cycle, as diodes make when they cut off: decaying oscillations.

    Parameters
    ----------
    level_dbfs : float
        RMS of all harmonics given, in dBFS.
    mains_hz, ring_hz, decay_s : float
        Mains frequency, frequency of the oscillation, time constant of its decay.
    n_harmonics : int
        Highest harmonic of the mains.
    """
    order = np.arange(2, n_harmonics + 1, 2)
    s = 1 / decay_s + 2j * np.pi * mains_hz * order
    line = 1 / (s**2 + (2 * np.pi * ring_hz) ** 2)  # Laplace transform of exp(-t/decay) sin(2 pi ring t)
    result = np.zeros(n_harmonics, dtype=np.complex128)
    result[order - 1] = line / np.sqrt(np.sum(np.abs(line) ** 2)) * db_to_ratio(level_dbfs)
    return tuple(complex(value) for value in result)
