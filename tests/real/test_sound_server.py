"""The tracks played and recorded by a real sound server: one clock, nothing added, whatever the rates."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from humcheck.estimates.sweeps import AFTER_S, BEFORE_S, REFERENCE_HZ, estimate_response, index_of
from humcheck.takes.take import load_take

pytestmark = pytest.mark.slow

RUNS = ("equal", "track-44100", "recorder-44100")
CHANNELS = ("left", "right")


@pytest.fixture(scope="module", params=RUNS)
def take(request, server_takes):
    return load_take(server_takes[request.param])


@pytest.fixture(scope="module", params=CHANNELS)
def response(request, take):
    return estimate_response(take.section(f"sweep-{request.param}", BEFORE_S, AFTER_S), request.param)


def decibels(gain):
    return 20 * np.log10(np.abs(gain))


@pytest.mark.parametrize(("run", "track"), [("equal", "sweep"), ("track-44100", "sweep"), ("recorder-44100", "sweep")])
def test_the_track_is_recognised(server_takes, run, track):
    found = load_take(server_takes[run]).track
    assert (found.name, found.length, found.layout) == (track, "short", 1)


def test_nothing_is_swapped_inverted_or_lost(take):
    assert take.alignment.channel_map == "straight"
    assert take.alignment.polarity == {"left": 1, "right": 1}
    assert take.alignment.lost == ()
    assert take.faults == []


def test_one_clock_has_no_drift(take):
    """Output and monitor run on the same clock, and rates are converted by exact ratios."""
    assert abs(take.alignment.drift_ppm) < 0.01


def test_equal_rates_pass_every_bit(server_runs, server_takes):
    """24 bits go through the server's 32-bit floats unchanged: what is recorded is the file that was played."""
    run = next(run for run in server_runs if run.name == "equal")
    take = load_take(server_takes["equal"])
    offset = take.alignment.offset_s * take.rate_hz
    assert offset == pytest.approx(round(offset), abs=1e-3)
    played, _ = soundfile.read(run.track, always_2d=True)
    recorded = take.file.read(round(offset), round(offset) + len(played))
    np.testing.assert_array_equal(recorded, played)


@pytest.mark.parametrize("channel", CHANNELS)
def test_the_tone_keeps_its_level(take, channel):
    """-6 dBFS in, -6 dBFS out, at 997 Hz; read by projection over the whole second in the middle of the tone."""
    tone = take.section(f"tone-{channel}")
    middle = tone.samples[take.rate_hz // 2 : take.rate_hz // 2 + take.rate_hz, CHANNELS.index(channel)]
    turn = np.exp(-2j * np.pi * REFERENCE_HZ * np.arange(len(middle)) / take.rate_hz)
    assert decibels(2 * np.mean(middle * turn)) == pytest.approx(-6.0, abs=0.01)


def test_gain_is_0_db(response):
    assert decibels(response.gain.value[index_of(REFERENCE_HZ)]) == pytest.approx(0.0, abs=0.01)


def test_response_is_flat(response):
    """Rate converters are flat to 19 kHz; at 44.1 kHz their filter may begin to fall just above."""
    gain_db = decibels(response.gain.value)
    flat = (response.frequency_hz >= 20.0) & (response.frequency_hz <= 19000.0)
    assert np.abs(gain_db[flat]).max() < 0.01
    top = (response.frequency_hz > 19000.0) & (response.frequency_hz <= 20000.0)
    assert np.abs(gain_db[top]).max() < 0.1
    assert response.valid()[flat | top].all()


def test_nothing_leaks_into_the_other_channel(response):
    """The silent channel holds 24-bit dither only; -120 dB leaves room for the noise of single frequencies."""
    audible = (response.frequency_hz >= 20.0) & (response.frequency_hz <= 20000.0)
    assert decibels(response.crosstalk.value[audible]).max() < -120.0
