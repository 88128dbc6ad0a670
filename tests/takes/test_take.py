"""Takes as files: sections, rows, faults, and recordings that nobody should have made."""

import json
import math

import msgspec
import numpy as np
import pytest
import soundfile

from humcheck.errors import MeasurementError, UnusableTake
from humcheck.results import QUANTITIES, TakeRow
from humcheck.simulation.noise import Hiss
from humcheck.simulation.path import PathModel
from humcheck.simulation.recorder import Dropout, Recorder, Splice
from humcheck.simulation.simulate import simulate_take
from humcheck.simulation.transfer import ChannelPath, LinearPath
from humcheck.takes.take import load_take
from humcheck.tracks.layouts import layout
from humcheck.tracks.waveforms import section_waveform

RATE_HZ = 48000
TRACK = layout("sweep", "short")
SILENCE = layout("silence", "short")


def write(folder, samples, rate_hz=RATE_HZ, name="take.wav", subtype="PCM_24"):
    path = folder / name
    soundfile.write(path, samples, rate_hz, subtype=subtype)
    return path


def recorded(folder, path=None, *, track=SILENCE, rate_hz=RATE_HZ, stated_hz=None, **more):
    simulated = simulate_take(track, path=path or PathModel(), rate_hz=rate_hz, **more)
    return load_take(write(folder, simulated.samples, stated_hz or rate_hz))


def codes(take):
    return {fault.code for fault in take.faults}


@pytest.fixture(scope="module")
def clean(tmp_path_factory):
    return recorded(tmp_path_factory.mktemp("takes"), track=TRACK)


@pytest.fixture(scope="module")
def noisy():
    return simulate_take(SILENCE, path=PathModel(hiss=(Hiss.both(-46.0),)), lead_s=0.0).samples


def test_a_section_is_the_tracks_own_sound(clean):
    audio = clean.section("sweep-left")
    assert audio.channels == ("left", "right")
    assert len(audio.samples) == 6 * RATE_HZ
    expected = section_waveform(audio.section, audio.track_time_s(), "left", RATE_HZ)
    # 24-bit dither of track and recorder: 1e-7.
    assert np.abs(audio.samples[:, 0] - expected).max() < 1e-6
    assert np.abs(audio.samples[:, 1]).max() < 1e-6


def test_a_section_with_its_surroundings(clean):
    audio = clean.section("tone-left", before_s=0.25, after_s=0.5)
    assert audio.start_index == round((1.25 + 6.0 - 0.25) * RATE_HZ)
    assert len(audio.samples) == pytest.approx(2.75 * RATE_HZ, abs=1)


def test_swapped_channels_are_handed_out_in_the_tracks_order(tmp_path):
    take = recorded(tmp_path, PathModel(linear=LinearPath(channel_map="swapped")))
    assert codes(take) == {"swapped"}
    tone = take.section("tone-left").samples
    assert np.abs(tone[:, 0]).max() > 0.4
    assert np.abs(tone[:, 1]).max() < 1e-5
    start, block = next(take.blocks())
    assert start == 0
    assert np.array_equal(block, take.file.read(0, len(block))[:, ::-1])


def test_what_a_take_does_not_hold_is_said(clean, tmp_path):
    with pytest.raises(MeasurementError, match="no section quiet"):
        clean.section("quiet")
    assert not clean.has_section("quiet")
    cut = recorded(tmp_path, track=TRACK, lead_s=-8.0)
    assert cut.has_section("tone-right")
    assert not cut.has_section("tone-left")
    with pytest.raises(MeasurementError, match="not hold all"):
        cut.section("tone-left")


def test_the_row_of_a_take(clean):
    row = TakeRow(id="d1", role="direct", **clean.row_fields())
    assert (row.file, row.rate_hz, row.channels, row.sample_format) == ("take.wav", RATE_HZ, 2, "WAV 24-bit")
    assert (row.track, row.channel_map, row.polarity, row.faults) == (TRACK.identity, "straight", 1, [])
    assert row.offset_s == pytest.approx(1.25, abs=1e-9)
    assert row.drift_ppm == pytest.approx(0.0, abs=1e-5)
    assert row.gain_db == pytest.approx(0.0, abs=1e-4)
    assert json.loads(msgspec.json.encode(row))["track"]["name"] == "sweep"


