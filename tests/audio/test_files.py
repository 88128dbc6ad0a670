import hashlib
import os

import numpy as np
import pytest
import soundfile

from humcheck.audio.files import open_take
from humcheck.audio.writing import write_audio
from humcheck.errors import UnusableTake


def noise(n_samples, n_channels=2, seed=0):
    return np.random.default_rng(seed).uniform(-0.7, 0.7, (n_samples, n_channels))


LOSSLESS = [
    ("WAV", "PCM_16", "wav", "WAV 16-bit", 16),
    ("WAV", "PCM_24", "wav", "WAV 24-bit", 24),
    ("WAV", "PCM_32", "wav", "WAV 32-bit", 32),
    ("WAV", "FLOAT", "wav", "WAV 32-bit float", 24),
    ("WAV", "DOUBLE", "wav", "WAV 64-bit float", 52),
    ("WAVEX", "PCM_24", "wav", "WAV 24-bit", 24),
    ("RF64", "PCM_24", "wav", "WAV 24-bit", 24),
    ("FLAC", "PCM_16", "flac", "FLAC 16-bit", 16),
    ("FLAC", "PCM_24", "flac", "FLAC 24-bit", 24),
    ("AIFF", "PCM_16", "aiff", "AIFF 16-bit", 16),
    ("AIFF", "PCM_24", "aif", "AIFF 24-bit", 24),
]


@pytest.mark.parametrize(("container", "subtype", "ending", "label", "bits"), LOSSLESS)
@pytest.mark.parametrize("rate_hz", [32_000, 44_100, 48_000, 96_000])
@pytest.mark.parametrize("n_channels", [1, 2])
def test_lossless_files_come_back(tmp_path, container, subtype, ending, label, bits, rate_hz, n_channels):
    samples = noise(2000, n_channels)
    path = tmp_path / f"take.{ending}"
    soundfile.write(path, samples, rate_hz, format=container, subtype=subtype)
    take = open_take(path)
    assert (take.rate_hz, take.n_samples, take.n_channels, take.sample_format) == (rate_hz, 2000, n_channels, label)
    assert take.duration_s == pytest.approx(2000 / rate_hz)
    assert take.notes == ()
    read = take.read()
    assert read.dtype == np.float64
    # The writer rounds to a step of 2 / 2**bits and scales by one step less than full scale.
    assert np.abs(read - samples).max() <= 2 * 2.0 ** (1 - bits)


LOSSY = [
    ("OGG", "VORBIS", "ogg", "OGG Vorbis", (32_000, 44_100, 48_000)),
    ("MP3", "MPEG_LAYER_III", "mp3", "MP3", (32_000, 44_100, 48_000)),
    ("OGG", "OPUS", "opus", "OGG Opus", (48_000,)),
]


