"""What a device adds, from two levels."""

import math

import numpy as np
import pytest

from humcheck.comparison.added import added_lines, added_noise
from humcheck.results import Measure


def level(value, half=0.01, *, role="through", bound=None, quantity="hum_level"):
    known = bound is None
    return Measure(
        subject="Alder",
        role=role,
        quantity=quantity,
        channel="left",
        value=value,
        unit="dBFS",
        low=value - half if known else None,
        high=value + half if known else None,
        bound=bound,
        interval="within" if known else None,
        takes=["t1"],
    )


def test_hum_of_unknown_phase_leaves_a_range():
    # By hand: 10^(-69/20) -+ 10^(-70/20) -> -88.28 and -63.47 dB.
    added = added_lines(level(-70.0, 0.0, role="direct"), level(-69.0, 0.0))
    assert added.role == "added"
    assert added.low == pytest.approx(-88.28, abs=0.01)
    assert added.high == pytest.approx(-63.47, abs=0.01)
    # Power difference, by hand: 10 lg(10^-6.9 - 10^-7.0) = -75.87.
    assert added.value == pytest.approx(-75.87, abs=0.01)


def test_the_range_holds_the_truth_whatever_the_phase():
    rng = np.random.default_rng(4)
    for _ in range(500):
        direct, own = 10 ** (rng.uniform(-90, -60, 2) / 20)
        through = abs(direct + own * np.exp(2j * np.pi * rng.uniform()))
        added = added_lines(level(20 * math.log10(direct), 1e-9, role="direct"), level(20 * math.log10(through), 1e-9))
        truth = 20 * math.log10(own)
        if added.bound is None:
            assert added.low - 1e-6 <= truth <= added.high + 1e-6
        else:
            assert added.bound == "upper"
            assert truth <= added.value + 1e-6


def test_no_more_hum_than_direct_is_a_bound_never_a_value():
    added = added_lines(level(-70.0, role="direct"), level(-70.0))
    assert added.bound == "upper"
    assert added.value == pytest.approx(-70 + 6.02, abs=0.03)


def test_hidden_in_both_takes_stays_hidden():
    added = added_lines(level(-120.0, role="direct", bound="upper"), level(-118.0, bound="upper"))
    assert (added.bound, added.value) == ("upper", -118.0)


def test_hiss_is_a_difference_of_powers():
    # Common arithmetic: total -70 minus background -76 dBFS -> -71.2563 dBFS.
    added = added_noise(level(-76.0, role="direct", quantity="hiss_level"), level(-70.0, quantity="hiss_level"))
    assert added.value == pytest.approx(-71.2563, abs=1e-3)
    assert added.low < added.value < added.high


def test_hiss_equal_in_both_is_a_bound_below_the_level_itself():
    added = added_noise(level(-90.0, 0.05, role="direct"), level(-90.0, 0.05))
    assert added.bound == "upper"
    assert -112 < added.value < -100
