"""Faults of level handling: each is found where it is, and none where nothing is wrong."""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest

from humcheck.analyzers.steps import step_faults
from humcheck.estimates.tones import measure_tones
from humcheck.results.quantities import QUANTITIES
from humcheck.simulation import (
    TIMING_625,
    FrameComb,
    GainControl,
    Hiss,
    Hum,
    NoiseGate,
    Picture,
    PictureLeak,
    Recorder,
    ground_loop,
    harmonics,
)
from humcheck.simulation.raster import picture_rows
from tests.tone_takes import simulate_tones

NOT_NEEDED = ("tone-left", "tone-right", "imd-smpte", "imd-difference")


@pytest.fixture(scope="module")
def plain():
    """A take straight from the line: -90 dBFS of hiss, no recorder yet."""
    return simulate_tones(*NOT_NEEDED, seed=2, hiss=(Hiss.both(-90.0),), recorder=Recorder(bits=None))[0]


def recorded(take, **recorder):
    rng = np.random.default_rng(3)
    return take.with_samples(Recorder(**recorder).record(take.samples.T.copy(), take.rate_hz, rng).T.copy())


def codes(take):
    return [fault.code for fault in step_faults(measure_tones(take))]


@pytest.mark.parametrize("bits", [16, 24])
def test_a_clean_take_has_no_fault(plain, bits):
    assert codes(recorded(plain, bits=bits)) == []


@pytest.mark.parametrize(
    "path",
    [
        pytest.param(
            {"hum": (Hum(amplitudes=ground_loop(-45.0)),), "recorder": Recorder(dc=(0.05, -0.02))},
            id="strong hum and an offset",
        ),
        pytest.param(
            {"hum": (Hum(amplitudes=harmonics({19: -75.0, 20: -75.0, 21: -75.0})),), "hiss": (Hiss.both(-65.0),)},
            id="loud hiss, hum beside the tone",
        ),
        pytest.param({"frames": FrameComb(level_dbfs=-65.0)}, id="lines at multiples of 1 kHz"),
        pytest.param({"bits": 16, "rate_hz": 44100}, id="16-bit track, quiet recorder"),
    ],
)
def test_dirt_alone_is_no_fault_of_level(path):
    take, _ = simulate_tones(*NOT_NEEDED, seed=4, **({"hiss": (Hiss.both(-100.0),)} | path))
    assert codes(take) == []


@pytest.mark.parametrize(
    "control",
    [
        pytest.param(GainControl(), id="common"),
        pytest.param(
            GainControl(target_dbfs=-6.0, most_gain_db=3.0, attack_s=0.01, release_s=0.5), id="mild and quick"
        ),
        pytest.param(GainControl(target_dbfs=-9.0, most_gain_db=0.0, attack_s=0.005, release_s=0.1), id="limiter"),
    ],
)
def test_automatic_gain(plain, control):
    faults = step_faults(measure_tones(recorded(plain, gain_control=control)))
    assert [fault.code for fault in faults] == ["automatic-gain"]
    assert faults[0].channel is None
    assert {"gain", "hum_level", "hiss_level_a", "dynamic_range", "response_delta"} <= set(faults[0].spoils)


