"""Hum, buzz and hiss taken apart: the parts are those that went in, and add up to the whole."""

import numpy as np
import pytest

from humcheck.audio.levels import rms_to_dbfs
from humcheck.estimates.lines import fit_lines
from humcheck.evidence.separation import QuietStretch
from tests.evidence.quiet_takes import BUZZ, HISS_DBFS, HUM, RATE_HZ, quiet_samples, rms
from tests.line_sections import Comb

START_S = 1.2
LENGTH = int(5.5 * RATE_HZ)


def taken_apart(samples, rate_hz=RATE_HZ, mains_hz=50.0):
    lines = fit_lines(samples, float(rate_hz), mains_hz=mains_hz)
    start = int(START_S * rate_hz)
    stretch = QuietStretch(samples[start : start + int(5.5 * rate_hz)], rate_hz)
    return stretch, stretch.whole(), stretch.parts(lines, start / rate_hz)


@pytest.fixture(scope="module")
def apart():
    return taken_apart(quiet_samples(3))


def test_the_parts_add_up_to_the_whole(apart):
    _, whole, parts = apart
    # They are differences of one spectrum: only rounding is left, 200 dB down.
    assert rms_to_dbfs(rms(whole - sum(parts.values()))).max() < -250
    assert set(parts) == {"hum", "buzz", "hiss"}


def test_hum_and_buzz_have_the_levels_that_went_in(apart):
    _, _, parts = apart
    # Derived: powers of independent lines add. The line beside noise: sd of the level 8.7 / sqrt(2 n SNR) < 0.01 dB.
    for kind, comb in (("hum", HUM), ("buzz", BUZZ)):
        left, right = rms_to_dbfs(rms(parts[kind]))
        assert left == pytest.approx(comb.total_dbfs, abs=0.05)
        assert right == pytest.approx(comb.total_dbfs + 20 * np.log10(comb.right), abs=0.05)


def test_what_is_left_is_the_hiss_and_no_more(apart):
    stretch, _, parts = apart
    # Derived: white noise of HISS_DBFS up to 24 kHz, of which the excerpt keeps 18 Hz to 16 kHz.
    expected = HISS_DBFS + 10 * np.log10(16_000 / 24_000)
    # 5 s of 16 kHz: sd 4.34 / sqrt(80 000) = 0.015 dB; hum and buzz took a few of the 80 000 bins.
    assert rms_to_dbfs(rms(parts["hiss"])) == pytest.approx(expected, abs=0.07)
    # The medians tell it without any lines known, to some 0.1 dB.
    assert rms_to_dbfs(stretch.hiss_rms) == pytest.approx(expected, abs=0.2)


def test_no_line_is_left_in_the_hiss(apart):
    stretch, _, parts = apart
    hiss = parts["hiss"] * np.hanning(len(parts["hiss"]))[:, None]
    power = np.abs(np.fft.rfft(hiss, axis=0)) ** 2
    bin_hz = stretch.rate_hz / len(hiss)
    for comb in (HUM, BUZZ):
        for order in comb.levels_dbfs:
            centre = round(order * comb.fundamental_hz / bin_hz)
            near, around = power[centre - 2 : centre + 3], power[centre - 60 : centre + 60]
            # Five bins of noise reach 10 dB over the median once in a few hundred; the lines stood 20 to 50 dB over it.
            assert 10 * np.log10(near.max() / np.median(around)) < 12


def lines_alone(seed, combs, shape=1.0):
    """The lines of `quiet_samples` of the same seed without its noise, as the excerpt would hold them."""
    samples = quiet_samples(seed, combs=combs, noise_dbfs=-300.0) * shape
    return QuietStretch(samples[int(START_S * RATE_HZ) :][:LENGTH], RATE_HZ).whole()


def test_hum_and_buzz_are_the_sounds_that_went_in(apart):
    _, _, parts = apart
    hum = lines_alone(3, (HUM,))
    # The generator draws the hum first, so the buzz is what it adds.
    for kind, truth in (("hum", hum), ("buzz", lines_alone(3, (HUM, BUZZ)) - hum)):
        # Derived: noise in five lines of 2 Hz at most, of 24 kHz: 33 dB below the hiss.
        assert rms_to_dbfs(rms(parts[kind] - truth)).max() < HISS_DBFS - 28


