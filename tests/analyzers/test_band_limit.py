"""An abrupt end of the band is found and said; whatever falls smoothly, or ends above 20 kHz, is left alone."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from scipy import signal

from humcheck.analyzers.band_limit import (
    BandLimit,
    band_limit_faults,
    response_band_limit,
    spectrum_band_limit,
)
from humcheck.audio.resampling import resample
from humcheck.audio.spectra import welch_spectrum
from humcheck.estimates.sweeps import AFTER_S, BEFORE_S, estimate_response
from humcheck.results import QUANTITIES
from humcheck.tracks.layouts import layout
from humcheck.tracks.rendering import render_track
from humcheck.tracks.sections import Section

#: Half a step of the twelfth-octave series: the resolution that the limit is stated with.
HALF_STEP = 10 ** (1 / 80) - 1
SWEEP = layout("sweep", "short").section("sweep-left")
#: A whole number of samples at all rates used here.
START_S = round(SWEEP.start_s - BEFORE_S, 2)
STOP_S = round(SWEEP.end_s + AFTER_S, 2)


@dataclass(frozen=True)
class Sound:
    """The stretch of a take around the left sweep, its clock being the track's own."""

    samples: np.ndarray
    rate_hz: int
    section: Section = SWEEP
    channels: tuple[str, ...] = ("left", "right")

    def track_time_s(self):
        return START_S + np.arange(len(self.samples)) / self.rate_hz


@cache
def stretch(rate_hz):
    """The track around its left sweep."""
    return render_track(layout("sweep", "short"), rate_hz, 24)[round(START_S * rate_hz) : round(STOP_S * rate_hz)]


def limit_of(samples, rate_hz):
    return response_band_limit(estimate_response(Sound(samples, rate_hz), "left"), rate_hz)


def brick_wall(samples, rate_hz, cutoff_hz, width_hz=300.0):
    """Linear-phase low-pass by a Kaiser window, 100 dB down `width_hz` above the cutoff; delay taken off."""
    n_taps, beta = signal.kaiserord(100.0, width_hz / (rate_hz / 2))
    n_taps |= 1
    taps = signal.firwin(n_taps, cutoff_hz + width_hz / 2, window=("kaiser", beta), fs=rate_hz)
    return signal.oaconvolve(samples, taps[:, None], mode="same", axes=0)


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000])
def test_a_clean_take_has_none(rate_hz):
    assert limit_of(stretch(rate_hz), rate_hz) is None


@pytest.mark.parametrize(("from_hz", "to_hz"), [(44100, 48000), (48000, 44100), (96000, 48000), (48000, 96000)])
def test_a_take_at_another_rate_than_the_track_has_none(from_hz, to_hz):
    """The resampler's own edge lies above 20 kHz (soxr's VHQ passes 91 % of half the lower rate: 20.1 kHz)."""
    assert limit_of(resample(stretch(from_hz), from_hz, to_hz), to_hz) is None


@pytest.mark.parametrize(("order", "corner_hz"), [(1, 8000.0), (1, 1000.0), (2, 5000.0), (4, 15000.0), (6, 12000.0)])
def test_smooth_low_passes_are_no_band_limit(order, corner_hz):
    """A Butterworth low-pass of order n falls by 2 n dB in a third of an octave, at most: below 20 dB up to n = 9."""
    rate_hz = 96000
    sections = signal.butter(order, corner_hz, fs=rate_hz, output="sos")
    assert limit_of(signal.sosfilt(sections, stretch(rate_hz), axis=0), rate_hz) is None


@pytest.mark.parametrize("cutoff_hz", [4000.0, 11000.0, 16000.0, 19000.0])
def test_an_abrupt_end_is_found(cutoff_hz):
    found = limit_of(brick_wall(stretch(48000), 48000, cutoff_hz), 48000)
    assert found == BandLimit(channel="left", limit_hz=pytest.approx(cutoff_hz + 150.0, rel=HALF_STEP), cause="edge")


def test_an_end_on_top_of_a_slope_is_found():
    """The sound is 20 dB down at 10 kHz already: that is the slope, the end comes after it."""
    dull = signal.sosfilt(signal.butter(1, 1000.0, fs=48000, output="sos"), stretch(48000), axis=0)
    found = limit_of(brick_wall(dull, 48000, 15500.0), 48000)
    assert found.limit_hz == pytest.approx(15650.0, rel=HALF_STEP)


def test_an_end_is_found_under_hiss_and_whistle():
    """Hiss 50 dB below full scale, and a steady 15.6 kHz line above the end at 15 kHz."""
    cut = brick_wall(stretch(48000), 48000, 15000.0)
    rng = np.random.default_rng(4)
    cut = cut + rng.normal(0, 10 ** (-53 / 20), cut.shape)
    cut += 10 ** (-50 / 20) * np.sin(2 * np.pi * 15625.0 * np.arange(len(cut)) / 48000)[:, None]
    assert limit_of(cut, 48000).limit_hz == pytest.approx(15150.0, rel=HALF_STEP)