@pytest.mark.parametrize(
    ("container", "subtype", "ending", "label", "rate_hz"),
    [(c, s, e, label, rate_hz) for c, s, e, label, rates in LOSSY for rate_hz in rates],
)
@pytest.mark.parametrize("n_channels", [1, 2])
def test_lossy_files_keep_the_sound(tmp_path, container, subtype, ending, label, rate_hz, n_channels):
    time_s = np.arange(rate_hz) / rate_hz
    tones = np.stack([0.3 * np.sin(2 * np.pi * f * time_s) for f in (440.0, 997.0)[:n_channels]], axis=1)
    path = tmp_path / f"take.{ending}"
    soundfile.write(path, tones, rate_hz, format=container, subtype=subtype)
    take = open_take(path)
    assert (take.rate_hz, take.n_channels, take.sample_format) == (rate_hz, n_channels, label)
    # The codecs may add or drop a few packets at the ends.
    assert take.n_samples == pytest.approx(rate_hz, abs=0.06 * rate_hz)
    middle = take.read(rate_hz // 4, 3 * rate_hz // 4)
    assert np.std(middle, axis=0) == pytest.approx(np.full(n_channels, 0.3 / np.sqrt(2)), rel=0.03)


@pytest.mark.parametrize(("container", "subtype", "ending"), [(c, s, e) for c, s, e, _, _ in LOSSY])
def test_parts_of_a_lossy_file_are_the_same_samples_in_any_order(tmp_path, container, subtype, ending):
    path = tmp_path / f"take.{ending}"
    soundfile.write(path, noise(60_000), 48_000, format=container, subtype=subtype)
    take = open_take(path)
    whole = take.read()
    # All in one go, the library decodes it right; in parts it has to be the same.
    assert np.array_equal(whole, soundfile.read(path, dtype="float32", always_2d=True)[0])
    for start, stop in ((40_000, 40_500), (0, 100), (17, 30_011), (take.n_samples - 3, take.n_samples)):
        assert np.array_equal(take.read(start, stop), whole[start:stop])
    assert np.array_equal(np.concatenate([block for _, block in take.blocks(7001)]), whole)


def test_what_lies_outside_the_file_reads_zero(tmp_path):
    path = tmp_path / "take.wav"
    write_audio(path, noise(100), 48_000, 24)
    take = open_take(path)
    whole = take.read()
    around = take.read(-5, 110)
    assert around.shape == (115, 2)
    assert np.array_equal(around[5:105], whole)
    assert not around[:5].any()
    assert not around[105:].any()
    assert take.read(200, 210).shape == (10, 2)
    assert not take.read(-20, -10).any()
    assert take.read(7, 7).shape == (0, 2)
    with pytest.raises(ValueError, match="before start"):
        take.read(5, 4)


def test_blocks_cover_the_file_in_order(tmp_path):
    path = tmp_path / "take.flac"
    write_audio(path, noise(1000), 48_000, 24)
    take = open_take(path)
    starts, blocks = zip(*take.blocks(300), strict=True)
    assert starts == (0, 300, 600, 900)
    assert np.array_equal(np.concatenate(blocks), take.read())
    part = list(take.blocks(300, 250, 700))
    assert [start for start, _ in part] == [250, 550]
    assert np.array_equal(np.concatenate([block for _, block in part]), take.read(250, 700))
    with pytest.raises(ValueError, match="block_samples"):
        next(take.blocks(0))


def test_fingerprint_is_of_the_file_s_bytes(tmp_path):
    path = tmp_path / "take.wav"
    write_audio(path, noise(100), 48_000, 16)
    take = open_take(path)
    assert take.sha256() == hashlib.sha256(path.read_bytes()).hexdigest()
    path.write_bytes(b"other")
    assert take.sha256() != hashlib.sha256(b"other").hexdigest()  # read once


def test_reading_changes_nothing(tmp_path):
    path = tmp_path / "take.wav"
    write_audio(path, noise(100), 48_000, 16)
    path.chmod(0o444)
    tmp_path.chmod(0o555)
    before = (path.read_bytes(), path.stat().st_mtime_ns, os.listdir(tmp_path))
    try:
        open_take(path).read()
        assert (path.read_bytes(), path.stat().st_mtime_ns, os.listdir(tmp_path)) == before
    finally:
        tmp_path.chmod(0o755)


def test_of_many_channels_the_first_two_are_used_and_it_is_said(tmp_path):
    samples = noise(300_000, 6)
    path = tmp_path / "take.wav"
    soundfile.write(path, samples, 48_000, subtype="FLOAT")
    take = open_take(path)
    assert (take.n_channels, take.n_file_channels) == (2, 6)
    assert "6 channels" in take.notes[0]
    assert np.abs(take.read() - samples[:, :2]).max() < 1e-7


# --- damaged files: what is there is read ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("container", "subtype"), [("WAV", "PCM_16"), ("WAV", "PCM_24"), ("WAV", "FLOAT"), ("AIFF", "PCM_24")]
)
def test_data_that_end_early_are_read_as_far_as_they_go(tmp_path, container, subtype):
    path = tmp_path / "take.bin"
    soundfile.write(path, noise(48_000), 48_000, format=container, subtype=subtype)
    whole = open_take(path).read()
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 6 // 10])
    take = open_take(path)
    assert take.n_samples == pytest.approx(0.6 * 48_000, abs=20)
    assert np.array_equal(take.read(), whole[: take.n_samples])
    assert "cut off" in take.notes[0]


@pytest.mark.parametrize(("container", "subtype"), [("FLAC", "PCM_24"), ("OGG", "VORBIS"), ("MP3", "MPEG_LAYER_III")])
def test_a_compressed_file_that_ends_early_is_read_as_far_as_it_goes(tmp_path, capfd, container, subtype):
    path = tmp_path / "take.bin"
    soundfile.write(path, noise(96_000), 48_000, format=container, subtype=subtype)
    whole = open_take(path).read()
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 6 // 10])
    take = open_take(path)
    assert 0.25 * 96_000 < take.n_samples < 0.62 * 96_000
    assert np.array_equal(take.read(0, 20_000), whole[:20_000])
    assert take.read().shape == (take.n_samples, 2)
    assert capfd.readouterr().err == ""


def test_a_wav_file_whose_recorder_was_cut_off_is_read(tmp_path):
    path = tmp_path / "take.wav"
    soundfile.write(path, noise(5000), 48_000, subtype="PCM_16")
    whole = open_take(path).read()
    data = bytearray(path.read_bytes())
    place = data.index(b"data")
    data[4:8] = data[place + 4 : place + 8] = bytes(4)
    path.write_bytes(data)
    take = open_take(path)
    assert "true length" in take.notes[0]
    assert np.array_equal(take.read(), whole)
    assert np.array_equal(take.read(1234, 1300), whole[1234:1300])


