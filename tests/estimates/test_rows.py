"""Coded rows: found, measured and bounded, against the simulation and against circuits worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from humcheck.analyzers.picture import coupling_level, picture_rows
from humcheck.errors import MeasurementError
from humcheck.estimates.lines import fit_lines
from humcheck.estimates.rows import find_rows
from humcheck.estimates.rows.rasters import RASTERS, Shown, harmonics, pattern
from humcheck.results import Key
from humcheck.simulation import TIMING_262, TIMING_312, TIMING_525, TIMING_625, PictureLeak
from humcheck.tracks.pictures_code import row_code
from tests.rows_sections import rows_section

RATE_HZ = 48000.0
TIMINGS = {
    "262 lines": TIMING_262,
    "263 lines": replace(TIMING_262, lines_per_field=263),
    "525 lines, interlaced": TIMING_525,
    "312 lines": TIMING_312,
    "313 lines, 288 rows": replace(TIMING_312, lines_per_field=313, n_rows=288, first_row=20),
    "625 lines, interlaced": TIMING_625,
}


def leak(level_dbfs, **more):
    return PictureLeak(level_dbfs_at_1k=level_dbfs, **more)


def levels(estimate):
    return [coupling_level(estimate.coupling, index)[0] for index in (0, 1)]


@pytest.mark.parametrize("timing", TIMINGS.values(), ids=TIMINGS)
def test_every_raster_is_found_and_measured(timing):
    estimate = find_rows(rows_section(10.0, (leak(-115.0, right=-0.5),), timing=timing), RATE_HZ)
    assert estimate.found
    assert estimate.raster.n_lines == timing.lines_per_period
    # The recorder's clock: 50 ppm off in the simulation.
    assert estimate.line_rate_hz / timing.line_rate_hz == pytest.approx(1 + 50e-6, abs=0.2e-6)
    # At -120 dBFS in 10 s the method's bound is 0.055 dB; at -115 and -121 it is 0.03 and 0.06: four of them.
    assert levels(estimate) == pytest.approx([-115.0, -121.02], abs=0.25)
    factors = estimate.coupling.factors[:, -1]
    assert estimate.coupling.sign_is_certain
    assert factors[0] > 0 > factors[1]


@pytest.mark.parametrize(("kind", "slope"), [("capacitive", 6.02), ("shared", 0.0)])
def test_the_slope_tells_capacitance_from_shared_ground(kind, slope):
    estimate = find_rows(rows_section(10.0, (leak(-100.0, kind=kind),)), RATE_HZ)
    assert estimate.coupling.slope(0)[0] == pytest.approx(slope, abs=0.3)
    assert levels(estimate) == pytest.approx([-100.0, -100.0], abs=0.2)


def test_two_ways_at_once_add_as_a_circuit_does():
    estimate = find_rows(rows_section(10.0, (leak(-92.0), leak(-98.0, kind="shared"))), RATE_HZ)
    # A capacitance's gain stands at a right angle to a resistance's: powers add; the slope is the capacitance's share.
    powers = 10 ** (np.array([-92.0, -98.0]) / 10)
    assert levels(estimate) == pytest.approx([10 * np.log10(powers.sum())] * 2, abs=0.1)
    assert estimate.coupling.slope(0)[0] == pytest.approx(6.0206 * powers[0] / powers.sum(), abs=0.3)


def test_a_high_pass_worked_by_hand_is_followed_to_its_corner():
    corner_hz = 20_000.0
    estimate = find_rows(rows_section(10.0, (leak(-95.0, corner_hz=corner_hz),), hum_dbfs=None), RATE_HZ)
    frequency_hz = np.array([1000.0, 8000.0, 15000.0])
    # |H| of an RC high-pass: f / sqrt(f^2 + fc^2).
    shape = frequency_hz / np.hypot(frequency_hz, corner_hz)
    expected_db = -95.0 + 20 * np.log10(shape / shape[0])
    found_db = 20 * np.log10(np.abs(estimate.coupling.gain(frequency_hz)[0]) / 2)
    assert found_db == pytest.approx(expected_db, abs=0.15)


@pytest.mark.parametrize("seed", range(3))
def test_the_level_lies_in_its_interval_at_the_limit_of_detection(seed):
    estimate = find_rows(rows_section(10.0, (leak(-138.0),), seed=seed), RATE_HZ)
    assert estimate.found
    level, sd = coupling_level(estimate.coupling, 0)
    # Three standard uncertainties.
    assert abs(level + 138.0) < 3 * sd
    # Noise alone allows 0.43 dB (0.055 dB at -120 dBFS); the rest is what the curve may do unseen.
    of_noise = np.sqrt(sd**2 - estimate.coupling.spread_db[0] ** 2)
    assert 0.43 / 1.5 < of_noise < 0.43 * 1.5


def test_without_a_picture_nothing_is_found_and_the_bound_holds():
    nothing = find_rows(rows_section(10.0, ()), RATE_HZ)
    assert not nothing.found
    shared, capacitive = 20 * np.log10(nothing.level_bound / 2)
    # A leak as strong as either bound is found.
    for level, kind in ((capacitive[0], "capacitive"), (shared[0], "shared")):
        assert find_rows(rows_section(10.0, (leak(float(level) + 3.0, kind=kind),)), RATE_HZ).found
    assert capacitive[0] < -135.0


def test_a_white_screen_is_not_taken_for_the_rows():
    white = rows_section(10.0, (leak(-90.0),), rows=np.ones(240))
    assert not find_rows(white, RATE_HZ).found
    assert not find_rows(white, RATE_HZ, fit_lines(white, RATE_HZ)).found


def test_strong_lines_of_another_picture_are_not_taken_for_a_weak_leak_of_the_rows():
    # A leak 40 dB over what can be found: by chance some of its lines match the code, most do not.
    half = rows_section(20.0, (leak(-100.0),), rows=np.r_[np.ones(120), np.zeros(120)])
    with pytest.raises(MeasurementError, match="another picture"):
        find_rows(half, RATE_HZ)
    for level in (-138.0, -100.0, -60.0):
        found = find_rows(rows_section(10.0, (leak(level),)), RATE_HZ)
        assert found.found
        assert found.coupling.unexplained < 0.3


@pytest.mark.parametrize("scale", [0.93, 1.05])
def test_a_picture_scaled_by_the_player_is_found_3_db_higher(scale):
    code = row_code(240)
    place = (np.arange(240) + 0.5 - 120) / scale + 120
    inside = (place >= 0) & (place < 240)
    shown = np.where(inside, code[np.clip(place, 0, 239).astype(int)], 0)
    # 8-bit range of video: black at 16, white at 235 of 255.
    estimate = find_rows(rows_section(10.0, (leak(-137.0),), rows=16 / 255 + shown * 219 / 255), RATE_HZ)
    assert estimate.found
    assert estimate.shown.scale == pytest.approx(scale, abs=0.011)


def test_a_line_rate_that_was_seen_finds_consoles_with_rates_of_their_own():
    # 341 dots at 1.5 times the subcarrier: 733 ppm above the standard's line rate.
    timing = replace(TIMING_262, line_rate_hz=15745.801)
    samples = rows_section(10.0, (leak(-120.0),), timing=timing)
    assert not find_rows(samples, RATE_HZ).found
    estimate = find_rows(samples, RATE_HZ, fit_lines(samples, RATE_HZ), everywhere=False)
    assert estimate.found
    assert levels(estimate)[0] == pytest.approx(-120.0, abs=0.25)


def test_two_channels_with_the_same_noise_count_once():
    samples = rows_section(10.0, (leak(-143.0),))
    samples[:, 1] = samples[:, 0]
    twice, once = find_rows(samples, RATE_HZ).p_value, find_rows(samples[:, :1], RATE_HZ).p_value
    # Counted twice, the exponent would double.
    assert np.log(twice) == pytest.approx(np.log(once), rel=0.1)


def test_the_share_that_follows_the_picture_is_that_of_its_lines():
    timing = replace(TIMING_312, sync_level=0.0)
    samples = rows_section(10.0, (leak(-90.0),), timing=timing, sync=0.0, hum_dbfs=None)
    silent = rows_section(10.0, (), timing=timing, hum_dbfs=None)
    estimate = find_rows(samples, RATE_HZ)
    band = slice(1000, 80_000)  # 100 Hz-8 kHz of a spectrum with 0.1 Hz bins

    def power(sound):
        return float((np.abs(np.fft.rfft(sound[:, 0]))[band] ** 2).sum())

    assert estimate.power_share[0] == pytest.approx(1 - power(silent) / power(samples), abs=0.01)


def test_the_simulation_draws_the_same_lines():
    from humcheck.simulation.raster import luma_series

    code = row_code(240).astype(float)
    for raster, timing in zip(RASTERS[:3:2], (TIMING_262, TIMING_525), strict=True):
        order = np.arange(1, 600)
        ours = np.abs(harmonics(raster, pattern(raster, Shown(240, 1.0)), order))
        theirs = np.abs(luma_series(code, timing, 599))
        # The same by two ways of reckoning, to a millionth of the strongest.
        np.testing.assert_allclose(ours, theirs, atol=1e-6 * theirs.max())


def test_too_short_or_silent_sections_say_why():
    with pytest.raises(MeasurementError, match="at least 2 s"):
        find_rows(np.zeros((48000, 2)), RATE_HZ)
    with pytest.raises(MeasurementError, match="silence"):
        find_rows(np.zeros((480_000, 2)), RATE_HZ)


def test_rows_of_a_picture_that_was_found_and_of_one_that_was_not():
    key = Key(subject="Birch", role="through", quantity="", picture="rows")
    found = picture_rows(find_rows(rows_section(10.0, (leak(-110.0, right=0.5),)), RATE_HZ), key, ("left", "right"))
    values = {(row.quantity, row.channel): row for row in found}
    coupling = values["picture_coupling", "both"]
    # The power mean of -110 and -116.02.
    assert coupling.value == pytest.approx(10 * np.log10((1e-11 + 0.25e-11) / 2), abs=0.1)
    assert values["picture_coupling", "left"].detail["polarity"] == 1.0
    assert values["picture_coupling_slope", "left"].unit == "dB/octave"
    assert 0 < values["picture_correlation", "left"].value < 1
    missing = picture_rows(find_rows(rows_section(10.0, ()), RATE_HZ), key, ("left", "right"))
    assert {row.quantity for row in missing if getattr(row, "bound", None) == "upper"} == {
        "picture_coupling",
        "picture_correlation",
    }
