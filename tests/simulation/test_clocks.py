"""Clocks: signs, sizes and the way back."""

import numpy as np
import pytest

from humcheck.simulation import Crystal
from humcheck.simulation.clocks import Counter, Knots, time_map

RATE_HZ = 48000


def make_map(player=None, recorder=None, duration_s=60.0, offset_s=1.0, seed=0):
    return time_map(
        n_samples=int(duration_s * RATE_HZ),
        rate_hz=RATE_HZ,
        player=player or Crystal(),
        recorder=recorder or Crystal(),
        offset_s=offset_s,
        rng=np.random.default_rng(seed),
    )


def test_50_ppm_in_a_minute_are_144_samples():
    # 48000 x 60 x 50e-6 = 144.
    clock = make_map(recorder=Crystal(ppm=50.0), duration_s=70.0)
    first, last = clock.take_index(np.array([0.0, 60.0]))
    assert last - first - 60 * RATE_HZ == pytest.approx(144.0, abs=1e-6)


@pytest.mark.parametrize(
    ("player_ppm", "recorder_ppm", "expected_ppm"),
    [
        pytest.param(0.0, 100.0, 100.0, id="fast recorder: more samples, longer take"),
        pytest.param(100.0, 0.0, (1 / 1.0001 - 1) * 1e6, id="fast player: shorter take"),
        pytest.param(-40.0, 80.0, (1.00008 / 0.99996 - 1) * 1e6, id="both"),
    ],
)
def test_drift_is_positive_where_the_take_is_longer(player_ppm, recorder_ppm, expected_ppm):
    clock = make_map(Crystal(ppm=player_ppm), Crystal(ppm=recorder_ppm))
    assert clock.drift_ppm(0.0, 50.0) == pytest.approx(expected_ppm, abs=1e-6)


def test_offset_is_where_the_source_begins():
    for offset_s in (1.25, 0.123456, -2.5):
        clock = make_map(recorder=Crystal(ppm=70.0, walk_ppm=1.0), offset_s=offset_s)
        assert clock.take_index(np.array([0.0]))[0] == pytest.approx(offset_s * RATE_HZ, abs=1e-9)


def test_way_back_is_exact_with_a_wandering_clock():
    clock = make_map(Crystal(ppm=-300, walk_ppm=2.0), Crystal(ppm=500, ppm_per_minute=5.0, walk_ppm=2.0))
    index = np.linspace(0, 59 * RATE_HZ, 5001)
    assert np.abs(clock.take_index(clock.source_time_s(index)) - index).max() < 1e-7


def test_positions_on_the_grid_are_those_asked_for_one_by_one():
    clock = make_map(Crystal(ppm=10, walk_ppm=1.0), Crystal(ppm=-30, walk_ppm=1.0), duration_s=3.0)
    grid = clock.positions(3 * RATE_HZ)
    one_by_one = clock.source_time_s(np.arange(3 * RATE_HZ, dtype=float)) * RATE_HZ
    assert np.abs(grid - one_by_one).max() < 1e-8


def test_walk_has_the_size_that_it_is_given():
    knots = Knots(61 * RATE_HZ, RATE_HZ)
    crystal = Crystal(walk_ppm=0.3)
    changes = [(crystal.rate_factor(knots.time_s, np.random.default_rng(seed))[600] - 1) * 1e6 for seed in range(400)]
    # RMS of 400 draws: relative standard error 1/sqrt(800), 3.5 %; four of them allowed.
    assert np.sqrt(np.mean(np.square(changes))) == pytest.approx(0.3, rel=0.14)


def test_slope_is_per_minute():
    factor = Crystal(ppm=10.0, ppm_per_minute=3.0).rate_factor(np.linspace(0, 120, 1201), np.random.default_rng(0))
    assert (factor[[0, 600, 1200]] - 1) * 1e6 == pytest.approx([10.0, 13.0, 16.0], abs=1e-6)


def test_counter_integrates_its_rate():
    knots = Knots(10 * RATE_HZ, RATE_HZ)
    # Rate 50 + t Hz: 50 t + t^2 / 2 cycles, exact for a cubic spline.
    counter = Counter(knots, (50 + knots.time_s) / RATE_HZ)
    assert counter.at(np.array([0.0, 10.0 * RATE_HZ])) == pytest.approx([0.0, 550.0], abs=1e-8)
    assert counter.grid(10 * RATE_HZ)[4 * RATE_HZ] == pytest.approx(208.0, abs=1e-8)
    assert counter.rate_at(np.array([4.0 * RATE_HZ])) * RATE_HZ == pytest.approx(54.0, abs=1e-8)


def test_true_frequency_reads_low_on_a_fast_recorder():
    # 100 ppm fast: 50 Hz reads 50 / 1.0001 in the take's nominal clock.
    clock = make_map(recorder=Crystal(ppm=100.0))
    cycles = clock.true_counter(50.0).at(np.array([0.0, 10.0 * RATE_HZ]))
    assert (cycles[1] - cycles[0]) / 10 == pytest.approx(50 / 1.0001, abs=1e-9)
