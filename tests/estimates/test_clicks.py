"""Clicks of known number, place and size in hum and hiss; none where there is none."""

import numpy as np
import pytest

from humcheck.estimates.clicks import find_clicks

RATE_HZ = 48000


def quiet(duration_s, seed):
    """Hiss and hum whose level changes by a half meanwhile: the search does not know of it."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(int(duration_s * RATE_HZ)) / RATE_HZ
    hum = 3e-3 * (1 + 0.5 * np.sin(2 * np.pi * 0.05 * time_s)) * np.sin(2 * np.pi * 50.02 * time_s)
    return np.stack([hum + rng.normal(0, 1e-4, time_s.size) for _ in range(2)], axis=1)


def blocks(samples, size=70_001):
    return [(start, samples[start : start + size]) for start in range(0, len(samples), size)]


def test_every_click_is_counted_placed_and_sized():
    samples = quiet(30, 1)
    rng = np.random.default_rng(2)
    times_s = np.sort(rng.uniform(0.5, 29.5, 12))
    times_s = times_s[np.concatenate([[True], np.diff(times_s) > 0.2])]
    for time_s in times_s:
        start = int(time_s * RATE_HZ)
        # A contact that opens: a step that dies away in 3 ms.
        samples[start : start + 960, 0] += 0.03 * np.exp(-np.arange(960) / 144)
    left, right = find_clicks(blocks(samples), RATE_HZ)
    assert left.times_s == pytest.approx(times_s, abs=0.006)
    assert left.per_minute == pytest.approx(2 * len(times_s), rel=0.01)
    # Hum of 3e-3 to 4.5e-3 rides on the click.
    assert left.peaks == pytest.approx(np.full(len(times_s), 0.03), abs=0.005)
    assert right.times_s.size == 0


def test_steady_noise_has_none():
    """In six minutes of two channels."""
    assert sum(one.times_s.size for seed in range(6) for one in find_clicks(blocks(quiet(30, seed)), RATE_HZ)) == 0


def test_a_small_click_counts_from_the_stated_size_on():
    samples = quiet(10, 3)
    found = find_clicks(blocks(samples), RATE_HZ)[0]
    for size, expected in ((0.5 * found.least, 0), (2.5 * found.least, 1)):
        clicked = samples.copy()
        clicked[5 * RATE_HZ :, 0] += size
        assert find_clicks(blocks(clicked), RATE_HZ)[0].times_s.size == expected


def test_crumbs_give_nothing():
    assert find_clicks([], RATE_HZ) == []
    assert find_clicks(blocks(quiet(0.5, 1)), RATE_HZ) == []
