"""Captured pictures found in their own sound."""

from __future__ import annotations

import numpy as np
import pytest

from humcheck.errors import MeasurementError
from humcheck.estimates.footage import find_footage
from humcheck.pipeline.compare import inspect_files
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.simulation.footage import game_rows, leak_of_fields
from humcheck.simulation.raster import TIMING_262, TIMING_625
from humcheck.tracks.pictures import brightness_of_lines

RATE_HZ = 48000
FIELD_HZ = TIMING_262.field_rate_hz


def capture(level_dbfs, seed=0, duration_s=10, noise_dbfs=-90.0):
    """Sound and frames of a capture that began a second into the game."""
    rng = np.random.default_rng(seed)
    n_samples, n_fields = duration_s * RATE_HZ, int((duration_s + 2) * FIELD_HZ)
    rows = game_rows(n_fields, TIMING_262.n_rows, rng)
    sound = rng.normal(0, 10 ** (noise_dbfs / 20) / np.sqrt(2), n_samples)
    if level_dbfs is not None:
        sound += leak_of_fields(rows, TIMING_262, RATE_HZ, n_samples, -0.9, level_dbfs)
    frames = np.clip(rows + rng.normal(0, 1 / 255, rows.shape), 0, 1)
    return sound[:, np.newaxis], frames, np.arange(n_fields) / FIELD_HZ - 1


def test_leak_is_found_and_measured_above_noise():
    estimate = find_footage(capture(-115.0)[0], RATE_HZ, *capture(-115.0)[1:])
    assert estimate.found
    assert (estimate.lines_per_field, estimate.scale) == (262.0, 1.0)
    # 0.4 dB is what the estimate itself allows for.
    assert estimate.level_dbfs[0] == pytest.approx(-115.0, abs=2 * estimate.level_sd_db[0])
    assert estimate.level_sd_db[0] < 0.6
    assert estimate.line_rate_hz == pytest.approx(TIMING_262.line_rate_hz, abs=0.01)


def test_another_game_is_not_found():
    """Its own line tone is there, and as strong; the changes are not those of these frames."""
    sound, _, _ = capture(-100.0, seed=1)
    _, frames, times_s = capture(None, seed=2)
    estimate = find_footage(sound, RATE_HZ, frames, times_s)
    assert not estimate.found
    assert estimate.line_tone_found
    assert np.isneginf(estimate.level_dbfs[0])


def test_no_leak_is_a_bound():
    estimate = find_footage(*capture(None)[:1], RATE_HZ, *capture(None)[1:])
    assert not estimate.found
    assert not estimate.line_tone_found
    assert -150 < estimate.bound_dbfs[0] < -130


def test_low_rates_and_short_takes_are_told():
    sound, frames, times_s = capture(None)
    with pytest.raises(MeasurementError, match="line rate"):
        find_footage(sound[::2], RATE_HZ / 2, frames, times_s)
    with pytest.raises(MeasurementError, match="too short"):
        find_footage(sound[:RATE_HZ], RATE_HZ, frames, times_s)


def test_rows_come_back_from_a_file_and_inspect_tells(tmp_path):
    pytest.importorskip("av", reason="needs the extra 'video'")
    from humcheck.video.brightness import read_brightness
    from humcheck.video.encoder import FIELDS_50, FORMS, encode

    path = tmp_path / "capture.mkv"
    lines = [brightness_of_lines(name, 576) for name in ("black", "rows", "white")]
    pictures = [lines[index // 25 % 3] for index in range(8 * 25)]
    noise = np.random.default_rng(5).normal(0, 1e-4, (8 * RATE_HZ, 2))
    encode(str(path), FORMS[".mkv"], FIELDS_50, pictures, [noise], RATE_HZ, "a capture")
    shown = read_brightness(str(path), longest_s=60.0)
    np.testing.assert_allclose(shown.times_s, np.arange(200) / 25, atol=2e-3)  # the container counts milliseconds
    np.testing.assert_allclose(shown.rows, np.array(pictures) / 255, atol=0.03)
    results = inspect_files([TakeRequest(path=str(path), role="single")], MeasuringSettings()).results
    rows = [row for row in results.measures if row.quantity == "picture_coupling"]
    assert [row.bound for row in rows] == ["upper", "upper"]
    assert TIMING_625.field_rate_hz == pytest.approx(50.0)


def test_under_a_programme_the_picture_is_not_sought(tmp_path):
    pytest.importorskip("av", reason="needs the extra 'video'")
    from humcheck.video.encoder import FIELDS_50, FORMS, encode
    from tests.programme_material import music

    path = tmp_path / "capture.mkv"
    pictures = [brightness_of_lines("white", 576)] * (8 * 25)
    sound = music(8 * RATE_HZ, RATE_HZ, np.random.default_rng(5))
    encode(str(path), FORMS[".mkv"], FIELDS_50, pictures, [np.stack([sound, sound], axis=1)], RATE_HZ, "a capture")
    results = inspect_files([TakeRequest(path=str(path), role="single")], MeasuringSettings()).results
    assert not any(row.quantity == "picture_coupling" for row in results.measures)
    assert any(row.quantity == "picture_coupling" for row in results.not_measured)
