"""Captured pictures found in their own sound."""

from __future__ import annotations

import io
import shutil
import subprocess

import numpy as np
import pytest
import soundfile

from humcheck.errors import MeasurementError
from humcheck.estimates.footage import find_footage
from humcheck.pipeline.compare import inspect_files
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.simulation.footage import game_rows, leak_of_fields
from humcheck.simulation.raster import TIMING_262, TIMING_625, RasterTiming
from humcheck.tracks.pictures import brightness_of_lines
from tests.programme_material import music

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


def in_band(sound):
    spectrum = np.abs(np.fft.rfft(sound)) ** 2
    frequency_hz = np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    return spectrum[(frequency_hz > 100) & (frequency_hz < 8000)].sum()


def test_leak_is_found_and_measured_above_noise():
    sound, frames, times_s = capture(-115.0)
    estimate = find_footage(sound, RATE_HZ, frames, times_s)
    assert estimate.found
    assert (estimate.lines_per_field, estimate.scale) == (262.0, 1.0)
    assert estimate.low_dbfs[0] < -115.0 < estimate.high_dbfs[0]
    assert estimate.high_dbfs[0] - estimate.low_dbfs[0] < 2.0
    assert estimate.line_rate_hz == pytest.approx(TIMING_262.line_rate_hz, abs=0.01)
    # The simulation draws the first row a tenth of a second late, and so many lines into its field.
    first_row_s = (TIMING_262.first_row + TIMING_262.active_start) / TIMING_262.line_rate_hz
    assert estimate.lag_probability > 0.95
    assert estimate.lag_s == pytest.approx(0.1 + first_row_s, abs=0.3 / RATE_HZ)


def test_under_music_the_place_is_exact_and_the_level_within_its_interval():
    """Music is not what the estimator assumes: notes with partials and clicks, no noise of a smooth spectrum."""
    sound, frames, times_s = capture(-85.0)
    sound = sound + music(len(sound), RATE_HZ, np.random.default_rng(9))[:, np.newaxis]
    estimate = find_footage(sound, RATE_HZ, frames, times_s)
    first_row_s = (TIMING_262.first_row + TIMING_262.active_start) / TIMING_262.line_rate_hz
    assert estimate.found
    assert estimate.lag_s == pytest.approx(0.1 + first_row_s, abs=0.5 / RATE_HZ)
    assert estimate.low_dbfs[0] < -85.0 < estimate.high_dbfs[0]


def test_woven_frames_tell_which_field_was_first():
    """625 lines interlaced, frames of 576 rows: odd fields are drawn 313 lines later, on whole lines."""
    rng = np.random.default_rng(3)
    rows = game_rows(10 * 50, 288, rng)
    n_frames = len(rows) // 2
    drawn = np.zeros((n_frames, 313 + 288))
    drawn[:, :288], drawn[:, 313:] = rows[0::2], rows[1::2]
    frame = RasterTiming(lines_per_field=625, n_rows=313 + 288)
    n_samples = 8 * RATE_HZ
    sound = rng.normal(0, 10 ** (-90 / 20) / np.sqrt(2), n_samples)
    sound += leak_of_fields(drawn, frame, RATE_HZ, n_samples, -1.02, -105.0)
    woven = np.empty((n_frames, 576))
    woven[:, 0::2], woven[:, 1::2] = rows[0::2], rows[1::2]
    estimate = find_footage(sound[:, np.newaxis], RATE_HZ, woven, np.arange(n_frames) / 25 - 1)
    assert estimate.found
    assert estimate.weave == "even rows first"
    first_row_s = (frame.first_row + frame.active_start) / frame.line_rate_hz
    assert estimate.lag_s == pytest.approx(-0.02 + first_row_s, abs=0.5 / RATE_HZ)
    assert estimate.low_dbfs[0] < -105.0 < estimate.high_dbfs[0]


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


def test_a_file_of_another_program_is_read_and_its_picture_found(tmp_path):
    """Frames stretched to 480 rows by the other program, stamps in whole milliseconds, half of it under music."""
    pytest.importorskip("av", reason="needs the extra 'video'")
    program = shutil.which("ffmpeg") or pytest.skip("needs ffmpeg to write a file")
    sound, frames, _ = capture(-100.0, noise_dbfs=-85.0)
    sound[: 5 * RATE_HZ, 0] += music(5 * RATE_HZ, RATE_HZ, np.random.default_rng(5))
    shown = np.repeat(np.rint(frames[60:] * 255).astype(np.uint8)[:, :, np.newaxis], 64, axis=2)
    (tmp_path / "frames.raw").write_bytes(shown.tobytes())
    soundfile.write(tmp_path / "sound.wav", sound, RATE_HZ, subtype="PCM_24")
    path = tmp_path / "capture.mkv"
    raw = ["-f", "rawvideo", "-pix_fmt", "gray", "-s", "64x240", "-r", f"{FIELD_HZ:.6f}", "-i", "frames.raw"]
    made = ["-vf", "scale=64:480:flags=bilinear:in_range=pc:out_range=pc", "-c:v", "ffv1", "-c:a", "pcm_s24le"]
    command = [program, "-v", "error", *raw, "-i", "sound.wav", *made, "-shortest", str(path)]
    subprocess.run(command, check=True, cwd=tmp_path)
    outcome = inspect_files([TakeRequest(path=str(path), role="single")], MeasuringSettings(), to_hear=True)
    results = outcome.results
    (row,) = [row for row in results.measures if row.quantity == "picture_coupling"]
    assert row.bound is None
    assert row.low < -100.0 < row.high
    assert row.detail["p_value"] < 1e-4
    (share,) = [row for row in results.measures if row.quantity == "picture_correlation"]
    leak = capture(-100.0, noise_dbfs=-400.0)[0]
    # Of the part without music, the bins from 100 Hz to 8 kHz (Parseval's theorem).
    followed, heard = (in_band(one[5 * RATE_HZ :, 0]) for one in (leak, sound))
    assert share.low < followed / heard < share.high
    assert row.detail["worst_quiet_at_s"] >= 5.0
    (heard,) = [sound for sound in outcome.excerpts.sounds if sound.kind == "footage"]
    assert f"raised by {heard.raised_db:.0f} dB" in heard.caption
    samples, _ = soundfile.read(io.BytesIO(heard.content))
    assert 0.01 < np.abs(samples).max() <= 0.1001  # excerpts stay 20 dB below full scale
    first_row_s = (TIMING_262.first_row + TIMING_262.active_start) / TIMING_262.line_rate_hz
    first_frame_s = 60 / FIELD_HZ - 1
    # The first frame is stamped 0. Stamps in milliseconds: their middle may lie half of one beside the truth.
    assert row.detail["lag_s"] == pytest.approx(0.1 + first_frame_s + first_row_s, abs=1e-3)


def test_under_a_programme_a_picture_that_stands_still_is_told(tmp_path):
    pytest.importorskip("av", reason="needs the extra 'video'")
    from humcheck.video.encoder import FIELDS_50, FORMS, encode

    path = tmp_path / "capture.mkv"
    pictures = [brightness_of_lines("white", 576)] * (8 * 25)
    sound = music(8 * RATE_HZ, RATE_HZ, np.random.default_rng(5))
    encode(str(path), FORMS[".mkv"], FIELDS_50, pictures, [np.stack([sound, sound], axis=1)], RATE_HZ, "a capture")
    results = inspect_files([TakeRequest(path=str(path), role="single")], MeasuringSettings()).results
    assert not any(row.quantity == "picture_coupling" for row in results.measures)
    assert any(row.quantity == "picture_coupling" for row in results.not_measured)
