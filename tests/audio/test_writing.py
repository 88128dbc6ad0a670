import os
import stat

import numpy as np
import pytest
import soundfile

from humcheck.audio.files import open_take
from humcheck.audio.writing import MARK, own_output, write_audio, write_whole
from humcheck.errors import UnusableCall, WouldOverwrite

PAGE = f"<!-- {MARK} -->\n"


def test_text_and_bytes_are_written_whole(tmp_path):
    write_whole(tmp_path / "page.html", PAGE + "humm \u00fc\n")
    assert (tmp_path / "page.html").read_bytes() == (PAGE + "humm \u00fc\n").encode()
    write_whole(tmp_path / "data", b"\0\1")
    assert (tmp_path / "data").read_bytes() == b"\0\1"
    assert sorted(os.listdir(tmp_path)) == ["data", "page.html"]


def test_own_output_is_replaced_and_others_are_not(tmp_path):
    path = tmp_path / "page.html"
    write_whole(path, PAGE)
    write_whole(path, PAGE + "second")
    assert path.read_text() == PAGE + "second"
    path.write_text("somebody's own page")
    with pytest.raises(WouldOverwrite, match="--force"):
        write_whole(path, PAGE)
    assert path.read_text() == "somebody's own page"
    write_whole(path, PAGE, force=True)
    assert path.read_text() == PAGE


def test_the_mark_is_found_at_both_ends_of_a_long_file(tmp_path):
    path = tmp_path / "long"
    path.write_bytes(b"x" * 300_000 + MARK.encode())
    assert own_output(path)
    path.write_bytes(MARK.encode() + b"x" * 300_000)
    assert own_output(path)
    path.write_bytes(b"x" * 300_000)
    assert not own_output(path)


@pytest.mark.parametrize(
    ("ending", "bits"),
    [("wav", 16), ("wav", 24), ("wav", 32), ("flac", 16), ("flac", 24), ("aiff", 16), ("aiff", 24), ("aiff", 32)],
)
def test_audio_carries_the_mark_and_can_be_replaced(tmp_path, ending, bits):
    path = tmp_path / f"track.{ending}"
    samples = np.random.default_rng(0).uniform(-0.99, 0.99, (50_000, 2))
    for _ in range(2):
        write_audio(path, samples, 44_100, bits, comment="track full")
    assert own_output(path)
    with soundfile.SoundFile(path) as file:
        assert MARK in file.comment
        assert "track full" in file.comment
    # Half a step of rounding; full scale is 1.0 exactly, as it is read again.
    assert np.abs(open_take(path).read() - samples).max() <= 0.5001 * 2.0 ** (1 - min(bits, 24))


def test_steps_of_the_word_come_back_exactly(tmp_path):
    steps = np.array([[-(2**23)], [-1], [0], [1], [2**23 - 1]]) / 2**23
    write_audio(tmp_path / "a.wav", steps, 48_000, 24)
    assert np.array_equal(open_take(tmp_path / "a.wav").read(), steps)


def test_sound_of_others_is_not_replaced(tmp_path):
    soundfile.write(tmp_path / "take.wav", np.zeros((10, 1)), 48_000)
    with pytest.raises(WouldOverwrite):
        write_audio(tmp_path / "take.wav", np.zeros((10, 1)), 48_000)


def test_places_that_cannot_be_written(tmp_path):
    for path in (tmp_path, tmp_path / "none" / "x.html", tmp_path / ("a" * 400), tmp_path / "z\0"):
        with pytest.raises(UnusableCall) as caught:
            write_whole(path, PAGE)
        assert caught.value.remedy
        assert caught.value.sentence().isprintable()
    assert os.listdir(tmp_path) == []


def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    path = tmp_path / "page.html"
    write_whole(path, PAGE)

    def full_disk(descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full_disk)
    with pytest.raises(UnusableCall, match="No space left"):
        write_whole(path, PAGE + "second")
    assert path.read_text() == PAGE
    assert os.listdir(tmp_path) == ["page.html"]


@pytest.mark.skipif(os.name == "nt", reason="rights work differently there")
def test_rights_are_the_user_s_own(tmp_path):
    path = tmp_path / "page.html"
    mask = os.umask(0o027)
    try:
        write_whole(path, PAGE)
        assert stat.S_IMODE(path.stat().st_mode) == 0o640
        path.chmod(0o600)
        write_whole(path, PAGE)
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    finally:
        os.umask(mask)


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_link_goes_on_pointing_where_it_did(tmp_path):
    (tmp_path / "real.html").write_text(PAGE)
    (tmp_path / "link.html").symlink_to("real.html")
    write_whole(tmp_path / "link.html", PAGE + "second")
    assert (tmp_path / "link.html").is_symlink()
    assert (tmp_path / "real.html").read_text() == PAGE + "second"


def test_arguments_that_make_no_sense(tmp_path):
    with pytest.raises(UnusableCall, match="kind of audio file"):
        write_audio(tmp_path / "x.mp3", np.zeros((10, 1)), 48_000)
    with pytest.raises(ValueError, match="bits"):
        write_audio(tmp_path / "x.wav", np.zeros((10, 1)), 48_000, 20)
    with pytest.raises(ValueError, match="shape"):
        write_audio(tmp_path / "x.wav", np.zeros(10), 48_000)
