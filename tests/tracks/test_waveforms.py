"""The tracks as formulas: any time, any order, with the right derivative."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humcheck.tracks import markers
from humcheck.tracks.layouts import layout
from humcheck.tracks.waveforms import (
    bit_chirp,
    marker_chirp,
    marker_chirp_derivative,
    section_derivative,
    section_waveform,
    track_waveform,
)

TRACK = layout("full", "short")
SOUNDING = [section for section in TRACK.sections if section.level_dbfs is not None]
rates = st.sampled_from([8000.0, 32000.0, 44100.0, 48000.0, 96000.0])
FASTEST = 2 * np.pi * 23000.0


def sound(section, channel, rate_hz, time_s):
    return section_waveform(section, time_s, channel, rate_hz)


def chirp(channel, time_s):
    return marker_chirp(channel, time_s, 24000.0)


def slope_by_differences(function, time_s, step_s=2e-7):
    """Central differences of fourth order: error (w h)^4 / 30 of the slope, below 2e-8 at 23 kHz."""
    near = function(time_s + step_s) - function(time_s - step_s)
    far = function(time_s + 2 * step_s) - function(time_s - 2 * step_s)
    return (8 * near - far) / (12 * step_s)


@pytest.mark.parametrize("section", SOUNDING, ids=lambda section: section.name)
@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), rate_hz=rates)
def test_derivative_agrees_with_differences(section, seed, rate_hz):
    rng = np.random.default_rng(seed)
    time_s = rng.uniform(section.start_s - 0.1, section.end_s + 0.1, 200)
    # A third of the times at the edges, where envelopes and band limits are at work.
    time_s[::3] = section.start_s + rng.choice([0.0, section.duration_s], time_s[::3].size) + rng.normal(0, 0.01, 67)
    for channel in ("left", "right"):
        slope = section_derivative(section, time_s, channel, rate_hz)
        differences = slope_by_differences(partial(sound, section, channel, rate_hz), time_s)
        # Times near 64 s are rounded to 1.4e-14 s, over steps of 2e-7 s: 1e-7 of the steepest slope.
        np.testing.assert_allclose(slope, differences, rtol=0, atol=5e-7 * FASTEST)


def test_derivative_of_the_long_chirp_agrees_with_differences():
    time_s = np.linspace(-0.01, markers.CHIRP_S + 0.01, 4001)
    for channel in ("left", "right"):
        slope = marker_chirp_derivative(channel, time_s, 24000.0)
        differences = slope_by_differences(partial(chirp, channel), time_s)
        np.testing.assert_allclose(slope, differences, rtol=0, atol=5e-8 * FASTEST)


@settings(max_examples=20, deadline=None)
@given(
    st.lists(st.floats(-5.0, 70.0), min_size=0, max_size=60).map(np.array),
    rates,
    st.randoms(use_true_random=False),
)
def test_each_time_stands_for_itself(time_s, rate_hz, random):
    """Neither the order of the times nor their neighbours matter."""
    whole = track_waveform(TRACK, time_s, rate_hz)
    assert whole.shape == (len(time_s), 2)
    order = list(range(len(time_s)))
    random.shuffle(order)
    np.testing.assert_array_equal(track_waveform(TRACK, time_s[order], rate_hz), whole[order])
    for index, time in enumerate(time_s[:5]):
        np.testing.assert_array_equal(track_waveform(TRACK, np.array([time]), rate_hz)[0], whole[index])


def test_times_do_not_depend_on_the_rate():
    """Up to the band limit, the sound at a time is the same at every rate."""
    time_s = np.linspace(0, TRACK.duration_s, 200003)
    high = track_waveform(TRACK, time_s, 96000.0)
    np.testing.assert_array_equal(track_waveform(TRACK, time_s, 48000.0), high)
    different = np.any(track_waveform(TRACK, time_s, 44100.0) != high, axis=1)
    for sweep in TRACK.sections_of("sweep"):
        # 0.48 of 44.1 kHz is reached in the last hundredth of the sweep.
        different &= ~((time_s > sweep.end_s - 0.011 * sweep.duration_s) & (time_s < sweep.end_s))
    assert not different.any()


@pytest.mark.parametrize("section", TRACK.sections, ids=lambda section: section.name)
def test_silent_outside_and_in_the_other_channel(section):
    before_and_after = np.concatenate(
        [section.start_s - np.linspace(1e-9, 5, 50), section.end_s + np.linspace(0, 5, 50)]
    )
    inside = np.linspace(section.start_s, section.end_s, 5000, endpoint=False)
    for channel in ("left", "right"):
        assert not section_waveform(section, before_and_after, channel, 48000.0).any()
        sounds = bool(section_waveform(section, inside, channel, 48000.0).any())
        assert sounds == (section.channels in (channel, "both"))


@pytest.mark.parametrize("section", SOUNDING, ids=lambda section: section.name)
def test_edges_are_soft(section):
    """Within 0.1 ms of either end the sound is still below -80 dBFS: no click."""
    near = np.concatenate([section.start_s + np.linspace(0, 1e-4, 40), section.end_s - np.linspace(0, 1e-4, 40)])
    for channel in ("left", "right"):
        assert np.abs(section_waveform(section, near, channel, 48000.0)).max() < 1e-4


@pytest.mark.parametrize("name", ["full", "sweep", "silence"])
def test_no_direct_voltage(name):
    """Tones and markers have no mean at all, a sweep less than -85 dBFS (common practice, no source)."""
    track = layout(name, "short")
    for section in track.sections:
        time_s = section.start_s + np.arange(round(section.duration_s * 48000)) / 48000
        for channel in ("left", "right"):
            mean = abs(section_waveform(section, time_s, channel, 48000.0).mean())
            assert mean < (10 ** (-85 / 20) if section.kind == "sweep" else 1e-11)


def test_a_tone_has_its_exact_frequency():
    """997 Hz: after each whole second the same phase, to rounding."""
    level = TRACK.section("full-scale")
    time_s = level.start_s + 0.5 + np.arange(64) / 4096
    first, second, third = (section_waveform(level, time_s + later, "left", 48000.0) for later in (0.0, 1.0, 2.0))
    np.testing.assert_allclose(second, first, rtol=0, atol=1e-9)
    np.testing.assert_allclose(third, first, rtol=0, atol=1e-9)
    assert np.ptp(first) > 1.5


def test_low_rates_leave_out_what_they_cannot_hold():
    pair = TRACK.section("imd-difference")
    time_s = np.linspace(pair.start_s, pair.end_s, 10001)
    assert not section_waveform(pair, time_s, "left", 32000.0).any()
    chirp_s = np.linspace(0, markers.CHIRP_S, 10001)
    frequency_hz = 200.0 + 17800.0 * chirp_s / markers.CHIRP_S
    assert not marker_chirp("left", chirp_s, 16000.0)[frequency_hz > 0.49 * 16000].any()
    assert bit_chirp("left", chirp_s, 16000.0).any()
