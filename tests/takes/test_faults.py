"""Faults of takes: a clean take has none, each fault is found near its least size, and names what it spoils.

Least sizes over random takes, and false alarms, are in `tests.benchmarks.faults`.
"""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile
from scipy import signal, stats

from humcheck.analyzers.flat_tops import flat_tops
from humcheck.analyzers.noise_texture import HOLE, NATURAL_CREST_DB, NATURAL_HOLES, NATURAL_SPREAD_DB, noise_texture
from humcheck.pipeline.measure import measure_take
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.results import QUANTITIES
from humcheck.simulation import (
    ChannelPath,
    Crystal,
    GainControl,
    Hiss,
    Hum,
    LinearPath,
    Mains,
    NoiseGate,
    PathModel,
    Polynomial,
    Recorder,
    ground_loop,
    simulate_take,
)
from humcheck.simulation.faults import (
    clip_then_lower,
    repeat_buffer,
    resample_poorly,
    steep_low_cut,
    suppress_noise,
    widen,
)
from humcheck.takes.faults_repeats import find_repeats
from humcheck.tracks.layouts import layout
from tests.benchmarks.faults import faults_in
from tests.takes.memory import MemoryTake

RATE_HZ = 48000
SIDE = ChannelPath(gain_db=-8.0, low_corners_hz=(12.0, 5.0), high_corners_hz=(30e3,))
PATH = {
    "player": Crystal(ppm=140.0, walk_ppm=0.1),
    "linear": LinearPath(left=SIDE, right=SIDE),
    # THD of about 0.1 %: distortion that is to be measured, and no fault.
    "distortion": Polynomial(coefficients=(0.002, 0.004)),
    "mains": Mains(frequency_hz=50.03, wander_mhz=15.0),
    "hum": (Hum(amplitudes=ground_loop(-62.0)),),
    "hiss": (Hiss.both(-88.0),),
    "recorder": Recorder(bits=None),
}


def simulated(track, rate_hz=RATE_HZ, **path):
    return simulate_take(layout(track, "short"), path=PathModel(**(PATH | path)), rate_hz=rate_hz, seed=4).samples


@pytest.fixture(scope="module")
def silence():
    return simulated("silence")


@pytest.fixture(scope="module")
def sweep():
    return simulated("sweep")


def recorded(sound, rate_hz=RATE_HZ, **recorder):
    rng = np.random.default_rng(9)
    return Recorder(**recorder).record(sound.T.copy(), rate_hz, rng).T


def only(faults, code):
    """The one fault; it says what to do in whole sentences and spoils what exists."""
    assert [fault.code for fault in faults] == [code]
    (fault,) = faults
    assert fault.sentence.endswith(".")
    assert set(fault.spoils) <= set(QUANTITIES)
    return fault


def test_clean_takes_have_none(silence, sweep):
    assert faults_in(recorded(silence, bits=16), RATE_HZ) == []
    assert faults_in(recorded(sweep, bits=24), RATE_HZ) == []


def test_a_buffer_written_twice_is_placed_to_the_sample(silence):
    place = 8 * RATE_HZ  # in the left tone
    fault = only(faults_in(repeat_buffer(recorded(silence), place, 128), RATE_HZ), "repeated-buffer")
    # A sample or two before may happen to agree as well.
    assert fault.start_s * RATE_HZ == pytest.approx(place, abs=2)
    assert fault.end_s * RATE_HZ == pytest.approx(place + 128, abs=2)
    assert "gain" in fault.spoils
    assert "hum_level" not in fault.spoils


def test_many_buffers_written_twice_are_one_fault(silence):
    """Jumps of the tone splash over the noise beside it: that is no lossy coding."""
    sound = recorded(silence)
    for place in range(7 * RATE_HZ + 30000, 9 * RATE_HZ, 6000):
        sound = repeat_buffer(sound, place, 1000)
    only(faults_in(sound, RATE_HZ), "repeated-buffer")