def test_a_notch_is_no_end():
    sections = signal.butter(4, (14000.0, 16500.0), "bandstop", fs=48000, output="sos")
    assert limit_of(signal.sosfilt(sections, stretch(48000), axis=0), 48000) is None


def test_a_recorder_that_works_at_32_khz_inside_is_found():
    """What it hands on at 48 kHz still ends below 16 kHz, half of 32 kHz."""
    samples = resample(resample(stretch(48000), 48000, 32000), 32000, 48000)
    found = limit_of(samples, 48000)
    assert found.cause == "edge"
    assert 14500.0 < found.limit_hz < 16000.0


def test_the_files_own_low_rate_is_said_as_such():
    found = limit_of(resample(stretch(48000), 48000, 32000), 32000)
    assert found == BandLimit(channel="left", limit_hz=16000.0, cause="rate")


def limit(channel, limit_hz, cause="edge"):
    return BandLimit(channel=channel, limit_hz=limit_hz, cause=cause)


def test_no_limit_no_fault():
    assert band_limit_faults([None, None], "direct") == []


def test_channels_alike_make_one_sentence():
    (fault,) = band_limit_faults([limit("left", 16030.0), limit("right", 16200.0)], "direct")
    assert (fault.code, fault.channel) == ("band-limit", None)
    assert fault.sentence.startswith("Nothing above about 16.0 kHz arrives: lossy coding")
    assert {"high_corner", "imd_difference"} <= set(fault.spoils) <= set(QUANTITIES)


def test_a_channel_alone_is_named():
    (fault,) = band_limit_faults([None, limit("right", 15200.0)], "direct")
    assert fault.channel == "right"
    assert "in the right channel" in fault.sentence
    assert "whistle_level" in fault.spoils
    assert set(fault.spoils) <= set(QUANTITIES)


def test_a_limit_in_a_through_take_may_be_the_devices_own():
    (fault,) = band_limit_faults([limit("left", 15000.0), limit("right", 15000.0)], "through")
    assert fault.spoils == ["imd_difference"]
    assert "the device itself" in fault.sentence


def test_a_low_rate_is_named():
    (fault,) = band_limit_faults([limit("mono", 16000.0, "rate")], "single")
    assert "sampling rate of 32000 Hz" in fault.sentence


def noise(n_samples, rng, level_dbfs=-30.0):
    return rng.normal(0, 10 ** (level_dbfs / 20), (n_samples, 2))


def spectrum_limit(samples, rate_hz=48000):
    return spectrum_band_limit(welch_spectrum(samples, rate_hz, segment_s=0.2))


@pytest.mark.parametrize("cutoff_hz", [7000.0, 15000.0, 16000.0, 19000.0])
def test_the_end_of_any_sound_is_found(cutoff_hz):
    rng = np.random.default_rng(1)
    samples = brick_wall(noise(8 * 48000, rng), 48000, cutoff_hz) + noise(8 * 48000, rng, -96.0)
    assert spectrum_limit(samples).limit_hz == pytest.approx(cutoff_hz + 150.0, abs=300.0)


@pytest.mark.parametrize("exponent", [0.0, 1.0, 2.0, 4.0])
def test_sound_that_fades_towards_the_top_shows_no_end(exponent):
    """Noise whose density falls by 3 dB per octave and exponent, into a floor or not."""
    rng = np.random.default_rng(2)
    n = 8 * 48000
    shape = np.maximum(np.fft.rfftfreq(n, 1 / 48000), 50.0) ** (-exponent / 2)
    samples = np.fft.irfft(np.fft.rfft(noise(n, rng), axis=0) * (shape / shape[n // 48])[:, None], n, axis=0)
    assert spectrum_limit(samples / 10 + noise(n, rng, -96.0)) is None


def test_lines_are_neither_sound_nor_its_end():
    """Hum up to 5 kHz and a whistle, far above a floor that is flat: no end of anything."""
    rng = np.random.default_rng(3)
    time_s = np.arange(8 * 48000) / 48000
    hum = sum(0.01 / k * np.sin(2 * np.pi * 50 * k * time_s) for k in range(1, 100))
    whistle = 0.003 * np.sin(2 * np.pi * 15625.0 * time_s)
    assert spectrum_limit((hum + whistle)[:, None] + noise(len(time_s), rng, -90.0)) is None


@pytest.mark.parametrize("n_samples", [100, 48000])
def test_silence_and_crumbs_have_no_spectral_end(n_samples):
    assert spectrum_limit(np.zeros((n_samples, 2))) is None
