"""All tones of a simulated take against its true values: wandering clocks, hum, filters, its own dither."""

import pickle

import numpy as np
import pytest

from humcheck.estimates.tones import measure_tones
from humcheck.simulation import ChannelPath, Hiss, Hum, LinearPath, Polynomial, ground_loop
from tests.tone_takes import simulate_tones

DISTORTION = Polynomial(coefficients=(-1e-3, 2e-3))


@pytest.fixture(scope="module")
def take_and_truth():
    path = LinearPath(
        left=ChannelPath(gain_db=-5.8, polarity=-1, low_corners_hz=(12.0,)), right=ChannelPath(gain_db=-6.2)
    )
    return simulate_tones(
        seed=5, hiss=(Hiss.both(-90.0),), hum=(Hum(amplitudes=ground_loop(-55.0)),), linear=path, distortion=DISTORTION
    )


@pytest.fixture(scope="module")
def tones(take_and_truth):
    return measure_tones(take_and_truth[0])


def bent_gain_db(truth, source_dbfs):
    """Gain of the fundamental: the linear path's, then the bent curve's."""
    amplitude = 10.0 ** ((source_dbfs + truth.gain_db) / 20.0)
    fundamental = np.array([DISTORTION.harmonics(float(a))[0] for a in amplitude])
    return truth.gain_db + 20.0 * np.log10(np.abs(fundamental) / amplitude)


def test_nothing_is_missing_and_the_result_is_small(tones):
    assert tones.reasons == {}
    assert len(pickle.dumps(tones)) < 20000


def test_levels_and_gains(tones, take_and_truth):
    _, truth = take_and_truth
    # Noise of -90 dBFS moves a level of -7 dBFS by 2e-6 dB; hum leaks in by less than -100 dB.
    np.testing.assert_allclose(tones.level.level_dbfs[0], -1.001 + bent_gain_db(truth, -1.001), atol=3e-5)
    for index, channel in enumerate(tones.channels):
        gain_db = tones.alone[channel].level_dbfs[0, 0] - tones.alone_nominal_dbfs
        assert gain_db == pytest.approx(bent_gain_db(truth, -6.0)[index], abs=3e-5)


def test_frequency_in_the_takes_own_clock(tones, take_and_truth):
    take, truth = take_and_truth
    section = take.layout.section("level")
    ends = truth.take_index(np.array([section.start_s, section.end_s]))
    expected_hz = 997.0 * (section.end_s - section.start_s) / (ends[1] - ends[0]) * truth.rate_hz
    assert tones.level.received_hz[0] == pytest.approx(expected_hz, abs=3e-5)


def test_distortion(tones, take_and_truth):
    _, truth = take_and_truth
    expected = truth.thd_percent(-1.001)
    for index in range(2):
        total = tones.full_scale.harmonics.total(index)
        assert 100.0 * np.sqrt(total.power) == pytest.approx(expected[index], rel=0.01)
        assert total.low < (0.01 * expected[index]) ** 2 < total.high


def test_phase_shows_the_polarity(tones):
    # The track's tone is a sine from its section's start: phase -90 degrees; a 12 Hz high-pass turns it by 0.7.
    degrees = [np.degrees(np.angle(tones.alone[channel].amplitude[0, 0])) for channel in ("left", "right")]
    assert degrees == pytest.approx([90.0 + np.degrees(np.arctan(12.0 / 997.0)), -90.0], abs=0.1)


def test_steps_are_level_with_each_other(tones, take_and_truth):
    _, truth = take_and_truth
    steps = tones.steps
    expected = np.array([bent_gain_db(truth, nominal) for nominal in steps.nominal_dbfs])
    # Hum beats with the softest steps: it may move them by about its unrest.
    np.testing.assert_array_less(np.abs(steps.gain_db - expected), 3.0 * steps.sd_db + 0.5 * steps.unrest_db + 2e-5)
    assert steps.heard.all()
    assert np.abs(steps.change_db[4:]).max() < 1e-3


def test_sections_that_are_missing_are_told(take_and_truth):
    take, _ = take_and_truth
    tones = measure_tones(take.without("full-scale", "imd-smpte", "tone-right", "zero"))
    assert tones.full_scale is None
    assert tones.smpte is None
    assert set(tones.reasons) == {"full-scale", "imd-smpte", "tone-right", "zero"}
    assert list(tones.alone) == ["left"]
    assert tones.difference is not None


def test_a_mono_take(take_and_truth):
    take, truth = take_and_truth
    tones = measure_tones(take.with_samples(take.samples[:, 1:]))
    assert tones.channels == ("mono",)
    gain_db = tones.alone["mono"].level_dbfs[0, 0] - tones.alone_nominal_dbfs
    assert gain_db == pytest.approx(bent_gain_db(truth, -6.0)[1], abs=3e-5)
    assert list(tones.full_scale_dbfs) == ["mono"]


@pytest.mark.parametrize("rate_hz", [8000, 96000])
def test_other_rates(rate_hz):
    not_needed = ("zero", "quiet", "tone-left", "minus-60")
    take, truth = simulate_tones(*not_needed, seed=6, rate_hz=rate_hz, source_rate_hz=48000, hiss=(Hiss.both(-90.0),))
    tones = measure_tones(take)
    np.testing.assert_allclose(tones.level.level_dbfs[0], -1.001 + truth.gain_db, atol=1e-4)
    assert tones.full_scale.residual.band_hz[1] == min(20000.0, rate_hz / 2.0)
    assert (tones.difference is None) == (rate_hz < 40000)


def test_silence_has_no_tones(take_and_truth):
    take, _ = take_and_truth
    rng = np.random.default_rng(1)
    tones = measure_tones(take.with_samples(1e-4 * rng.standard_normal(take.samples.shape)))
    assert tones.level is None
    assert tones.alone == {}
    assert "not heard" in tones.reasons["level"]
    assert tones.full_scale_dbfs == {}
