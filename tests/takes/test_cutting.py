"""One long recording cut at its markers. What lies where is known from how the recordings here are put together."""

import tracemalloc

import numpy as np
import pytest
import soundfile

from humcheck.audio.files import open_take
from humcheck.errors import UnusableTake
from humcheck.simulation.noise import Hiss
from humcheck.simulation.path import PathModel
from humcheck.simulation.simulate import simulate_take
from humcheck.simulation.transfer import ChannelPath, LinearPath
from humcheck.takes.cutting import find_runs, hand_out, runs_in
from humcheck.takes.take import load_take
from humcheck.tracks.layouts import layout

RATE_HZ = 48000
TRACK = layout("sweep", "short")
SILENCE = layout("silence", "short")
HISS = PathModel(hiss=(Hiss.both(-70.0),))


def write(folder, samples, name="day.wav"):
    path = folder / name
    soundfile.write(path, samples, RATE_HZ, subtype="PCM_16")
    return path


def made(track=SILENCE, seed=0, path=HISS, **more):
    return simulate_take(track, path=path, rate_hz=RATE_HZ, seed=seed, **more).samples


@pytest.fixture(scope="module")
def silence():
    return made(seed=1)


@pytest.fixture(scope="module")
def sweep():
    return made(TRACK, seed=2, lead_s=3.0)


