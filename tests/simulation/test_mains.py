"""Mains: the frequency it has, the waveforms it leaves."""

import math

import numpy as np
import pytest

from humcheck.simulation import (
    Hum,
    Mains,
    PathModel,
    Recorder,
    bursts,
    ground_loop,
    harmonics,
    rectified,
    simulate_take,
)
from tests.simulation.reading import decibels, lines

FLOAT = Recorder(bits=None)


def test_ripple_of_an_ideal_rectifier():
    # Fourier series of |sin|: 2 / (4 k^2 - 1) of the direct voltage; -3.522, -17.501, -24.861 dB re the direct voltage.
    ripple = np.array(rectified(0.0))
    even = ripple[1::2]
    assert decibels(even[1] / even[0]) == pytest.approx(-17.5012 + 3.5218, abs=2e-4)
    assert decibels(even[2] / even[0]) == pytest.approx(-24.8608 + 3.5218, abs=2e-4)
    assert not ripple[0::2].any()


def test_ripple_has_the_shape_of_a_rectified_sine():
    ripple = np.array(rectified(0.0, n_harmonics=2000))
    cycles = np.linspace(0, 1, 1001)
    order = np.arange(1, 2001)
    shape = np.real(np.exp(2j * np.pi * cycles[:, np.newaxis] * order) @ ripple)
    # Level 0 dBFS of the second harmonic is an amplitude of 1; in |sin| it is 4 / (3 pi).
    wanted = (np.abs(np.sin(2 * np.pi * cycles)) - 2 / np.pi) * 3 * np.pi / 4
    # What is left out: sum over k > 1000 of 3 / (4 k^2 - 1), less than 3 / 4000.
    assert np.abs(shape - wanted).max() < 7.5e-4


def test_ground_loop_has_odd_harmonics_only():
    amplitudes = np.abs(ground_loop(-70.0, n_harmonics=7, fall_db=6.0))
    assert not amplitudes[1::2].any()
    assert decibels(amplitudes[::2]) == pytest.approx([-70.0, -76.0, -82.0, -88.0])


def test_bursts_have_the_level_asked_for_and_come_twice_a_cycle():
    amplitudes = np.array(bursts(-80.0, ring_hz=4000.0))
    # RMS sum of the lines re a full-scale sine.
    assert 10 * np.log10(np.sum(np.abs(amplitudes) ** 2)) == pytest.approx(-80.0, abs=1e-9)
    assert not amplitudes[0::2].any()
    # The strongest line is the multiple of 100 Hz nearest the oscillation's own frequency.
    assert (np.argmax(np.abs(amplitudes)) + 1) * 50 == pytest.approx(4000, abs=100)


def test_bursts_are_short():
    amplitudes = np.array(bursts(-20.0, ring_hz=4000.0, decay_s=0.3e-3, n_harmonics=400))
    cycles = np.arange(4096) / 4096
    shape = np.real(np.exp(2j * np.pi * cycles[:, np.newaxis] * np.arange(1, 401)) @ amplitudes)
    energy = shape**2
    # A burst at the start and one half a cycle later: 2 ms (a tenth of a cycle) after each hold nearly everything.
    near = (cycles % 0.5) < 0.1
    assert energy[near].sum() / energy.sum() > 0.98


def test_wander_returns_to_its_mean_with_the_spread_asked_for():
    mains = Mains(frequency_hz=50.0, wander_mhz=20.0, correlation_s=60.0)
    time_s = np.arange(0, 60_000, 1.0)
    track = mains.track_hz(time_s, np.random.default_rng(1))
    # 60000 s are 500 independent pieces of 2 x 60 s: 3 % of the spread, 1 mHz of the mean; four of each.
    assert np.std(track) * 1000 == pytest.approx(20.0, rel=0.13)
    assert np.mean(track) == pytest.approx(50.0, abs=0.004)


def test_random_walk_is_given_by_its_change_in_30_s():
    mains = Mains(frequency_hz=60.0, wander_mhz=20.0)
    time_s = np.arange(0, 30.05, 0.1)
    changes = [mains.track_hz(time_s, np.random.default_rng(seed))[-1] - 60.0 for seed in range(400)]
    assert np.sqrt(np.mean(np.square(changes))) * 1000 == pytest.approx(20.0, rel=0.14)


