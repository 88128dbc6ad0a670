"""Whole takes: where the track stands, how clean it is, what repeats and what does not."""

import subprocess
import sys

import numpy as np
import pytest
import soundfile
from scipy import fft

from humcheck.simulation import (
    TIMING_312,
    Crystal,
    FrameComb,
    GainControl,
    Hiss,
    Hum,
    Mains,
    NoiseGate,
    PathModel,
    Picture,
    PictureLeak,
    Recorder,
    SteadyTone,
    ground_loop,
    simulate_take,
)
from humcheck.tracks.layouts import layout
from humcheck.tracks.rendering import render_track
from tests.simulation.reading import decibels, lines, sine

RATE_HZ = 48000
FLOAT = Recorder(bits=None)
BUSY = PathModel(
    player=Crystal(ppm=30, walk_ppm=0.3),
    recorder_clock=Crystal(ppm=-20, walk_ppm=0.3),
    mains=Mains(wander_mhz=20.0, correlation_s=300.0),
    hum=(Hum(amplitudes=ground_loop(-60.0)),),
    picture=Picture.plain("white", TIMING_312, PictureLeak(level_dbfs_at_1k=-90.0)),
    hiss=(Hiss.both(-90.0),),
    recorder=Recorder(bits=24, gain_control=GainControl(), gate=NoiseGate()),
)


def test_same_seed_same_samples_other_seed_other_samples():
    source = sine(500.0, 1.0, RATE_HZ)
    one, again, other = (simulate_take(source, path=BUSY, seed=seed).samples for seed in (3, 3, 4))
    assert np.array_equal(one, again)
    assert not np.array_equal(one, other)


def test_one_random_thing_does_not_change_another():
    # The mains of a take is the same whether or not there is hiss: contributions can be taken apart.
    with_hiss = PathModel(mains=BUSY.mains, hum=BUSY.hum, hiss=(Hiss.both(-60.0),), recorder=FLOAT)
    without = PathModel(mains=BUSY.mains, hum=BUSY.hum, recorder=FLOAT)
    rest = simulate_take(None, path=with_hiss, duration_s=5.0).samples
    rest = rest - simulate_take(None, path=without, duration_s=5.0).samples
    assert np.abs(lines(rest, RATE_HZ, [50.0])).max() < 1e-5


@pytest.mark.parametrize("source_rate_hz", [22050, 44100, 48000, 96000])
@pytest.mark.parametrize("rate_hz", [44100, 48000])
def test_tone_is_pure_after_clocks_and_rates(source_rate_hz, rate_hz):
    path = PathModel(player=Crystal(ppm=-100.0), recorder_clock=Crystal(ppm=100.0), recorder=FLOAT)
    source = sine(8000.0, 6.0, source_rate_hz) * 0.5
    take = simulate_take(source, path=path, rate_hz=rate_hz, source_rate_hz=source_rate_hz)
    piece = take.samples[2 * rate_hz : 6 * rate_hz, 0]
    heard_hz = 8000.0 * (1 - 100e-6) / (1 + 100e-6)
    rest = piece - np.real(
        lines(piece[:, np.newaxis], rate_hz, [heard_hz])[0, 0]
        * np.exp(2j * np.pi * heard_hz * np.arange(piece.size) / rate_hz)
    )
    assert decibels(np.sqrt(2 * np.mean(rest**2)) / 0.5) < -140
    assert decibels(lines(piece[:, np.newaxis], rate_hz, [heard_hz])[0, 0]) == pytest.approx(-6.0206, abs=1e-6)


def test_track_arrives_where_the_truth_says():
    track = layout("silence", "short")
    path = PathModel(player=Crystal(ppm=60.0), recorder_clock=Crystal(ppm=-50.0), delay_s=1e-4, recorder=FLOAT)
    take = simulate_take(track, path=path, lead_s=0.7)
    assert take.truth.offset_s == pytest.approx(0.7001)
    assert take.truth.drift_ppm == pytest.approx((0.99995 / 1.00006 - 1) * 1e6, abs=1e-6)
    tone = track.section("tone-left")
    reference = render_track(track, RATE_HZ)

    def amplitude(samples, source_time_s):
        """997 Hz as a sine of source time, by least squares."""
        phase = 2 * np.pi * 997.0 * source_time_s
        basis = np.stack([np.sin(phase), np.cos(phase)], axis=1)
        sine_part, cosine_part = np.linalg.lstsq(basis, samples, rcond=None)[0]
        return sine_part + 1j * cosine_part

    middle_s = tone.start_s + 0.5
    index = round(float(take.truth.take_index(np.array([middle_s]))[0])) + np.arange(RATE_HZ)
    heard = amplitude(take.samples[index, 0], take.truth.clock.source_time_s(index.astype(float)))
    played_index = round(middle_s * RATE_HZ) + np.arange(RATE_HZ)
    played = amplitude(reference[played_index, 0], played_index / RATE_HZ)
    # 1e-7 rad at 997 Hz is 16 ps; the dither of 24 bits allows 1e-9.
    assert abs(heard / played - 1) < 1e-7


