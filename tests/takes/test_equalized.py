"""Tracks through paths that change their chirps much: speech filters, telephones, resonances, equalizers, delays."""

from functools import cache

import numpy as np
import pytest
from scipy import signal

from humcheck.takes.chirps import Placement, chirp
from humcheck.takes.equalized import EqualizedFile, equalized_pair, equalizer_of
from humcheck.takes.pulses import pulse_of, rate_of_pair
from humcheck.takes.recognition import find_marker
from humcheck.takes.take import sought_in
from humcheck.tracks.layouts import layout
from humcheck.tracks.markers import BIT_S, N_BITS, bit_offset_s
from humcheck.tracks.waveforms import bit_chirp, track_waveform
from tests.takes.memory import MemoryTake

RATE_HZ = 48000
SILENCE = layout("silence", "short")
DRIFT_PPM = 80.0


@cache
def played():
    """The track on a clock of its own, a second before and after it."""
    time_s = (np.arange(int((SILENCE.duration_s + 2.0) * RATE_HZ)) / RATE_HZ - 1.0) / (1.0 + 1e-6 * DRIFT_PPM)
    return track_waveform(SILENCE, time_s, RATE_HZ)


def through(*filters, snr_db=20.0, gains=((1.0, 0.0), (0.0, 1.0))):
    """The track through second-order sections, with white noise so far below its markers; the peak is 0.5."""
    sound = played() @ np.array(gains).T
    for sections in filters:
        sound = signal.sosfilt(sections, sound, axis=0)
    sound = 0.5 / np.abs(sound).max() * sound
    # A chirp of -6 dBFS has the RMS 0.354.
    noise = 0.354 * 10.0 ** (-snr_db / 20.0) * np.random.default_rng(3).normal(size=sound.shape)
    return MemoryTake(sound + noise, RATE_HZ)


def butter(kind, order, corner_hz):
    return signal.butter(order, corner_hz, kind, fs=RATE_HZ, output="sos")


def peaking(frequency_hz, gain_db, quality):
    """A bell of an equalizer, by the bilinear transform of the analogue one (from memory)."""
    size, turn = 10.0 ** (gain_db / 40.0), 2.0 * np.pi * frequency_hz / RATE_HZ
    width = np.sin(turn) / (2.0 * quality)
    above = [1.0 + width * size, -2.0 * np.cos(turn), 1.0 - width * size]
    return signal.tf2sos(above, [1.0 + width / size, -2.0 * np.cos(turn), 1.0 - width / size])


def allpass(frequency_hz, quality):
    """A second-order all-pass: it delays what is near the frequency and changes no level."""
    turn = 2.0 * np.pi * frequency_hz / RATE_HZ
    width = np.sin(turn) / (2.0 * quality)
    below = [1.0 - width, -2.0 * np.cos(turn), 1.0 + width]
    return signal.tf2sos(below, below[::-1])


def equalizer(gains_db):
    return [peaking(31.25 * 2.0**band, gain_db, 1.41) for band, gain_db in enumerate(gains_db)]


TELEPHONE = signal.ellip(8, 0.5, 60, 3400.0, "low", fs=RATE_HZ, output="sos")
PATHS = {
    "speech filter, 4th order": [butter("high", 4, 300.0)],
    "speech filter, 8th order": [butter("high", 8, 300.0)],
    "resonance of 12 dB": [peaking(3000.0, 12.0, 10.0)],
    "resonance of 20 dB": [peaking(800.0, 20.0, 10.0)],
    "telephone": [butter("high", 4, 300.0), TELEPHONE],
    "steep low-pass": [TELEPHONE],
    "small loudspeaker": [butter("high", 4, 1000.0)],
    "delay of 10 ms at 1 kHz": [allpass(1000.0, 5.0)] * 6,
    "delays from 300 Hz to 3 kHz": [allpass(f, 3.0) for f in (300.0, 500.0, 800.0, 1200.0, 2000.0, 3000.0)],
    "graphic equalizer": equalizer([12, 12, -12, 12, -12, -12, 12, -12, 12, 12]),
    "another setting": equalizer([-12, 12, 12, -12, -12, 12, 12, 12, -12, 12]),
}


@pytest.mark.parametrize("name", PATHS)
def test_a_track_is_recognised_and_timed_through(name):
    take = sought_in(through(*PATHS[name]))
    assert take.track == SILENCE.identity
    assert take.alignment.used.sum() == 2 * len(SILENCE.markers)
    assert take.alignment.channel_map == "straight"
    assert take.alignment.lost == ()
    # The telephone leaves 45 ms of each chirp.
    assert take.alignment.drift_ppm == pytest.approx(DRIFT_PPM, abs=5.0)
    # Nothing delays the sound by more than these filters do.
    assert -0.0005 < take.alignment.offset_s - 1.0 < 0.002