@pytest.mark.parametrize(("depth", "swell_hz"), [(0.3, 0.2), (0.3, 0.1), (0.1, 0.2), (0.5, 0.05)])
def test_hum_that_swells_is_followed(depth, swell_hz):
    """Not what the estimator models: amplitudes are constant there."""
    time_s = np.arange(int(8.0 * RATE_HZ)) / RATE_HZ
    swell = (1 + depth * np.sin(2 * np.pi * swell_hz * time_s))[:, None]
    samples = quiet_samples(4, combs=(HUM,), noise_dbfs=-300.0) * swell + quiet_samples(5, combs=())
    _, _, parts = taken_apart(samples)
    # Derived: straight lines between points 0.5 s apart miss a sine by its second difference, (0.5 w)^2 / 12 RMS:
    # 3 % of the deepest swell's 0.3, that is 40 dB and more below the hum; the rest is noise, as above.
    assert rms_to_dbfs(rms(parts["hum"] - lines_alone(4, (HUM,), swell))).max() < HUM.total_dbfs - 40


def test_a_whistle_and_steady_tones_are_parts_of_their_own():
    samples = quiet_samples(6, combs=(HUM,))
    time_s = np.arange(len(samples)) / RATE_HZ
    for frequency_hz, level_dbfs in ((15_734.26, -80.0), (1734.0, -84.0), (3218.0, -86.0)):
        samples += (10 ** (level_dbfs / 20) * np.cos(2 * np.pi * frequency_hz * time_s))[:, None]
    _, whole, parts = taken_apart(samples)
    assert rms_to_dbfs(rms(parts["whistle"])) == pytest.approx(-80.0, abs=0.1)
    together = 10 * np.log10(10**-8.4 + 10**-8.6)
    assert rms_to_dbfs(rms(parts["tones"])) == pytest.approx(together, abs=0.15)
    assert rms_to_dbfs(rms(whole - sum(parts.values()))).max() < -250


@pytest.mark.parametrize("rate_hz", [44_100, 96_000, 16_000])
def test_any_rate(rate_hz):
    samples = quiet_samples(7, rate_hz=rate_hz, duration_s=7.0, combs=(HUM,))
    stretch, whole, parts = taken_apart(samples, rate_hz)
    assert stretch.rate_hz == min(rate_hz, 32_000)
    assert len(whole) / stretch.rate_hz == pytest.approx(4.5, abs=0.1)
    assert rms_to_dbfs(rms(parts["hum"]))[0] == pytest.approx(HUM.total_dbfs, abs=0.05)


def test_one_channel_and_no_lines():
    _, whole, parts = taken_apart(quiet_samples(8, combs=(), n_channels=1))
    assert whole.shape[1] == 1
    assert set(parts) == {"hiss"}
    np.testing.assert_allclose(parts["hiss"], whole, atol=1e-12)


def test_offset_and_drift_are_no_sound():
    samples = quiet_samples(9, combs=())
    time_s = np.arange(len(samples)) / RATE_HZ
    moved = samples + (0.01 + 0.005 * np.sin(2 * np.pi * 0.7 * time_s))[:, None]
    _, whole, _ = taken_apart(samples)
    _, whole_moved, _ = taken_apart(moved)
    assert np.abs(whole_moved - whole).max() < 1e-6


def test_mains_and_picture_at_one_rate_come_apart_or_stay_together():
    same = Comb(50.0, {1: -80.0, 3: -84.0}), Comb(50.004, {1: -82.0, 2: -85.0, 5: -88.0})
    _, whole, parts = taken_apart(quiet_samples(10, combs=same))
    lines = sum(part for kind, part in parts.items() if kind != "hiss")
    assert rms_to_dbfs(rms(lines - lines_alone(10, same))).max() < HISS_DBFS - 20
    assert rms_to_dbfs(rms(whole - sum(parts.values()))).max() < -250
