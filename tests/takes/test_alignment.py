"""Offset, drift, gain and polarity against what was put in, and their uncertainties against what they claim."""

import numpy as np
import pytest

from humcheck.simulation.clocks import Crystal
from humcheck.simulation.noise import Hiss
from humcheck.simulation.path import PathModel
from humcheck.simulation.simulate import simulate_take
from humcheck.simulation.transfer import ChannelPath, LinearPath
from humcheck.takes.alignment import align
from humcheck.takes.arrivals import Arrivals, is_straight
from humcheck.takes.recognition import find_marker
from humcheck.takes.timing import fit_clock
from humcheck.tracks.layouts import layout
from tests.takes.bound import offset_and_drift_bound
from tests.takes.lazy import LazyTake, walk
from tests.takes.memory import MemoryTake

SWEEP = layout("sweep", "short")


def aligned(take, track):
    sighting = find_marker(take).sighting
    assert sighting.identity == track.identity
    return align(take, sighting, track)


@pytest.mark.parametrize("snr_db", [20.0, 80.0])
def test_offset_and_drift_reach_the_bound(snr_db):
    # Six trials give the ratio to 29 % (an RMS of n has the relative spread 1/sqrt(2 n)): 1.9 is three spreads off.
    errors, claims = [], []
    for seed in range(6):
        take = LazyTake(
            SWEEP, offset_samples=900.0 + 0.37 * seed, drift_ppm=150.0 - 31.0 * seed, snr_db=snr_db, seed=seed
        )
        found = aligned(take, SWEEP)
        errors.append((found.offset_s * 48000.0 - take.offset_samples, found.drift_ppm - take.drift_ppm))
        claims.append((found.offset_sd_s * 48000.0, found.drift_sd_ppm))
    bound = offset_and_drift_bound(SWEEP, 48000.0, take.noise_rms)
    reached = np.sqrt(np.mean(np.square(errors), axis=0))
    assert np.all(reached < 1.9 * np.array(bound))
    # What is claimed is never less than what is possible. It may be more: four markers cannot exclude a clock that
    # wanders by 0.001 ppm, which counts for nothing at 20 dB and for more than the noise at 80 dB.
    assert np.all(np.median(claims, axis=0) > 0.95 * np.array(bound))
    assert np.all(np.median(claims, axis=0) < {20.0: 3.0, 80.0: 100.0}[snr_db] * np.array(bound))


def test_an_unknown_filter_does_not_move_the_drift():
    ends = ChannelPath(gain_db=-3.0, low_corners_hz=(20.0,), high_corners_hz=(20000.0,))
    path = PathModel(
        player=Crystal(ppm=70.0),
        recorder_clock=Crystal(ppm=-45.0),
        linear=LinearPath(left=ends, right=ends),
        hiss=(Hiss.both(-66.0),),
    )
    for seed in range(2):
        simulated = simulate_take(SWEEP, path=path, seed=seed)
        found = aligned(MemoryTake(simulated.samples, 48000), SWEEP)
        error_ppm = found.drift_ppm - simulated.truth.drift_ppm
        assert abs(error_ppm) < 0.001
        assert abs(error_ppm) < 4.0 * found.drift_sd_ppm
        assert found.gain_db["left"] == pytest.approx(simulated.truth.gain_db[0], abs=0.01)
        # The filter's own delay is part of the offset: 1 / (2 pi 20 kHz) is 0.38 samples, less towards the top.
        assert 0.0 < (found.offset_s - simulated.truth.offset_s) * 48000.0 < 0.4


def test_a_recorder_that_takes_turns_does_not_move_the_drift():
    class Late(LazyTake):
        """The right channel is sampled half a sample late, as a shared converter does."""

        def read(self, start=0, stop=None):
            late = LazyTake(SWEEP, offset_samples=self.offset_samples + 0.5, n_samples=self.n_samples)
            return np.stack([super().read(start, stop)[:, 0], late.read(start, stop)[:, 1]], axis=1)

    found = aligned(Late(SWEEP, offset_samples=1000.0), SWEEP)
    assert found.offset_s * 48000.0 == pytest.approx(1000.25, abs=1e-3)
    assert found.drift_ppm == pytest.approx(0.0, abs=1e-5)
    assert found.lost == ()


def test_a_wandering_clock_is_followed():
    track = layout("full", "standard")
    wander = walk(3, 0.3, track.duration_s)
    take = LazyTake(track, drift_ppm=40.0, snr_db=40.0, wander=wander)
    found = aligned(take, track)
    assert found.wander.walk_ppm > 0.0
    time_s = np.array([marker.start_s + 0.5 for marker in track.markers])
    index = take.offset_samples + time_s * 48000.0 * (1.0 + 40e-6)
    for _ in range(4):
        index = take.offset_samples + time_s * 48000.0 * (1.0 + 40e-6) + wander(index / 48000.0)
    # At the markers it is right to noise (bound 7e-5 samples for a chirp), and nowhere a step is made of it.
    assert found.clock.take_index(time_s) == pytest.approx(index, abs=5e-4)
    assert found.lost == ()


