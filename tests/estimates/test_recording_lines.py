"""Hum of recordings without a track: under music, in pauses, and not where there is none."""

import numpy as np
import pytest
import soundfile

from humcheck.audio.files import open_take
from humcheck.errors import MeasurementError
from humcheck.estimates.programme_lines import hum_under_programme
from humcheck.estimates.recording_lines import read_recording
from humcheck.estimates.steadiness import changes

RATE_HZ = 8000


def written(tmp_path, samples):
    path = tmp_path / "recording.wav"
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")
    return open_take(path)


def music(duration_s, seed):
    """Notes of the tempered scale that sound and die away, without a pause: nothing that the estimator assumes."""
    rng = np.random.default_rng(seed)
    sound = rng.normal(0, 1e-4, int(duration_s * RATE_HZ))
    for start in np.arange(0.0, duration_s - 0.3, 0.2):
        pitch_hz = 440.0 * 2 ** (rng.integers(-36, 12) / 12)
        time_s = np.arange(int(min(1.5, duration_s - start) * RATE_HZ)) / RATE_HZ
        fading = np.exp(-time_s / rng.uniform(0.1, 0.6)) * np.minimum(time_s / 0.005, 1.0)
        note = sum(np.sin(2 * np.pi * pitch_hz * k * time_s) / k for k in range(1, 9) if k * pitch_hz < 0.45 * RATE_HZ)
        first = int(start * RATE_HZ)
        sound[first : first + time_s.size] += 0.1 * fading * note
    return sound


def hum(duration_s, frequency_hz, dbfs, orders=(1, 2, 3, 4, 5, 7, 9, 11)):
    time_s = np.arange(int(duration_s * RATE_HZ)) / RATE_HZ
    lines = sum(np.cos(2 * np.pi * k * frequency_hz * time_s + k * k) / np.sqrt(k) for k in orders)
    return lines * 10 ** (dbfs / 20) / np.sqrt(2) / np.sqrt(np.mean(lines**2))


@pytest.mark.parametrize(("frequency_hz", "seed"), [(50.013, 1), (59.985, 2)])
def test_hum_under_music_is_found(tmp_path, frequency_hz, seed):
    file = written(tmp_path, music(12.0, seed) + hum(12.0, frequency_hz, -45.0))
    (found,) = read_recording(file).lines.families
    assert found.fundamental_hz == pytest.approx(frequency_hz, abs=0.002)
    assert abs(found.fundamental_hz - frequency_hz) < 3 * found.fundamental_sd_hz
    # Harmonics that notes cover are not in the sum.
    assert 10 * np.log10(2 * found.power[0]) == pytest.approx(-45.0, abs=2.0)


@pytest.mark.parametrize("seed", range(3, 9))
def test_music_alone_is_no_hum_and_the_bound_says_how_much_could_hide(tmp_path, seed):
    read = read_recording(written(tmp_path, music(8.0, seed)))
    assert not read.lines.families
    assert read.lines.bounds["mains"][0] > 0.0
    assert read.reason


def test_the_bound_holds(tmp_path):
    """Hum too weak to be told from the music stays below the bound that the music alone would give it."""
    under = hum_under_programme(written(tmp_path, music(8.0, 3) + hum(8.0, 50.02, -75.0)))
    assert under.family is None
    assert 10 * np.log10(2 * under.bound[0]) > -75.0


@pytest.mark.parametrize("pitch_hz", [49.0, 59.86, 100.3, 120.2])
def test_drums_and_bells_near_mains_are_no_hum(tmp_path, pitch_hz):
    """One stroke each second, dying away, stored with 16 bits and no dither: steady odd harmonics are left."""
    time_s = np.arange(6 * RATE_HZ) / RATE_HZ
    stroke = np.exp(-(time_s % 2.0) / 0.3) * np.sin(2 * np.pi * pitch_hz * (time_s % 2.0))
    file = written(tmp_path, np.round(0.7 * stroke * 32768) / 32768)
    assert not [f for f in read_recording(file).lines.families if f.kind in ("mains", "mains_or_field", "field")]


def test_hum_in_pauses_of_speech(tmp_path):
    rng = np.random.default_rng(4)
    talk = np.where((np.arange(20 * RATE_HZ) // RATE_HZ) % 5 < 2, 1.0, 0.0) * rng.normal(0, 0.1, 20 * RATE_HZ)
    talk *= np.abs(np.sin(2 * np.pi * 3.1 * np.arange(talk.size) / RATE_HZ))
    file = written(tmp_path, talk + rng.normal(0, 1e-4, talk.size) + hum(20.0, 50.03, -60.0))
    read = read_recording(file)
    assert read.stretch is not None
    family = next(f for f in read.lines.families if f.kind in ("mains", "mains_or_field"))
    assert family.fundamental_hz == pytest.approx(50.03, abs=0.003)
    assert 10 * np.log10(2 * family.power[0]) == pytest.approx(-60.0, abs=0.3)


def test_noise_does_not_change_and_music_does():
    rng = np.random.default_rng(5)
    noise = rng.normal(0, 1e-3, (3 * RATE_HZ, 1))
    assert not changes(noise, RATE_HZ)
    assert not changes(noise + hum(3.0, 50.0, -30.0)[:, np.newaxis], RATE_HZ)
    clicked = noise.copy()
    clicked[RATE_HZ] = 1.0
    assert not changes(clicked, RATE_HZ)
    assert changes(music(3.0, 6)[:, np.newaxis], RATE_HZ)


def test_too_short_and_silent_recordings_say_so(tmp_path):
    with pytest.raises(MeasurementError, match="shorter"):
        read_recording(written(tmp_path, music(0.8, 7)))
    with pytest.raises(MeasurementError, match="silence"):
        read_recording(written(tmp_path, np.zeros(5 * RATE_HZ)))
