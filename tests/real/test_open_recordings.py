"""Hum in recordings that others made: found at its frequency, and not found where there is none.

Files of public packages (`fetch_open_data.py`). Their frequencies were measured once by another method (long windows,
line by line, harmonics averaged); their clocks are not calibrated. No tolerance is tighter than the spread of that.
"""

import numpy as np
import pytest
import soundfile

from humcheck.audio.files import open_take
from humcheck.errors import MeasurementError
from humcheck.estimates.lines import fit_lines
from humcheck.estimates.recording_lines import read_recording
from tests.real.agreeing_lines import most_agreeing
from tests.real.negative_clips import NEGATIVE_CLIPS, clip_file
from tests.real.open_data import open_data_file


def families(samples, rate_hz):
    samples = np.asarray(samples, dtype=np.float64)
    samples = samples[:, np.newaxis] if samples.ndim == 1 else samples
    return fit_lines(samples - samples.mean(axis=0), rate_hz).families


def hum_of(samples, rate_hz):
    """Return the mains family, or that of which it is open whether it is mains."""
    (hum,) = [f for f in families(samples, rate_hz) if f.kind in ("mains", "mains_or_field")]
    return hum


def sensor(name, channel):
    h5py = pytest.importorskip("h5py", reason="h5py is not installed (extra crosscheck)")
    with h5py.File(open_data_file("biosignalsnotebooks", name)) as file:
        return np.array(file[next(iter(file))]["raw"][channel]).ravel()


def test_pulse_sensor_with_even_harmonics():
    hum = hum_of(sensor("signal_sample_single_hub_bvp_2017_1_17.h5", "channel_1"), 1000.0)
    assert hum.kind == "mains"
    assert hum.fundamental_hz == pytest.approx(49.9869, abs=0.0004)
    listed = {order for order, seen in zip(hum.harmonics, hum.detected[:, 0], strict=True) if seen}
    assert listed >= {1, 2, 4, 6}
    assert not listed & {3, 5}