@pytest.mark.parametrize("wander_mhz", [20.0, 65.0])
def test_mains_stays_within_en_50160(wander_mhz):
    # EN 50160: 10 s means within 50 Hz +- 1 % for 99.5 % of a year; spreads of 20 mHz (continent) and 65 mHz (islands)
    # are far inside it (common knowledge, from memory). The random numbers must not stray further than a real grid.
    track = Mains(wander_mhz=wander_mhz, correlation_s=300.0).track_hz(
        np.arange(0, 86_400, 1.0), np.random.default_rng(2)
    )
    means = track[: track.size // 10 * 10].reshape(-1, 10).mean(axis=1)
    assert np.mean(np.abs(means - 50.0) <= 0.5) >= 0.995


def test_hum_arrives_at_its_level_in_each_channel():
    hum = Hum(amplitudes=harmonics({1: -60.0, 2: -75.0, 3: -66.0}), left=1.0, right=-0.5)
    take = simulate_take(None, path=PathModel(hum=(hum,), recorder=FLOAT), duration_s=10.0)
    found = lines(take.samples, 48000, [50.0, 100.0, 150.0])
    assert decibels(found[:, 0]) == pytest.approx([-60.0, -75.0, -66.0], abs=1e-6)
    # Half, and turned over.
    assert np.abs(found[:, 1] + 0.5 * found[:, 0]).max() < 1e-10
    # Power sum of -60, -75 and -66 dBFS: -58.9184 dBFS; half of it in the right channel, -6.0206 dB.
    assert take.truth.hum_level_dbfs == pytest.approx([-58.9184, -64.9390], abs=1e-3)


def test_two_hums_add_with_their_phases():
    one = Hum(amplitudes=(0.001 + 0j,))
    other = Hum(amplitudes=(-0.0004 + 0j,), right=0.0)
    take = simulate_take(None, path=PathModel(hum=(one, other), recorder=FLOAT), duration_s=5.0)
    found = np.abs(lines(take.samples, 48000, [50.0])[0])
    assert found == pytest.approx([0.0006, 0.001], rel=1e-7)
    assert take.truth.hum_level_dbfs == pytest.approx(decibels(np.array([0.0006, 0.001])), abs=1e-9)


def test_modulated_hum_has_sidebands_of_half_the_depth():
    hum = Hum(amplitudes=(0.01 + 0j,), modulation=0.3, modulation_hz=1.0)
    take = simulate_take(None, path=PathModel(hum=(hum,), recorder=FLOAT), duration_s=10.0)
    low, carrier, high = np.abs(lines(take.samples, 48000, [49.0, 50.0, 51.0]))[:, 0]
    assert carrier == pytest.approx(0.01, rel=1e-6)
    assert [low, high] == pytest.approx([0.0015, 0.0015], rel=1e-6)
    # Power of carrier and sidebands: 1 + 0.3^2 / 2, 0.1912 dB; in the first quarter of a second it only rises:
    # mean of (1 + 0.3 sin)^2 over a quarter turn is 1 + 0.6 x 2/pi + 0.09/2 = 1.42697, 1.5441 dB.
    assert take.truth.hum_level_between_dbfs(-1.25, 8.75) == pytest.approx([-40 + 0.1912] * 2, abs=1e-3)
    assert take.truth.hum_level_between_dbfs(-1.25, -1.0) == pytest.approx([-40 + 1.5441] * 2, abs=2e-3)


def test_truth_knows_the_frequency_that_the_take_holds():
    mains = Mains(frequency_hz=50.02, wander_mhz=20.0, correlation_s=math.inf)
    path = PathModel(mains=mains, hum=(Hum(amplitudes=(0.1 + 0j,)),), recorder=FLOAT)
    take = simulate_take(None, path=path, duration_s=12.0, seed=4)
    true_hz = take.truth.hum_frequency_hz(-1.25 + 1.0, -1.25 + 11.0)
    # Phase at two moments ten seconds apart, each read over five cycles around it.
    ends = []
    for centre_s in (1.0, 11.0):
        start = round((centre_s - 0.05) * 48000)
        amplitude = lines(take.samples[start : start + 4800, :1], 48000, [true_hz])[0, 0]
        ends.append(
            np.angle(amplitude) + 2 * np.pi * true_hz * (centre_s - start / 48000) - 2 * np.pi * true_hz * centre_s
        )
    turned = np.angle(np.exp(1j * (ends[1] - ends[0])))
    # A tenth of a mHz is 6.3 mrad in ten seconds.
    assert abs(turned) / (2 * np.pi * 10) < 1e-4
