"""Numbers as people read them. Derived by hand; the ratios are the definition of the decibel."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humcheck.report.text import (
    PAGE,
    TERMINAL,
    bound_of,
    decimals_of,
    hertz,
    one_part_in,
    sentence,
    visible,
    voltage_change,
)
from humcheck.results import Measure


def measure(value, *, quantity="hum_level", unit="dBFS", low=None, high=None, bound=None):
    return Measure(
        subject="Alder", role="through", quantity=quantity, value=value, unit=unit, low=low, high=high, bound=bound
    )


def test_page_and_terminal_differ_in_the_minus_sign_only():
    row = measure(-70.26, low=-70.61, high=-69.93)
    assert PAGE.full(row) == "\u221270.3\u00a0dBFS (\u221270.6 to \u221269.9)"
    assert TERMINAL.full(row) == "-70.3 dBFS (-70.6 to -69.9)"


@pytest.mark.parametrize(
    ("half_width", "decimals"),
    [(3.0, 0), (0.5, 1), (0.1, 1), (0.08, 2), (0.004, 2), (0.0, 1)],
    ids=["wide", "half a dB", "exactly 0.1", "two digits", "no finer than one more", "no width"],
)
def test_the_interval_decides_how_many_digits_are_worth_showing(half_width, decimals):
    assert decimals_of(measure(-70.0, low=-70.0 - half_width, high=-70.0 + half_width)) == decimals


def test_an_upper_bound_is_rounded_up_and_a_lower_one_down():
    assert TERMINAL.value(measure(-120.34, bound="upper")) == "< -120.3 dBFS"
    assert TERMINAL.value(measure(-120.36, bound="upper")) == "< -120.3 dBFS"
    assert TERMINAL.value(measure(21449.7, quantity="high_corner", unit="Hz", bound="lower")) == "> 21449 Hz"


def test_a_round_bound_stays_as_it_is():
    # 0.1 + 0.2 is 0.30000000000000004 in binary: no reason to show 0.4.
    assert bound_of("upper", 0.1 + 0.2, 1) == ("<", pytest.approx(0.3, abs=1e-12))


@settings(deadline=None)  # machines may be busy
@given(st.floats(-400, 400), st.sampled_from(["upper", "lower"]), st.integers(0, 4))
def test_a_shown_bound_is_never_stronger_than_the_measured_one(value, bound, decimals):
    sign, shown = bound_of(bound, value, decimals)
    slack = 1e-9 * max(1.0, abs(value))
    assert shown >= value - slack if sign == "<" else shown <= value + slack


@settings(deadline=None)  # machines may be busy
@given(st.floats(-1e300, 1e300), st.integers(0, 5))
def test_every_finite_number_can_be_shown_and_read_back(value, decimals):
    shown = TERMINAL.number(value, decimals).replace("x10^", "e")
    assert "nan" not in shown
    assert float(shown) == pytest.approx(value, rel=0.06, abs=0.51 * 10.0**-decimals)


def test_no_minus_sign_on_zero():
    assert TERMINAL.number(-0.0, 1) == "0.0"
    assert TERMINAL.number(-0.0, 0) == "0"


def test_small_percents_keep_two_digits():
    assert TERMINAL.value(measure(0.000012, quantity="thd", unit="percent")) == "0.000012 %"
    assert TERMINAL.value(measure(0.0000121, quantity="thd", unit="percent", bound="upper")) == "< 0.000013 %"
    assert TERMINAL.full(measure(0.0042, quantity="thd", unit="percent", low=0.00417, high=0.00423)) == (
        "0.00420 % (0.00417 to 0.00423)"
    )


def test_small_differences_are_not_spelled_out():
    row = measure(-0.0000056, quantity="balance", unit="dB", low=-0.000022, high=0.000011)
    assert TERMINAL.full(row) == "0.00 dB"
    assert TERMINAL.value(measure(0.0025, quantity="response_span", unit="dB", bound="upper")) == "< 0.01 dB"


def test_large_numbers_are_grouped_on_the_page():
    assert PAGE.number(21400.0, 0) == "21,400"
    assert TERMINAL.number(21400.0, 0) == "21400"


def test_polarity_is_said_in_words():
    assert PAGE.value(measure(-1.0, quantity="polarity", unit="")) == "inverted"
    assert PAGE.value(measure(1.0, quantity="polarity", unit="")) == "kept"


@pytest.mark.parametrize(
    ("level_db", "words"),
    [(-60.0, "1 part in 1,000"), (-64.0, "1 part in 1,600"), (-20.0, "1 part in 10"), (-1.0, "")],
    ids=["60 dB is 1000", "64 dB is 1585", "20 dB is 10", "too close to one"],
)
def test_decibels_as_a_fraction(level_db, words):
    assert one_part_in(level_db) == words


def test_gain_as_a_change_of_voltage():
    # -6.0206 dB is half the voltage.
    assert voltage_change(20 * math.log10(0.5)) == "50 % less voltage"
    assert voltage_change(20 * math.log10(1.034)) == "3.4 % more voltage"
    assert voltage_change(0.0001) == "no change in voltage worth naming"


@pytest.mark.parametrize(
    ("hz", "words"),
    [(49.98, "50 Hz"), (150.04, "150 Hz"), (997.0, "997 Hz"), (15625.0, "15.6 kHz"), (2500.0, "2.5 kHz")],
)
def test_frequencies(hz, words):
    assert hertz(hz, TERMINAL) == words


def test_outside_text_becomes_harmless_but_keeps_its_letters():
    assert visible("名前 ünïcode") == "名前 ünïcode"
    assert visible("a\nb\x1b[31m\x00\u202ec\udcff") == "a b\\x1b[31m\\x00\\u202ec\\udcff"


def test_sentences_get_true_minus_signs_before_numbers_with_units_only():
    assert (
        sentence("carries -71 dB (-0.30 dB), take-1.wav -v -2 of")
        == "carries \u221271 dB (\u22120.30 dB), take-1.wav -v -2 of"
    )