def test_a_clean_take_has_no_faults(clean):
    assert clean.faults == []


LEFT_ONLY = LinearPath(channel_map="left-only")


@pytest.mark.parametrize(
    ("path", "code"),
    [
        pytest.param(PathModel(linear=LinearPath(channel_map="merged")), "mono", id="merged"),
        pytest.param(PathModel(linear=LEFT_ONLY), "channel-missing", id="left only"),
        pytest.param(PathModel(linear=LinearPath(right=ChannelPath(polarity=-1))), "inverted", id="inverted"),
        pytest.param(PathModel(recorder=Recorder(dc=(0.0, 0.01))), "dc", id="offset"),
        pytest.param(
            PathModel(recorder=Recorder(dropouts=(Dropout(start_s=9.0, duration_s=0.5),))), "dropout", id="gap"
        ),
        pytest.param(PathModel(recorder=Recorder(splices=(Splice(at_s=15.0, count=5),))), "lost-samples", id="lost"),
        pytest.param(
            PathModel(recorder=Recorder(splices=(Splice(at_s=15.0, count=-5),))), "inserted-samples", id="inserted"
        ),
        pytest.param(
            PathModel(linear=LinearPath(left=ChannelPath(gain_db=-40.0), right=ChannelPath(gain_db=-40.0))),
            "low-level",
            id="too low",
        ),
        pytest.param(
            PathModel(linear=LinearPath(left=ChannelPath(gain_db=-65.0), right=ChannelPath(gain_db=-65.0))),
            "no-sound",
            id="leakage",
        ),
        pytest.param(
            PathModel(linear=LinearPath(left=ChannelPath(gain_db=3.0), right=ChannelPath())), "clipping", id="clipped"
        ),
    ],
)
def test_each_fault_is_found_and_no_other(tmp_path, path, code):
    take = recorded(tmp_path, path)
    assert codes(take) == {code}
    (fault,) = take.faults
    assert fault.sentence.endswith(".")
    assert set(fault.spoils) <= set(QUANTITIES)


def test_cut_takes_name_what_is_missing(tmp_path):
    (fault,) = recorded(tmp_path, lead_s=-9.0).faults
    assert fault.code == "cut-start"
    assert "level, tone-left and tone-right" in fault.sentence
    assert "gain" in fault.spoils
    (fault,) = recorded(tmp_path, tail_s=-10.0).faults
    assert fault.code == "cut-end"
    assert "quiet and zero" in fault.sentence


def test_a_wrong_rate_is_named(tmp_path):
    take = recorded(tmp_path, rate_hz=44100, stated_hz=48000)
    assert codes(take) == {"wrong-rate"}
    # 44.1 / 48 - 1
    assert take.alignment.drift_ppm == pytest.approx(-81250.0, abs=0.01)
    assert "44100 Hz" in take.faults[0].sentence


@pytest.mark.parametrize(("source_hz", "take_hz"), [(44100, 48000), (48000, 44100), (96000, 48000), (48000, 8000)])
def test_rates_of_track_and_take_need_not_agree(tmp_path, source_hz, take_hz):
    softer = ChannelPath(gain_db=-6.0)
    path = PathModel(linear=LinearPath(left=softer, right=softer), hiss=(Hiss.both(-32.0),))
    take = recorded(tmp_path, path, rate_hz=take_hz, source_rate_hz=source_hz)
    assert take.alignment.identity == SILENCE.identity
    assert take.alignment.drift_ppm == pytest.approx(0.0, abs=6.0 * take.alignment.drift_sd_ppm)
    assert codes(take) == set()


