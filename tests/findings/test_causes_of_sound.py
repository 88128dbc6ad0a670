"""Why level, tone and bleed change: from elementary coupling and filters."""

from __future__ import annotations

import math

import msgspec
import pytest

from humcheck.findings import find
from humcheck.results import Change, Curve, Measure
from tests.findings.line_rows import results

KEY = {"subject": "Cedar", "role": "through"}


def change(quantity, value, channel="left", bound=None, unit="dB"):
    return Change(
        **KEY, quantity=quantity, channel=channel, contrast="direct", value=value, unit=unit, bound=bound,
        id=f"c-{quantity}-{channel}",
    )  # fmt: skip


def found(kind, measures=(), changes=(), curves=()):
    whole = msgspec.structs.replace(results(measures=measures), changes=list(changes), curves=list(curves))
    return next(row for row in find(whole) if row.kind == kind)


def crosstalk(gain):
    """Bleed with the share of the other channel that `gain` gives at a frequency."""
    hz = [20 * 1000 ** (index / 60) for index in range(61)]
    value = [20 * math.log10(gain(f)) for f in hz]
    at_1k = 20 * math.log10(gain(1000.0))
    row = Measure(**KEY, quantity="crosstalk_1k", channel="right", value=at_1k, unit="dB", id="m")
    curve = Curve(**KEY, quantity="crosstalk", channel="right", unit="dB", frequency_hz=hz, value=value, id="curve")
    return found("bleed", measures=[row], curves=[curve])


def test_a_small_capacitance_rises_six_decibels_per_octave():
    # |V2/V1| = 2 pi f R C with R = 909 ohm, C = 100 pF: -64.86 dB at 1 kHz (elementary).
    finding = crosstalk(lambda hz: 2 * math.pi * hz * 909.0909 * 100e-12)
    assert "-65 dB at 1 kHz" in finding.sentence
    assert finding.cause == "channel-capacitance"
    assert "6.0 dB per octave" in finding.reasons[0]
    assert any(pointer.curve for pointer in finding.evidence)


def test_a_common_resistance_couples_alike_at_all_frequencies():
    # 1 ohm in the ground of a 1 kilohm source: -60 dB everywhere (elementary).
    finding = crosstalk(lambda hz: 1e-3)
    assert finding.cause == "channel-return"


def test_both_ways_at_once_are_not_decided():
    finding = crosstalk(lambda hz: math.hypot(1e-3, 1e-3 * hz / 3000))
    assert "guess" in finding.confidence or finding.cause == "open"


def test_a_loss_alike_at_all_frequencies_is_resistance_and_load():
    rows = [change("gain", -3.3), change("gain", -3.7, "right"), change("response_span", 0.01)]
    finding = found("level", changes=rows)
    assert finding.cause == "resistance-and-load"
    assert any("same at all frequencies" in reason for reason in finding.reasons)
    assert any("differ by 0.40 dB" in reason for reason in finding.reasons)


def test_a_gain_above_one_is_an_amplifier():
    finding = found("level", changes=[change("gain", 1.5)])
    assert finding.cause == "amplifier"
    assert "Match the levels" in finding.advice[0]


@pytest.mark.parametrize(
    ("corners", "cause"),
    [
        ({"low_corner": 15.9}, "coupling-capacitor"),
        ({"high_corner": 15_900.0}, "line-capacitance"),
        ({"low_corner": 15.9, "high_corner": 15_900.0}, ""),
        ({}, ""),
    ],
)
def test_lost_bass_and_lost_treble_have_causes_of_their_own(corners, cause):
    rows = [change("response_span", 2.0)]
    for name in ("low_corner", "high_corner"):
        bound = None if name in corners else "upper" if name == "low_corner" else "lower"
        rows.append(change(name, corners.get(name, 8.0 if name == "low_corner" else 22e3), bound=bound, unit="Hz"))
    assert found("tone", changes=rows).cause == cause


def test_what_is_too_small_to_be_noticed_needs_no_cause():
    assert found("level", changes=[change("gain", -0.1)]).cause == ""