def test_level_section_reads_by_aes17():
    take = simulate_take(layout("silence", "short"))
    section = layout("silence", "short").section("level")
    start = round((1.25 + section.start_s + 0.5) * RATE_HZ)
    rms = np.sqrt(np.mean(take.samples[start : start + 2 * RATE_HZ] ** 2, axis=0))
    # AES17: full-scale sine = 0 dBFS RMS; the section is a sine of -1.001 dBFS.
    assert decibels(rms * np.sqrt(2)) == pytest.approx([-1.001] * 2, abs=1e-3)


def test_lead_cuts_or_adds_and_length_follows():
    source = sine(500.0, 2.0, RATE_HZ)
    late = simulate_take(source, path=PathModel(recorder=FLOAT), lead_s=-0.5, tail_s=0.0)
    assert late.samples.shape[0] == 1.5 * RATE_HZ
    assert late.truth.offset_s == -0.5
    assert np.abs(late.samples - source[RATE_HZ // 2 :]).max() < 1e-6
    fixed = simulate_take(source, duration_s=0.75)
    assert fixed.samples.shape[0] == 0.75 * RATE_HZ


def test_lines_stand_at_their_levels():
    path = PathModel(
        frames=FrameComb(level_dbfs=-90.0, right=0.5),
        tones=(SteadyTone(frequency_hz=3210.0, level_dbfs=-85.0),),
        recorder=FLOAT,
    )
    take = simulate_take(None, path=path, duration_s=4.0)
    found = decibels(lines(take.samples, RATE_HZ, [1000.0, 8000.0, 20000.0, 3210.0]))
    assert found[:, 0] == pytest.approx([-90.0, -90.0, -90.0, -85.0], abs=1e-4)
    assert found[0, 1] == pytest.approx(-96.0206, abs=1e-4)
    # Twenty lines of -90 dBFS up to 20 kHz: +13.0103 dB.
    assert take.truth.digital_level_dbfs == pytest.approx([-76.9897, -83.0103], abs=1e-4)


def test_player_that_mutes_hides_its_hiss_in_true_zero():
    dither = np.random.default_rng(1).uniform(-1e-6, 1e-6, (6 * RATE_HZ, 2))
    dither[2 * RATE_HZ : 4 * RATE_HZ] = 0.0
    take = simulate_take(dither, path=PathModel(source_hiss=Hiss.both(-80.0), recorder=FLOAT), lead_s=0.5)

    def level(start_s, stop_s):
        piece = take.samples[round((0.5 + start_s) * RATE_HZ) : round((0.5 + stop_s) * RATE_HZ)]
        return 10 * np.log10(2 * np.mean(piece**2) + 1e-40)

    # White noise of -80 dBFS in 20 kHz is 0.7962 dB more in 24 kHz.
    assert level(0.1, 1.9) == pytest.approx(-79.2, abs=0.1)
    # The dither's band limit rings on into the zeros, at -150 dB and below.
    assert level(2.1, 3.9) < -250
    assert level(4.1, 5.9) == pytest.approx(-79.2, abs=0.1)


def test_nothing_playing_needs_a_length():
    with pytest.raises(ValueError, match="duration_s"):
        simulate_take(None)
    with pytest.raises(ValueError, match="longer than 0"):
        simulate_take(sine(500.0, 1.0, RATE_HZ), lead_s=-3.0)


def test_take_is_written_as_a_file(tmp_path):
    take = simulate_take(sine(500.0, 0.5, RATE_HZ) * 0.5, path=PathModel(recorder=Recorder(bits=16)))
    take.write(tmp_path / "take.wav")
    read, rate_hz = soundfile.read(tmp_path / "take.wav", always_2d=True)
    assert rate_hz == RATE_HZ
    assert np.array_equal(read, take.samples)


def test_spectrum_of_a_silent_float_take_is_empty():
    take = simulate_take(np.zeros((RATE_HZ, 2)), path=PathModel(recorder=FLOAT))
    assert np.abs(fft.rfft(take.samples, axis=0)).max() < 1e-10


def test_simulation_loads_nothing_that_measures():
    code = (
        "import humcheck.simulation, sys; "
        "rooms = ('takes', 'estimates', 'analyzers', 'comparison', 'findings', 'report', 'pipeline'); "
        "loaded = [m for m in sys.modules if m.startswith(tuple(f'humcheck.{room}' for room in rooms))]; "
        "sys.exit(1 if loaded else 0)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