@pytest.mark.parametrize(
    ("gains", "channel_map"),
    [
        (((1.0, 0.0), (0.0, 0.0)), "left-only"),
        (((0.0, 0.0), (0.0, -1.0)), "right-only"),
        (((0.0, 1.0), (1.0, 0.0)), "swapped"),
        (((0.5, 0.5), (0.5, -0.5)), "merged"),
        (((0.5, 0.5),), "merged"),
    ],
)
def test_any_wiring_behind_a_speech_filter(gains, channel_map):
    take = sought_in(through(butter("high", 4, 300.0), gains=gains))
    assert take.track == SILENCE.identity
    assert take.alignment.channel_map == channel_map
    assert take.alignment.drift_ppm == pytest.approx(DRIFT_PPM, abs=1.0)


def test_gain_and_polarity_are_those_around_the_tone():
    # 6 dB down and inverted; a first-order low-pass of 2 kHz takes 1.0 dB at 1 kHz, the high-pass nothing.
    low = butter("low", 1, 2000.0)
    sound = signal.sosfilt(butter("high", 4, 200.0), signal.sosfilt(low, -0.5 * played(), axis=0), axis=0)
    alignment = sought_in(MemoryTake(sound, RATE_HZ)).alignment
    assert alignment.polarity == {"left": -1, "right": -1}
    assert alignment.gain_db["left"] == pytest.approx(-7.0, abs=0.5)


def test_two_chirps_tell_the_rate_whatever_the_filter():
    take = through(*PATHS["graphic equalizer"])
    start = (1.0 + SILENCE.markers[0].start_s * (1.0 + 1e-6 * DRIFT_PPM)) * RATE_HZ
    placed = Placement(start, float(RATE_HZ))
    left, right = pulse_of(take, "left", placed), pulse_of(take, "right", placed.moved(0.5))
    assert rate_of_pair(left, right, RATE_HZ) == pytest.approx(1e-6 * DRIFT_PPM, abs=13e-6)  # half a step


def test_an_equalizer_gives_the_chirp_back():
    take = through(*PATHS["graphic equalizer"], snr_db=60.0)
    rate_hz = RATE_HZ * (1.0 + 1e-6 * DRIFT_PPM)
    placed = Placement(RATE_HZ + SILENCE.markers[0].start_s * rate_hz, rate_hz)
    seen = EqualizedFile(take, equalizer_of([pulse_of(take, "left", placed)], rate_hz))
    first, stop = placed.span()
    sent = chirp("left", placed.time_s(first, stop - first), rate_hz)

    def likeness(file):
        heard = file.read(first, stop)[:, 0]
        return (heard @ sent) ** 2 / ((heard @ heard) * (sent @ sent))

    assert likeness(take) < 0.6
    assert likeness(seen) > 0.97
    # Whatever stretch is read, the same samples are the same.
    assert seen.read(first, stop)[100:200] == pytest.approx(seen.read(first + 100, first + 200), abs=1e-12)


def test_a_chirp_beside_the_place_is_left_to_its_own_candidate():
    take = through(*PATHS["steep low-pass"])
    placed = Placement(RATE_HZ + SILENCE.markers[0].start_s * (1.0 + 1e-6 * DRIFT_PPM) * RATE_HZ, float(RATE_HZ))
    assert equalized_pair(take, "left", placed.moved(0.004)) is not None
    # Further off, what is found is its edge: taken for the whole it would be timed some milliseconds wrong.
    for late_s in (-0.02, -0.016, 0.016, 0.02):
        found = equalized_pair(take, "left", placed.moved(late_s))
        assert found is None or found.found["left"].start_index == pytest.approx(placed.start_index, abs=60.0)


def test_noise_is_no_pulse():
    rng = np.random.default_rng(0)
    take = MemoryTake(rng.normal(size=(RATE_HZ, 2)), RATE_HZ)
    assert all(pulse_of(take, "left", Placement(12000.0 + 100.0 * place, RATE_HZ)) is None for place in range(40))
    assert pulse_of(MemoryTake(np.zeros((RATE_HZ, 1)), RATE_HZ), "left", Placement(12000.0, RATE_HZ)) is None


def test_chance_is_no_code_word():
    """After a true chirp bits of uneven sizes, as other sound has them: each sign alone would be a valid code word."""
    marker = SILENCE.markers[0]
    sizes = np.abs(np.random.default_rng(8).normal(size=N_BITS))
    sound = np.zeros((2 * RATE_HZ, 1))
    time_s = np.arange(len(sound)) / RATE_HZ - 0.5
    sound[:, 0] = chirp("left", time_s, RATE_HZ)
    for index, (bit, size) in enumerate(zip(marker.marker_bits, sizes, strict=True)):
        since_s = time_s - bit_offset_s(index)
        here = (since_s >= 0.0) & (since_s < BIT_S)
        sound[here, 0] += (2 * bit - 1) * size * bit_chirp("left", since_s[here], RATE_HZ)
    sound += 1e-3 * np.random.default_rng(9).normal(size=sound.shape)
    assert find_marker(MemoryTake(sound, RATE_HZ)).sighting is None
