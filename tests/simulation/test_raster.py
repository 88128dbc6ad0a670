"""Pictures as voltages: rates from the standards, series against a voltage drawn point by point."""

import dataclasses

import numpy as np
import pytest
from scipy import fft

from humcheck.simulation import (
    COMPOSITE_SYNC,
    TIMING_262,
    TIMING_312,
    TIMING_525,
    TIMING_625,
    PathModel,
    Picture,
    PictureLeak,
    RasterTiming,
    Recorder,
    simulate_take,
)
from humcheck.simulation.raster import LINE_RATE_525_HZ, LINE_RATE_625_HZ, luma_series, picture_rows
from tests.simulation.reading import decibels, lines


@pytest.mark.parametrize(
    ("line_rate_hz", "lines_per_field", "expected_hz"),
    [
        pytest.param(LINE_RATE_525_HZ, 262.5, 59.940060, id="SMPTE 170M: 4.5 MHz/286, 525 lines"),
        pytest.param(LINE_RATE_525_HZ, 262, 60.05445, id="the same line rate, 262 lines a field"),
        pytest.param(LINE_RATE_525_HZ, 263, 59.82611, id="the same line rate, 263 lines a field"),
        pytest.param(LINE_RATE_625_HZ, 312.5, 50.0, id="BT.1700: 15625 Hz, 625 lines"),
        pytest.param(LINE_RATE_625_HZ, 312, 50.080128, id="the same line rate, 312 lines a field"),
        pytest.param(LINE_RATE_625_HZ, 313, 49.920128, id="the same line rate, 313 lines a field"),
    ],
)
def test_field_rates(line_rate_hz, lines_per_field, expected_hz):
    timing = RasterTiming(line_rate_hz=line_rate_hz, lines_per_field=lines_per_field)
    assert timing.field_rate_hz == pytest.approx(expected_hz, abs=5e-6)


def test_line_rates():
    # 4.5 MHz / 286 = 15734.2657 Hz; 625 lines 25 times a second.
    assert pytest.approx(15734.2657, abs=5e-5) == LINE_RATE_525_HZ
    assert LINE_RATE_625_HZ == 625 * 25


def test_active_share_of_a_line():
    # 52.66 us of 63.556 us and 52 us of 64 us (common tables of BT.1700).
    assert TIMING_525.active_share == pytest.approx(0.828, abs=1e-3)
    assert TIMING_625.active_share == pytest.approx(0.8125, abs=1e-12)
    for timing in (TIMING_262, TIMING_312, TIMING_525, TIMING_625):
        assert timing.active_start + timing.active_share < 1
        assert timing.first_row + timing.n_rows <= timing.lines_per_field


def drawn(rows, timing, points_per_line):
    """Return one period of the luma voltage point by point; the edges must fall on the points."""
    line, point = np.divmod(np.arange(timing.lines_per_period * points_per_line), points_per_line)
    x = (point + 0.5) / points_per_line
    active = (x > timing.active_start) & (x < timing.active_start + timing.active_share)
    voltage = np.zeros(line.size)
    for field in range(timing.fields_per_period):
        row = line - timing.first_row - int(np.ceil(field * timing.lines_per_field))
        shown = (row >= 0) & (row < timing.n_rows) & active
        voltage[shown] = rows[row[shown]]
    return voltage


@pytest.mark.parametrize(
    ("timing", "points_per_line"),
    [
        pytest.param(dataclasses.replace(TIMING_262, active_start=0.16, active_share=0.828), 250, id="262 lines"),
        pytest.param(TIMING_625, 128, id="625 lines interlaced"),
    ],
)
def test_series_is_that_of_the_drawn_voltage(timing, points_per_line):
    rows = np.random.default_rng(3).random(timing.n_rows)
    voltage = drawn(rows, timing, points_per_line)
    order = np.arange(1, 800)
    # Each point holds for its own width: a factor sinc, and half a point of delay.
    held = np.sinc(order / voltage.size) * np.exp(-1j * np.pi * order / voltage.size)
    by_points = 2 * fft.rfft(voltage)[order] / voltage.size * held
    assert np.abs(luma_series(rows, timing, 799) - by_points).max() < 1e-12


def test_rows_are_stretched_to_the_rows_of_the_timing():
    half = luma_series(np.array([1.0, 0.0]), TIMING_312, 50)
    assert np.abs(half - luma_series(picture_rows("top-half", 240), TIMING_312, 50)).max() < 1e-12


def test_white_screen_line_tone_by_hand():
    picture = luma_series(np.ones(240), TIMING_312, 312)
    # A pulse train of duty d has a fundamental of 2 sin(pi d) / pi; 240 of 312 lines have it.
    assert abs(picture[311]) == pytest.approx(2 * np.sin(np.pi * 0.8125) / np.pi * 240 / 312, rel=1e-9)
    # The field's own envelope: 240 of 312 lines, times the duty; the first line's start shifts its phase only.
    expected = 2 * np.sin(np.pi * 240 / 312) / np.pi * 0.8125
    assert abs(picture[0]) == pytest.approx(expected, rel=1e-4)


