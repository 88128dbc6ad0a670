"""Raised exactly as stated, never above the ceiling, with a slow start."""

import numpy as np
import pytest

from humcheck.audio.levels import amplitude_to_dbfs, rms_to_dbfs
from humcheck.evidence.loudness import CEILING_DBFS, FADE_IN_S, MOST_RAISE_DB, common_raise_db, made_louder

RATE_HZ = 32_000


def hiss(level_dbfs, seconds=4.5, seed=1, n_channels=2):
    rng = np.random.default_rng(seed)
    return rng.normal(0, 10 ** (level_dbfs / 20) / np.sqrt(2), (int(seconds * RATE_HZ), n_channels))


def between_fades(samples):
    return samples[RATE_HZ : -RATE_HZ // 2]


@pytest.mark.parametrize("level_dbfs", [-95.0, -70.0, -40.0])
def test_even_noise_comes_up_to_the_ceiling_unlimited(level_dbfs):
    samples = hiss(level_dbfs)
    raised_db = common_raise_db([samples], RATE_HZ)
    louder, limited = made_louder(samples, RATE_HZ, raised_db)
    assert not limited
    if raised_db < MOST_RAISE_DB:
        assert CEILING_DBFS - 3 < amplitude_to_dbfs(np.abs(louder).max()) <= CEILING_DBFS
    change_db = rms_to_dbfs(np.sqrt(np.mean(between_fades(louder) ** 2))) - rms_to_dbfs(
        np.sqrt(np.mean(between_fades(samples) ** 2))
    )
    assert change_db == pytest.approx(raised_db, abs=1e-9)


def test_one_raise_for_all_and_the_loudest_decides():
    soft, loud = hiss(-95.0), hiss(-60.0)
    assert common_raise_db([soft, loud], RATE_HZ) == common_raise_db([loud], RATE_HZ)
    assert isinstance(common_raise_db([soft], RATE_HZ), int)


def test_the_raise_has_an_end():
    assert common_raise_db([hiss(-150.0)], RATE_HZ) == MOST_RAISE_DB
    assert common_raise_db([np.zeros((1000, 2))], RATE_HZ) == MOST_RAISE_DB


def test_what_is_loud_already_is_lowered():
    assert common_raise_db([hiss(-10.0)], RATE_HZ) < 0


def test_a_click_does_not_decide_the_raise_but_is_limited():
    samples = hiss(-90.0)
    clicked = samples.copy()
    clicked[2 * RATE_HZ] = 0.3
    clicked[3 * RATE_HZ : 3 * RATE_HZ + 40] = -0.1
    raised_db = common_raise_db([clicked], RATE_HZ)
    assert raised_db == common_raise_db([samples], RATE_HZ)
    louder, limited = made_louder(clicked, RATE_HZ, raised_db)
    assert limited
    assert np.abs(louder).max() <= 10 ** (CEILING_DBFS / 20) * (1 + 1e-12)
    # A few milliseconds around the click are turned down, and nothing else.
    plain, _ = made_louder(samples, RATE_HZ, raised_db)
    changed = np.abs(louder - plain).max(axis=1) > 1e-12
    assert changed.sum() < 0.05 * RATE_HZ


@pytest.mark.parametrize("seed", range(5))
def test_nothing_ever_exceeds_the_ceiling(seed):
    rng = np.random.default_rng(seed)
    samples = rng.standard_cauchy((RATE_HZ, 2)) * 0.01
    louder, limited = made_louder(samples, RATE_HZ, 30.0)
    assert limited
    assert np.abs(louder).max() <= 10 ** (CEILING_DBFS / 20) * (1 + 1e-12)


def test_the_start_is_slow_and_the_end_is_silent():
    samples = np.ones((int(4.5 * RATE_HZ), 1)) * 1e-3
    louder, _ = made_louder(samples, RATE_HZ, 20.0)
    assert louder[0, 0] == 0
    assert louder[-1, 0] == pytest.approx(0, abs=1e-6)
    start = louder[: int(FADE_IN_S * RATE_HZ), 0]
    assert (np.diff(start) >= 0).all()
    # A tenth of a second in, still 26 dB below what is to come.
    assert start[int(0.1 * RATE_HZ)] < 0.05 * louder.max()
    assert louder[RATE_HZ, 0] == pytest.approx(1e-2)


def test_a_very_short_sound_is_faded_too():
    louder, _ = made_louder(np.ones((30, 1)) * 1e-3, RATE_HZ, 0.0)
    assert louder[0, 0] == 0
    assert len(louder) == 30
