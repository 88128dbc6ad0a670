"""Levels and balance as rows."""

import dataclasses

import numpy as np
import pytest

from humcheck.analyzers.balance import balance_rows
from humcheck.analyzers.level import level_rows
from humcheck.estimates.tones import measure_tones
from humcheck.results import Measure, NotMeasured
from humcheck.results.rows import Key
from humcheck.simulation import ChannelPath, Hiss, LinearPath
from humcheck.simulation.components import divider_gain
from tests.tone_takes import simulate_tones

NOT_NEEDED = ("steps", "full-scale", "minus-60", "zero", "quiet", "imd-smpte", "imd-difference")
KEY = Key(subject="Alder", role="through", quantity="tone_level", port="3")
#: Left: 1 kohm into 10 kohm, a loss of 0.8279 dB (resistive divider); right: 100 ohm into 10 kohm, 0.0864 dB.
LOSSES_DB = (-0.8279, -0.0864)


@pytest.fixture(scope="module")
def take():
    gains = [20.0 * np.log10(divider_gain(source_ohm, 10e3)) for source_ohm in (1000.0, 100.0)]
    path = LinearPath(left=ChannelPath(gain_db=gains[0]), right=ChannelPath(gain_db=gains[1]))
    return simulate_tones(*NOT_NEEDED, seed=8, hiss=(Hiss.both(-80.0),), linear=path)[0]


@pytest.fixture(scope="module")
def tones(take):
    return measure_tones(take)


def test_level_of_each_channel(tones):
    rows = level_rows(tones, KEY)
    assert [(row.channel, row.unit, row.role, row.port, row.interval) for row in rows] == [
        ("left", "dBFS", "through", "3", "within"),
        ("right", "dBFS", "through", "3", "within"),
    ]
    for row, loss_db in zip(rows, LOSSES_DB, strict=True):
        assert row.value == pytest.approx(-1.001 + loss_db, abs=1e-4)  # the losses are given to 0.0001 dB
        assert row.low < row.value < row.high
        assert row.detail["frequency_hz"] == pytest.approx(997.0, abs=0.2)


def test_full_scale_as_received_is_the_reference_of_dbr(tones):
    received = tones.full_scale_dbfs
    assert [received["left"], received["right"]] == pytest.approx(list(LOSSES_DB), abs=1e-4)
    assert received["both"] == pytest.approx(10.0 * np.log10(np.mean(10.0 ** (np.array(LOSSES_DB) / 10.0))), abs=1e-4)


def test_balance_is_left_minus_right(tones):
    (row,) = balance_rows(tones, KEY)
    assert (row.channel, row.quantity, row.unit) == ("both", "balance", "dB")
    assert row.value == pytest.approx(LOSSES_DB[0] - LOSSES_DB[1], abs=1e-4)
    assert row.low <= row.value <= row.high


@pytest.mark.parametrize("channel_map", ["merged", "mono-source", "left-only", "none"])
def test_no_balance_without_two_channels(tones, channel_map):
    (row,) = balance_rows(tones, KEY, channel_map=channel_map)
    assert isinstance(row, NotMeasured)
    assert "two channels" in row.reason


def test_no_balance_in_mono(take):
    tones = measure_tones(take.with_samples(take.samples[:, :1]))
    (row,) = balance_rows(tones, KEY)
    assert isinstance(row, NotMeasured)
    assert row.channel == "mono"
    (level,) = level_rows(tones, KEY)
    assert isinstance(level, Measure)
    assert level.channel == "mono"


def test_no_balance_where_a_channel_tone_is_missing(take):
    (row,) = balance_rows(measure_tones(take.without("tone-right")), KEY)
    assert isinstance(row, NotMeasured)
    assert "tone-right" in row.reason


def test_a_silent_channel_has_a_reason_instead_of_a_level(take):
    samples = take.samples.copy()
    samples[:, 1] = 1e-5 * np.random.default_rng(1).standard_normal(len(samples))
    left, right = level_rows(measure_tones(take.with_samples(samples)), KEY)
    assert isinstance(left, Measure)
    assert isinstance(right, NotMeasured)
    assert "No sound passes" in right.reason


def test_no_level_section_no_level(tones):
    missing = dataclasses.replace(tones, level=None, reasons={"level": "The take does not hold all of the section."})
    (row,) = level_rows(missing, KEY)
    assert (row.reason, row.channel) == ("The take does not hold all of the section.", "both")
