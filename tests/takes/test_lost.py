"""Lost and inserted samples: the count exactly, the place as well as the sound tells, and no false alarms."""

import numpy as np
import pytest

from humcheck.simulation.clocks import Crystal
from humcheck.simulation.mains import Hum
from humcheck.simulation.noise import Hiss
from humcheck.simulation.path import PathModel
from humcheck.simulation.recorder import Recorder, Splice
from humcheck.simulation.simulate import simulate_take
from humcheck.simulation.transfer import ChannelPath, LinearPath
from humcheck.takes.alignment import align
from humcheck.takes.arrivals import Arrivals
from humcheck.takes.lost import Jump, count_jumps
from humcheck.takes.recognition import find_marker
from humcheck.tracks.layouts import layout
from tests.takes.lazy import LazyTake, walk
from tests.takes.memory import MemoryTake

FULL = layout("full", "short")


def arrivals_with(jumps, *, track=FULL, walk_ppm=0.0, noise_samples=1e-3, seed=0):
    rng = np.random.default_rng(seed)
    times_s = np.array([m.start_s + place for m in track.markers for place in (0.18, 0.56)])
    index = 48000.0 * times_s * (1.0 + 1e-6 * rng.uniform(-200, 200)) + rng.uniform(0, 1e5)
    index += walk(seed, walk_ppm, track.duration_s)(times_s) + rng.normal(0.0, noise_samples, len(times_s))
    for jump in jumps:
        index = index - jump.count * (np.arange(len(times_s)) > jump.after)
    return Arrivals(
        rate_hz=48000.0,
        track_s=times_s,
        take_index=index,
        variance=np.full(len(times_s), noise_samples**2),
        side=np.where(np.arange(len(times_s)) % 2, 0.5, -0.5),
    )


@pytest.mark.parametrize("count", [1, 2, 30, 1000, 48000, -1, -40])
def test_every_count_in_every_interval(count):
    for after in range(2 * len(FULL.markers) - 1):
        jumps = [Jump(after, count)]
        assert count_jumps(arrivals_with(jumps, walk_ppm=0.3 * (after % 2), seed=after)) == jumps


def test_several_losses():
    jumps = [Jump(1, 1), Jump(5, 480), Jump(9, -2), Jump(13, 7)]
    assert count_jumps(arrivals_with(jumps, walk_ppm=0.1)) == jumps


@pytest.mark.parametrize("track", [FULL, layout("full", "standard"), layout("silence", "standard")])
@pytest.mark.parametrize("noise_samples", [1e-6, 1e-3])
def test_no_false_alarm_from_a_clock_that_wanders(track, noise_samples):
    for seed in range(50):
        arrivals = arrivals_with([], track=track, walk_ppm=0.3, noise_samples=noise_samples, seed=seed)
        assert count_jumps(arrivals) == []


def test_the_only_chirp_of_one_side_tells_of_no_jump():
    # A jump after it is the same as a skew of that side: the count that fits best is any number at all.
    arrivals = Arrivals(
        rate_hz=48000.0,
        track_s=np.array([4.935, 5.315, 11.065, 22.565, 26.065]),
        take_index=48000.0 * np.array([4.935, 5.315, 11.065, 22.565, 26.065]) + [60.0, 0.0, -0.2, 0.1, 16.0],
        variance=np.array([5e-4, 2e-4, 2e-4, 2e-4, 0.1]),
        side=np.array([-0.5, 0.5, 0.5, 0.5, 0.5]),
    )
    assert count_jumps(arrivals) == [Jump(3, -16)]


def test_one_sample_in_a_minute_of_quiet_is_not_claimed():
    # A clock that wanders by 0.3 ppm in a minute strays by a good quarter of a sample over a minute of silence.
    track = layout("silence", "long")
    assert count_jumps(arrivals_with([Jump(3, 1)], track=track, walk_ppm=0.3)) == []
    assert count_jumps(arrivals_with([Jump(3, 5)], track=track, walk_ppm=0.3)) == [Jump(3, 5)]


