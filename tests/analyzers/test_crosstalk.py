"""Crosstalk rows: values, intervals, bounds, what sets the floor, and takes without two channels."""

from __future__ import annotations

import numpy as np
import pytest

from humcheck.analyzers.crosstalk import crosstalk_rows
from humcheck.analyzers.hidden import read_magnitudes
from humcheck.estimates.sweeps import FREQUENCIES_HZ, estimate_response
from humcheck.results import Curve, Key, Measure, NotMeasured
from tests.estimates.made_responses import made_response
from tests.estimates.swept_path import capacitive, swept

KEY = Key(subject="Alder", role="through", quantity="crosstalk", port="3")


def rows_by_name(rows):
    return {row.quantity: row for row in rows}


def capacitive_at_1k(level_db):
    return lambda frequency_hz: 1j * 10 ** (level_db / 20) * frequency_hz / 1000.0


def test_stray_capacitance_from_sweep_to_rows():
    """Elementary: 10 pF into 909.09 ohm: -84.864 dB at 1 kHz, -58.844 dB at 20 kHz, where it is worst."""
    response = estimate_response(swept(length="standard", seed=3, across=capacitive(10e-12, 1e4 / 11)), "left")
    rows = rows_by_name(crosstalk_rows([response], KEY))
    at_1k, worst, curve = rows["crosstalk_1k"], rows["crosstalk_worst"], rows["crosstalk"]
    assert at_1k.value == pytest.approx(-84.864, abs=0.2)
    assert at_1k.low < -84.864 < at_1k.high
    assert worst.value == pytest.approx(-58.844, abs=0.1)
    assert worst.detail["frequency_hz"] == 20000.0
    assert (at_1k.channel, at_1k.role, at_1k.port, at_1k.unit, at_1k.interval) == (
        "right",
        "through",
        "3",
        "dB",
        "within",
    )
    assert curve.frequency_hz[0] == 8.0
    assert curve.frequency_hz[-1] > 22000
    assert 20.0 in curve.frequency_hz
    assert 20000.0 in curve.frequency_hz


def test_the_channel_is_the_idle_one():
    left = made_response(driven="left", idle="right", crosstalk=capacitive_at_1k(-80.0))
    right = made_response(driven="right", idle="left", crosstalk=capacitive_at_1k(-70.0))
    values = {row.channel: row.value for row in crosstalk_rows([left, right], KEY) if row.quantity == "crosstalk_1k"}
    assert values == {"right": pytest.approx(-80.0, abs=0.01), "left": pytest.approx(-70.0, abs=0.01)}


def test_what_noise_hides_is_a_bound():
    """Derived: nothing but noise of sd 1e-6 (-120 dB): every row is an upper bound a few dB above that."""
    response = made_response(crosstalk_sd=1e-6, rng=np.random.default_rng(1))
    rows = rows_by_name(crosstalk_rows([response], KEY))
    for name in ("crosstalk_1k", "crosstalk_worst"):
        assert rows[name].bound == "upper"
        assert (rows[name].low, rows[name].high, rows[name].interval) == (None, None, None)
        assert -121 < rows[name].value < -105
    assert set(rows["crosstalk"].bound) == {"upper"}


def test_bounds_of_hidden_points_hold():
    """One-sided 95 %: the truth lies above its bound in at most 5 % of cases, and the bound is not idle."""
    rng = np.random.default_rng(2)
    n = 20000
    for truth in (0.0, 0.5, 1.0, 1.5):
        value = truth + (rng.standard_normal(n) + 1j * rng.standard_normal(n)) / np.sqrt(2)
        read = read_magnitudes(value, np.ones(n), np.full(n, 1e9))
        limit = 10 ** (read.value_db[read.hidden] / 20)
        assert np.mean(limit < truth) <= 0.05
        assert np.median(limit) < truth + 3


def test_noise_alone_rarely_passes_for_a_value():
    """One point in a thousand, with an uncertainty that itself scatters (36 degrees of freedom)."""
    rng = np.random.default_rng(3)
    n = 200_000
    sd = np.sqrt(rng.chisquare(36.0, n) / 36.0)
    value = (rng.standard_normal(n) + 1j * rng.standard_normal(n)) / np.sqrt(2)
    seen = np.mean(~read_magnitudes(value, sd, np.full(n, 36.0)).hidden)
    assert seen == pytest.approx(1e-3, abs=3e-4)


