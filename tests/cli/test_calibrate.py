"""Volts at full scale from a metered tone: algebra, uncertainty, and what a user is warned of.

AES17: a full-scale sine reads 0 dBFS, so a sine of amplitude A reads 20 lg A. JCGM 100:2008 (GUM): a part known by its
limits is rectangular, its standard uncertainty the limit over the root of three (4.3.7).
"""

import math
import tomllib

import numpy as np
import pytest
import soundfile

from humcheck.cli import main
from humcheck.pipeline.calibrate import calibrate, half_interval
from humcheck.simulation.clocks import Crystal
from humcheck.simulation.path import PathModel
from humcheck.simulation.simulate import simulate_take
from humcheck.simulation.transfer import ChannelPath, LinearPath
from humcheck.tracks.layouts import layout

RATE_HZ = 48000


def tone(frequency_hz=997.0, amplitude=0.5, right=1.0, seconds=4.0, noise=1e-5, rate_hz=RATE_HZ, seed=0):
    """Silence, the tone, silence, with a click where it was plugged."""
    generator = np.random.default_rng(seed)
    time_s = np.arange(int((seconds + 3.0) * rate_hz)) / rate_hz
    samples = noise * generator.standard_normal((len(time_s), 2))
    sounding = (time_s > 1.5) & (time_s < 1.5 + seconds)
    wave = amplitude * np.cos(2.0 * np.pi * frequency_hz * time_s + 1.0)
    samples[sounding] += wave[sounding, None] * [1.0, right]
    samples[int(0.5 * rate_hz) : int(0.501 * rate_hz)] = 0.95
    return samples


def write(folder, samples, rate_hz=RATE_HZ, subtype="PCM_16"):
    path = folder / "tone.wav"
    soundfile.write(path, samples, rate_hz, subtype=subtype)
    return str(path)


@pytest.mark.parametrize("frequency_hz", [211.3, 997.0, 1990.0])
def test_volts_follow_from_the_level(tmp_path, frequency_hz):
    # Half of full scale is 0.775 V, so full scale is 1.55 V: 20 lg 1.55 = 3.8066 dBV. 16 bits, a click, and hum and a
    # second harmonic 40 dB down, which the meter reads too: it is told 0.775 V of the tone alone here.
    samples = tone(frequency_hz)
    time_s = np.arange(len(samples)) / RATE_HZ
    samples += (0.005 * np.sin(2.0 * np.pi * 50.02 * time_s) + 0.005 * np.sin(4.0 * np.pi * frequency_hz * time_s))[
        :, None
    ]
    found = calibrate(write(tmp_path, samples), 0.775)
    assert found.volts_at_full_scale == pytest.approx(1.55, rel=2e-5)
    assert found.dbv_at_full_scale == pytest.approx(3.8066, abs=2e-4)
    assert found.tone.frequency_hz == pytest.approx(frequency_hz, rel=1e-5)


def test_the_level_tone_of_a_track_will_do(tmp_path):
    # The level section of the tracks stands at -1.001 dBFS; the path takes 6 dB. A recorder 50 ppm fast.
    channel = ChannelPath(gain_db=-6.0)
    path = PathModel(linear=LinearPath(left=channel, right=channel), recorder_clock=Crystal(ppm=50.0))
    take = simulate_take(layout("silence", "short"), path=path, rate_hz=RATE_HZ)
    found = calibrate(write(tmp_path, take.samples), 1.0)
    assert found.volts_at_full_scale == pytest.approx(10.0 ** (7.001 / 20.0), rel=1e-4)


def test_the_uncertainty_is_that_of_rectangle_and_normal_together():
    # EA-4/02 M:2022, S9 (from memory): k = 1.65 where a rectangle dominates, 95 % of its width; normal: 1.96 (GUM G.1).
    assert half_interval(1.0, 0.0) == pytest.approx(0.95)
    assert half_interval(1.0, 1e-4) == pytest.approx(0.95, abs=1e-3)
    assert half_interval(0.0, 1.0) == pytest.approx(1.95996, abs=1e-5)
    generator = np.random.default_rng(3)
    for limit, sd in ((1.0, 0.1), (1.0, 0.5), (0.5, 1.0)):
        errors = limit * generator.uniform(-1.0, 1.0, 400_000) + sd * generator.standard_normal(400_000)
        inside = np.mean(np.abs(errors) < half_interval(limit, sd))
        # Three standard deviations of a share counted in 400 000 trials: 0.001.
        assert inside == pytest.approx(0.95, abs=0.0011)


def test_the_meter_counts_as_a_rectangle(tmp_path):
    found = calibrate(write(tmp_path, tone(noise=1e-6), subtype="PCM_24"), 0.775, volts_percent=2.0)
    assert found.parts_percent["meter"] == pytest.approx(2.0 / math.sqrt(3.0))
    assert found.uncertainty_percent == pytest.approx(0.95 * 2.0, abs=1e-3)
    assert found.warnings == ()