@pytest.mark.parametrize(("quarter", "frequency_hz"), [(0, 49.9906), (1, 49.9494), (3, 49.9538)])
def test_wandering_mains_quarter_by_quarter(quarter, frequency_hz):
    samples = sensor("bvp_rest.h5", "channel_1")
    part = samples[quarter * len(samples) // 4 : (quarter + 1) * len(samples) // 4]
    # It wanders by 40 mHz from quarter to quarter; within one, what "mean" weighs makes some millihertz.
    assert hum_of(part, 1000.0).fundamental_hz == pytest.approx(frequency_hz, abs=0.007)


def test_heart_recording_at_360_hz():
    samples = np.load(open_data_file("scipy", "ecg.dat"))["ecg"]
    hum = hum_of(samples, 360.0)
    assert hum.fundamental_hz == pytest.approx(59.986, abs=0.002)
    # A line at 120.05 Hz is not its harmonic (published).
    assert abs(2 * hum.fundamental_hz - 120.05) > 0.05


def test_loud_hum_under_an_animal_through_a_lossy_codec():
    samples, rate_hz = soundfile.read(open_data_file("tuxpaint-stamps-default", "doe.ogg"))
    hum = hum_of(samples, rate_hz)
    listed = {order for order, seen in zip(hum.harmonics, hum.detected[:, 0], strict=True) if seen}
    assert listed >= {1, 3, 5, 7, 9}


def hum_of_recording(package, name):
    """Return what `inspect` reads of a recording: the mains family, or that of which it is open whether it is mains."""
    lines = read_recording(open_take(open_data_file(package, name))).lines
    return next((f for f in lines.families if f.kind in ("mains", "mains_or_field")), None)


@pytest.mark.parametrize(
    ("package", "name", "frequency_hz", "spread_hz"),
    [
        ("sonic-pi-samples", "guit_e_fifths.flac", 59.9996, 0.0013),
        ("sonic-pi-samples", "elec_chime.flac", 50.056, 0.005),
        ("tuxpaint-stamps-default", "doe.ogg", 59.998, 0.0024),
    ],
)
def test_hum_under_music_and_animals(package, name, frequency_hz, spread_hz):
    hum = hum_of_recording(package, name)
    assert hum.fundamental_hz == pytest.approx(frequency_hz, abs=spread_hz)
    # The uncertainty stated is honest: the published figure lies within what both allow.
    assert abs(hum.fundamental_hz - frequency_hz) < spread_hz + 2 * hum.fundamental_sd_hz


@pytest.mark.parametrize(
    ("name", "from_s"),
    # The last one's hum is only seen this way once the first chord has died away.
    [
        ("guit_e_fifths.flac", 0),
        ("elec_chime.flac", 0),
        ("guit_em9.flac", 0),
        ("doe.ogg", 0),
        ("guit_harmonics.flac", 1),
    ],
)
def test_the_harmonics_agree_when_counted_line_by_line(name, from_s):
    """The same by another method, of which the recordings' published figures come: most harmonics agree on it."""
    package = "tuxpaint-stamps-default" if name == "doe.ogg" else "sonic-pi-samples"
    hum = hum_of_recording(package, name)
    samples, rate_hz = soundfile.read(open_data_file(package, name), always_2d=True)
    agreeing, frequency_hz = max(most_agreeing(channel, rate_hz) for channel in samples[from_s * rate_hz :].T)
    assert agreeing >= 5
    # Line by line without weights, lines that notes touch count in full: some millihertz.
    assert hum.fundamental_hz == pytest.approx(frequency_hz, abs=0.008)


def test_the_chimes_own_tones_are_not_hum():
    """Published: lines near 702.8, 803.1 and 963.8 Hz are the chime itself."""
    hum = hum_of_recording("sonic-pi-samples", "elec_chime.flac")
    listed = {order for order, seen in zip(hum.harmonics, hum.detected[:, 0], strict=True) if seen}
    assert {1, 3, 5, 7} <= listed
    assert not {16, 28} & listed


def test_wandering_mains_as_a_whole():
    """Published: mean 49.966 Hz, quarters from 49.949 to 49.991 Hz."""
    samples = sensor("bvp_rest.h5", "channel_1")
    halves = [hum_of(half, 1000.0) for half in np.array_split(samples, 2)]
    assert np.mean([hum.fundamental_hz for hum in halves]) == pytest.approx(49.966, abs=0.001)
    assert all(hum.kind == "mains" and hum.wander_hz > 0.005 for hum in halves)


def test_one_second_over_a_huge_red_floor():
    """Published: lines at 60, 120 and 180 Hz, 27 and 28 dB above what is beside them."""
    h5py = pytest.importorskip("h5py", reason="h5py is not installed (extra crosscheck)")
    with h5py.File(open_data_file("gwpy", "HLV-HW100916-968654552-1.hdf")) as file:
        strain = np.array(file["H1:LDAS-STRAIN"])
    hum = hum_of(strain / np.abs(strain).max(), 16384.0)
    listed = {order for order, seen in zip(hum.harmonics, hum.detected[:, 0], strict=True) if seen}
    assert {1, 2, 3} <= listed
    # In one second a line is a hertz wide: 27 dB leave some hundredths.
    assert hum.fundamental_hz == pytest.approx(60.0, abs=0.05)


def test_a_drum_tuned_beside_60_hz_is_not_hum_of_its_recording():
    """Published trap: a drum tuned to 59.86 Hz. Stored with few bits, it leaves steady odd harmonics."""
    assert hum_of_recording("sonic-pi-samples", "bd_boom.flac") is None


def test_a_drum_tuned_beside_60_hz_is_not_taken_for_mains():
    samples, rate_hz = soundfile.read(open_data_file("sonic-pi-samples", "bd_boom.flac"))
    try:
        kinds = {family.kind for family in families(samples, rate_hz)}
    except MeasurementError:
        kinds = set()
    assert "mains" not in kinds


@pytest.mark.parametrize("name", ["hts.raw", "vk5qi.raw"])
def test_speech_without_hum(name):
    samples = np.fromfile(open_data_file("codec2-examples", name), dtype="<i2") / 32768
    assert not families(samples, 8000.0)


@pytest.mark.parametrize("name", ["Noise.wav", "Front_Center.wav", "Rear_Left.wav", "Side_Right.wav"])
def test_voice_and_noise_without_hum(name):
    samples, rate_hz = soundfile.read(open_data_file("alsa-utils", name))
    assert not [f for f in families(samples, rate_hz) if f.kind in ("mains", "mains_or_field", "field")]


def test_a_muscle_without_hum():
    assert not [f for f in families(sensor("emg_fatigue.h5", "channel_2"), 1000.0) if f.kind != "other"]


def test_there_are_many_clips_without_hum():
    assert len(NEGATIVE_CLIPS) == 87


@pytest.mark.slow
@pytest.mark.parametrize("clip", NEGATIVE_CLIPS, ids=str)
def test_no_false_mains(clip, tmp_path):
    """None in 87 shows that fewer than 3.4 % of such clips are taken for hum (95 %, rule of three), and no more.

    Even that is a little kind to the program: some of its limits were set with these clips at hand.
    """
    file = clip_file(clip, tmp_path)
    if clip.counted and NEGATIVE_CLIPS.index(clip) % 4 == 0:
        # How it is known that there is none: counted line by line, by a method that shares nothing with the program.
        # All of them were when the list was made; every fourth is again, to keep the run short.
        samples = file.read(0, file.n_samples)
        parts = (samples, samples[len(samples) // 2 :])
        assert max(most_agreeing(channel, file.rate_hz)[0] for part in parts for channel in part.T) < 4
    lines = read_recording(file).lines
    assert not [f for f in lines.families if f.kind in ("mains", "mains_or_field", "field")]
