"""Excerpts as FLAC: the samples come back, coarse only where hiss hides it, and never above their peak."""

import numpy as np
import pytest

from humcheck.audio.levels import rms_to_dbfs
from humcheck.audio.writing import own_output
from humcheck.evidence.encoding import encode
from tests.evidence.quiet_takes import decoded

RATE_HZ = 32_000


def hiss(level_dbfs, seed=1):
    return np.random.default_rng(seed).normal(0, 10 ** (level_dbfs / 20) / np.sqrt(2), (2 * RATE_HZ, 2))


def test_tones_come_back_to_within_half_a_step():
    time_s = np.arange(RATE_HZ) / RATE_HZ
    samples = 0.08 * np.sin(2 * np.pi * 150 * time_s)[:, None] * [1.0, 0.5]
    again, rate_hz = decoded(encode(samples, RATE_HZ))
    assert rate_hz == RATE_HZ
    # Steps of 4 / 32768 at most: the finest that -76 dBFS allows.
    assert np.abs(again - samples).max() <= 2 / 32768 + 1e-12


@pytest.mark.parametrize("level_dbfs", [-30.0, -45.0, -60.0])
def test_rounding_lies_20_db_below_the_hiss(level_dbfs):
    samples = hiss(level_dbfs)
    rms = float(np.sqrt(np.mean(samples**2)))
    again, _ = decoded(encode(samples, RATE_HZ, hiss_rms=rms))
    error_db = rms_to_dbfs(np.sqrt(np.mean((again - samples) ** 2))) - level_dbfs
    # step / sqrt(12) at 2.9 steps RMS or more: -20.0 dB; not far below -26 dB either, or bytes are wasted.
    assert -27 < error_db < -19.9
    # White like the hiss: no distortion. Correlation of error and signal within its chance scatter, 4 / sqrt(n).
    correlation = np.corrcoef((again - samples).ravel(), samples.ravel())[0, 1]
    assert abs(correlation) < 4 / np.sqrt(samples.size)


def test_hiss_is_small():
    samples = hiss(-30.0)
    coarse = encode(samples, RATE_HZ, hiss_rms=float(np.sqrt(np.mean(samples**2))))
    # log2(2.9 ... 5.8 steps) + 2.05 bits, a sample: 3.6 to 4.6 bits.
    assert 3.4 < 8 * len(coarse) / samples.size < 5.0
    assert len(coarse) < 0.55 * len(encode(samples, RATE_HZ))


def test_no_sample_comes_out_above_the_highest_that_went_in():
    samples = hiss(-20.0)
    again, _ = decoded(encode(samples, RATE_HZ, hiss_rms=0.05))
    assert np.abs(again).max() <= np.abs(samples).max()


def test_the_same_samples_give_the_same_file_and_it_is_known_again(tmp_path):
    samples = hiss(-50.0)
    content = encode(samples, RATE_HZ)
    assert content == encode(samples, RATE_HZ)
    assert content.startswith(b"fLaC")
    (tmp_path / "x.flac").write_bytes(content)
    assert own_output(tmp_path / "x.flac")


def test_silence_and_one_channel():
    again, _ = decoded(encode(np.zeros((1000, 1)), RATE_HZ))
    assert again.shape == (1000, 1)
    assert not again.any()
