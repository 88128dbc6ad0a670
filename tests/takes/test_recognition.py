"""Which track a take holds: recognised at any rate, level, polarity, wiring, through noise and lossy coding."""

import numpy as np
import pytest
import soundfile

from humcheck.audio.files import open_take
from humcheck.simulation.noise import Hiss
from humcheck.simulation.path import PathModel
from humcheck.simulation.simulate import simulate_take
from humcheck.takes.chirps import chirp_and_slope
from humcheck.takes.recognition import find_marker
from humcheck.takes.scan import scan
from humcheck.tracks.layouts import LENGTHS, NAMES, layout
from humcheck.tracks.waveforms import marker_chirp, marker_chirp_derivative, track_waveform
from tests.takes.lazy import LazyTake

SILENCE = layout("silence", "short")


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("length", LENGTHS)
def test_every_track_is_named(name, length):
    sighting = find_marker(LazyTake(layout(name, length), snr_db=20.0)).sighting
    assert (sighting.identity.name, sighting.identity.length, sighting.marker_index) == (name, length, 0)


@pytest.mark.parametrize(
    ("rate_hz", "drift_ppm"),
    [
        (8000, 0.0),
        (8000, -3000.0),
        (11025, 1000.0),
        (16000, -3000.0),
        (22050, 0.0),
        (32000, 1000.0),
        (44100, 0.0),
        (44100, 1000.0),
        (88200, -3000.0),
        (96000, 1000.0),
        (192000, -1000.0),
    ],
)
def test_any_rate_and_any_clock(rate_hz, drift_ppm):
    take = LazyTake(SILENCE, rate_hz=rate_hz, drift_ppm=drift_ppm, snr_db=20.0, offset_samples=0.7 * rate_hz)
    sighting = find_marker(take).sighting
    assert sighting.identity == SILENCE.identity
    assert sighting.samples_per_s == pytest.approx(rate_hz * (1.0 + drift_ppm * 1e-6), rel=30e-6)


@pytest.mark.parametrize(
    "gains",
    [
        pytest.param(np.eye(2) * 1e-3, id="60 dB down"),
        pytest.param(-np.eye(2), id="inverted"),
        pytest.param(np.diag([1.0, -1.0]), id="right inverted"),
        pytest.param(np.array([[0.0, 1.0], [1.0, 0.0]]), id="swapped"),
        pytest.param(np.array([[0.5, 0.5], [0.5, 0.5]]), id="merged"),
        pytest.param(np.array([[0.5, -0.5], [-0.5, 0.5]]), id="merged, inverted"),
        pytest.param(np.array([[1.0, 0.0], [0.0, 0.0]]), id="left only"),
        pytest.param(np.array([[0.0, 0.0], [0.0, 1.0]]), id="right only"),
        pytest.param(np.array([[1.0, 0.0], [1.0, 0.0]]), id="left in both"),
        pytest.param(np.array([[0.0, 1.0]]), id="mono, right"),
        pytest.param(np.array([[0.5, 0.5]]), id="mono, merged"),
    ],
)
def test_any_wiring(gains):
    take = LazyTake(SILENCE, gains=gains)
    assert find_marker(take).sighting.identity == SILENCE.identity


@pytest.mark.parametrize("snr_db", [20.0, 0.0, -3.0])
def test_noise(snr_db):
    found = [find_marker(LazyTake(SILENCE, snr_db=snr_db, seed=seed)).sighting for seed in range(3)]
    assert [sighting.identity for sighting in found] == [SILENCE.identity] * 3


@pytest.mark.parametrize("start_s", [4.74, 4.76, 4.9, 5.1, 5.3, 5.5, 10.7])
def test_a_start_cut_within_a_marker_leaves_the_next_chirp_or_marker(start_s):
    take = LazyTake(SILENCE, offset_samples=-start_s * 48000.0, snr_db=30.0)
    sighting = find_marker(take).sighting
    assert sighting.identity == SILENCE.identity
    expected = take.offset_samples + sighting.slots[0].track_s * 48000.0
    assert sighting.slots[0].take_index == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize(("file_format", "subtype"), [("OGG", "VORBIS"), ("MP3", "MPEG_LAYER_III"), ("FLAC", "PCM_16")])