def placed(section, share, count, *, snr_db, seed=0, track=FULL, **more):
    """Return what is found of a loss at a share of a section's length, and the true place."""
    place = int(1000.25 + (section.start_s + share * section.duration_s) * 48000.0)
    take = LazyTake(track, losses=((place, count),), snr_db=snr_db, seed=seed, **more)
    return align(take, find_marker(take).sighting, track), place


@pytest.mark.parametrize("count", [1, 30, 1000, -30])
@pytest.mark.parametrize(("snr_db", "reach"), [(40.0, 1), (20.0, 2)])
def test_the_place_in_a_treble_sweep(count, snr_db, reach):
    alignment, place = placed(FULL.section("sweep-right"), 0.87, count, snr_db=snr_db, seed=abs(count))
    assert [lost.count for lost in alignment.lost] == [count]
    assert abs(alignment.lost[0].place_index - place) <= reach


@pytest.mark.parametrize(("name", "share"), [("tone-left", 0.5), ("imd-smpte", 0.6), ("marker-2", 0.1)])
def test_the_place_in_tones_is_within_its_uncertainty(name, share):
    # A tone moves by 7 degrees in one sample: the place is as uncertain as that makes it, and says so.
    for seed in range(2):
        alignment, place = placed(FULL.section(name), share, 3, snr_db=30.0, seed=seed)
        assert [lost.count for lost in alignment.lost] == [3]
        lost = alignment.lost[0]
        assert abs(lost.place_index - place) <= 1.0 + 3.0 * lost.place_sd


@pytest.mark.parametrize(("count", "at_s"), [(3, 29.3), (3, 37.9), (-200, 46.0)])
def test_the_place_through_an_unknown_filter_with_hum(count, at_s):
    # Neither the filters nor the hum are in the model; the places lie in the steps and in the two sweeps.
    dull = ChannelPath(gain_db=-4.0, low_corners_hz=(30.0,), high_corners_hz=(9000.0,))
    path = PathModel(
        player=Crystal(ppm=40.0, walk_ppm=0.1),
        linear=LinearPath(left=dull, right=dull),
        hum=(Hum(amplitudes=(0.003, 0.001, 0.001)),),
        hiss=(Hiss.both(-60.0),),
        recorder=Recorder(bits=16, splices=(Splice(at_s=at_s, count=count),)),
    )
    take = MemoryTake(simulate_take(FULL, path=path, lead_s=0.0).samples, 48000)
    (lost,) = align(take, find_marker(take).sighting, FULL).lost
    assert lost.count == count
    # The recorder holds the last sample while it inserts: the place may be that sample's own.
    assert -1 - 2.0 * lost.place_sd <= lost.place_index - round(at_s * 48000) <= 1 + 2.0 * lost.place_sd
    assert lost.place_sd < 5.0


def test_in_quiet_the_interval_is_named():
    quiet = FULL.section("quiet")
    alignment, place = placed(quiet, 0.4, 3, snr_db=40.0)
    (lost,) = alignment.lost
    assert (lost.count, lost.place_index, lost.place_sd) == (3, None, None)
    assert lost.start_s < place / 48000.0 < lost.end_s
    # It lies between the markers on either side.
    assert lost.start_s > FULL.section("marker-1").start_s
    assert lost.end_s < FULL.section("marker-2").end_s + 0.1


def test_sections_after_a_loss_are_where_they_are():
    alignment, place = placed(FULL.section("sweep-left"), 0.9, 480, snr_db=60.0, drift_ppm=25.0)
    after_s = FULL.section("imd-smpte").start_s
    expected = 1000.25 + after_s * 48000.0 * (1.0 + 25e-6) - 480
    assert float(alignment.clock.take_index(after_s)) == pytest.approx(expected, abs=1e-3)
    assert alignment.drift_ppm == pytest.approx(25.0, abs=1e-4)
