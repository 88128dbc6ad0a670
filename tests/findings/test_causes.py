"""The cause follows from the Fourier series of what is known to happen; what a change of one thing shows counts more.

Series are elementary mathematics (any handbook): a full-wave rectified sine holds 2 / (pi (4 n^2 - 1)) at even
harmonics only; a half-wave rectified one the fundamental (1/2) and the same even ones; a square wave 4 / (pi n), a
triangle 8 / (pi^2 n^2), odd ones only. Which cause leaves which waveform is common practice, no source.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import fft

from humcheck.findings import find
from humcheck.findings.causes.shape import own_lines, shape_of
from humcheck.results import Line, Measure
from tests.findings.line_rows import comb, direct, gathered, level_rows

FULL_WAVE = {2 * n: 2 / (math.pi * (4 * n**2 - 1)) for n in range(1, 21)}
HALF_WAVE = {1: 0.25} | {order: value / 2 for order, value in FULL_WAVE.items()}
SQUARE = {n: 4 / (math.pi * n) for n in range(1, 200, 2)}
TRIANGLE = {n: 8 / (math.pi**2 * n**2) for n in range(1, 40, 2)}
SINE = {1: 1.0, 3: 0.03}


def phase_cut():
    """Mains switched on in the middle of each half wave, as a dimmer does it: the series of the waveform itself."""
    phase = np.arange(1 << 14) / (1 << 14)
    wave = np.where(phase % 0.5 < 0.25, 0.0, np.sin(2 * np.pi * phase))
    series = np.abs(fft.rfft(wave))[:200]
    return {n: float(series[n]) for n in range(1, 200) if series[n] > 1e-6 * series.max()}


def hum(found):
    return next(row for row in found if row.kind == "hum" and row.role == "through")


def cause_of(*parts):
    return hum(find(gathered(direct(), *parts)))


@pytest.mark.parametrize(
    ("series", "odd", "even"),
    [
        pytest.param(FULL_WAVE, 0.0, 1.0, id="full-wave rectified sine: even harmonics only"),
        # Its mean square is 1/4, its mean 1/pi, and the fundamental's mean square 1/8: the even ones hold the rest.
        pytest.param(HALF_WAVE, 0.0, (0.125 - 1 / math.pi**2) / (0.25 - 1 / math.pi**2), id="half-wave rectified"),
        # The fundamental of a square wave holds 8 / pi^2 of its power.
        pytest.param(SQUARE, 1 - 8 / math.pi**2, 0.0, id="square wave: odd harmonics only"),
        # That of a triangle 96 / pi^4.
        pytest.param(TRIANGLE, 1 - 96 / math.pi**4, 0.0, id="triangle: odd harmonics only"),
    ],
)
def test_shares_of_power_follow_the_series(series, odd, even):
    lines, _ = comb(series, top_dbfs=0.0)
    shape = shape_of(own_lines(lines, []))
    # The sums run to a finite order: 2 / (pi^2 100) of a square wave's power lies above harmonic 200.
    assert shape.odd == pytest.approx(odd, abs=0.005)
    assert shape.even == pytest.approx(even, abs=0.005)


@pytest.mark.parametrize(("series", "slope"), [(SQUARE, -6.02), (TRIANGLE, -12.04)])
def test_jumps_fall_six_decibels_per_octave_and_kinks_twelve(series, slope):
    lines, _ = comb(series, top_dbfs=0.0)
    assert shape_of(own_lines(lines, [])).slope_db_per_octave == pytest.approx(slope, abs=0.01)


@pytest.mark.parametrize(
    ("series", "cause"),
    [
        pytest.param(FULL_WAVE, "supply-ripple", id="full-wave rectifier"),
        pytest.param(HALF_WAVE, "supply-ripple", id="half-wave rectifier"),
        pytest.param(TRIANGLE, "ground-loop", id="odd harmonics of a smooth waveform, both channels alike"),
        pytest.param(phase_cut(), "mains-pulses", id="dimmer"),
    ],
)
def test_the_waveform_tells_the_cause(series, cause):
    finding = cause_of(comb(series))
    assert finding.cause == cause
    assert finding.reasons
    assert finding.test
    assert "Most likely" in finding.sentence
    assert "pattern alone" in finding.confidence or "guess" in finding.confidence
    assert any(pointer.line for pointer in finding.evidence)


def test_hum_in_one_channel_is_looked_for_in_its_lead():
    finding = cause_of(comb(TRIANGLE, right_db=-40.0))
    assert finding.cause == "lead-screen"
    assert any("left channel" in reason for reason in finding.reasons)
    assert "Swap the left and right leads" in finding.test


def test_the_fundamental_alone_does_not_tell_field_from_loop():
    finding = cause_of(comb(SINE))
    assert "guess" in finding.confidence or finding.cause == "open"
    words = " ".join([finding.sentence, *finding.doubts])
    assert "ground loop" in words
    assert "magnetic field" in words


def test_an_isolating_transformer_that_takes_the_hum_away_settles_it():
    finding = cause_of(comb(TRIANGLE), comb(TRIANGLE, top_dbfs=-105.0, fix="isolating transformer"))
    assert finding.cause == "ground-loop"
    assert "well supported" in finding.confidence
    assert any("isolating transformer takes 35 dB" in reason for reason in finding.reasons)
    assert any(pointer.measure and "isolating" in pointer.measure for pointer in finding.evidence)
    assert "deciding test was made" in finding.test


def test_an_isolating_transformer_that_changes_nothing_speaks_against_a_loop():
    finding = cause_of(comb(TRIANGLE), comb(TRIANGLE, fix="isolating transformer"))
    assert finding.cause != "ground-loop"


def test_another_supply_that_takes_the_hum_away_settles_ripple():
    finding = cause_of(comb(FULL_WAVE), comb(FULL_WAVE, top_dbfs=-110.0, condition={"supply": "battery"}))
    assert finding.cause == "supply-ripple"
    assert "well supported" in finding.confidence


def test_what_the_direct_take_has_too_is_no_evidence_against_the_device():
    key = {"subject": "direct", "role": "direct"}
    finding = hum(find(gathered(comb(TRIANGLE, top_dbfs=-90.0, **key), comb(SQUARE | FULL_WAVE, top_dbfs=-70.0))))
    assert finding.cause
    lines, _ = comb(TRIANGLE, top_dbfs=-70.0)
    same, _ = comb(TRIANGLE, top_dbfs=-70.3, **key)
    assert own_lines(lines, same) == []


def test_hum_or_buzz_is_left_open_with_the_test_that_separates_them():
    parts = comb({n: 1 / n for n in range(1, 20)}, family="mains_or_field")
    finding = next(row for row in find(gathered(direct(), parts)) if row.quantity == "hum_and_buzz_level")
    assert finding.cause == "mains-or-picture"
    assert "open" in finding.confidence
    for words in ("black picture", "take the display off", "60 s"):
        assert words in finding.test


BUZZ = {n: 1 / math.sqrt(n) for n in range(1, 60)}


def buzz(*parts, picture="white"):
    found = find(gathered(*parts))
    return next(row for row in found if row.kind == "buzz" and row.picture == picture)


def test_buzz_that_a_black_picture_takes_away_comes_from_the_picture():
    more = {"family": "field", "hz": 50.08}
    finding = buzz(
        direct(picture="white", name="buzz_level"),
        direct(picture="black", name="buzz_level"),
        comb(BUZZ, picture="white", **more),
        comb(BUZZ, top_dbfs=-100.0, picture="black", **more),
    )
    assert finding.cause in ("picture-crosstalk", "picture-return", "open")
    assert "picture's signal: well supported" in finding.confidence
    assert any("black picture in place of the white one takes 30 dB" in reason for reason in finding.reasons)


def test_buzz_that_a_black_picture_leaves_comes_from_the_display():
    more = {"family": "field", "hz": 50.08}
    finding = buzz(
        direct(picture="white", name="buzz_level"),
        direct(picture="black", name="buzz_level"),
        comb(BUZZ, picture="white", **more),
        comb(BUZZ, top_dbfs=-70.5, picture="black", **more),
    )
    assert finding.cause == "display"
    assert any("open a display" in caution for caution in finding.cautions)


@pytest.mark.parametrize(("slope", "cause"), [(6.0, "picture-crosstalk"), (0.1, "picture-return")])
def test_the_slope_of_the_coupling_tells_a_gap_from_a_common_wire(slope, cause):
    # 6.02 dB per octave through a small capacitance, 0 over a common resistance (elementary).
    row = Measure(
        subject="Alder", role="through", picture="rows", quantity="picture_coupling_slope", channel="left",
        value=slope, unit="dB/octave", id="m-slope",
    )  # fmt: skip
    finding = buzz(
        direct(picture="white", name="buzz_level"), comb(BUZZ, picture="white", family="field", hz=50.08), ([], [row])
    )
    assert finding.cause == cause
    assert any(pointer.measure == "m-slope" for pointer in finding.evidence)


def test_tones_that_keep_step_with_the_lines_of_a_picture_are_no_hum():
    line_hz = 15_624.6875
    series = {n: 1 / math.sqrt(n) for n in range(1, 120)}
    whistle = Line(
        subject="Alder", role="through", picture="white", quantity="whistle_level", channel="left",
        family="line_rate", frequency_hz=line_hz, level_dbfs=-68.0, id="l-whistle",
    )  # fmt: skip
    found = {}
    for hz in (line_hz / 312, 50.03):
        parts = comb(series, hz=hz, picture="white")
        found[hz] = hum(find(gathered(direct(picture="white"), parts, ([whistle], []))))
    assert found[line_hz / 312].cause in ("picture-crosstalk", "picture-return", "open")
    assert "picture buzz" in found[line_hz / 312].sentence
    assert found[50.03].cause == "mains-pulses"
    assert "mains hum" in found[50.03].sentence


def test_without_a_black_take_the_test_is_to_make_one():
    finding = buzz(direct(picture="white", name="buzz_level"), comb(BUZZ, picture="white", family="field", hz=50.08))
    assert "black picture" in finding.test


def test_tones_at_multiples_of_a_kilohertz_are_no_hum_whatever_family_they_were_counted_to():
    # 1 kHz is the twentieth harmonic of 50 Hz: a comb of frames looks like a sparse comb of a picture or the mains.
    parts = comb({20 * n: 1.0 for n in range(1, 18)}, family="field", top_dbfs=-90.0)
    finding = next(row for row in find(gathered(direct(name="buzz_level"), parts)) if row.quantity == "buzz_level")
    assert finding.cause == "digital-frames"
    assert "adds steady tones" in finding.sentence
    assert "USB" in finding.sentence


@pytest.mark.parametrize(
    ("through", "without", "words"),
    [
        ({"condition": {"leads": "long"}}, {"condition": {"leads": "short"}}, "leads long against leads short"),
        ({"condition": {"display": "Kite's"}}, {}, "display Kite's against display not said"),
        ({"picture": "white"}, {"picture": "black"}, "a white picture against a black one"),
        ({"fix": "ferrite"}, {}, "with ferrite against without a fix"),
    ],
)
def test_no_cause_is_blamed_on_the_device_where_the_bench_differed(through, without, words):
    finding = hum(find(gathered(direct(**without), comb(TRIANGLE, **through))))
    assert finding.cause == ""
    assert words in finding.sentence
    assert "No cause is blamed on Alder" in finding.sentence
    assert "adds" not in finding.sentence
    assert finding.advice[0].startswith("Record the direct path again with")
    assert len(finding.advice) == 1


def test_a_fix_counts_to_the_device_where_the_same_was_recorded_without_it():
    plain, fixed = comb(TRIANGLE), comb(TRIANGLE, fix="ferrite")
    findings = find(gathered(direct(), plain, fixed))
    of_fix = next(row for row in findings if row.kind == "hum" and row.fix == "ferrite")
    assert "adds mains hum" in of_fix.sentence
    assert "bench was not the same" not in of_fix.sentence
    assert of_fix.cause == ""


def test_the_devices_own_supply_is_no_difference_of_the_bench():
    assert hum(find(gathered(direct(), comb(TRIANGLE, condition={"supply": "off"})))).cause == "ground-loop"


def test_ids_tell_ports_pictures_conditions_and_fixes_apart():
    uses = [
        {"port": "1"}, {"port": "2"}, {"port": "1", "picture": "black"}, {"port": "1", "fix": "ferrite"},
        {"port": "1", "condition": {"supply": "off"}},
    ]  # fmt: skip
    found = find(gathered(direct(), *(comb(TRIANGLE, **use) for use in uses)))
    assert len({row.id for row in found}) == len(found) >= 5


def test_advice_about_mains_carries_the_caution_about_earth_and_never_tells_to_lift_it():
    for series in (FULL_WAVE, TRIANGLE, phase_cut(), SINE):
        finding = cause_of(comb(series, top_dbfs=-50.0))
        assert finding.advice
        assert finding.cautions
        spoken = " ".join([*finding.advice, finding.test]).lower()
        assert "lift" not in spoken
        assert "remove the earth" not in spoken
    loop = cause_of(comb(TRIANGLE, top_dbfs=-50.0))
    assert any("Never lift" in caution and "licensed electrician" in caution for caution in loop.cautions)


def test_what_takes_differ_by_is_not_called_added():
    key = {"subject": "direct", "role": "direct"}
    measures = [
        *level_rows("hum_level", "left", -90.0, n_takes=1, **key),
        *level_rows("hum_level", "left", -89.6, n_takes=1, subject="Alder", role="through"),
    ]
    finding = hum(find(gathered(([], measures))))
    assert finding.severity == "none"
    assert "adds no mains hum beyond doubt" in finding.sentence


def test_no_hum_is_said_with_its_limit():
    rows = level_rows("hum_level", "left", -121.0, "upper", subject="t1", role="single")
    (finding,) = [row for row in find(gathered(([], rows))) if row.kind == "hum"]
    assert finding.sentence == "No mains hum was found; any there is lies below -121 dB re the track's full scale."


def test_a_bench_alone_says_what_it_can_resolve():
    rows = [*level_rows("hum_level", "left", -100.0, n_takes=1, subject="direct", role="direct")]
    rows += level_rows("buzz_level", "left", -118.0, "upper", subject="direct", role="direct")
    (finding,) = [row for row in find(gathered(([], rows))) if row.kind == "bench"]
    # 1 dB more than -100 dB is what -105.9 dB adds: 10 lg(10^0.1 - 1) = -5.87 dB (elementary).
    assert "hum from -106 dBr (in an unlucky phase -94 dBr)" in finding.sentence
    assert "picture buzz from -118 dBr" in finding.sentence