def test_black_screen_is_silent_until_there_is_sync():
    black = np.zeros(240)
    assert not luma_series(black, TIMING_312, 400).any()
    composite = dataclasses.replace(TIMING_312, sync_level=COMPOSITE_SYNC)
    with_sync = np.abs(luma_series(black, composite, 400))
    # 309 of 312 pulses of 4.7 us in 64 us, the other three 0.85 of a line: the line tone by phasors.
    narrow, wide = 4.7 / 64, 0.85
    phasor = 309 * (1 - np.exp(-2j * np.pi * narrow)) + 3 * (1 - np.exp(-2j * np.pi * wide))
    assert with_sync[311] == pytest.approx(abs(phasor) / np.pi * 0.3 / 0.7 / 312, rel=1e-9)
    assert with_sync[0] > 0


def test_interlaced_fields_nearly_cancel_at_odd_multiples_of_the_frame_rate():
    series = np.abs(luma_series(np.ones(288), TIMING_625, 40))
    order = np.arange(1, 41)
    one_field = 2 / np.pi / order * np.abs(np.sin(np.pi * order * 0.8125 / 625))
    one_field *= np.abs(np.sin(np.pi * order * 288 / 625) / np.sin(np.pi * order / 625))
    # The second field begins 313 lines after the first, not 312.5.
    both = np.abs(1 + np.exp(-2j * np.pi * order * 313 / 625))
    assert series == pytest.approx(one_field * both, rel=1e-9)
    assert series[0::2].max() < 0.03 * series[1::2].max()


@pytest.mark.parametrize(
    ("kind", "expected_db_per_octave"),
    [
        # 20 lg 2 = 6.0206 dB; the corner at 1 MHz costs 10 lg((1 + 4e-6) / (1 + 1e-6)) = 0.000013 dB.
        pytest.param("capacitive", 6.0206, id="stray capacitance"),
        pytest.param("shared", 0.0, id="shared ground"),
    ],
)
def test_leak_level_and_slope(kind, expected_db_per_octave):
    gain = PictureLeak(level_dbfs_at_1k=-100.0, kind=kind).gain(np.array([1000.0, 2000.0]))
    # A luma sine of full swing has an amplitude of one half.
    assert decibels(gain[0] * 0.5) == pytest.approx([-100.0, -100.0], abs=1e-9)
    assert decibels(gain[1] / gain[0]) == pytest.approx([expected_db_per_octave] * 2, abs=1e-4)


def test_unknown_leak_and_picture_are_refused():
    with pytest.raises(ValueError, match="capacitive or shared"):
        PictureLeak(level_dbfs_at_1k=-100.0, kind="magic").gain(np.array([1000.0]))
    with pytest.raises(ValueError, match="expected black"):
        picture_rows("plaid", 240)


def test_buzz_stands_in_the_take_as_the_series_says():
    leak = PictureLeak(level_dbfs_at_1k=-80.0, right=0.25)
    picture = Picture.plain("top-half", TIMING_312, leak)
    take = simulate_take(None, path=PathModel(picture=picture, recorder=Recorder(bits=None)), duration_s=8.0)
    order = np.array([1, 2, 7, 40, 311, 312, 313])
    found = np.abs(lines(take.samples, 48000, order * TIMING_312.field_rate_hz))
    wanted = np.abs(take.truth.picture_amplitudes(23e3)[order - 1])
    # Neighbouring lines leak a little into a fit of a few seconds: 8 s are 400 periods.
    assert found == pytest.approx(wanted, rel=5e-3, abs=2e-8)
    total = np.abs(take.truth.picture_amplitudes(23520.0)) ** 2
    assert np.mean(take.samples**2, axis=0) == pytest.approx(total.sum(axis=0) / 2, rel=2e-3)
    assert take.truth.picture_coupling_dbfs == pytest.approx([-80.0, -92.0412], abs=1e-4)


def test_nothing_of_the_raster_folds_back():
    # At 44.1 kHz the second multiple of the line rate, 31250 Hz, would stand at 12850 Hz.
    picture = Picture.plain("white", TIMING_625, PictureLeak(level_dbfs_at_1k=-40.0))
    path = PathModel(picture=picture, recorder=Recorder(bits=None))
    take = simulate_take(None, path=path, rate_hz=44100, duration_s=4.0)
    # 4 s hold whole periods of the 25 Hz raster: every line sits in a bin of its own, 12850 Hz included (514 x 25 Hz).
    spectrum = 2 * np.abs(fft.rfft(take.samples[:, 0])) / take.samples.shape[0]
    series = np.abs(picture.amplitudes(20e3)[:, 0])
    assert spectrum[4 * 25 * 514] == pytest.approx(series[513], rel=1e-3, abs=1e-9)
    beside = np.arange(spectrum.size) % 100 != 0
    assert decibels(spectrum[beside].max() / spectrum.max()) < -150
