"""The null test: what is left of a take once the linear part of the path is taken away."""

import numpy as np
import pytest

from humcheck.errors import MeasurementError
from humcheck.estimates.programme import fit_programme
from humcheck.takes.programme import align_programme
from tests.programme_material import music, recorded

RATE_HZ = 48000
N_S = 16


def coupled(samples, corner_hz=15.0, gain=0.9):
    """First-order analogue high-pass and a gain, applied exactly on the spectrum."""
    n = len(samples) + RATE_HZ
    s = 2j * np.pi * np.fft.rfftfreq(n, 1 / RATE_HZ)
    response = gain * s / (s + 2 * np.pi * corner_hz)
    return np.fft.irfft(np.fft.rfft(samples[:, 0], n) * response, n)[: len(samples), None]


def white(shape, noise_dbfs, rng):
    return rng.normal(0, 10 ** (noise_dbfs / 20) / np.sqrt(2), shape)


@pytest.mark.parametrize("noise_dbfs", [-80.0, -90.0])
def test_the_null_is_as_deep_as_the_noise_of_the_two_takes_allows(noise_dbfs):
    rng = np.random.default_rng(int(-noise_dbfs))
    material = music(N_S * RATE_HZ, RATE_HZ, rng)
    direct = recorded(material, lead_samples=700.3, rng=rng, noise_dbfs=-200)
    through = coupled(recorded(material, lead_samples=9000.8, rng=rng, noise_dbfs=-200, slope=140e-6, gain=-1.0))
    scored = direct[len(direct) // 2 + 8192 : -8192, 0]
    weight = np.hanning(len(scored)) ** 2
    power = np.sum(weight * scored**2) / np.sum(weight)
    direct = direct + white(direct.shape, noise_dbfs, rng)
    through = through + white(through.shape, noise_dbfs, rng)
    fit = fit_programme(direct[:, 0], through[:, 0], RATE_HZ, align_programme(direct, through, RATE_HZ))
    # Derived: the direct take's noise passes the device (gain 0.9), the through take's does not; 20 of 24 kHz count.
    allowed = 10 * np.log10(10 ** (noise_dbfs / 10) / 2 * (1 + 0.9**2) * (19980 / 24000) / power)
    assert fit.residual_db == pytest.approx(allowed, abs=0.5)
    assert fit.polarity == -1
    assert fit.drift_ppm == pytest.approx(140.0, abs=1e-3)
    # The high-pass takes less than 0.03 dB above 100 Hz.
    assert fit.gain_db == pytest.approx(20 * np.log10(0.9), abs=0.03)


def test_distortion_is_left_over_and_not_fitted_away():
    rng = np.random.default_rng(11)
    material = music(N_S * RATE_HZ, RATE_HZ, rng)
    direct = recorded(material, lead_samples=100.0, rng=rng, noise_dbfs=-110)
    through = recorded(material + 0.05 * material**3, lead_samples=4000.0, rng=rng, noise_dbfs=-110)
    fit = fit_programme(direct[:, 0], through[:, 0], RATE_HZ, align_programme(direct, through, RATE_HZ))
    cube = 0.05 * material**3
    # What of the cube is in line with the material is gain (least squares); the rest cannot be nulled.
    share = np.dot(cube, material) / np.dot(material, material)
    rest = 10 * np.log10(np.mean((cube - share * material) ** 2) / np.mean(material**2))
    assert fit.residual_db == pytest.approx(rest, abs=1.5)


def test_too_little_common_material_is_refused():
    rng = np.random.default_rng(12)
    material = music(6 * RATE_HZ, RATE_HZ, rng)
    direct = recorded(material, lead_samples=0.0, rng=rng)
    alignment = align_programme(direct, direct, RATE_HZ)
    with pytest.raises(MeasurementError, match="common"):
        fit_programme(direct[:RATE_HZ, 0], direct[:, 0], RATE_HZ, alignment)
