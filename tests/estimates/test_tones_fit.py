"""Steady tones against the bounds of Rife and Boorstyn, and in sound that the fit has no model of."""

import numpy as np
import pytest

from humcheck.audio.levels import dbfs_to_amplitude, dbfs_to_rms
from humcheck.errors import MeasurementError
from humcheck.estimates.tones import fit_tones
from humcheck.estimates.tones.blocks import block_grid

RATE_HZ = 48000
TONE_HZ = 997.0
TWO_PI = 2.0 * np.pi


def bound_hz(n_samples, snr_db, rate_hz=RATE_HZ):
    """Standard deviation of frequency: Rife and Boorstyn, IEEE Trans. IT-20 (1974)."""
    snr = 10.0 ** (snr_db / 10.0)
    return np.sqrt(12.0 * rate_hz**2 / (TWO_PI**2 * snr * n_samples * (n_samples**2 - 1.0)))


def bound_db(n_samples, snr_db):
    """Standard deviation of a level: var(A) = 2 s^2 / N (Kay, Estimation Theory, 1993, example 3.14)."""
    return 20.0 / np.log(10.0) / np.sqrt(10.0 ** (snr_db / 10.0) * n_samples)


def time_s(n_samples, rate_hz=RATE_HZ):
    return np.arange(n_samples) / rate_hz


def disturbance(time, rng):
    """Hum, harmonics of the tone and a constant: nothing of it is in the fit's model."""
    sound = np.full_like(time, 0.02)
    for frequency_hz, level_dbfs in ((50.01, -40), (150.03, -50), (950.19, -75), (1050.21, -75), (1994.0, -46)):
        phase = rng.uniform(0.0, TWO_PI)
        sound += dbfs_to_amplitude(float(level_dbfs)) * np.cos(TWO_PI * frequency_hz * time + phase)
    return sound


@pytest.mark.parametrize(
    ("n_samples", "snr_db", "sd_hz", "sd_db"),
    [
        pytest.param(48000, 0, 2.516461e-3, 0.0396455, id="Rife and Boorstyn 1974, 1 s, 0 dB"),
        pytest.param(48000, 20, 2.516461e-4, 3.96455e-3, id="Rife and Boorstyn 1974, 1 s, 20 dB"),
        pytest.param(48000, 40, 2.516461e-5, 3.96455e-4, id="Rife and Boorstyn 1974, 1 s, 40 dB"),
        pytest.param(480000, 20, 7.957747e-6, 1.25370e-3, id="Rife and Boorstyn 1974, 10 s, 20 dB"),
    ],
)
def test_the_stated_uncertainty_is_the_published_bound(n_samples, snr_db, sd_hz, sd_db):
    assert bound_hz(n_samples, snr_db) == pytest.approx(sd_hz, rel=1e-6)
    assert bound_db(n_samples, snr_db) == pytest.approx(sd_db, rel=1e-5)
    rng = np.random.default_rng(3)
    noise_rms = np.sqrt(0.5) * 10.0 ** (-snr_db / 20.0)
    tone = np.cos(TWO_PI * TONE_HZ * time_s(n_samples))
    fit = fit_tones(tone[:, None] + noise_rms * rng.standard_normal((n_samples, 8)), RATE_HZ, TONE_HZ, order=1)
    # Short soft edges cost at most 4 % (level) and 11 % (frequency) of a second; the noise is known to a few percent.
    assert np.sqrt(np.mean(fit.level_sd_db**2)) == pytest.approx(sd_db, rel=0.12)
    assert fit.received_sd_hz[0] * np.sqrt(8.0) == pytest.approx(sd_hz, rel=0.18)


@pytest.mark.parametrize("snr_db", [0, 20, 40, 60, 80, 100])
def test_levels_reach_the_bound_through_hum_and_harmonics(snr_db):
    rng = np.random.default_rng(snr_db + 1)
    rate_hz, n_samples, n_draws, level_dbfs = 16000, 16000, 60, -6.0
    time = time_s(n_samples, rate_hz)
    tone = dbfs_to_amplitude(level_dbfs) * np.cos(TWO_PI * TONE_HZ * time + 1.0) + disturbance(time, rng)
    noise = dbfs_to_rms(level_dbfs - snr_db) * rng.standard_normal((n_samples, n_draws))
    fit = fit_tones(tone[:, None] + noise, rate_hz, TONE_HZ)
    errors_db = fit.level_dbfs[0] - level_dbfs
    # Of 60 draws a standard deviation is known to 9 %; the edges cost 4 %.
    assert np.sqrt(np.mean(errors_db**2)) < 1.3 * bound_db(n_samples, snr_db)


