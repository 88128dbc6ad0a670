"""The sound of video files as takes, written by another program (ffmpeg)."""

from __future__ import annotations

import shutil
import subprocess
import sys

import numpy as np
import pytest
import soundfile

from humcheck.audio.files import open_take
from humcheck.errors import UnusableTake
from humcheck.takes.take import load_take
from humcheck.tracks.layouts import layout
from humcheck.tracks.rendering import render_track

av = pytest.importorskip("av", reason="needs the extra 'video'")
needs_ffmpeg = pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="needs the program ffmpeg")
RATE_HZ = 48000


def write_video(path, sound, rate_hz, *, codec, subtype="PCM_24", video=("-c:v", "mpeg2video"), more=()):
    """Have ffmpeg write a small video file with this sound."""
    wav = path.with_suffix(".wav")
    soundfile.write(wav, sound, rate_hz, subtype=subtype)
    picture = ["-f", "lavfi", "-i", f"color=gray:size=64x48:rate=25:duration={len(sound) / rate_hz:.3f}"]
    command = ["ffmpeg", "-v", "error", "-y", *picture, "-i", wav, *video, "-c:a", codec, *more, path]
    subprocess.run([str(word) for word in command], check=True, timeout=60)
    wav.unlink()


def noise(n_samples, n_channels=2, bits=24):
    """Noise that lies on the steps of its word length."""
    steps = np.random.default_rng(4).integers(-(2 ** (bits - 2)), 2 ** (bits - 2), (n_samples, n_channels))
    return steps / 2.0 ** (bits - 1)


LOSSLESS = [
    ("mkv", "pcm_s24le", 24, "MKV 24-bit"),
    ("mkv", "pcm_s16le", 16, "MKV 16-bit"),
    ("mkv", "flac", 24, "MKV FLAC"),
    ("mov", "pcm_s24le", 24, "MOV 24-bit"),
    ("avi", "pcm_s16le", 16, "AVI 16-bit"),
    ("vob", "pcm_dvd", 16, "MPEG 16-bit"),
    ("mp4", "alac", 24, "MP4 ALAC"),
]


@needs_ffmpeg
@pytest.mark.parametrize(("ending", "codec", "bits", "label"), LOSSLESS)
def test_lossless_sound_comes_back_bit_by_bit(tmp_path, ending, codec, bits, label):
    sound = noise(30_000, bits=bits)
    path = tmp_path / f"capture.{ending}"
    write_video(path, sound, RATE_HZ, codec=codec, subtype=f"PCM_{bits}")
    take = open_take(path)
    assert (take.rate_hz, take.n_samples, take.n_channels, take.sample_format) == (RATE_HZ, 30_000, 2, label)
    assert take.notes == ()
    np.testing.assert_array_equal(take.read(), sound)
    np.testing.assert_array_equal(take.read(-5, 40)[5:], sound[:40])


@needs_ffmpeg
def test_lossy_sound_is_said_to_be_lossy_and_starts_where_it_should(tmp_path):
    sound = np.zeros((RATE_HZ, 1))
    sound[10_000:10_400, 0] = 0.5 * np.sin(2 * np.pi * 1000 * np.arange(400) / RATE_HZ)
    path = tmp_path / "capture.mp4"
    write_video(path, sound, RATE_HZ, codec="aac", more=("-b:a", "192k"))
    take = open_take(path)
    assert take.sample_format == "MP4 AAC"
    assert any("compressed with loss" in note for note in take.notes)
    # The coder's lead-in (1024 samples or more) is not part of the sound.
    correlation = np.correlate(take.read()[:, 0], sound[10_000:10_400, 0])
    assert int(np.argmax(correlation)) == 10_000


@needs_ffmpeg
def test_a_track_in_a_video_file_is_recognised(tmp_path):
    path = tmp_path / "capture.mkv"
    write_video(path, 0.5 * render_track(layout("silence", "short"), RATE_HZ, 24), RATE_HZ, codec="pcm_s24le")
    take = load_take(path)
    assert take.track is not None
    assert (take.track.name, take.track.length) == ("silence", "short")
    assert take.alignment is not None
    assert take.alignment.offset_s == pytest.approx(0.0, abs=1e-6)


@needs_ffmpeg
def test_more_channels_than_two(tmp_path):
    path = tmp_path / "capture.mkv"
    sound = noise(20_000, 6, bits=16)
    write_video(path, sound, RATE_HZ, codec="pcm_s16le", subtype="PCM_16")
    take = open_take(path)
    assert (take.n_file_channels, take.n_channels) == (6, 2)
    np.testing.assert_array_equal(take.read(), sound[:, :2])


@needs_ffmpeg
def test_a_file_that_was_cut_off_gives_what_is_there(tmp_path):
    whole = tmp_path / "whole.mkv"
    sound = noise(RATE_HZ, bits=16)
    write_video(whole, sound, RATE_HZ, codec="pcm_s16le", subtype="PCM_16")
    data = whole.read_bytes()
    path = tmp_path / "cut.mkv"
    path.write_bytes(data[: len(data) * 2 // 3])
    samples = open_take(path).read()
    assert RATE_HZ // 3 < len(samples) < RATE_HZ
    np.testing.assert_array_equal(samples, sound[: len(samples)])


@needs_ffmpeg
def test_video_without_sound_is_refused(tmp_path):
    path = tmp_path / "mute.mkv"
    picture = ["-f", "lavfi", "-i", "color=gray:size=64x48:rate=25:duration=1"]
    subprocess.run(["ffmpeg", "-v", "error", *picture, str(path)], check=True, timeout=60)
    with pytest.raises(UnusableTake, match="without sound"):
        open_take(path)


@pytest.mark.parametrize(
    "content",
    [
        b"\x1a\x45\xdf\xa3" + bytes(2000),
        b"\0\0\0\x20ftypisom" + bytes(2000),
        b"RIFF\0\0\0\0AVI " + bytes(2000),
        b"\x00\x00\x01\xba" + bytes(2000),
        (b"\x47" + bytes(187)) * 9,
    ],
    ids=["mkv", "mp4", "avi", "mpeg", "transport stream"],
)
def test_damaged_video_files_are_refused_in_one_line(tmp_path, content):
    path = tmp_path / "damaged.bin"
    path.write_bytes(content)
    with pytest.raises(UnusableTake) as caught:
        open_take(path)
    assert "video file" in caught.value.sentence()
    assert "\n" not in caught.value.sentence()


def test_without_the_library_it_is_said_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "av", None)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    path = tmp_path / "capture.mkv"
    path.write_bytes(b"\x1a\x45\xdf\xa3" + bytes(100))
    with pytest.raises(UnusableTake, match=r"pip install humcheck\[video\]"):
        open_take(path)
