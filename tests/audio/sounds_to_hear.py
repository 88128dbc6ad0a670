"""Sounds of known spectrum, to be heard in a silent room: what audibility is compared with loudness on."""

from __future__ import annotations

import numpy as np

from humcheck.audio.bands import third_octave_centres_hz
from humcheck.audio.hearing.ear import ear_for, excess
from humcheck.audio.hearing.listening import ListeningSetting

RATE_HZ = 48_000
DURATION_S = 1.0
PASCAL_RMS_AT_0_DB = 20e-6
SILENT_ROOM = ListeningSetting(
    name="silent", words="", kind="loudspeakers", full_scale_db_spl=0.0, uncertainty_db=6.0, field="free"
)

#: Frequencies and levels of tones, re the strongest; None for white noise.
KINDS = {
    "mains 50 Hz, odd harmonics": ([50, 150, 250, 350, 450], [0, -6, -12, -18, -22]),
    "rectifier 100 Hz": ([100, 200, 300, 400], [0, -14, -21, -26]),
    "buzz at 60 Hz, 60 lines": ([60 * order for order in range(1, 61)], [-6 * np.log2(k) / 2 for k in range(1, 61)]),
    "frames at 1 kHz": ([1000, 2000, 3000], [0, -6, -12]),
    "tone at 3.2 kHz": ([3200], [0]),
    "white hiss": None,
}


def margin_db(kind, level_db_spl):
    """Margin of a sound whose strongest line, or whose whole noise to 24 kHz, has a level."""
    ear = ear_for("free")
    if KINDS[kind] is None:
        bands = third_octave_centres_hz()
        levels = level_db_spl + 10 * np.log10(bands * (10**0.05 - 10**-0.05) / (RATE_HZ / 2))
        return excess(SILENT_ROOM, noise=ear.noise(bands, levels))[0]
    hz, levels = KINDS[kind]
    power = ear.tones(np.array(hz, dtype=float), level_db_spl + np.array(levels, dtype=float))
    return excess(SILENT_ROOM, tones=power)[0]


def pressure_pa(kind, level_db_spl, seed=1):
    """The same as sound pressure in pascal, shape (n_samples,)."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(round(DURATION_S * RATE_HZ)) / RATE_HZ
    scale = PASCAL_RMS_AT_0_DB * 10 ** (level_db_spl / 20)
    if KINDS[kind] is None:
        return scale * rng.standard_normal(len(time_s))
    tones = zip(*KINDS[kind], strict=True)
    return sum(
        scale * np.sqrt(2) * 10 ** (level / 20) * np.sin(2 * np.pi * hz * time_s + rng.uniform(0, 2 * np.pi))
        for hz, level in tones
    )
