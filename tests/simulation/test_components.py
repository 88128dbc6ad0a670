"""Resistors and capacitors against published tables and hand calculation."""

import numpy as np
import pytest

from humcheck.simulation.components import (
    capacitive_coupling,
    common_impedance_volts,
    corner_hz,
    divider_gain,
    high_pass,
    low_pass,
    parallel_ohm,
    shared_resistance_coupling,
)
from tests.simulation.reading import decibels

VICTIM_OHM = parallel_ohm(1e3, 10e3)


def test_line_of_1k_source_and_10k_load_is_909_ohm():
    # 1/(1/1000 + 1/10000), by hand.
    assert pytest.approx(909.0909, abs=1e-4) == VICTIM_OHM


@pytest.mark.parametrize(
    ("source_ohm", "load_ohm", "expected_db"),
    [
        pytest.param(1e3, 10e3, -0.8279, id="1k into 10k, 20 lg(10/11)"),
        pytest.param(1e3, 22e3, -0.3861, id="1k into 22k, 20 lg(22/23)"),
        pytest.param(1e3, 47e3, -0.1829, id="1k into 47k, 20 lg(47/48)"),
        pytest.param(100.0, 10e3, -0.0864, id="100 ohm into 10k, 20 lg(100/101)"),
    ],
)
def test_divider(source_ohm, load_ohm, expected_db):
    assert decibels(divider_gain(source_ohm, load_ohm)) == pytest.approx(expected_db, abs=5e-5)


@pytest.mark.parametrize(
    ("capacitance_f", "frequency_hz", "expected_db"),
    [
        # 2 pi f R C / sqrt(1 + (2 pi f R C)^2) with R = 909.0909 ohm, by hand.
        pytest.param(1e-12, 50.0, -130.885, id="1 pF, 50 Hz"),
        pytest.param(1e-12, 1000.0, -104.864, id="1 pF, 1 kHz"),
        pytest.param(10e-12, 1000.0, -84.864, id="10 pF, 1 kHz"),
        pytest.param(10e-12, 2000.0, -78.844, id="10 pF, 2 kHz"),
        pytest.param(10e-12, 15625.0, -60.988, id="10 pF, 15625 Hz"),
        pytest.param(100e-12, 20000.0, -38.844, id="100 pF, 20 kHz"),
    ],
)
def test_capacitive_coupling(capacitance_f, frequency_hz, expected_db):
    coupled = capacitive_coupling(np.array([frequency_hz]), capacitance_f, VICTIM_OHM)
    assert decibels(coupled[0]) == pytest.approx(expected_db, abs=1e-3)


def test_capacitive_coupling_rises_by_a_factor_of_two_per_octave():
    coupled = capacitive_coupling(np.array([1000.0, 2000.0]), 10e-12, VICTIM_OHM)
    # 20 lg 2 = 6.0206 dB.
    assert decibels(coupled[1] / coupled[0]) == pytest.approx(6.0206, abs=1e-4)


def test_coupling_without_capacitance_is_none():
    assert not capacitive_coupling(np.array([1000.0]), 0.0, VICTIM_OHM).any()


@pytest.mark.parametrize(
    ("resistance_ohm", "capacitance_f", "expected_hz", "loss_at_20_hz_db"),
    [
        # 1/(2 pi R C) and 10 lg(1 + (fc/20)^2), by hand.
        pytest.param(10e3, 1e-6, 15.9155, 2.1305, id="10k and 1 uF"),
        pytest.param(11e3, 1e-6, 14.4686, 1.8280, id="11k and 1 uF"),
        pytest.param(10e3, 10e-6, 1.59155, 0.0274, id="10k and 10 uF"),
        pytest.param(47e3, 1e-6, 3.38628, 0.1227, id="47k and 1 uF"),
    ],
)
def test_coupling_capacitor(resistance_ohm, capacitance_f, expected_hz, loss_at_20_hz_db):
    corner = corner_hz(resistance_ohm, capacitance_f)
    assert corner == pytest.approx(expected_hz, rel=1e-5)
    assert -decibels(high_pass(np.array([20.0]), corner)[0]) == pytest.approx(loss_at_20_hz_db, abs=1e-4)


def test_treble_loss_of_1k_and_1_nf():
    corner = corner_hz(1e3, 1e-9)
    # 159.155 kHz and 10 lg(1 + (20/159.155)^2) = 0.0680 dB, by hand.
    assert corner == pytest.approx(159.155e3, rel=1e-5)
    assert -decibels(low_pass(np.array([20e3]), corner)[0]) == pytest.approx(0.0680, abs=1e-4)


def test_corner_loses_half_the_power_and_turns_the_phase_by_45_degrees():
    for gain, sign in ((high_pass(np.array([80.0]), 80.0)[0], 1), (low_pass(np.array([80.0]), 80.0)[0], -1)):
        assert abs(gain) ** 2 == pytest.approx(0.5, rel=1e-12)
        assert np.angle(gain) == pytest.approx(sign * np.pi / 4, rel=1e-12)


def test_ground_loop_current_in_a_shared_return():
    # 1 mA in 0.1 ohm: 100 uV, -80 dBV.
    assert decibels(common_impedance_volts(1e-3, 0.1)) == pytest.approx(-80.0, abs=1e-9)


def test_shared_return_of_a_tenth_of_an_ohm_under_10k():
    # 0.1 / 10000.1: -100.0000868 dB.
    assert decibels(shared_resistance_coupling(0.1, 10e3)) == pytest.approx(-100.0000868, abs=1e-6)
