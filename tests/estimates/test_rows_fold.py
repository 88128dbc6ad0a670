"""The sound folded over one field, against the simulation's own drawing of the picture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from humcheck.analyzers.picture_curves import coupling_curves, fold_of_lines, fold_of_rows
from humcheck.estimates.lines import fit_lines
from humcheck.estimates.rows import find_rows
from humcheck.estimates.rows.curve import AT_1K, CURVE_HZ
from humcheck.estimates.rows.fold import LEAD_LINES, N_POINTS, field_family, fold_family, fold_rows
from humcheck.results import Key
from humcheck.simulation import COMPOSITE_SYNC, TIMING_312, PictureLeak
from humcheck.simulation.raster import luma_series
from humcheck.tracks.pictures_code import row_code
from tests.rows_sections import rows_section

RATE_HZ = 48000.0
KEY = Key(subject="Birch", role="through", quantity="", picture="rows")
WAYS = [PictureLeak(level_dbfs_at_1k=-95.0, kind=kind) for kind in ("capacitive", "shared")]


def drawn(rows, leak, timing=TIMING_312):
    """Return the field as the simulation draws it, up to half the line rate, from the estimate's first moment on."""
    n_harmonics = timing.lines_per_period // 2 - 1
    order = np.arange(1, n_harmonics + 1)
    series = luma_series(rows, replace(timing, sync_level=COMPOSITE_SYNC), n_harmonics)
    lines = series * leak.gain(order * timing.field_rate_hz)[:, 0]
    # The middle of the first line's picture, from where the field begins; the estimate begins half a line and the lead
    # before it.
    start = timing.first_row + timing.active_start + timing.active_share / 2 - 0.5 - LEAD_LINES
    phase = start / timing.lines_per_field + np.arange(N_POINTS) / N_POINTS
    return np.real(lines @ np.exp(2j * np.pi * np.multiply.outer(order, phase)))


def misfit(found, expected):
    """Return the RMS of the difference over that of what is expected."""
    return float(np.std(found - expected) / np.std(expected))


@pytest.mark.parametrize("leak", WAYS, ids=["capacitive", "shared"])
def test_the_folded_rows_are_what_the_simulation_draws(leak):
    # Hum that wanders within 0.1 Hz of the field rate is no part of the estimator's model.
    estimate = find_rows(rows_section(10.0, (leak,), mains_hz=50.0), RATE_HZ)
    folded = fold_rows(estimate.lines, estimate.coupling)
    expected = drawn(row_code(240).astype(float), leak)
    # White noise of -90 dBFS keeps (n - 1) / (rate T / 2) of its power in n lines.
    noise = 10 ** (-90 / 20) / np.sqrt(2) * np.sqrt(155 / (RATE_HZ * 10 / 2))
    assert folded.noise_sd[0] == pytest.approx(noise, rel=0.15)
    # -95 dBFS is far above the noise: what is left is that of lines beside the hum.
    assert misfit(folded.sound[0], expected) < 0.1
    assert folded.brightness[LEAD_LINES : LEAD_LINES + 240].tolist() == row_code(240).tolist()
    assert folded.line_time_s[LEAD_LINES] == pytest.approx((LEAD_LINES + 0.5) / TIMING_312.line_rate_hz, rel=1e-3)


@pytest.mark.parametrize(("picture", "leak"), [("white", WAYS[0]), ("top-half", WAYS[1])], ids=["white", "top-half"])
def test_a_picture_that_is_no_code_is_folded_and_placed(picture, leak):
    rows = np.ones(240) if picture == "white" else np.r_[np.ones(120), np.zeros(120)]
    lines = fit_lines(rows_section(12.0, (leak,), rows=rows, mains_hz=50.0), RATE_HZ)
    line_rate_hz = lines.of_kind("line_rate")[0].fundamental_hz
    # So near the mains, the field's family is told by its keeping step with the line rate.
    family = field_family(lines, line_rate_hz)
    assert family.fundamental_hz == pytest.approx(line_rate_hz / 312, rel=1e-6)
    folded = fold_family(family, picture, line_rate_hz)
    assert folded.brightness[LEAD_LINES - 2 : LEAD_LINES + 2].tolist() == [0, 0, 1, 1]
    assert folded.brightness.sum() == pytest.approx(rows.sum(), abs=16)
    # The place is found to a quarter of a line; an edge is as steep as the band allows, so the shape is compared there.
    expected = drawn(rows, leak)
    shifted = min(misfit(np.roll(folded.sound[0], shift), expected) for shift in range(-2, 3))
    assert shifted < 0.35


def test_what_no_picture_explains_gets_no_place():
    lines = fit_lines(rows_section(8.0, (WAYS[0],), rows=row_code(240).astype(float)), RATE_HZ)
    # The rows were shown, the label says white.
    traces = fold_of_lines(lines, replace_picture("white"), ("left", "right"))
    assert {trace.quantity for trace in traces} == {"picture_fold", "picture_fold_noise"}
    assert fold_of_lines(lines, replace_picture("menu"), ("left", "right")) == []


def replace_picture(picture):
    return Key(subject="Birch", role="through", quantity="", picture=picture)


def test_two_ways_at_once_give_the_curve_of_a_circuit():
    leaks = (PictureLeak(level_dbfs_at_1k=-98.0), PictureLeak(level_dbfs_at_1k=-102.0, kind="shared"))
    estimate = find_rows(rows_section(10.0, leaks), RATE_HZ)
    left, _ = coupling_curves(estimate, KEY, ("left", "right"))
    frequency_hz = np.array(left.frequency_hz)
    # A capacitance's gain stands at a right angle to a resistance's: powers add at every frequency.
    expected = 10 * np.log10(10**-9.8 * (frequency_hz / 1000) ** 2 + 10**-10.2)
    inside = (np.array(left.low) <= expected) & (expected <= np.array(left.high))
    assert inside.mean() >= 0.9
    assert np.array(left.value) == pytest.approx(expected, abs=0.5)
    assert frequency_hz[0] < 60
    assert frequency_hz[-1] > 17_000
    # The slope is 6.02 p / (1 + p), p = 10^0.4 (f / 1 kHz)^2; the bend is its growth from 707 to 1414 Hz.
    shares = [p / (1 + p) for p in 10**0.4 * np.array([0.5, 2.0])]
    assert estimate.coupling.bend(0)[0] == pytest.approx(6.0206 * (shares[1] - shares[0]), abs=0.1)
    traces = fold_of_rows(estimate, KEY, ("left", "right"))
    assert all(len(trace.x) == len(trace.y) <= 600 for trace in traces)
    assert {trace.unit for trace in traces if trace.quantity == "picture_fold"} == {"uFS"}


def test_without_a_picture_the_curve_is_a_bound_that_holds_either_way():
    nothing = find_rows(rows_section(10.0, ()), RATE_HZ)
    (curve,) = coupling_curves(nothing, KEY, ("left",))[:1]
    assert set(curve.bound) == {"upper"}
    assert curve.low is None
    shared, capacitive = 20 * np.log10(nothing.level_bound[:, 0] / 2)
    assert curve.value[0] == pytest.approx(shared, abs=0.01)
    assert curve.value[-1] == pytest.approx(capacitive + 20 * np.log10(CURVE_HZ[-1] / 1000), abs=0.01)
    assert curve.frequency_hz[AT_1K] == 1000.0
    assert fold_of_rows(nothing, KEY, ("left",)) == []