def test_lossy_and_packed_files(tmp_path, file_format, subtype):
    sound = simulate_take(SILENCE, path=PathModel(hiss=(Hiss.both(-26.0),)), lead_s=2.0).samples
    path = tmp_path / "take"
    # In small pieces: the Vorbis encoder keeps all it is given at once on its stack.
    with soundfile.SoundFile(path, "w", 48000, 2, subtype, format=file_format) as file:
        for start in range(0, len(sound), 4096):
            file.write(sound[start : start + 4096])
    assert find_marker(open_take(path)).sighting.identity == SILENCE.identity


@pytest.mark.parametrize(
    "stated",
    [44100 / 48000, 48000 / 44100, 2.0, 0.5, 32000 / 48000, 48000 / 32000, 88200 / 48000, 96000 / 44100, 32000 / 96000],
)
def test_a_wrong_rate_in_the_file(stated):
    # Made at 48 kHz, named otherwise: to the reader the track runs that much fast or slow.
    take = LazyTake(SILENCE, drift_ppm=(1.0 / stated - 1.0) * 1e6, snr_db=40.0)
    sighting = find_marker(take).sighting
    assert sighting.identity == SILENCE.identity
    assert sighting.samples_per_s == pytest.approx(48000.0 / stated, rel=30e-6)


@pytest.mark.parametrize("percent", [-3.0, -1.0, 1.0, 3.0, 5.0])
def test_a_tape_that_runs_fast_or_slow(percent):
    take = LazyTake(SILENCE, drift_ppm=1e4 * percent, snr_db=40.0)
    sighting = find_marker(take).sighting
    assert sighting.identity == SILENCE.identity
    assert sighting.samples_per_s == pytest.approx(480.0 * (100.0 + percent), rel=30e-6)


def test_no_marker_in_noise_hum_or_tones():
    rng = np.random.default_rng(4)

    class Sound(LazyTake):
        def read(self, start=0, stop=None):
            time_s = np.arange(start, self.n_samples if stop is None else stop)[:, None] / 48000.0
            hum = sum(np.sin(2 * np.pi * 50.0 * k * time_s) / k for k in range(1, 40))
            return 0.1 * hum + 0.3 * np.sin(2 * np.pi * 997.0 * time_s) + 0.01 * rng.normal(size=(len(time_s), 2))

    search = find_marker(Sound(SILENCE, n_samples=20 * 48000))
    assert search.sighting is None
    assert search.n_unread == 0


def test_reading_stops_at_the_first_marker():
    class Counting(LazyTake):
        furthest = 0

        def read(self, start=0, stop=None):
            Counting.furthest = max(Counting.furthest, stop)
            return super().read(start, stop)

    find_marker(Counting(layout("full", "standard")))
    assert Counting.furthest < 8 * 48000


def test_scan_finds_both_chirps_of_every_marker_once():
    take = LazyTake(layout("sweep", "short"), snr_db=20.0)
    found = [(candidate.channel, candidate.start_index) for candidate in scan(take)]
    expected = [
        (channel, take.offset_samples + (marker.start_s + offset_s) * 48000.0)
        for marker in take.layout.markers
        for channel, offset_s in (("left", 0.0), ("right", 0.5))
    ]
    assert [channel for channel, _ in found] == [channel for channel, _ in expected]
    assert [start for _, start in found] == pytest.approx([start for _, start in expected], abs=3.0)


def test_chirp_and_slope_are_the_tracks_own():
    time_s = np.linspace(-0.01, 0.26, 5001)
    for channel in ("left", "right"):
        shape, slope = chirp_and_slope(channel, time_s, 16000.0)
        assert np.array_equal(shape, marker_chirp(channel, time_s, 16000.0))
        assert np.allclose(slope, marker_chirp_derivative(channel, time_s, 16000.0), rtol=1e-13, atol=1e-9)


def test_the_lazy_take_of_these_tests_is_the_track():
    take = LazyTake(SILENCE, offset_samples=0.0)
    expected = track_waveform(SILENCE, np.arange(4 * 48000, 8 * 48000) / 48000.0, 48000.0)
    assert np.abs(take.read(4 * 48000, 8 * 48000) - expected).max() < 1e-9