def test_silence_is_told_from_other_sound(tmp_path):
    nothing = recorded(tmp_path, PathModel(linear=LinearPath(channel_map="none"), hiss=(Hiss.both(-80.0),)))
    assert not nothing.has_track
    assert nothing.is_silent
    rng = np.random.default_rng(1)
    beat = np.abs(np.sin(np.arange(10 * RATE_HZ) / 20000.0))[:, None] ** 8
    music = load_take(write(tmp_path, beat * rng.normal(0.0, 0.1, (10 * RATE_HZ, 2))))
    assert not music.has_track
    assert not music.is_silent


def _noise(n_samples, n_channels=2, rms=0.1):
    return np.random.default_rng(7).normal(0.0, rms, (n_samples, n_channels))


HOSTILE = {
    "one sample": np.full((1, 2), 0.5),
    "two samples": np.array([[0.5], [-0.5]]),
    "a tenth of a second": _noise(4800),
    "silence": np.zeros((5 * RATE_HZ, 2)),
    "offset": np.full((5 * RATE_HZ, 2), 0.5),
    "full scale": np.ones((3 * RATE_HZ, 1)),
    "square": np.sign(np.sin(np.arange(3 * RATE_HZ) / 20.0))[:, None],
    "noise": _noise(5 * RATE_HZ),
    "clicks": (np.arange(5 * RATE_HZ) % 4799 == 0).astype(float)[:, None],
    "one channel silent": _noise(2 * RATE_HZ) * [1.0, 0.0],
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_recordings_hold_no_track(tmp_path, name):
    rate_hz = 48000 if len(name) % 2 else 8000
    take = load_take(write(tmp_path, HOSTILE[name], rate_hz))
    assert not take.has_track
    assert take.track is None
    assert isinstance(take.is_silent, bool)
    row = TakeRow(id="x", role="single", **take.row_fields())
    assert row.offset_s is None
    for fault in row.faults:
        assert fault.start_s is None or math.isfinite(fault.start_s)
    with pytest.raises(MeasurementError):
        take.section("quiet")


@pytest.mark.parametrize(
    ("first_s", "last_s"),
    [(4.9, 5.6), (4.85, 30.0), (5.3, 5.75), (0.0, 4.99), (0.0, 5.3), (0.0, 5.71), (10.6, 11.4), (26.0, 27.0)],
)
def test_any_piece_of_a_take_can_be_looked_at(noisy, tmp_path, first_s, last_s):
    take = load_take(write(tmp_path, noisy[round(first_s * RATE_HZ) : round(last_s * RATE_HZ)]))
    if take.has_track:
        alignment = take.alignment
        assert alignment.identity == SILENCE.identity
        assert alignment.offset_s == pytest.approx(-first_s, abs=1e-6 + 4.0 * alignment.offset_sd_s)
    assert take.faults is not None


def test_bits_of_a_track_in_the_wrong_places(noisy, tmp_path):
    pieces = [noisy[int(a * RATE_HZ) : int(b * RATE_HZ)] for a, b in ((10.0, 12.0), (4.0, 6.0), (4.0, 6.0), (0.0, 3.0))]
    take = load_take(write(tmp_path, np.concatenate(pieces)))
    assert take.faults is not None
    with_crackle = noisy.copy()
    with_crackle[:: RATE_HZ // 10] = 1.0
    assert load_take(write(tmp_path, with_crackle)).has_track


def test_a_track_of_a_later_layout_is_named(noisy, tmp_path, monkeypatch):
    take_path = write(tmp_path, noisy)
    monkeypatch.setattr("humcheck.tracks.layouts._BUILDERS", {})
    from humcheck.tracks.layouts import layout as known

    known.cache_clear()
    try:
        take = load_take(take_path)
        assert not take.has_track
        assert codes(take) == {"newer-track"}
    finally:
        known.cache_clear()


def test_a_file_that_is_none(tmp_path):
    with pytest.raises(UnusableTake):
        load_take(tmp_path / "absent.wav")


def test_the_track_is_sought_only_when_asked(noisy, tmp_path):
    take = load_take(write(tmp_path, noisy), seek_track=False)
    assert not take.has_track
    assert take.faults == []