def test_a_knob_that_is_turned_during_the_take(plain):
    samples = plain.samples.copy()
    samples[len(samples) // 2 :] *= 10.0 ** (-0.5 / 20.0)
    assert codes(plain.with_samples(samples)) == ["automatic-gain"]


def placed(take):
    """The faults, and a function for where a section lies in the take."""
    laid = dataclasses.replace(take, alignment=SimpleNamespace(polarity={}, clock=take.clock))

    def place_s(name, after_s=0.0):
        start_s = take.layout.section(name).start_s + after_s
        return float(take.clock.take_index(np.array([start_s]))[0]) / take.rate_hz

    return step_faults(measure_tones(laid), take=laid), place_s


def test_the_moment_a_knob_was_turned_lies_between_two_tones(plain):
    """In the quiet, which lies between the level tone and the steps."""
    samples = plain.samples.copy()
    turned_s = plain.layout.section("quiet").start_s + 1.0
    samples[round(turned_s * plain.rate_hz) :] *= 10.0 ** (-0.5 / 20.0)
    (fault,), place_s = placed(plain.with_samples(samples))
    assert fault.start_s == pytest.approx(place_s("level", 4.0), abs=1e-3)
    assert fault.start_s < turned_s < fault.end_s
    assert fault.end_s == pytest.approx(place_s("steps"), abs=1e-3)
    assert f"between {fault.start_s:.1f} and {fault.end_s:.1f} s" in fault.sentence


def test_a_limiter_is_placed_at_the_steps_that_it_turns_down(plain):
    """It aims at -9 dBFS: the steps at -6, -3 and -1 dBFS, the last three of nine of 0.75 s, are too loud for it."""
    control = GainControl(target_dbfs=-9.0, most_gain_db=0.0, attack_s=0.005, release_s=0.1)
    (fault,), place_s = placed(recorded(plain, gain_control=control))
    assert place_s("steps", 6 * 0.75) - 0.01 <= fault.start_s <= place_s("steps", 7 * 0.75) + 0.01
    assert fault.end_s == pytest.approx(place_s("steps", 9 * 0.75), abs=1e-3)


def test_an_overload_is_placed_from_the_first_loud_tone_on(plain):
    (fault,), place_s = placed(recorded(plain, clip_dbfs=-2.0))
    assert fault.code == "overload"
    assert fault.start_s == pytest.approx(place_s("level"), abs=1e-3)
    assert fault.end_s == pytest.approx(place_s("full-scale", plain.layout.section("full-scale").duration_s), abs=1e-3)


@pytest.mark.parametrize(
    ("clip_dbfs", "expected"), [(-1.5, ["overload"]), (-2.0, ["overload"]), (-8.0, ["overload"]), (-0.9, [])]
)
def test_overload(plain, clip_dbfs, expected):
    faults = step_faults(measure_tones(recorded(plain, clip_dbfs=clip_dbfs)))
    assert [fault.code for fault in faults] == expected
    for fault in faults:
        assert {"thd", "thd_n", "imd_smpte"} <= set(fault.spoils)


@pytest.mark.parametrize("cubic", [0.005, 0.02, -0.02, -0.06])
def test_a_curve_that_bends_smoothly_is_distortion_and_no_fault(plain, cubic):
    # THD of 0.1 to 1.2 % near full scale: it is to be measured, not to be taken away.
    assert codes(plain.with_samples(plain.samples + cubic * plain.samples**3)) == []


def test_overload_of_one_channel_names_it(plain):
    samples = plain.samples.copy()
    samples[:, 1] = np.clip(samples[:, 1], -0.75, 0.75)
    faults = step_faults(measure_tones(plain.with_samples(samples)))
    assert [(fault.code, fault.channel) for fault in faults] == [("overload", "right")]


@pytest.mark.parametrize(
    "gate",
    [
        pytest.param(NoiseGate(), id="closes under the softest step"),
        pytest.param(NoiseGate(threshold_dbfs=-70.0, reduction_db=20.0), id="closes in silence only"),
    ],
)
def test_noise_gate(plain, gate):
    faults = step_faults(measure_tones(recorded(plain, gate=gate)))
    assert [fault.code for fault in faults] == ["gate"]
    assert {"hiss_level", "hum_level", "noise_level_a", "dynamic_range_a"} <= set(faults[0].spoils)


def test_a_player_that_mutes_on_zero_spoils_nothing():
    take, _ = simulate_tones(*NOT_NEEDED, seed=6, hiss=(Hiss.both(-100.0),), source_hiss=Hiss.both(-85.0))
    faults = step_faults(measure_tones(take))
    assert [fault.code for fault in faults] == ["mutes-on-zero"]
    assert faults[0].spoils == []


def test_muting_shows_beside_a_whistle_that_does_not_mute():
    # The line tone stands 20 dB above the player's hiss in any reading of level: only what lies between lines changes.
    leak = PictureLeak(level_dbfs_at_1k=-90.0)
    picture = Picture(rows=picture_rows("white", TIMING_625.n_rows), leaks=(leak,))
    hisses = {"hiss": (Hiss.both(-100.0),), "source_hiss": Hiss.both(-90.0)}
    take, _ = simulate_tones(*NOT_NEEDED, seed=6, picture=picture, **hisses)
    assert [fault.code for fault in step_faults(measure_tones(take))] == ["mutes-on-zero"]


def test_every_spoilt_quantity_exists(plain):
    for fault in step_faults(measure_tones(recorded(plain, gain_control=GainControl(), clip_dbfs=-13.0))):
        assert set(fault.spoils) <= set(QUANTITIES)


def test_nothing_is_said_where_nothing_was_measured(plain):
    tones = measure_tones(plain)
    empty = dataclasses.replace(tones, steps=None, level=None, full_scale=None, minus_60=None, quiet=None, zero=None)
    assert step_faults(empty) == []
