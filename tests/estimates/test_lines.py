"""Families of lines in a quiet section: found, told apart, measured, or bounded."""

import numpy as np
import pytest

from humcheck.errors import MeasurementError
from humcheck.estimates.lines import fit_lines
from humcheck.estimates.lines.harmonics import read_harmonics
from humcheck.estimates.lines.phases import PhaseLaw
from humcheck.estimates.lines.spectrum import read_spectrum
from tests.line_sections import Comb, harmonics, quiet_section


def level_dbfs(mean_square):
    return 10 * np.log10(2 * mean_square)


def kinds(estimate):
    return sorted(family.kind for family in estimate.families)


@pytest.mark.parametrize("field_hz", [59.94006, 60.0988])
@pytest.mark.parametrize("seed", [1, 2])
def test_mains_and_picture_come_apart_in_level_and_frequency(field_hz, seed):
    rng = np.random.default_rng(seed)
    mains = Comb(60.0, harmonics(range(1, 11), rng), wander_hz=0.02)
    picture = Comb(field_hz, harmonics(range(1, 21), rng))
    samples, (mains_mean_hz, _) = quiet_section(10, [mains, picture], rng)
    estimate = fit_lines(samples, 4800.0)
    assert kinds(estimate) == ["field", "mains"]
    (hum,), (buzz,) = estimate.of_kind("mains"), estimate.of_kind("field")
    for family, comb in ((hum, mains), (buzz, picture)):
        sd_db = 4.343 * family.power_sd[0] / family.power[0]
        assert sd_db < 0.02
        assert level_dbfs(family.power[0]) == pytest.approx(comb.total_dbfs, abs=3.5 * sd_db)
    # Four standard deviations, which for these levels lie below 6 millionths of a hertz.
    assert buzz.fundamental_sd_hz < 6e-6
    assert buzz.fundamental_hz == pytest.approx(field_hz, abs=4 * buzz.fundamental_sd_hz)
    assert hum.fundamental_hz == pytest.approx(mains_mean_hz, abs=5e-4)


def test_a_picture_of_another_region_is_found_beside_the_mains():
    # 50 and 60 Hz share every 300 Hz; neither may be found in the other's lines.
    rng = np.random.default_rng(3)
    mains = Comb(50.0, harmonics(range(1, 13), rng), wander_hz=0.02)
    picture = Comb(59.94006, harmonics(range(1, 21), rng))
    both, _ = quiet_section(10, [mains, picture], rng)
    alone, _ = quiet_section(10, [picture], rng)
    assert kinds(fit_lines(both, 4800.0)) == ["field", "mains"]
    assert kinds(fit_lines(alone, 4800.0)) == ["field"]


@pytest.mark.parametrize("colour", ["white", "pink", "red"])
def test_noise_holds_no_family_and_gives_bounds(colour):
    slope = {"white": 0.0, "pink": 0.5, "red": 1.0}[colour]
    for seed in range(5):
        noise = np.random.default_rng(seed).normal(0, 1e-5, (48000, 2))
        spectrum = np.fft.rfft(noise, axis=0)
        spectrum /= np.maximum(np.arange(len(spectrum)), 20.0)[:, np.newaxis] ** slope
        shaped = np.fft.irfft(spectrum, axis=0)
        estimate = fit_lines(1e-5 * shaped / shaped.std(), 4800.0)
        assert kinds(estimate) == []
        assert set(estimate.bounds) >= {"mains", "field"}


def test_a_hidden_comb_lies_below_its_bound():
    rng = np.random.default_rng(5)
    hidden = Comb(50.01, dict.fromkeys(range(1, 6), -137.0))
    held = 0
    for _ in range(30):
        samples, _ = quiet_section(5, [hidden], rng, rate_hz=2400.0)
        estimate = fit_lines(samples, 2400.0, mains_hz=50.0)
        assert kinds(estimate) == []
        held += level_dbfs(estimate.bounds["mains"][0]) >= hidden.total_dbfs
    # One-sided 95 %: fewer than 26 of 30 would happen by chance in 2 % of runs.
    assert held >= 26


