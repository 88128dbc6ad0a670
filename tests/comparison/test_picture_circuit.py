"""The leak as a part of a circuit, against circuits worked with complex impedances."""

from __future__ import annotations

import math

import pytest

from humcheck.comparison.picture_circuit import circuit_rows
from humcheck.results import Measure, Settings

FULL_SCALE_V = 1.93
SOURCE, LOAD = 1000.0, 47_000.0
SETTINGS = Settings(volts_at_full_scale=FULL_SCALE_V, volts_uncertainty_percent=2.0, source_ohms=SOURCE, load_ohms=LOAD)


def rows(level_dbfs, slope, *, spread=0.05, **more):
    common = {"subject": "Birch", "role": "through", "channel": "left", "interval": "within", **more}
    return [
        Measure(quantity=name, value=value, low=value - spread, high=value + spread, unit=unit, **common)
        for name, value, unit in (
            ("picture_coupling", level_dbfs, "dBFS"),
            ("picture_coupling_slope", slope, "dB/octave"),
        )
    ]


def level_dbfs(ratio):
    """Return the level at which a sine of 0.7 V from end to end stands in the sound behind a voltage ratio."""
    return 20 * math.log10(abs(ratio) * 0.35 / math.sqrt(2) / FULL_SCALE_V)


@pytest.mark.parametrize("farads", [0.5e-12, 10e-12, 3e-9])
def test_a_capacitance_is_found_again(farads):
    # Nodal analysis at 1 kHz: video - C - node; source and load from the node to ground.
    impedance = 1 / (2j * math.pi * 1000 * farads)
    admittance = 1 / impedance + 1 / SOURCE + 1 / LOAD
    ratio = (1 / impedance) / admittance
    (row,) = circuit_rows(rows(level_dbfs(ratio), 20 * math.log10(2)), SETTINGS)
    assert (row.quantity, row.unit) == ("picture_capacitance", "pF")
    assert row.value == pytest.approx(1e12 * farads, rel=1e-6)
    # 0.05 dB and 2 % of calibration; a slope that may be 0.05 dB per octave less leaves the capacitance 0.4 % less.
    assert row.low == pytest.approx(row.value / 1.02 / 10 ** (0.05 / 20), rel=0.006)
    assert row.high == pytest.approx(row.value * 1.02 * 10 ** (0.05 / 20), rel=0.002)


def test_a_resistance_beside_the_capacitance_is_taken_off():
    # Gains at a right angle: 4 of 5 parts of the power are the capacitance's, and so is 4/5 of its slope.
    ratio = 2 * math.pi * 1000 * 20e-12 * SOURCE * LOAD / (SOURCE + LOAD)
    (row,) = circuit_rows(rows(level_dbfs(ratio * math.sqrt(1.25)), 0.8 * 20 * math.log10(2)), SETTINGS)
    assert row.value == pytest.approx(20.0, rel=1e-4)


def test_a_shared_ground_is_found_again():
    # 10 mohm carry 0.7 V / 75 ohm; the loop of source, load and that ground divides the drop over the load.
    drop = 0.010 * 1.0 / 75.0
    ratio = drop * LOAD / (SOURCE + LOAD)
    (row,) = circuit_rows(rows(level_dbfs(ratio), 0.0), SETTINGS)
    assert (row.quantity, row.unit) == ("picture_ground_resistance", "mohm")
    assert row.value == pytest.approx(10.0, rel=1e-6)
    assert row.low < 10.0 < row.high


def test_the_part_that_is_added_takes_the_slope_of_the_whole():
    coupling, slope = rows(-90.0, 6.0)
    (added,) = rows(-93.0, 6.0, role="added")[:1]
    found = {row.role: row.value for row in circuit_rows([coupling, slope, added], SETTINGS)}
    assert found["added"] == pytest.approx(found["through"] * 10 ** (-3 / 20), rel=1e-3)


@pytest.mark.parametrize(
    ("measures", "settings"),
    [
        (rows(-90.0, 3.0), SETTINGS),  # between both ways
        (rows(-90.0, 6.0, spread=2.0), SETTINGS),  # by which way cannot be told
        (rows(-90.0, 6.0)[:1], SETTINGS),  # no slope
        (rows(-90.0, 6.0, channel="both"), SETTINGS),
        (rows(20.0, 6.0), SETTINGS),  # more than the whole swing: these circuit values are wrong
        (rows(-90.0, 6.0), Settings(volts_at_full_scale=1.0, source_ohms=600.0)),
        (rows(-90.0, 6.0), Settings(source_ohms=600.0, load_ohms=600.0)),
    ],
)
def test_what_cannot_be_told_is_not_told(measures, settings):
    assert circuit_rows(measures, settings) == []