@pytest.mark.parametrize("snr_db", [0, 30, 60, 90])
def test_frequencies_reach_the_bound_through_hum_and_harmonics(snr_db):
    rng = np.random.default_rng(snr_db + 2)
    rate_hz, n_samples, level_dbfs = 16000, 16000, -6.0
    time = time_s(n_samples, rate_hz)
    errors_hz = []
    for _ in range(60):
        true_hz = TONE_HZ + rng.uniform(-0.5, 0.5)
        tone = dbfs_to_amplitude(level_dbfs) * np.cos(TWO_PI * true_hz * time + rng.uniform(0.0, TWO_PI))
        noise = dbfs_to_rms(level_dbfs - snr_db) * rng.standard_normal(n_samples)
        fit = fit_tones((tone + disturbance(time, rng) + noise)[:, None], rate_hz, TONE_HZ)
        errors_hz.append(fit.received_hz[0] - true_hz)
    # The edges cost 11 % of a second, 60 draws tell to 9 %.
    assert np.sqrt(np.mean(np.square(errors_hz))) < 1.4 * bound_hz(n_samples, snr_db, rate_hz)


def test_level_intervals_cover_at_their_rate():
    rng = np.random.default_rng(7)
    rate_hz, n_draws, n_samples, level_dbfs = 16000, 600, 16000, -80.0
    hits = []
    for _ in range(4):
        tone = dbfs_to_amplitude(level_dbfs) * np.cos(TWO_PI * TONE_HZ * time_s(n_samples, rate_hz))
        noise = dbfs_to_rms(-90.0) * rng.standard_normal((n_samples, n_draws // 4))
        fit = fit_tones(tone[:, None] + noise, rate_hz, TONE_HZ)
        hits.append(np.abs(fit.level_dbfs[0] - level_dbfs) < 1.96 * fit.level_sd_db[0])
    # 95 %, binomial scatter of 600 draws 0.9 %.
    assert 0.93 <= np.mean(hits) <= 0.97


def test_frequency_intervals_cover_at_their_rate():
    rng = np.random.default_rng(8)
    rate_hz, n_samples = 8000, 8000
    hits = []
    for _ in range(500):
        true_hz = TONE_HZ + rng.uniform(-0.3, 0.3)
        tone = np.cos(TWO_PI * true_hz * time_s(n_samples, rate_hz) + rng.uniform(0.0, TWO_PI))
        fit = fit_tones((tone + 0.05 * rng.standard_normal(n_samples))[:, None], rate_hz, TONE_HZ)
        hits.append(abs(fit.received_hz[0] - true_hz) < 1.96 * fit.received_sd_hz[0])
    assert 0.93 <= np.mean(hits) <= 0.97


def test_two_tones_share_a_clock_and_keep_their_phases():
    time = time_s(96000)
    true = np.array([0.4 * np.exp(0.7j), 0.1 * np.exp(-2.1j)])
    speed = 1.0 + 80e-6
    sound = sum(
        np.real(amplitude * np.exp(1j * TWO_PI * frequency_hz * speed * time))
        for amplitude, frequency_hz in zip(true, (60.0, 7000.0), strict=True)
    )
    fit = fit_tones(sound[:, None], RATE_HZ, (60.0, 7000.0), track_time=lambda index: index / RATE_HZ * speed)
    np.testing.assert_allclose(fit.amplitude[:, 0], true, atol=1e-7)
    np.testing.assert_allclose(fit.received_hz, [60.0 * speed, 7000.0 * speed], rtol=1e-9)


@pytest.mark.parametrize(
    ("name", "wander_ppm", "allowed_db"),
    [
        # Derived: a phase that is off by e (RMS, radians) costs e**2 / 2 of the amplitude.
        pytest.param("a speed that rises by 100 ppm", lambda t: 100.0 * t / t[-1], 1e-5, id="rising"),
        pytest.param(
            "a speed that swings by 100 ppm in 4 s", lambda t: 100.0 * np.cos(TWO_PI * t / 4.0), 1e-4, id="slow"
        ),
        pytest.param("a speed that swings by 10 ppm in 1 s", lambda t: 10.0 * np.cos(TWO_PI * t), 1e-3, id="quick"),
    ],
)
def test_a_wandering_clock_costs_no_level(name, wander_ppm, allowed_db):
    time = time_s(182000)
    track = time + np.cumsum(wander_ppm(time)) * 1e-6 / RATE_HZ
    noise = 1e-5 * np.random.default_rng(1).standard_normal(len(time))
    fit = fit_tones((0.5 * np.cos(TWO_PI * TONE_HZ * track) + noise)[:, None], RATE_HZ, TONE_HZ)
    assert fit.level_dbfs[0, 0] == pytest.approx(20.0 * np.log10(0.5), abs=allowed_db), name


@pytest.mark.parametrize(
    "spoil",
    [
        pytest.param(lambda sound: np.where(np.arange(len(sound)) < 20000, 0.0, sound), id="start missing"),
        pytest.param(
            lambda sound: np.where(np.arange(len(sound)) < 20000, np.clip(sound, -0.3, 0.3), sound), id="start clipped"
        ),
        pytest.param(lambda sound: np.where(np.arange(len(sound)) > 160000, 0.9 * sound, sound), id="end softer"),
    ],
)
def test_a_spoilt_end_is_left_out(spoil):
    time = time_s(182000)
    noise = 1e-5 * np.random.default_rng(1).standard_normal(len(time))
    fit = fit_tones((spoil(0.5 * np.cos(TWO_PI * TONE_HZ * time)) + noise)[:, None], RATE_HZ, TONE_HZ)
    assert fit.level_dbfs[0, 0] == pytest.approx(20.0 * np.log10(0.5), abs=1e-5)
    assert 3.0 < fit.used_s < fit.offered_s - 0.35


@pytest.mark.parametrize("frequency_hz", [60.0, (60.0, 7000.0), (19000.0, 20000.0)])
def test_clean_tones_of_any_frequency_are_used_whole(frequency_hz):
    time = time_s(84000)
    sound = sum(0.4 * np.cos(TWO_PI * hz * 1.00005 * time + hz) for hz in np.atleast_1d(frequency_hz))
    noise = 3e-5 * np.random.default_rng(3).standard_normal(len(time))
    fit = fit_tones((sound + noise)[:, None], RATE_HZ, frequency_hz)
    assert fit.used_s == fit.offered_s


def test_a_clean_tone_is_used_whole_and_silence_is_not_heard():
    time = time_s(96000)
    noise = 1e-4 * np.random.default_rng(2).standard_normal((len(time), 2))
    fit = fit_tones(np.stack([0.01 * np.cos(TWO_PI * TONE_HZ * time), 0.0 * time], axis=1) + noise, RATE_HZ, TONE_HZ)
    assert fit.used_s == fit.offered_s
    assert fit.heard[0].tolist() == [True, False]


@pytest.mark.parametrize(
    ("wave", "expected_dbfs"),
    [
        pytest.param(lambda x: np.sin(x), 0.0, id="AES17: a full-scale sine reads 0 dBFS"),
        pytest.param(lambda x: np.sign(np.sin(x)), 2.0982, id="Fourier series: fundamental of a square wave, 4/pi"),
    ],
)
def test_levels_follow_aes17(wave, expected_dbfs):
    sound = wave(TWO_PI * TONE_HZ * time_s(96000) + 0.1)
    fit = fit_tones(sound[:, None], RATE_HZ, TONE_HZ)
    # The square wave's harmonics fold back to anywhere, some of them near the tone.
    assert fit.level_dbfs[0, 0] == pytest.approx(expected_dbfs, abs=1e-3)


def test_digital_silence_has_the_floor_level_and_is_not_heard():
    fit = fit_tones(np.zeros((48000, 1)), RATE_HZ, TONE_HZ)
    assert not fit.heard.any()
    assert np.isfinite(fit.level_dbfs).all()
    assert np.isfinite(fit.received_sd_hz).all()


def test_too_little_sound_is_refused_and_the_least_is_measured():
    tone = 0.5 * np.cos(TWO_PI * TONE_HZ * time_s(9600))[:, None]
    assert fit_tones(tone, RATE_HZ, TONE_HZ).level_dbfs[0, 0] == pytest.approx(20.0 * np.log10(0.5), abs=1e-3)
    for n_samples in (0, 1, 100, 9599):
        with pytest.raises(MeasurementError, match="too short"):
            fit_tones(tone[:n_samples], RATE_HZ, TONE_HZ)


@pytest.mark.parametrize("rate_hz", [4000, 8000, 22050, 44100, 96000, 192000, 768000])
def test_any_rate(rate_hz):
    time = time_s(rate_hz // 2, rate_hz)
    noise = 1e-4 * np.random.default_rng(rate_hz).standard_normal(len(time))
    fit = fit_tones((0.5 * np.cos(TWO_PI * TONE_HZ * time) + noise)[:, None], rate_hz, TONE_HZ)
    assert abs(fit.level_dbfs[0, 0] - 20.0 * np.log10(0.5)) < 4.0 * fit.level_sd_db[0, 0]
    assert abs(fit.received_hz[0] - TONE_HZ) < 4.0 * fit.received_sd_hz[0]


def test_the_weight_costs_what_it_says():
    grid = block_grid(48000, RATE_HZ)
    # Derived: N sum(v^2) / (sum v)^2 of a flat window with soft edges of 8 %.
    weight = grid.weight.ravel()[:48000]
    assert grid.efficiency == pytest.approx(weight.sum() / np.sqrt(48000 * (weight**2).sum()))
    assert grid.efficiency > 0.96
