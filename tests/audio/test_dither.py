import numpy as np
import pytest

from humcheck.audio.dither import quantise, step_size, tpdf_dither
from humcheck.audio.levels import power_to_dbfs
from humcheck.audio.spectra import welch_spectrum
from humcheck.audio.weighting import a_weighting_db, ccir_rms_weighting_db

N_SAMPLES = 20 * 48_000


def dithered_silence(bits, dither, rate_hz=48_000):
    rng = np.random.default_rng(bits)
    silence = quantise(dither((20 * rate_hz, 1), bits, rng), bits)
    return silence, welch_spectrum(silence, rate_hz, segment_s=0.5, window_name="hann")


# Totals: 10 lg of twice q**2/4, q = 2 / 2**bits; by Lipshitz, Wannamaker and Vanderkooy,
# JAES 40(5), 1992 (from memory), the numbers computed. Tolerance: four standard deviations of 20 s of noise, 0.03 dB
# (the estimate of a mean square of n independent values has a relative deviation of about sqrt(1.5 / n) here).
@pytest.mark.parametrize(
    ("bits", "dither", "expected"),
    [
        pytest.param(16, tpdf_dither, -93.3193, id="16-bit TPDF"),
        pytest.param(24, tpdf_dither, -141.4841, id="24-bit TPDF"),
    ],
)
def test_total_of_dithered_silence(bits, dither, expected):
    samples, spectrum = dithered_silence(bits, dither)
    assert power_to_dbfs(float(np.mean(samples**2))) == pytest.approx(expected, abs=0.03)
    assert power_to_dbfs(spectrum.band_power(0, 24_000)[0]) == pytest.approx(expected, abs=0.03)


# White noise through AES17's 20 Hz-20 kHz band and the weightings, computed by numerical integration of the curves.
@pytest.mark.parametrize(
    ("bits", "rate_hz", "flat", "a", "ccir"),
    [
        pytest.param(16, 48_000, -94.115, -96.164, -92.443, id="16-bit, 48 kHz"),
        pytest.param(24, 48_000, -142.280, -144.328, -140.608, id="24-bit, 48 kHz"),
        pytest.param(16, 44_100, -93.747, -95.796, -92.075, id="16-bit, 44.1 kHz"),
    ],
)
def test_weighted_floors_of_tpdf_dither(bits, rate_hz, flat, a, ccir):
    _, spectrum = dithered_silence(bits, tpdf_dither, rate_hz)
    for weighting, expected in ((None, flat), (a_weighting_db, a), (ccir_rms_weighting_db, ccir)):
        assert power_to_dbfs(spectrum.band_power(20, 20_000, weighting)[0]) == pytest.approx(expected, abs=0.03)


@pytest.mark.parametrize(("bits", "expected"), [(8, -49.9257), (12, -74.0081), (16, -98.0905), (24, -146.2553)])
def test_rounding_alone(bits, expected):
    # -(6.0206 bits + 1.7609) dBFS, elementary: error uniform over one step. Samples spread over many steps.
    samples = np.random.default_rng(1).uniform(-0.9, 0.9, N_SAMPLES)
    assert power_to_dbfs(float(np.mean((quantise(samples, bits) - samples) ** 2))) == pytest.approx(expected, abs=0.02)


def test_error_of_dithered_rounding_does_not_depend_on_the_signal():
    # Non-subtractive TPDF: mean 0 and mean square q**2/4 wherever between two steps the signal lies.
    q = step_size(16)
    rng = np.random.default_rng(2)
    for place in (0.0, 0.25, 0.5):
        error = quantise(place * q + tpdf_dither(400_000, 16, rng), 16) - place * q
        assert np.mean(error) == pytest.approx(0.0, abs=4 * 0.5 * q / np.sqrt(400_000))
        assert np.mean(error**2) == pytest.approx(q**2 / 4, rel=0.01)


def test_samples_that_do_not_fit_are_clipped_to_the_word():
    assert quantise(np.array([2.0, -2.0, 0.0]), 16) == pytest.approx([1 - 2.0**-15, -1.0, 0.0], abs=0)


@pytest.mark.parametrize("bits", [1, 33])
def test_word_lengths_that_make_no_sense(bits):
    with pytest.raises(ValueError, match="bits"):
        step_size(bits)