def pause(seconds):
    """Plugs are moved between the runs: thumps and contact noise up to full scale."""
    generator = np.random.default_rng(7)
    samples = 1e-4 * generator.standard_normal((int(seconds * RATE_HZ), 2))
    samples[len(samples) // 3 :: RATE_HZ // 2] = 0.99
    return samples


def clicked(samples, at_s, height=0.7):
    """A plug that is moved: a thump that dies away in some hundredths of a second (common practice, no source)."""
    time_s = np.arange(int(0.05 * RATE_HZ)) / RATE_HZ
    hit = samples.copy()
    hit[int(at_s * RATE_HZ) :][: len(time_s)] += (height * np.exp(-time_s / 0.008) * np.cos(900.0 * time_s))[:, None]
    return np.clip(hit, -1.0, 1.0)


def problems(path):
    return [run.problem for run in find_runs(path)]


def test_runs_are_found_where_they_are(silence, sweep, tmp_path):
    last = -0.5 * silence[int((1.25 + 7.0) * RATE_HZ) : -int(3.0 * RATE_HZ)]
    takes = list(runs_in(open_take(write(tmp_path, np.concatenate([silence, sweep, last])))))
    assert [take.track for take in takes] == [SILENCE.identity, TRACK.identity, SILENCE.identity]
    starts = np.cumsum([0, len(silence), len(sweep)]) / RATE_HZ
    assert [take.alignment.offset_s for take in takes] == pytest.approx(starts + [1.25, 3.0, -7.0], abs=1e-6)
    assert [take.alignment.polarity["left"] for take in takes] == [1, 1, -1]
    assert takes[1].section("tone-left").samples[:, 0].max() == pytest.approx(0.5, abs=0.01)
    assert [{fault.code for fault in take.faults} for take in takes] == [set(), set(), {"cut-start", "cut-end"}]
    assert not takes[2].has_section("level")


def test_runs_are_handed_out_along_the_list(silence, sweep, tmp_path):
    path = write(tmp_path, np.concatenate([pause(5), silence, pause(10), sweep, pause(3), silence]))
    handed = hand_out(path, ["direct", "Alder 1", "Alder 2"])
    assert [name for name, _ in handed.runs] == ["direct", "Alder 1", "Alder 2"]
    assert handed.dropped == ()
    # A run reaches from the track's first sample to its last.
    begins = [5.0 + 1.25, 5.0 + len(silence) / RATE_HZ + 10.0 + 3.0]
    for (_, run), begin_s, track in zip(handed.runs, begins, (SILENCE, TRACK), strict=False):
        assert np.array(run.span) / RATE_HZ == pytest.approx([begin_s, begin_s + track.duration_s], abs=1e-3)
    _, run = handed.runs[1]
    again = load_take(path, span=run.span)
    assert again.track == TRACK.identity
    assert again.alignment.offset_s == pytest.approx(begins[1], abs=1e-6)
    assert again.row_fields()["duration_s"] == pytest.approx(TRACK.duration_s, abs=1e-3)
    assert again.faults == []


def test_a_run_that_was_broken_off_and_played_again(silence, sweep, tmp_path):
    # The second half of the first run is missing; what follows begins before it would have ended.
    aborted = sweep[: int((3.0 + 14.0) * RATE_HZ)]
    path = write(tmp_path, np.concatenate([aborted, sweep, silence]))
    assert problems(path) == ["it was broken off", None, None]
    handed = hand_out(path, ["through", "quiet"])
    assert [run.track.name for _, run in handed.runs] == ["sweep", "silence"]
    # The last marker that came ends 11.2 s into the track, which begins after 3 s.
    assert handed.dropped[0].words == "0:03 to 0:14 sweep (short), left out: it was broken off"


def test_a_recording_that_begins_too_late(silence, tmp_path):
    # The level section starts 0.5 s into the track, which starts 1.25 s into the take.
    assert problems(write(tmp_path, silence[int(2.0 * RATE_HZ) :])) == ["its beginning is missing"]


@pytest.mark.parametrize(
    ("track", "section", "after_s"),
    [("silence", "quiet", 3.0), ("sweep", "sweep-left", 3.0), ("sweep", "tone-left", 1.0)],
)
def test_a_plug_moved_meanwhile(silence, sweep, tmp_path, track, section, after_s):
    samples, start_s = (silence, 1.25) if track == "silence" else (sweep, 3.0)
    at_s = start_s + layout(track, "short").section(section).start_s + after_s
    clean, hit = write(tmp_path, samples, "clean.wav"), write(tmp_path, clicked(samples, at_s), "hit.wav")
    assert problems(clean) == [None]
    (problem,) = problems(hit)
    assert problem == f"a strong click at 0:{round(at_s):02d} ({section})"


def test_a_contact_that_opens_for_a_moment(sweep, tmp_path):
    at_s = 3.0 + TRACK.section("sweep-right").start_s + 2.0
    hit = sweep.copy()
    hit[int(at_s * RATE_HZ) : int((at_s + 0.2) * RATE_HZ)] = 0.0
    (problem,) = problems(write(tmp_path, hit))
    assert problem.startswith("a gap in the sound")


def test_a_knob_turned_meanwhile(sweep, tmp_path):
    # 3 dB is 10 ** (3 / 20) in amplitude.
    turn_s = 3.0 + TRACK.section("sweep-left").start_s + 1.0
    turned = sweep.copy()
    turned[int(turn_s * RATE_HZ) :] *= 10.0 ** (-3.0 / 20.0)
    (problem,) = problems(write(tmp_path, turned))
    assert problem.startswith("the level jumps by 3.0 dB between ")


def test_what_a_box_does_is_no_plug(silence, tmp_path):
    # A box with a steep end of its band, hum and loud hiss, and a weak left channel: none of that moves a plug.
    path = PathModel(
        hiss=(Hiss.both(-45.0),),
        linear=LinearPath(left=ChannelPath(gain_db=-12.0), right=ChannelPath(gain_db=2.0)),
    )
    loud = made(TRACK, seed=4, path=path)
    time_s = np.arange(len(loud)) / RATE_HZ
    loud += (0.02 * np.sin(2 * np.pi * 50.01 * time_s) + 0.01 * np.sin(2 * np.pi * 150.03 * time_s) ** 9)[:, None]
    from scipy.signal import butter, iirpeak, lfilter, sosfilt

    # A resonance of 6 dB at 3 kHz, 375 Hz wide.
    loud += lfilter(*iirpeak(3000.0, 8.0, fs=RATE_HZ), loud, axis=0)
    loud = sosfilt(butter(12, 5000.0, fs=RATE_HZ, output="sos"), loud, axis=0)
    assert problems(write(tmp_path, 0.4 * loud)) == [None]
    # A click of the house's own, 40 dB under the track, stays in.
    at_s = 1.25 + SILENCE.section("quiet").start_s + 4.0
    assert problems(write(tmp_path, clicked(silence, at_s, height=0.01))) == [None]


def test_a_wrong_count_is_told_with_the_times(silence, sweep, tmp_path):
    hit = clicked(silence, 1.25 + SILENCE.section("quiet").start_s + 2.0)
    path = write(tmp_path, np.concatenate([silence, pause(8), hit, sweep]))
    with pytest.raises(UnusableTake) as caught:
        hand_out(path, ["direct", "Alder", "Birch"])
    sentence = caught.value.sentence()
    assert "holds 2 usable runs of a track, and the bench file names 3: 1. 0:01 to 0:" in sentence
    assert "silence (short), left out: a strong click at 0:" in sentence
    with pytest.raises(UnusableTake, match="holds 0 usable runs of a track, and the bench file names 1;"):
        hand_out(write(tmp_path, pause(3), "none.wav"), ["direct"])


def test_memory_does_not_grow_with_the_recording(silence, tmp_path):
    parts = [silence, pause(2)]
    peaks = []
    for repeats in (1, 3):
        path = write(tmp_path, np.concatenate(parts * repeats), f"{repeats}.wav")
        tracemalloc.start()
        assert len(find_runs(path)) == repeats
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    # One repeat is 23 MB as float64.
    assert peaks[1] < peaks[0] + 2e6
