"""The level meter, against sines and noise whose levels follow from their definition (AES17)."""

from __future__ import annotations

import numpy as np
import pytest

from humcheck.soundcard.meter import LevelMeter, level_words

RATE_HZ = 48000


def sine(peak_dbfs, seconds=0.05, frequency_hz=997.0):
    """A sine whose peak is `peak_dbfs`: 0 dBFS is the sine that just reaches full scale (AES17)."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    wave = 10 ** (peak_dbfs / 20) * np.sin(2 * np.pi * frequency_hz * time_s)
    return np.repeat(wave[:, None], 2, axis=1).astype(np.float32)


def test_a_sine_reads_its_level_in_its_own_channel():
    meter = LevelMeter(RATE_HZ, 2)
    meter.feed(sine(-6.0) * np.float32([1.0, 0.1]))
    assert meter.now_dbfs == pytest.approx([-6.0, -26.0], abs=0.01)


def test_the_peak_is_held_for_two_seconds_and_the_highest_for_good():
    meter = LevelMeter(RATE_HZ, 2)
    meter.feed(sine(-3.0))
    for _ in range(39):
        meter.feed(sine(-40.0))
    assert meter.held_dbfs == pytest.approx([-3.0, -3.0], abs=0.01)
    for _ in range(3):
        meter.feed(sine(-40.0))
    assert meter.held_dbfs == pytest.approx([-40.0, -40.0], abs=0.01)
    assert meter.highest_dbfs == pytest.approx([-3.0, -3.0], abs=0.01)


def test_the_floor_is_the_noise_before_the_track():
    """White noise of RMS r reads 20 log10(r) + 3.01 dBFS; a door that slams meanwhile does not raise it."""
    meter = LevelMeter(RATE_HZ, 2)
    rng = np.random.default_rng(1)
    for number in range(20):
        meter.feed((1e-4 * rng.standard_normal((2400, 2))).astype(np.float32) + (number == 7) * np.float32(0.3))
    meter.hold_floor()
    for _ in range(20):
        meter.feed(np.zeros((2400, 2), dtype=np.float32))
    assert meter.floor_dbfs == pytest.approx(-80.0 + 3.01, abs=0.3)


@pytest.mark.parametrize(("peak_dbfs", "too_loud"), [(-1.2, False), (-0.8, True)])
def test_within_1_db_of_full_scale_it_warns(peak_dbfs, too_loud):
    meter = LevelMeter(RATE_HZ, 2)
    meter.feed(sine(peak_dbfs))
    assert meter.too_loud is too_loud
    assert ("turn down" in (meter.verdict() or "")) is too_loud


def test_clipping_is_told_for_good():
    meter = LevelMeter(RATE_HZ, 1)
    meter.feed(np.clip(sine(2.0)[:, :1], -1.0, 1.0 - 2.0**-23))
    for _ in range(100):
        meter.feed(sine(-20.0)[:, :1])
    assert meter.clipped > 0
    assert meter.verdict().startswith("The recording clips")


def test_what_was_put_right_is_not_warned_of_any_longer():
    meter = LevelMeter(RATE_HZ, 2)
    meter.feed(sine(-0.5))
    assert meter.warning().startswith("Within 1 dB of full scale: turn down")
    for _ in range(50):
        meter.feed(sine(-5.0))
    assert meter.warning() is None
    assert meter.verdict().startswith("Within 1 dB")  # of the whole it stays true
    meter.feed(np.ones((10, 2), dtype=np.float32))
    for _ in range(50):
        meter.feed(sine(-5.0))
    assert meter.warning() == "The recording has clipped: turn down, and begin again."


def words_after(peak_dbfs, noise_dbfs, seconds=4.0):
    meter = LevelMeter(RATE_HZ, 2)
    rng = np.random.default_rng(2)
    rms = 10 ** ((noise_dbfs - 3.01) / 20)
    for number in range(round((1.0 + seconds) / 0.05)):
        if number == 20:
            meter.hold_floor()
        tone = sine(peak_dbfs) if number >= 25 else 0.0
        meter.feed((tone + rms * rng.standard_normal((2400, 2))).astype(np.float32))
    return meter.verdict()


def test_low_is_judged_against_the_noise_of_the_recorder():
    """-30 dBFS is too low for a recorder whose noise is at -90, and fine for one of -120."""
    words = words_after(-30.0, -90.0)
    assert words.startswith("Too low")
    assert "turn up by about 25 dB" in words  # from about -30 to -4.5, the middle of -6 to -3
    assert words_after(-30.0, -120.0) is None
    assert words_after(-5.0, -60.0) is None


def test_nothing_is_said_before_the_loud_tone_has_played():
    assert words_after(-30.0, -90.0, seconds=1.0) is None


def test_nothing_but_noise_is_told():
    assert words_after(-85.0, -90.0).startswith("Hardly anything arrives")


def test_without_a_track_low_is_not_judged():
    assert level_words(-60.0, None, clipped=False) is None