def test_buffers_written_twice_in_a_row_are_all_counted(silence):
    sound = recorded(silence)
    for place in (8 * RATE_HZ, 8 * RATE_HZ + 1500):
        sound = repeat_buffer(sound, place, 256)
    assert [(one.start, one.lag) for one in find_repeats(MemoryTake(sound, RATE_HZ))] == [
        (8 * RATE_HZ, 256),
        (8 * RATE_HZ + 1500, 256),
    ]


def test_still_and_periodic_sound_is_no_repeated_buffer():
    """A tone of whole 48 samples a cycle, and a level that stands still, repeat by themselves."""
    time = np.arange(2 * RATE_HZ)
    noise = np.random.default_rng(1).normal(0.0, 1e-5, (len(time), 2))
    tone = np.repeat(np.round(0.3 * np.sin(2 * np.pi * time / 48)[:, None], 4), 2, axis=1)
    for sound in (tone, np.full((len(time), 2), 0.25), noise, np.round(noise * 2**15) / 2**15):
        assert find_repeats(MemoryTake(sound, RATE_HZ)) == []


def test_sound_that_was_clipped_and_turned_down(silence):
    fault = only(faults_in(recorded(clip_then_lower(silence, 0.3, 7.0)), RATE_HZ), "overload")
    # Tops of the level tone at -9 dBFS, less 0.3 dB, less 7 dB.
    assert "-16." in fault.sentence
    assert {"thd", "tone_level"} <= set(fault.spoils)
    assert not {"gain", "hum_level", "hiss_level"} & set(fault.spoils)


@pytest.mark.parametrize("drive", [0.3, 1.0])
def test_a_curve_that_bends_smoothly_is_not_cut_off(drive):
    """tanh: harmonics of 0.7 and 6 %, which fall from order to order."""
    time_s = np.arange(3 * RATE_HZ) / RATE_HZ
    tone = np.sin(2 * np.pi * 997.0 * time_s)
    noise = np.random.default_rng(2).normal(0.0, 1e-5, len(time_s))
    assert flat_tops(np.tanh(drive * tone) + noise, time_s, RATE_HZ, "left") is None
    assert flat_tops(np.clip(tone, -0.97, 0.97) + noise, time_s, RATE_HZ, "left").cut_db == pytest.approx(
        0.265, abs=0.05
    )


def test_a_gate_in_a_track_without_steps(silence):
    gate = NoiseGate(threshold_dbfs=-45.0, reduction_db=6.0, hold_s=0.4)
    fault = only(faults_in(recorded(silence, gate=gate), RATE_HZ), "gate")
    assert {"hum_level", "hiss_level", "noise_spectrum"} <= set(fault.spoils)
    assert not {"gain", "tone_level", "thd"} & set(fault.spoils)
    assert "6.0 dB" in fault.sentence


def test_gates_of_each_channel_that_close_beside_the_tone_of_the_other(silence):
    """Held for 0.9 s: the left one closes while the right channel's tone plays, which is no hole in noise."""
    gate = NoiseGate(threshold_dbfs=-45.0, reduction_db=25.0, hold_s=0.9)
    sides = [recorded(silence[:, [side]], bits=None, n_channels=1, gate=gate)[:, 0] for side in range(2)]
    only(faults_in(recorded(np.stack(sides, axis=1)), RATE_HZ), "gate")


def test_noise_suppression(silence):
    noise = silence[14 * RATE_HZ : 15 * RATE_HZ]
    fault = only(faults_in(recorded(suppress_noise(silence, 20.0, noise)), RATE_HZ), "noise-suppression")
    assert "coding" not in fault.sentence
    assert {"hiss_level", "hum_level"} <= set(fault.spoils)
    assert "gain" not in fault.spoils


