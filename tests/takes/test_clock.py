"""The clock: track time to take index and back, with drift, wander and lost samples."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline

from humcheck.takes.clock import Clock, Step, natural_spline

TIMES_S = np.linspace(-2.0, 100.0, 1021)


def test_plain_clock_is_the_definition_of_offset_and_drift():
    # Definition: 50 ppm over 60 s are 3 ms, 144 samples at 48 kHz.
    clock = Clock(rate_hz=48000.0, offset_s=1.5, drift_ppm=50.0)
    assert float(clock.take_index(60.0)) == pytest.approx(1.5 * 48000 + 60 * 48000 + 144.0, abs=1e-6)


@given(
    offset_s=st.floats(-20, 20), drift_ppm=st.floats(-1e5, 1e5), rate_hz=st.sampled_from([8000.0, 44100.0, 192000.0])
)
def test_time_and_index_are_inverse(offset_s, drift_ppm, rate_hz):
    clock = Clock(rate_hz=rate_hz, offset_s=offset_s, drift_ppm=drift_ppm)
    assert np.abs(clock.track_time_s(clock.take_index(TIMES_S)) - TIMES_S).max() < 1e-9


def test_wandering_clock_is_inverted_to_a_hundred_millionth_of_a_sample():
    knots_s = np.array([5.0, 10.0, 42.0, 60.0, 95.0])
    clock = Clock(
        rate_hz=48000.0,
        offset_s=0.3,
        drift_ppm=-80.0,
        knots_s=knots_s,
        wander_samples=np.array([0.0, 2.0, -3.0, 1.0, 0.5]),
    )
    index = clock.take_index(TIMES_S)
    assert np.abs(clock.take_index(clock.track_time_s(index)) - index).max() < 1e-8
    # The local rate is the derivative of the index.
    slope = (clock.take_index(30.01) - clock.take_index(29.99)) / 0.02
    assert float(clock.local_rate_hz(30.0)) == pytest.approx(float(slope), rel=1e-8)


def test_natural_spline_is_scipys_inside_and_straight_outside():
    rng = np.random.default_rng(1)
    knots = np.cumsum(rng.uniform(0.5, 20.0, 9))
    values = rng.normal(size=9)
    reference = CubicSpline(knots, values, bc_type="natural")
    inside = np.linspace(knots[0], knots[-1], 500)
    assert np.abs(natural_spline(knots, values, inside) - reference(inside)).max() < 1e-12
    before = natural_spline(knots, values, np.array([knots[0] - 3.0]))
    assert before[0] == pytest.approx(values[0] - 3.0 * float(reference(knots[0], 1)), abs=1e-12)


def test_lost_samples_shift_what_follows():
    clock = Clock(rate_hz=1000.0, offset_s=0.0, drift_ppm=0.0, steps=(Step(track_s=9.9995, count=7),))
    assert clock.take_index(np.array([9.0, 20.0])) == pytest.approx([9000.0, 20000.0 - 7.0])
    # Sample 9999 is the last before the loss, sample 10000 holds what would have been sample 10007.
    assert clock.track_time_s(np.array([9999, 10000])) == pytest.approx([9.999, 10.007])
    # What was lost is nowhere: it gets the place of the loss.
    assert float(clock.take_index(10.003)) == pytest.approx(9999.5)


def test_inserted_samples_have_the_time_of_their_step():
    clock = Clock(rate_hz=1000.0, offset_s=0.0, drift_ppm=0.0, steps=(Step(track_s=9.9995, count=-3),))
    assert clock.track_time_s(np.arange(9998, 10005)) == pytest.approx(
        [9.998, 9.999, 9.9995, 9.9995, 9.9995, 10.0, 10.001]
    )
    assert float(clock.take_index(10.0)) == pytest.approx(10003.0)


def test_several_steps_add_up():
    steps = (Step(track_s=1.0, count=5), Step(track_s=2.0, count=-2), Step(track_s=3.0, count=1))
    clock = Clock(rate_hz=48000.0, offset_s=0.1, drift_ppm=20.0, steps=steps)
    whole = Clock(rate_hz=48000.0, offset_s=0.1, drift_ppm=20.0)
    times_s = np.array([0.5, 1.5, 2.5, 3.5])
    assert whole.take_index(times_s) - clock.take_index(times_s) == pytest.approx([0.0, 5.0, 3.0, 4.0], abs=1e-6)
    assert clock.track_time_s(clock.take_index(times_s)) == pytest.approx(times_s, abs=1e-10)


@pytest.mark.parametrize("steps", [(), (Step(track_s=41.0, count=5),), (Step(track_s=30.0, count=-3),)])
def test_times_of_a_run_of_samples_are_those_of_the_samples(steps):
    rng = np.random.default_rng(4)
    clock = Clock(
        rate_hz=44100.0,
        offset_s=0.7,
        drift_ppm=120.0,
        knots_s=np.arange(0.0, 100.0, 5.0),
        wander_samples=np.cumsum(rng.normal(0.0, 0.3, 20)),
        steps=steps,
    )
    start, count = 1_700_001, 300_017
    exact_s = clock.track_time_s(np.arange(start, start + count))
    assert np.abs(clock.track_time_of_run_s(start, count) - exact_s).max() < 1e-12
