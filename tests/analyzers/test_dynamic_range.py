"""Dynamic range against the limits that dither sets, and its parts against AES17's definition."""

import dataclasses

import numpy as np
import pytest

from humcheck.analyzers.dynamic_range import dynamic_range_rows
from humcheck.audio.dither import quantise, tpdf_dither
from humcheck.estimates.tones import TakeTones, fit_tones, measure_tones
from humcheck.estimates.tones.distortion import tone_distortion
from humcheck.results import NotMeasured
from humcheck.results.rows import Key
from humcheck.simulation import ChannelPath, Hiss, LinearPath
from tests.tone_takes import simulate_tones

NOT_NEEDED = ("steps", "full-scale", "tone-left", "tone-right", "zero", "quiet", "imd-smpte", "imd-difference")
KEY = Key(subject="direct", role="direct", quantity="dynamic_range")


def word(level_dbfs, bits, rate_hz, seconds, rng):
    """A 997 Hz tone in words of `bits` bits with triangular dither, shape (n, 1)."""
    sine = 10.0 ** (level_dbfs / 20.0) * np.sin(2.0 * np.pi * 997.0 * np.arange(int(seconds * rate_hz)) / rate_hz)
    return quantise(sine + tpdf_dither(sine.shape, bits, rng), bits)[:, None]


@pytest.mark.parametrize(
    ("bits", "rate_hz", "ccir_dbfs", "a_dbfs"),
    [
        # Noise of step^2 / 4 (Lipshitz, Wannamaker, Vanderkooy, JAES 40, 1992), weighted and band-limited.
        pytest.param(16, 44100, -92.08, -95.80, id="16 bit, 44.1 kHz: -93.32 dBFS in all"),
        pytest.param(16, 48000, -92.44, -96.16, id="16 bit, 48 kHz: -93.32 dBFS in all"),
        pytest.param(24, 48000, -140.61, -144.33, id="24 bit, 48 kHz: -141.48 dBFS in all"),
    ],
)
def test_dither_limits(bits, rate_hz, ccir_dbfs, a_dbfs):
    rng = np.random.default_rng(bits + rate_hz)
    tones = TakeTones(
        channels=("mono",),
        level=fit_tones(word(-1.0, bits, rate_hz, 3.75, rng), rate_hz, 997.0),
        level_nominal_dbfs=-1.0,
        minus_60=tone_distortion(word(-60.0, bits, rate_hz, 8.0, rng), rate_hz, 997.0),
    )
    for row, expected_dbfs in zip(dynamic_range_rows(tones, KEY), (ccir_dbfs, a_dbfs), strict=True):
        half = 0.5 * (row.high - row.low)
        assert half < 0.12
        assert row.value == pytest.approx(-expected_dbfs, abs=1.7 * half + 0.005)  # 0.005: the limits are rounded


def test_intervals_cover():
    rng = np.random.default_rng(5)
    n_draws, n_samples, rate_hz = 500, 24000, 44100
    tone = 1e-3 * np.sin(2.0 * np.pi * 997.0 * np.arange(n_samples) / rate_hz)[:, None]
    hits = {"ccir": [], "a_weighted": []}
    for _ in range(4):
        sound = tone + 1e-4 * rng.standard_normal((n_samples, n_draws // 4))
        residual = tone_distortion(sound, rate_hz, 997.0).residual
        # White noise of this power: +1.2441 dB (CCIR-RMS) and -2.4764 dB (A), 20 Hz-20 kHz at 44.1 kHz.
        for name, change_db in (("ccir", 1.2441), ("a_weighted", -2.4764)):
            power, sd = getattr(residual, name), getattr(residual, f"{name}_sd")
            hits[name].append(np.abs(power - 1e-8 * 10.0 ** (change_db / 10.0)) < 1.96 * sd)
    for name, found in hits.items():
        # Half a second holds one segment and a bit, so the theory of Gaussian noise is used.
        assert 0.92 <= np.mean(found) <= 0.98, name


def test_intervals_from_the_scatter_of_segments_cover():
    """Four seconds hold enough segments: their scatter makes the interval, steady hum adds nothing to it."""
    rng = np.random.default_rng(6)
    n_draws, rate_hz, n_samples = 500, 8000, 32000
    time_s = np.arange(n_samples) / rate_hz
    steady = 1e-3 * np.sin(2.0 * np.pi * 997.0 * time_s) + 1e-3 * np.sin(2.0 * np.pi * 150.03 * time_s)
    noise_power = 1e-8 * (4000.0 - 20.0) / 4000.0
    hits = []
    for _ in range(4):
        sound = steady[:, None] + 1e-4 * rng.standard_normal((n_samples, n_draws // 4))
        residual = tone_distortion(sound, rate_hz, 997.0).residual
        hits.append(np.abs(residual.flat - noise_power - 0.5e-6) < 1.96 * residual.flat_sd)
        # Noise of -77 dBFS under hum of -60: what the two beat to is all that moves, a few thousandths.
        assert np.median(residual.flat_sd / residual.flat) < 0.01
    # Power of hum and noise together; the segments overlap, which their statistics allow for to a percent or two.
    assert 0.92 <= np.mean(hits) <= 0.98


def test_gain_does_not_matter_and_each_channel_is_its_own():
    path = LinearPath(left=ChannelPath(gain_db=-10.0), right=ChannelPath(gain_db=-20.0))
    take, _ = simulate_tones(*NOT_NEEDED, seed=12, linear=path, hiss=(Hiss.both(-100.0),))
    tones = measure_tones(take)
    rows = {(row.quantity, row.channel): row.value for row in dynamic_range_rows(tones, KEY)}
    assert rows["dynamic_range", "left"] - rows["dynamic_range", "right"] == pytest.approx(10.0, abs=0.15)
    # White noise confined to 20 Hz-20 kHz: +1.6722 dB by CCIR-RMS, -2.0483 dB by A.
    assert rows["dynamic_range", "left"] == pytest.approx(90.0 - 1.6722, abs=0.15)
    assert rows["dynamic_range_a", "left"] == pytest.approx(90.0 + 2.0483, abs=0.15)


def test_what_is_missing_has_a_reason():
    take, _ = simulate_tones(*NOT_NEEDED, seed=13)
    tones = measure_tones(take.without("minus-60"))
    rows = dynamic_range_rows(tones, KEY)
    assert [row.quantity for row in rows] == ["dynamic_range", "dynamic_range_a"]
    assert all(isinstance(row, NotMeasured) and "minus-60" in row.reason for row in rows)
    whole = measure_tones(take)
    no_level = dynamic_range_rows(dataclasses.replace(whole, level=None), KEY)
    assert all(isinstance(row, NotMeasured) and "level" in row.reason for row in no_level)