def test_every_harmonic_up_to_20_khz_that_stands_out_is_listed():
    rng = np.random.default_rng(6)
    mains = Comb(50.0, {1: -80.0, 3: -85.0, 5: -85.0, 7: -90.0, 101: -100.0, 397: -100.0}, wander_hz=0.005)
    samples, _ = quiet_section(10, [mains], rng, rate_hz=48000.0)
    (hum,) = fit_lines(samples, 48000.0).of_kind("mains")
    listed = {order for order, seen in zip(hum.harmonics, hum.detected[:, 0], strict=True) if seen}
    assert listed >= set(mains.levels_dbfs)
    # At one false line in 10000 for each of some 400 sought, more than two are a fault.
    assert len(listed - set(mains.levels_dbfs)) <= 2
    place = hum.harmonics.index(101)
    assert level_dbfs(hum.mean_square[place, 0]) == pytest.approx(-100.0, abs=0.3)


def test_whistle_frame_noise_and_stray_tones_are_named():
    rng = np.random.default_rng(7)
    tones = [Comb(15625.3, {1: -100.0}), Comb(1000.02, {1: -105.0, 2: -108.0, 8: -110.0}), Comb(3456.7, {1: -104.0})]
    samples, _ = quiet_section(10, tones, rng, rate_hz=48000.0)
    estimate = fit_lines(samples, 48000.0)
    assert kinds(estimate) == ["digital", "line_rate", "other"]
    (whistle,), (digital,), (other,) = (estimate.of_kind(kind) for kind in ("line_rate", "digital", "other"))
    assert whistle.fundamental_hz == pytest.approx(15625.3, abs=0.01)
    assert level_dbfs(whistle.power[0]) == pytest.approx(-100.0, abs=0.1)
    assert level_dbfs(digital.power[0]) == pytest.approx(tones[1].total_dbfs, abs=0.2)
    assert other.frequency_hz[0] == pytest.approx(3456.7, abs=0.01)


def test_a_strong_hum_leaves_no_stray_tones_beside_its_lines():
    rng = np.random.default_rng(8)
    mains = Comb(50.0, {order: -40.0 - order for order in range(1, 16)}, wander_hz=0.03)
    samples, _ = quiet_section(20, [mains], rng, rate_hz=48000.0)
    assert kinds(fit_lines(samples, 48000.0)) == ["mains"]


@pytest.mark.parametrize("seed", range(4))
def test_mains_on_the_very_rate_of_a_picture_are_apart_or_a_sum_never_two_wrong_numbers(seed):
    rng = np.random.default_rng(seed)
    mains = Comb(50.0, harmonics(range(1, 11), rng), wander_hz=0.02)
    picture = Comb(50.0, harmonics(range(1, 21), rng))
    samples, _ = quiet_section(20, [mains, picture], rng)
    estimate = fit_lines(samples, 4800.0, mains_hz=50.0)
    if kinds(estimate) == ["field", "mains"]:
        for kind, comb in (("mains", mains), ("field", picture)):
            (family,) = estimate.of_kind(kind)
            error = level_dbfs(family.power[0]) - comb.total_dbfs
            sd_db = 4.343 * family.power_sd[0] / family.power[0]
            assert abs(error) < max(0.1, 4 * sd_db)
    else:
        assert kinds(estimate) == ["mains_or_field"]
        # What really stands in the section: its whole power less that of the noise (-90 dBFS).
        there = np.mean(samples**2) - 10**-9.0 / 2
        assert level_dbfs(estimate.families[0].power[0]) == pytest.approx(level_dbfs(there), abs=0.2)


def test_intervals_of_level_and_frequency_cover():
    rng = np.random.default_rng(9)
    hits = np.zeros(2)
    trials = 80
    for _ in range(trials):
        mains = Comb(60.0, harmonics(range(1, 6), rng, -100, -85), wander_hz=0.02)
        samples, (mean_hz,) = quiet_section(6, [mains], rng, rate_hz=2400.0)
        (hum,) = fit_lines(samples, 2400.0, mains_hz=60.0).families
        truth = 10 ** (mains.total_dbfs / 10) / 2
        hits += (
            abs(hum.power[0] - truth) < 1.96 * hum.power_sd[0],
            abs(hum.fundamental_hz - mean_hz) < 1.96 * hum.fundamental_sd_hz,
        )
    # 95 % of 80: fewer than 70 would happen by chance in 0.5 % of runs.
    assert (hits >= 70).all(), hits


def test_a_second_of_silence_is_too_short():
    with pytest.raises(MeasurementError, match="long"):
        fit_lines(np.zeros((2400, 1)), 4800.0)