def test_the_part_of_the_noise_covers(tmp_path):
    # Loud noise, 26 dB under the tone: the values scatter as the part called tone says; the meter reads noise as well.
    errors = []
    for seed in range(20):
        path = write(tmp_path, tone(noise=0.018, seconds=1.6, rate_hz=8000, seed=seed), 8000, "FLOAT")
        found = calibrate(path, 1.0, channel="left")
        errors.append((found.volts_at_full_scale / 2.0 - 1.0) / (found.parts_percent["tone"] / 100.0))
    # The share that stands beside the tone is bounded, not estimated: the interval may be wide, not narrow.
    assert np.sqrt(np.mean(np.square(errors))) < 1.3
    assert np.sqrt(np.mean(np.square(errors))) > 0.3


@pytest.mark.parametrize(
    ("samples", "told"),
    [
        (lambda: tone() * np.linspace(1.0, 0.9, 336000)[:, None], "The tone is not steady"),
        (lambda: tone(1000.0), "The tone is 20 times 50 Hz"),
        (lambda: tone(960.0), "The tone is 16 times 60 Hz"),
        (lambda: tone(right=0.95), "The channels differ by 0.45 dB"),
        (lambda: tone(right=0.0), "Only one of the two channels holds the tone"),
        (lambda: tone(noise=0.02), "Beside the tone there is other sound"),
    ],
)
def test_what_a_user_is_warned_of(tmp_path, samples, told):
    found = calibrate(write(tmp_path, samples()), 1.0, volts_percent=1.0)
    assert any(warning.startswith(told) for warning in found.warnings)


def test_hum_on_the_tone_is_in_the_uncertainty(tmp_path):
    # 1000 Hz with hum of which 950 and 1050 Hz stand 0.4 % high: as much may lie under the tone, at any phase.
    samples = tone(1000.0)
    time_s = np.arange(len(samples)) / RATE_HZ
    samples += (0.002 * np.cos(2 * np.pi * 950.0 * time_s) + 0.002 * np.cos(2 * np.pi * 1000.0 * time_s + 1.0))[:, None]
    found = calibrate(write(tmp_path, samples), 1.0)
    assert found.parts_percent["hum"] == pytest.approx(0.4 / math.sqrt(3.0), rel=0.02)
    # The hum was put in phase with the tone: the worst case.
    assert abs(found.volts_at_full_scale / 2.0 - 1.0) < found.uncertainty_percent / 100.0


def test_a_channel_is_chosen(tmp_path, capsys):
    path = write(tmp_path, tone(right=0.8))
    assert calibrate(path, 1.0, channel="left").volts_at_full_scale == pytest.approx(2.0, rel=1e-4)
    assert calibrate(path, 1.0, channel="right").volts_at_full_scale == pytest.approx(2.5, rel=1e-4)
    assert main(["calibrate", write(tmp_path, tone(right=0.0)), "--volts", "1", "--channel", "right"]) == 2
    assert "the right channel does not hold the tone" in capsys.readouterr().err


def test_what_is_printed_goes_into_a_bench_file(tmp_path, capsys):
    assert main(["calibrate", write(tmp_path, tone()), "--volts", "0.775", "--volts-uncertainty", "1"]) == 0
    printed = capsys.readouterr().out
    table = tomllib.loads(printed[printed.index("[calibration]") :])["calibration"]
    assert table == {"volts_at_full_scale": 1.55, "uncertainty_percent": 0.95}
    assert "1.55 V RMS (+3.81 dBV)" in printed
    # Without the meter's own error the figure would promise too much: it is left as a comment.
    assert main(["calibrate", write(tmp_path, tone()), "--volts", "0.775"]) == 0
    printed = capsys.readouterr().out
    assert "# uncertainty_percent" in printed
    assert "give it with --volts-uncertainty" in printed


@pytest.mark.parametrize(
    ("samples", "told"),
    [
        (lambda: np.clip(3.0 * tone(), -1.0, 1.0), "the tone is clipped"),
        (lambda: tone(100.0), "the strongest sound in it is at 100 Hz"),
        (lambda: tone(amplitude=0.0), "no steady tone stands out in it"),
        (lambda: np.zeros((RATE_HZ, 2)), "nothing sounds in it"),
        (lambda: tone(seconds=0.9), "and at least 1 s is needed"),
    ],
)
def test_what_cannot_be_used(tmp_path, capsys, samples, told):
    assert main(["calibrate", write(tmp_path, samples()), "--volts", "1"]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert error.count("\n") == 1


def test_a_call_that_makes_no_sense(tmp_path, capsys):
    for volts in ("0", "-1", "nan", "much"):
        with pytest.raises(SystemExit) as caught:
            main(["calibrate", "tone.wav", "--volts", volts])
        assert caught.value.code == 2
    assert main(["calibrate", str(tmp_path / "gone.wav"), "--volts", "1"]) == 2
    assert "there is no such file" in capsys.readouterr().err
