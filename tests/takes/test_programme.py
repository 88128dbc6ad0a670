"""Two takes of the same arbitrary material are lined up, or the program says that they cannot be."""

import numpy as np
import pytest

from humcheck.errors import MeasurementError
from humcheck.takes.programme import align_programme
from tests.programme_material import music, recorded

RATE_HZ = 44100


@pytest.fixture(scope="module")
def material():
    return music(12 * RATE_HZ, RATE_HZ, np.random.default_rng(3))


@pytest.mark.parametrize(("seed", "drift_ppm", "gain"), [(1, 120.0, 0.8), (2, -250.0, -0.5), (3, 0.0, 1.0)])
def test_offset_drift_and_inversion(material, seed, drift_ppm, gain):
    rng = np.random.default_rng(seed)
    leads = rng.uniform(0, 2 * RATE_HZ, 2)
    direct = recorded(material, lead_samples=leads[0], rng=rng)
    through = recorded(material, lead_samples=leads[1], rng=rng, gain=gain, slope=drift_ppm * 1e-6)
    found = align_programme(direct, through, RATE_HZ)
    # Truth by algebra: material sample k stands at lead_1 + k and at lead_2 + k (1 + slope).
    slope = drift_ppm * 1e-6
    assert found.drift_ppm == pytest.approx(drift_ppm, abs=0.002)
    assert found.offset_samples == pytest.approx(leads[1] - leads[0] * (1 + slope), abs=0.001)


def test_a_high_pass_does_not_pull_the_answer_to_lag_zero(material):
    from scipy.signal import lfilter

    rng = np.random.default_rng(5)
    direct = recorded(material, lead_samples=1000.0, rng=rng)
    through = recorded(material, lead_samples=30000.0, rng=rng)
    through = lfilter([1, -1], [1, -0.998], through + 0.5, axis=0)  # from rest: a step at the start of the take
    found = align_programme(direct + 0.5, through, RATE_HZ)
    assert found.offset_samples == pytest.approx(29000.0, abs=2.0)


def test_swapped_channels_are_seen(material):
    rng = np.random.default_rng(6)
    other = 0.3 * music(12 * RATE_HZ, RATE_HZ, np.random.default_rng(98))
    direct = np.hstack([recorded(x, lead_samples=500.0, rng=rng) for x in (material, other)])
    through = np.hstack([recorded(x, lead_samples=900.0, rng=rng) for x in (other, material)])
    found = align_programme(direct, through, RATE_HZ)
    assert found.swapped
    assert found.offset_samples == pytest.approx(400.0, abs=0.01)


def test_other_material_is_refused(material):
    rng = np.random.default_rng(7)
    other = music(12 * RATE_HZ, RATE_HZ, np.random.default_rng(99))
    with pytest.raises(MeasurementError, match="do not seem to hold the same sound"):
        align_programme(
            recorded(material, lead_samples=0.0, rng=rng), recorded(other, lead_samples=0.0, rng=rng), RATE_HZ
        )


def test_a_loop_is_called_ambiguous(material):
    loop = np.tile(material[: 2 * RATE_HZ], 6)[:, None]
    with pytest.raises(MeasurementError, match="repeats itself"):
        align_programme(loop, loop[RATE_HZ:], RATE_HZ)


@pytest.mark.parametrize("seed", range(3))
def test_a_steady_buzz_with_one_click_is_refused(seed):
    """Both takes hold the same 100.1 Hz buzz, one click and hiss of their own: too little to fix a shift by."""
    rng = np.random.default_rng(seed)
    rate_hz = 4000
    time_s = np.arange(20 * rate_hz) / rate_hz
    buzz = sum(np.sin(2 * np.pi * 100.1 * order * time_s) / order for order in range(1, 6))
    sound = 0.02 * buzz * (1 + 0.1 * np.sin(2 * np.pi * 0.13 * time_s)) + 0.3 * np.tanh((time_s - 11) * 400)
    takes = [(sound + rng.normal(0, 0.01, len(time_s)))[:, None] for _ in range(2)]
    with pytest.raises(MeasurementError, match="could not be lined up"):
        align_programme(*takes, rate_hz)


@pytest.mark.parametrize("n_samples", [1, 50, 5000])
def test_silence_and_crumbs_are_refused(n_samples):
    with pytest.raises(MeasurementError):
        align_programme(np.zeros((n_samples, 1)), np.zeros((n_samples, 1)), RATE_HZ)