def test_a_machine_that_warms_up_is_no_riddle():
    # The steady change of the rate, 0.3 ppm a minute, is followed beyond the outermost markers too.
    path = PathModel(recorder_clock=Crystal(ppm=20.0, ppm_per_minute=0.3), hiss=(Hiss.both(-66.0),))
    track = layout("full", "short")
    simulated = simulate_take(track, path=path, seed=1)
    found = aligned(MemoryTake(simulated.samples, 48000), track)
    assert found.drift_ppm == pytest.approx(simulated.truth.drift_ppm, abs=1e-4)
    assert found.offset_s * 48000.0 == pytest.approx(simulated.truth.offset_s * 48000.0, abs=1e-3)
    times_s = np.linspace(0.0, track.duration_s, 50)
    assert np.abs(found.clock.take_index(times_s) - simulated.truth.take_index(times_s)).max() < 1e-3


@pytest.mark.parametrize(
    ("walk_ppm", "noise_samples"), [(0.0, 1e-3), (0.0, 1e-6), (0.3, 1e-6), (0.3, 1e-4), (0.03, 1e-3)]
)
def test_uncertainties_cover(walk_ppm, noise_samples):
    # 95 % should lie within 1.96 standard uncertainties; of 120 trials at least 86 % (three standard deviations less
    # and a little for wander too weak to be sure of).
    rng = np.random.default_rng(5)
    times_s = np.array([m.start_s + place for m in layout("full", "standard").markers for place in (0.18, 0.56)])
    side = np.where(np.arange(len(times_s)) % 2, 0.5, -0.5)
    inside = []
    for seed in range(120):
        wander = walk(seed, walk_ppm, 100.0)
        index = 48000.0 * times_s + wander(times_s) + rng.normal(0.0, noise_samples, len(times_s))
        arrivals = Arrivals(
            rate_hz=48000.0,
            track_s=times_s,
            take_index=index,
            variance=np.full(len(times_s), noise_samples**2),
            side=side,
        )
        fit = fit_clock(arrivals, 96.5)
        offset, drift_ppm = float(wander(0.0)), float(wander(96.5) - wander(0.0)) / 96.5 / 48000.0 * 1e6
        inside.append(
            (
                abs(fit.clock.offset_s * 48000.0 - offset) < 1.96 * fit.offset_sd_s * 48000.0,
                abs(fit.clock.drift_ppm - drift_ppm) < 1.96 * fit.drift_sd_ppm,
            )
        )
    assert np.all(np.mean(inside, axis=0) > 0.86)


def test_a_steady_clock_is_called_straight_and_a_wandering_one_is_not():
    times_s = np.array([m.start_s for m in layout("full", "standard").markers])
    noise = np.random.default_rng(1).normal(0.0, 1e-3, len(times_s))
    for wander, straight in ((0.0, True), (0.05, False)):
        arrivals = Arrivals(
            rate_hz=48000.0,
            track_s=times_s,
            take_index=48000.0 * times_s + noise + wander * (times_s / 50.0 - 1.0) ** 2,
            variance=np.full(len(times_s), 1e-6),
            side=np.full(len(times_s), -0.5),
        )
        assert is_straight(arrivals) is straight


@pytest.mark.parametrize(("keep_s", "least_sd_ppm"), [(6.0, 5.0), (5.22, 15.0)])
def test_one_marker_or_one_chirp_says_how_little_it_knows(keep_s, least_sd_ppm):
    take = LazyTake(SWEEP, drift_ppm=60.0, snr_db=40.0, offset_samples=0.0, n_samples=int(keep_s * 48000))
    found = aligned(take, SWEEP)
    assert found.drift_sd_ppm > least_sd_ppm
    assert abs(found.drift_ppm - 60.0) < 3.0 * found.drift_sd_ppm
    assert abs(found.offset_s) < 3.0 * found.offset_sd_s


def test_a_damaged_marker_is_left_out():
    class Crackling(LazyTake):
        """A crackle over the left chirp of the second marker."""

        def read(self, start=0, stop=None):
            samples = super().read(start, stop)
            first = int(self.offset_samples + (SWEEP.markers[1].start_s + 0.1) * 48000) - start
            samples[max(first, 0) : max(first + 2000, 0)] *= -1.0
            return samples

    take = Crackling(SWEEP, drift_ppm=30.0, snr_db=40.0)
    found = aligned(take, SWEEP)
    assert [bool(used) for used in found.used].count(False) == 1
    assert abs(found.drift_ppm - 30.0) < 4.0 * found.drift_sd_ppm
    assert found.lost == ()


@pytest.mark.parametrize("wow", [0.0005, 0.001, 0.003])
def test_a_speed_that_sways_feigns_no_loss_and_no_polarity(wow):
    # Speed off by up to `wow` and back 0.55 times a second, as a capstan does; arrivals are late by its integral.
    turn = 2.0 * np.pi * 0.55
    take = LazyTake(SWEEP, snr_db=40.0, wander=lambda time_s: 48000.0 * wow / turn * np.sin(turn * time_s))
    found = aligned(take, SWEEP)
    assert found.lost == ()
    assert found.polarity == {"left": 1, "right": 1}
    assert found.channel_map == "straight"