def test_suppression_and_coding_are_both_named_where_too_few_bands_show_noise(silence):
    """Lines every 25 Hz, as a picture leaves them, hide the noise below 16.5 kHz."""
    noise = silence[14 * RATE_HZ : 15 * RATE_HZ]
    spectrum = np.fft.rfft(np.random.default_rng(8).normal(0.0, 1e-3, RATE_HZ // 25))
    spectrum[16500 // 25 :] = 0.0
    lines = np.resize(np.fft.irfft(spectrum), len(silence))
    sound = suppress_noise(silence, 20.0, noise) + lines[:, None]
    fault = only(faults_in(recorded(sound), RATE_HZ), "lossy-coding")
    assert "lossy coding" in fault.sentence
    assert "or noise suppression" in fault.sentence


@pytest.fixture(scope="module")
def faint():
    """A path with less hiss than a step of 16 bits: -101 dBFS, RMS 0.2 steps; hum of one step."""
    return simulated("silence", hiss=(Hiss.both(-101.0),), hum=(Hum(amplitudes=ground_loop(-93.0)),))


def test_a_recorder_that_rounds_without_dither_is_not_called_a_gate(faint):
    fault = only(faults_in(recorded(faint, bits=16, dither=False), RATE_HZ), "undithered")
    # Half a step of 2**-15.
    assert "-96 dBFS" in fault.sentence
    assert "16 bits" in fault.sentence
    assert {"hiss_level", "hum_level", "noise_spectrum"} <= set(fault.spoils)
    assert not {"gain", "tone_level", "thd"} & set(fault.spoils)


@pytest.mark.parametrize("bits", [16, 24])
def test_a_faint_path_into_a_dithered_recorder_has_no_fault(faint, bits):
    assert faults_in(recorded(faint, bits=bits), RATE_HZ) == []


def test_a_gate_before_a_recorder_without_dither_is_still_a_gate(silence):
    """Hiss of -88 dBFS, RMS 0.9 steps, would be its own dither: rounding does not take it away."""
    gate = NoiseGate(threshold_dbfs=-45.0, reduction_db=40.0, hold_s=0.4)
    only(faults_in(recorded(silence, gate=gate, bits=16, dither=False), RATE_HZ), "gate")


CODECS = {"MP3": ("MPEG_LAYER_III", 0.3), "OGG": ("VORBIS", 0.3)}


@pytest.mark.parametrize("file_format", CODECS)
def test_lossy_coding(silence, file_format):
    if file_format not in soundfile.available_formats():
        pytest.skip(f"this libsndfile has no {file_format}")
    subtype, level = CODECS[file_format]
    coded = io.BytesIO()
    with soundfile.SoundFile(coded, "w", RATE_HZ, 2, subtype, format=file_format, compression_level=level) as file:
        for start in range(0, len(silence), 4096):
            file.write(silence[start : start + 4096])
    coded.seek(0)
    fault = only(faults_in(soundfile.read(coded, always_2d=True)[0], RATE_HZ), "lossy-coding")
    assert "hiss_level" in fault.spoils
    assert "gain" not in fault.spoils


def test_natural_noise_has_the_texture_of_an_exponential_distribution():
    """Power in a bin of Gaussian noise; quantiles from scipy."""
    natural = stats.expon()
    assert natural.cdf(HOLE * natural.median()) == pytest.approx(NATURAL_HOLES)
    assert 10 * np.log10(natural.ppf(0.9) / natural.ppf(0.1)) == pytest.approx(NATURAL_SPREAD_DB)
    assert 10 * np.log10(natural.ppf(0.97) / natural.median()) == pytest.approx(NATURAL_CREST_DB)
    coloured = signal.lfilter([1.0], [1.0, -0.9], np.random.default_rng(3).normal(0.0, 1e-4, 6 * RATE_HZ))
    texture = noise_texture(coloured[:, None], RATE_HZ)
    assert texture.spread_db == pytest.approx(NATURAL_SPREAD_DB, abs=0.5)
    assert texture.crest_db == pytest.approx(NATURAL_CREST_DB, abs=0.4)
    assert texture.holes == pytest.approx(NATURAL_HOLES, abs=0.006)


def test_noise_that_falls_once_has_the_texture_of_its_longer_state():
    noise = np.random.default_rng(3).normal(0.0, 1e-4, 10 * RATE_HZ)
    noise[7 * RATE_HZ :] *= 0.1
    texture = noise_texture(noise[:, None], RATE_HZ)
    assert texture.spread_db == pytest.approx(NATURAL_SPREAD_DB, abs=0.7)
    # White: so many bins hold its mean square.
    assert 10 * np.log10(texture.density * texture.n_bins) == pytest.approx(-80.0, abs=0.5)


def test_two_lines_that_beat_in_one_bin_are_no_holes():
    """25 Hz apart, as those of an interlaced picture are."""
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    comb = sum(np.cos(2 * np.pi * 25.0 * order * time_s + order**2) for order in range(40, 240))
    noise = np.random.default_rng(5).normal(0.0, 1e-3, len(time_s))
    texture = noise_texture((1e-3 * comb + noise)[:, None], RATE_HZ)
    assert texture.holes.max() < 2.0 * NATURAL_HOLES
    assert texture.spread_db.max() < NATURAL_SPREAD_DB + 1.0


def test_a_stereo_widening(silence):
    fault = only(faults_in(recorded(widen(silence, 0.1)), RATE_HZ), "widened")
    assert "20 dB" in fault.sentence
    assert "crosstalk" in fault.spoils
    assert not {"gain", "hum_level"} & set(fault.spoils)


def test_no_common_contact_leaves_the_difference(silence):
    fault = only(faults_in(recorded(widen(silence, 1.0)), RATE_HZ), "difference-only")
    assert "gain" in fault.spoils


def test_a_dead_channel_of_a_recording_without_a_track():
    noise = np.random.default_rng(6).normal(0.0, 1e-3, (2 * RATE_HZ, 2)) * [1.0, 0.0]
    faults = [fault for fault in faults_in(noise, RATE_HZ) if fault.code != "no-track"]
    assert only(faults, "channel-missing").channel == "right"


def test_a_clock_that_changes():
    fault = only(
        faults_in(recorded(simulated("silence", player=Crystal(ppm_per_minute=15.0))), RATE_HZ), "drift-changes"
    )
    assert "hum_frequency" in fault.spoils
    assert "hum_level" not in fault.spoils


def test_straight_lines_between_samples_of_another_rate():
    sound = resample_poorly(simulated("silence", rate_hz=44100), RATE_HZ / 44100, 2)
    fault = only(faults_in(recorded(sound), RATE_HZ), "resampled")
    # 44100 Hz less and plus 997 Hz, folded at 48 kHz; the player's clock runs 140 ppm fast.
    assert "2904" in fault.sentence or "2903" in fault.sentence
    assert "4897" in fault.sentence
    assert "44100 Hz" in fault.sentence


def test_a_speech_filter(sweep):
    fault = only(faults_in(recorded(steep_low_cut(sweep, RATE_HZ, 100.0, 2)), RATE_HZ), "low-cut")
    # 10 lg(1 + 2**4): a second-order Butterworth high-pass an octave below its corner; PATH takes 0.3 dB more.
    assert "12 dB at 50 Hz" in fault.sentence or "13 dB at 50 Hz" in fault.sentence
    assert "hum_level" in fault.spoils
    assert "gain" not in fault.spoils


def test_automatic_gain_is_not_called_a_gate_besides(silence):
    control = GainControl(target_dbfs=-14.0, most_gain_db=0.0, attack_s=0.01, release_s=0.3)
    codes = {fault.code for fault in faults_in(recorded(silence, gain_control=control), RATE_HZ)}
    assert "gate" not in codes


def test_a_fault_takes_only_its_own_measures_away(silence, tmp_path):
    path = tmp_path / "take.wav"
    gate = NoiseGate(threshold_dbfs=-45.0, reduction_db=6.0, hold_s=0.4)
    soundfile.write(path, recorded(silence, gate=gate), RATE_HZ, subtype="PCM_24")
    measured = measure_take(TakeRequest(path=path, role="direct"), "d1", MeasuringSettings(mains_hz=50.0))
    (fault,) = measured.row.faults
    assert fault.code == "gate"
    reasons = {row.quantity: row.reason for row in measured.not_measured}
    assert reasons["hum_level"] == reasons["hiss_level"] == fault.sentence
    left = {row.quantity for row in measured.measures}
    assert {"tone_level", "hum_frequency"} <= left
    assert not left & set(fault.spoils)