def test_digital_silence_is_measured_as_nothing():
    estimate = fit_lines(np.zeros((48000, 2)), 4800.0)
    assert estimate.families == ()


def test_a_picture_whose_low_harmonics_drown_is_found_by_its_line_rate():
    # A black screen leaves its mark beside the line rate: 312 lines, as whole-line rasters have.
    rng = np.random.default_rng(12)
    field_hz = 15625.0 / 312
    around = {312 + offset: -104.0 for offset in (-40, -31, -22, -13, -9, -5, -3, -2, -1, 1, 2, 3, 5, 9, 13, 22)}
    picture = Comb(field_hz, around | {312: -95.0})
    mains = Comb(50.0, {1: -90.0, 3: -100.0}, wander_hz=0.02)
    samples, _ = quiet_section(10, [picture, mains], rng, rate_hz=48000.0)
    estimate = fit_lines(samples, 48000.0, mains_hz=50.0)
    assert kinds(estimate) == ["field", "line_rate", "mains"]
    (buzz,) = estimate.of_kind("field")
    assert buzz.fundamental_hz == pytest.approx(field_hz, abs=2e-6)
    assert level_dbfs(buzz.power[0]) == pytest.approx(Comb(field_hz, around).total_dbfs, abs=0.3)


@pytest.mark.parametrize("duration_s", [0.8, 1.3, 3.1])
def test_short_sections_with_strong_upper_lines_are_read(duration_s):
    rng = np.random.default_rng(13)
    picture = Comb(59.94, {order: -60.0 - 20 * np.log10(order) for order in range(1, 330, 7)})
    samples, _ = quiet_section(duration_s, [picture], rng, rate_hz=48000.0, n_channels=2, noise_dbfs=-100.0)
    (buzz,) = fit_lines(samples, 48000.0).of_kind("field")
    assert buzz.fundamental_hz == pytest.approx(59.94, abs=2e-4)


def test_intervals_hold_the_truth_of_hum_that_swells_and_of_a_walking_clock():
    rng = np.random.default_rng(14)
    hits, trials = np.zeros(2), 40
    for _ in range(trials):
        mains = Comb(50.0, harmonics(range(1, 8), rng, -80, -65), wander_hz=0.02, swell=0.03)
        picture = Comb(50.08, harmonics(range(1, 40), rng, -95, -80), walk_ppm=0.15)
        samples, (_, field_hz) = quiet_section(10, [mains, picture], rng)
        estimate = fit_lines(samples, 4800.0, mains_hz=50.0)
        (hum,), (buzz,) = estimate.of_kind("mains"), estimate.of_kind("field")
        # Three whole periods of the swell: its mean square is 1 + depth^2 / 2.
        truth = 10 ** (mains.total_dbfs / 10) / 2 * (1 + mains.swell**2 / 2)
        hits += (
            abs(hum.power[0] - truth) < 1.96 * hum.power_sd[0],
            abs(buzz.fundamental_hz - field_hz) < 1.96 * buzz.fundamental_sd_hz,
        )
    # 95 % of 40: fewer than 34 would happen by chance in 1 % of runs.
    assert (hits >= 34).all(), hits


def test_two_combs_of_one_rate_share_no_line_out_between_them():
    """Least squares would give each of two equal columns an amplitude without limit: the first comb gets the line."""
    rng = np.random.default_rng(21)
    picture = Comb(60.05, dict.fromkeys(range(1, 300, 9), -70.0))
    samples, _ = quiet_section(10.0, [picture], rng, rate_hz=48000.0, n_channels=1, noise_dbfs=-100.0)
    spectrum = read_spectrum(samples, 48000.0)
    laws = [
        PhaseLaw(base_hz=rate_hz, mean_hz=rate_hz, sd_hz=1e-5, scatter=0.0, reach_hz=0.0,
                 duration_s=spectrum.duration_s, spline=None, coefficients=np.zeros(0))
        for rate_hz in (60.05, 60.05 + 1e-7)
    ]  # fmt: skip
    orders = np.arange(100, 300)
    there = orders % 9 == 1
    first, second = (read_harmonics(spectrum, laws, place, orders) for place in (0, 1))
    # -70 dBFS: mean square 10^-7 / 2.
    assert first.mean_square[there] == pytest.approx(5e-8, rel=0.02)
    assert np.abs(first.mean_square[~there]).max() < 1e-12
    assert not second.mean_square.any()