def test_a_flac_file_that_does_not_know_its_length_is_read_to_its_end(tmp_path):
    path = tmp_path / "take.flac"
    soundfile.write(path, noise(20_000), 48_000, subtype="PCM_16")
    whole = open_take(path).read()
    data = bytearray(path.read_bytes())
    data[21] &= 0xF0  # the count of samples in the STREAMINFO block: 36 bits
    data[22:26] = bytes(4)
    path.write_bytes(data)
    assert np.array_equal(open_take(path).read(), whole)


# --- what cannot be used: one printable line that says what to do ------------------------------------------------


def damaged_header(path):
    soundfile.write(path, noise(1000), 48_000, format="WAV", subtype="PCM_16")
    path.write_bytes(path.read_bytes()[:30])


def with_sample(value, subtype):
    def write(path):
        samples = noise(1000)
        samples[123, 1] = value
        soundfile.write(path, samples, 48_000, format="WAV", subtype=subtype)

    return write


def of_rate(rate_hz):
    return lambda path: soundfile.write(path, noise(1000), rate_hz, format="WAV", subtype="PCM_16")


UNUSABLE = {
    "missing": (lambda path: None, "no such file"),
    "folder": (lambda path: path.mkdir(), "is a folder"),
    "empty": (lambda path: path.write_bytes(b""), "is empty"),
    "text": (lambda path: path.write_text("level, tone, quiet\n" * 99), "not an audio file"),
    "header cut off": (damaged_header, "not an audio file"),
    "no samples": (lambda p: soundfile.write(p, noise(0), 48_000, format="WAV", subtype="PCM_16"), "no samples"),
    "NaN": (with_sample(np.nan, "FLOAT"), r"sample 123 \(0\.003 s\) of channel 2 is not a number"),
    "infinite": (with_sample(np.inf, "DOUBLE"), r"sample 123 \(0\.003 s\) of channel 2 is not a number"),
    "minus infinite": (with_sample(-np.inf, "FLOAT"), "not a number"),
    "integers as floats": (with_sample(32_767.0, "FLOAT"), "3.28e.04 times full scale"),
    "rate too low": (of_rate(3999), "sampling rate of 3999 Hz"),
    "rate too high": (of_rate(768_001), "sampling rate of 768001 Hz"),
    "too many channels": (
        lambda p: soundfile.write(p, noise(10, 65), 48_000, format="WAV", subtype="PCM_16"),
        "65 channels",
    ),
}


@pytest.mark.parametrize("name", ["take.wav", "new\nline \x1b[31mred \udcff.wav", "[red]{x}%s.wav", "take.mp3"])
@pytest.mark.parametrize("what", list(UNUSABLE))
def test_unusable_takes(tmp_path, capfd, what, name):
    make, expected = UNUSABLE[what]
    path = tmp_path / name
    if os.name == "nt" and "\n" in name:
        pytest.skip("not a name on Windows")
    make(tmp_path / "made")
    if (tmp_path / "made").exists():
        (tmp_path / "made").rename(path)
    with pytest.raises(UnusableTake, match=expected) as caught:
        open_take(path)
    line = caught.value.sentence()
    assert line.isprintable()
    assert caught.value.remedy
    assert line.endswith(caught.value.remedy)
    assert caught.value.exit_status == 2
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize("name", ["take.raw", "z\0.wav", "a" * 400 + ".wav"])
def test_names_that_no_recording_has(tmp_path, name):
    if "\0" not in name and len(name) < 255:
        (tmp_path / name).write_bytes(b"\1\2\3\4" * 100)
    with pytest.raises(UnusableTake) as caught:
        open_take(os.path.join(tmp_path, name))
    assert caught.value.sentence().isprintable()
    assert caught.value.remedy


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.wav")
    with pytest.raises(UnusableTake, match="regular file"):
        open_take(tmp_path / "pipe.wav")


@pytest.mark.skipif(os.name == "nt", reason="not a name on Windows")
def test_a_name_that_is_no_text_can_be_read_and_written(tmp_path):
    path = tmp_path / "new\nline \x1b[31m \udcff.wav"
    write_audio(path, noise(100), 48_000, 24)
    assert open_take(path).read().shape == (100, 2)
    # What UTF-8 cannot hold is escaped: a name goes into results and pages.
    assert open_take(os.fspath(path)).name == path.name.replace("\udcff", "\\udcff")


def test_a_file_that_changes_after_it_was_opened(tmp_path):
    path = tmp_path / "take.wav"
    write_audio(path, noise(1000), 48_000, 16)
    take = open_take(path)
    path.write_bytes(path.read_bytes()[:400])
    with pytest.raises(UnusableTake, match="has changed"):
        take.read()
    path.unlink()
    with pytest.raises(UnusableTake, match="has changed"):
        take.read(0, 10)
    with pytest.raises(UnusableTake, match="cannot be opened"):
        take.sha256()