@pytest.mark.parametrize("ratio", [4.0, 10.0, 100.0])
def test_values_are_unbiased_in_power_and_their_intervals_hold(ratio):
    """95 % intervals hold 93-97 % of the time for magnitudes of some standard deviations of the noise."""
    rng = np.random.default_rng(4)
    n = 40000
    value = ratio + (rng.standard_normal(n) + 1j * rng.standard_normal(n)) / np.sqrt(2)
    read = read_magnitudes(value, np.ones(n), np.full(n, 1e9))
    assert np.mean(10 ** (read.value_db[~read.hidden] / 10)) == pytest.approx(ratio**2, rel=0.02)
    inside = (10 ** (read.low_db / 20) <= ratio) & (ratio <= 10 ** (read.high_db / 20))
    assert 0.93 < np.mean(inside[~read.hidden]) < 0.97


def test_the_worst_says_what_hidden_frequencies_may_hold_beyond_it():
    """Around 50 Hz hum leaves -60 dB of doubt; -74 dB at 20 kHz is the worst that is seen."""
    sd = np.where((FREQUENCIES_HZ > 45) & (FREQUENCIES_HZ < 55), 1e-3, 1e-6)
    response = made_response(crosstalk=capacitive_at_1k(-100.0), crosstalk_sd=sd, noise_sd=1e-6)
    worst = rows_by_name(crosstalk_rows([response], KEY))["crosstalk_worst"]
    assert worst.value == pytest.approx(-73.98, abs=0.01)
    assert worst.detail["frequency_hz"] == 20000.0
    assert 45 < worst.detail["hidden_up_to_hz"] < 55
    assert worst.high > -60.0
    assert worst.detail["floor_is_hum"] == 1.0


def test_the_floor_is_laid_to_noise_where_noise_sets_it():
    rows = rows_by_name(crosstalk_rows([made_response(crosstalk_sd=1e-6, noise_sd=1e-6)], KEY))
    assert rows["crosstalk_worst"].detail["floor_is_hum"] == 0.0
    assert rows["crosstalk_1k"].detail["floor_is_hum"] == 0.0


@pytest.mark.parametrize("channel_map", ["merged", "mono-source", "left-only", "right-only", "none"])
def test_wiring_without_two_channels(channel_map):
    rows = crosstalk_rows([made_response()], KEY, channel_map=channel_map)
    assert [row.quantity for row in rows] == ["crosstalk", "crosstalk_1k", "crosstalk_worst"]
    assert all(isinstance(row, NotMeasured) and row.channel == "both" for row in rows)


def test_a_mono_take():
    rows = crosstalk_rows([made_response(driven="mono", idle=None)], KEY)
    assert all(isinstance(row, NotMeasured) and row.channel == "mono" for row in rows)
    assert "one channel" in rows[0].reason


def test_the_same_sound_in_both_channels_is_no_crosstalk():
    rows = crosstalk_rows([made_response(crosstalk=lambda f: 0.98)], KEY)
    assert all(isinstance(row, NotMeasured) for row in rows)
    assert "carries the sound of the left" in rows[0].reason


def test_no_sweeps_no_rows():
    assert crosstalk_rows([], KEY) == []


def test_a_driven_channel_lost_in_noise():
    rows = crosstalk_rows([made_response(gain_sd=0.5)], KEY)
    assert all(isinstance(row, NotMeasured) for row in rows)


def test_only_the_curve_goes_beyond_the_audible_band():
    """Rising crosstalk is larger at 22 kHz than at 20 kHz; the worst is asked for where it can be heard."""
    rows = rows_by_name(crosstalk_rows([made_response(crosstalk=capacitive_at_1k(-80.0))], KEY))
    assert isinstance(rows["crosstalk"], Curve)
    assert isinstance(rows["crosstalk_worst"], Measure)
    assert max(rows["crosstalk"].value) > rows["crosstalk_worst"].value
