"""Hiss and rounding: levels between 20 Hz and 20 kHz, by the published limits of dithered words."""

import numpy as np
import pytest

from humcheck.simulation import Hiss, PathModel, Recorder, simulate_take
from tests.simulation.reading import band_dbfs

# 20 s in 20 kHz are 400000 independent pairs: 4.34/sqrt(400000) = 0.007 dB; four of them.
BAND_TOLERANCE_DB = 0.03


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000])
@pytest.mark.parametrize("colour", ["white", "pink"])
def test_hiss_has_its_level_in_the_audio_band(rate_hz, colour):
    hiss = Hiss(left_dbfs=-80.0, right_dbfs=-74.0, colour=colour)
    path = PathModel(hiss=(hiss,), recorder=Recorder(bits=None))
    take = simulate_take(None, path=path, rate_hz=rate_hz, duration_s=20.0, seed=1)
    # Half of pink noise's power lies below 632 Hz, in 2 x 20 x 612 numbers: 0.04 dB at four standard errors each half.
    tolerance = BAND_TOLERANCE_DB if colour == "white" else 0.1
    assert band_dbfs(take.samples, rate_hz, 20.0, 20e3) == pytest.approx([-80.0, -74.0], abs=tolerance)
    assert take.truth.hiss_level_dbfs == pytest.approx([-80.0, -74.0], abs=1e-9)


def test_pink_noise_has_the_same_power_in_each_octave():
    path = PathModel(hiss=(Hiss.both(-40.0, "pink"),), recorder=Recorder(bits=None))
    samples = simulate_take(None, path=path, duration_s=20.0, seed=2).samples
    octaves = [band_dbfs(samples, 48000, low, 2 * low) for low in (250.0, 1000.0, 4000.0, 8000.0)]
    # log(2)/log(1000) of -40 dBFS.
    expected_db = -40 + 10 * np.log10(np.log(2) / np.log(1000))
    # The lowest octave holds 5000 pairs: 0.06 dB, four of them.
    assert np.array(octaves) == pytest.approx(np.full((4, 2), expected_db), abs=0.25)


def test_channels_hiss_apart():
    path = PathModel(hiss=(Hiss.both(-40.0),), recorder=Recorder(bits=None))
    samples = simulate_take(None, path=path, duration_s=10.0).samples
    # 480000 samples: standard error 1/sqrt(480000) = 0.0014; four of them.
    assert abs(np.corrcoef(samples.T)[0, 1]) < 0.006


@pytest.mark.parametrize(
    ("bits", "expected_dbfs"),
    [
        # Lipshitz, Wannamaker, Vanderkooy 1992: triangular dither and rounding leave step^2 / 4.
        pytest.param(16, -93.3193, id="16 bit"),
        pytest.param(24, -141.4841, id="24 bit"),
    ],
)
def test_silence_of_a_dithered_word(bits, expected_dbfs):
    path = PathModel(recorder=Recorder(bits=bits))
    take = simulate_take(None, path=path, duration_s=10.0)
    level = 10 * np.log10(2 * np.mean(take.samples**2, axis=0))
    # 480000 samples: 0.006 dB a standard error.
    assert level == pytest.approx([expected_dbfs] * 2, abs=0.03)
    # 20 Hz - 20 kHz of 24 kHz: 10 lg(19980/24000) = -0.7962 dB.
    assert take.truth.hiss_level_dbfs == pytest.approx([expected_dbfs - 0.7962] * 2, abs=2e-4)


def test_undithered_silence_is_digital_zero():
    take = simulate_take(None, path=PathModel(recorder=Recorder(bits=16, dither=False)), duration_s=1.0)
    assert not take.samples.any()


def test_hisses_add_as_powers():
    path = PathModel(hiss=(Hiss.both(-80.0), Hiss.both(-86.0)), recorder=Recorder(bits=None))
    truth = simulate_take(None, path=path, duration_s=0.1).truth
    # -80 and -86 dBFS: -79.0268 dBFS.
    assert truth.hiss_level_dbfs == pytest.approx([-79.0268] * 2, abs=1e-4)
