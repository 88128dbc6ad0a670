from types import SimpleNamespace

import numpy as np
import pytest

from humcheck.audio.bands import band_edges_hz
from humcheck.audio.levels import power_to_dbfs
from humcheck.audio.spectra import welch_spectrum
from humcheck.audio.weighting import a_weighting_db
from humcheck.errors import MeasurementError
from humcheck.estimates.line_removal import noise_without_lines
from humcheck.estimates.noise import measure_noise

RATE_HZ = 48_000


def white(duration_s, level_dbfs, rate_hz=RATE_HZ, n_channels=1, seed=0):
    """White noise over 0 Hz to half the rate, RMS `level_dbfs` re the RMS of a full-scale sine."""
    rms = 10 ** (level_dbfs / 20) / np.sqrt(2)
    return rms * np.random.default_rng(seed).standard_normal((round(duration_s * rate_hz), n_channels))


def comb(duration_s, fundamental_hz, levels_dbfs, rate_hz=RATE_HZ, phase=None):
    time_s = np.arange(round(duration_s * rate_hz)) / rate_hz
    turns = fundamental_hz * time_s if phase is None else phase
    total, turn = np.zeros(len(time_s)), np.exp(2j * np.pi * np.mod(turns, 1.0))
    line = np.ones(len(time_s), dtype=complex)
    for order in range(1, max(levels_dbfs) + 1):
        line *= turn
        if order in levels_dbfs:
            total += (line * (10 ** (levels_dbfs[order] / 20) * np.exp(1j * order))).real
    return total[:, None]


def family(fundamental_hz, orders, wander_hz=0.0, detected=None):
    found = np.ones((len(orders), 1), dtype=bool) if detected is None else detected
    return SimpleNamespace(fundamental_hz=fundamental_hz, wander_hz=wander_hz, harmonics=tuple(orders), detected=found)


def lines(*families):
    return SimpleNamespace(families=families)


def levels(reading):
    return power_to_dbfs(reading.power)


# White noise of total -90 dBFS at 48 kHz through the band and the weightings: computed by integrating the curves
# (IEC 61672-1 annex E; BS.468-4 with 0 dB at 2 kHz), see the dither floors of tests/audio.
def test_white_noise_reads_what_the_curves_say():
    noise = measure_noise(white(20, -90.0), RATE_HZ, lines())
    # Four deviations: 4 * 4.34 / sqrt(20 kHz * 20 s) = 0.03 dB.
    assert levels(noise.total)[0] == pytest.approx(-90.7962, abs=0.03)
    assert levels(noise.total_a)[0] == pytest.approx(-92.8444, abs=0.03)
    assert levels(noise.total_ccir_rms)[0] == pytest.approx(-89.1239, abs=0.03)
    assert levels(noise.hiss)[0] == pytest.approx(levels(noise.total)[0], abs=1e-9)
    assert levels(noise.hiss_a)[0] == pytest.approx(levels(noise.total_a)[0], abs=1e-9)
    assert (noise.from_hz, noise.to_hz) == (20.0, 20_000.0)


def test_third_octaves_of_white_noise():
    noise = measure_noise(white(30, -90.0, seed=1), RATE_HZ, lines())
    assert len(noise.band_hz) == 31
    lower, upper = band_edges_hz(noise.band_hz)
    expected = -90.0 + 10 * np.log10((upper - lower) / 24_000)
    got = np.array([levels(band)[0] for band in noise.bands])
    assert np.all(np.abs(got - expected) < 4 * 4.34 / np.sqrt((upper - lower) * 25))


def test_power_sum_of_hum_and_noise():
    # Line of -80 dBFS and noise of -80 dBFS in the band: -76.9897 (elementary).
    in_band = -80.0 + 0.7962
    samples = white(20, in_band, seed=2) + comb(20, 150.0, {1: -80.0})
    assert levels(measure_noise(samples, RATE_HZ).total)[0] == pytest.approx(-76.9897, abs=0.03)


STRONG = {1: -40.0, 2: -45.0, 3: -44.0, 4: -60.0, 5: -52.0, 7: -62.0, 9: -70.0, 20: -80.0, 60: -88.0, 200: -95.0}


@pytest.mark.parametrize(("mains_hz", "duration_s"), [(50.01, 15), (59.98, 10)])
def test_strong_hum_does_not_reach_the_hiss(mains_hz, duration_s):
    hiss = white(duration_s, -100.0, seed=3)
    samples = hiss + comb(duration_s, mains_hz, STRONG)
    with_hum = measure_noise(samples, RATE_HZ, lines(family(mains_hz, list(STRONG))))
    alone = measure_noise(hiss, RATE_HZ, lines())
    # The same noise, but for the bins that were filled: 64 Hz of 20 kHz.
    assert levels(with_hum.hiss)[0] == pytest.approx(levels(alone.hiss)[0], abs=0.003)
    assert levels(with_hum.hiss_a)[0] == pytest.approx(levels(alone.hiss_a)[0], abs=0.005)
    assert levels(with_hum.total)[0] > -38.0
    # Worst at low frequency, where a filled line is most of a band.
    lower, upper = band_edges_hz(with_hum.band_hz)
    difference = [levels(a)[0] - levels(b)[0] for a, b in zip(with_hum.hiss_bands, alone.hiss_bands, strict=True)]
    assert np.all(np.abs(difference) < 4 * 4.34 / np.sqrt((upper - lower) * duration_s * 0.8))


def test_both_families_at_once_leave_the_hiss():
    orders = list(range(1, 340))
    both = comb(5, 50.02, {k: -50.0 - 12 * np.log2(k) for k in orders}) + comb(
        5, 59.94, {k: -60.0 - 6 * np.log2(k) for k in orders}
    )
    hiss = white(5, -95.0, seed=4)
    found = lines(family(50.02, orders), family(59.94, orders))
    got = measure_noise(hiss + both, RATE_HZ, found)
    alone = measure_noise(hiss, RATE_HZ, lines())
    # A quarter of all bins is filled: the two see different noise, 4.34 / sqrt(20 kHz * 5 s / 4) = 0.03 dB.
    assert levels(got.hiss)[0] == pytest.approx(levels(alone.hiss)[0], abs=0.08)
    assert levels(got.hiss_a)[0] == pytest.approx(levels(alone.hiss_a)[0], abs=0.08)


def test_wandering_swelling_hum_which_the_removal_does_not_model():
    # The mains' phase walks (20 mHz over some seconds) and the lines swell by 2 %: skirts that no main lobe has.
    rng = np.random.default_rng(5)
    n_samples = 15 * RATE_HZ
    knots = np.cumsum(rng.standard_normal(16)) * 0.005
    frequency_hz = 50.0 + np.interp(np.arange(n_samples), np.linspace(0, n_samples, 16), knots - knots.mean())
    hum = comb(15, None, STRONG, phase=np.cumsum(frequency_hz) / RATE_HZ)
    swell = 1.0 + 0.02 * np.sin(2 * np.pi * 0.7 * np.arange(n_samples) / RATE_HZ)
    hiss = white(15, -100.0, seed=6)
    got = measure_noise(hiss + hum * swell[:, None], RATE_HZ, lines(family(50.0, list(STRONG), wander_hz=0.02)))
    alone = measure_noise(hiss, RATE_HZ, lines())
    assert levels(got.hiss)[0] == pytest.approx(levels(alone.hiss)[0], abs=0.02)
    assert levels(got.hiss_a)[0] == pytest.approx(levels(alone.hiss_a)[0], abs=0.02)


def test_lines_that_were_not_detected_are_left_alone():
    samples = white(10, -90.0, seed=7)
    orders = list(range(1, 300))
    unseen = family(50.0, orders, detected=np.zeros((len(orders), 1), dtype=bool))
    noise = measure_noise(samples, RATE_HZ, lines(unseen))
    assert noise.hiss.power == pytest.approx(noise.total.power, rel=1e-12)


def test_pink_noise_is_filled_along_its_slope():
    # Between two lines the filling is a straight line in power: pink noise bends by much less than it scatters.
    shape = np.fft.rfft(white(30, -80.0, 8000, seed=8)[:, 0])
    shape[1:] /= np.sqrt(np.arange(1, len(shape)))
    pink = np.fft.irfft(shape)[:, None]
    pink *= 1e-4 / np.std(pink)
    hum = comb(30, 50.0, dict.fromkeys(range(1, 70), -60.0), 8000)
    got = measure_noise(pink + hum, 8000, lines(family(50.0, range(1, 70))))
    alone = measure_noise(pink, 8000, lines())
    assert levels(got.hiss)[0] == pytest.approx(levels(alone.hiss)[0], abs=0.08)


def test_hiss_is_as_uncertain_as_it_says():
    """Coverage: hiss of known power beside a strong comb, many independent channels."""
    from scipy.stats import t

    rate_hz, n_trials = 2000, 300
    hum = comb(12, 50.3, dict.fromkeys(range(1, 19), -30.0), rate_hz)
    samples = white(12, -80.0, rate_hz, n_trials, seed=9) + hum
    spectrum = welch_spectrum(samples, rate_hz, segment_s=2.0, window_name="steep")
    reading = noise_without_lines(spectrum, 50.3 * np.arange(1, 19)).reading(20, 900)
    error = reading.power / (0.5e-8 * 880 / 1000) - 1.0
    assert abs(np.mean(error)) < 4 * np.std(error) / np.sqrt(n_trials)
    k = t.ppf(0.975, reading.freedom)
    inside = np.mean(np.abs(error) * (0.5e-8 * 0.88) <= k * reading.sd)
    # Four deviations of a binomial: 0.05.
    assert 0.90 <= inside <= 0.997
    assert np.sqrt(np.mean(reading.sd**2)) / (0.5e-8 * 0.88) == pytest.approx(np.std(error), rel=0.2)


@pytest.mark.parametrize("duration_s", [5.0, 9.0])
def test_levels_are_as_uncertain_as_they_say(duration_s):
    """Coverage of all readings of 24 independent channels; the quasi-peak's truth is the mean over all of them."""
    from scipy.special import stdtrit

    n_channels = 24
    noise = measure_noise(white(duration_s, -90.0, 8000, n_channels, seed=10), 8000, lines())
    expected = 0.5e-9 * (4000 - 20) / 4000
    for reading, truth in ((noise.total, expected), (noise.quasi_peak, np.mean(noise.quasi_peak.power[:n_channels]))):
        error = (reading.power - truth)[:n_channels]
        k = stdtrit(min(reading.freedom, 1e6), 0.975)
        # Of 24 intervals of 95 %, 19 or fewer hold the truth once in 200.
        assert np.count_nonzero(np.abs(error) <= k * reading.sd[:n_channels]) >= 20
        assert np.sqrt(np.mean(reading.sd[:n_channels] ** 2)) == pytest.approx(np.std(error), rel=0.5)


def test_both_is_the_power_mean_with_the_scatter_of_the_mean():
    # The same noise in both channels, the right one 20 dB softer: the mean's uncertainty is the left one's half.
    samples = white(10, -80.0, seed=11) * np.array([[1.0, 0.1]])
    noise = measure_noise(samples, RATE_HZ, lines())
    for reading in (noise.total, noise.total_a, noise.quasi_peak, noise.hiss, *noise.bands):
        assert reading.power[2] == pytest.approx(reading.power[:2].mean(), rel=1e-6)
        assert reading.sd[2] == pytest.approx(reading.sd[:2].mean(), rel=1e-4)


@pytest.mark.parametrize(
    ("rate_hz", "to_hz", "last_hz"), [(8000, 4000, 3162.3), (44_100, 20_000, 15_848.9), (96_000, 20_000, 19_952.6)]
)
def test_the_band_is_what_the_rate_allows(rate_hz, to_hz, last_hz):
    noise = measure_noise(white(4, -90.0, rate_hz, seed=12), rate_hz, lines())
    assert noise.to_hz == to_hz
    assert noise.band_hz[-1] == pytest.approx(last_hz, abs=0.1)
    expected = -90.0 + 10 * np.log10((to_hz - 20) / (rate_hz / 2))
    assert levels(noise.total)[0] == pytest.approx(expected, abs=0.2)


def test_a_short_stretch_is_read_with_wider_bins():
    noise = measure_noise(white(1.1, -90.0, seed=13), RATE_HZ, lines(family(50.0, [1, 2, 3])))
    assert levels(noise.hiss)[0] == pytest.approx(-90.796, abs=0.15)  # 4 * 4.34 / sqrt(20 kHz * 0.8 s)
    assert noise.band_hz[0] > 90.0  # what the window cannot resolve is not shown
    with pytest.raises(MeasurementError, match="at least 1 s"):
        measure_noise(white(0.9, -90.0), RATE_HZ)


def test_without_an_estimate_of_lines_there_is_no_hiss():
    noise = measure_noise(white(2, -90.0), RATE_HZ)
    assert noise.hiss is None
    assert noise.hiss_a is None
    assert noise.hiss_bands == ()


def test_silence_is_told_from_very_little_noise():
    samples = np.hstack([np.zeros((2 * RATE_HZ, 1)), white(2, -190.0)])
    noise = measure_noise(samples, RATE_HZ, lines())
    assert noise.silent.tolist() == [True, False]
    assert noise.total.power[0] == 0.0
    assert levels(noise.total)[1] == pytest.approx(-190.796, abs=0.15)


def test_lines_without_any_noise_between_them():
    spectrum = welch_spectrum(white(4, -90.0, 4000), 4000, window_name="steep")
    with pytest.raises(MeasurementError, match="so close"):
        noise_without_lines(spectrum, np.arange(1.0, 2000.0))


def test_lines_outside_the_spectrum_do_no_harm():
    spectrum = welch_spectrum(white(4, -90.0, 4000), 4000, window_name="steep")
    same = noise_without_lines(spectrum, np.array([-50.0, 0.0, 2500.0]), np.array([1.0, 2.0, 3.0]))
    assert np.array_equal(same.power, spectrum.power)


def test_a_dc_offset_is_not_noise():
    samples = white(4, -90.0, seed=14)
    plain = measure_noise(samples, RATE_HZ, lines())
    shifted = measure_noise(samples + 0.1, RATE_HZ, lines())
    assert levels(shifted.total)[0] == pytest.approx(levels(plain.total)[0], abs=1e-3)
    assert levels(shifted.bands[0])[0] == pytest.approx(levels(plain.bands[0])[0], abs=0.05)


def test_a_weighted_hiss_of_one_band_of_noise():
    # Narrow noise about 100 Hz: A(100 Hz) = -19.1428 dB (IEC 61672-1 annex E); within 90-110 Hz A is nearly straight.
    spectrum = np.fft.rfft(white(30, 0.0, 4000, seed=15)[:, 0])
    frequency_hz = np.fft.rfftfreq(30 * 4000, 1 / 4000)
    spectrum[np.abs(frequency_hz - 100) > 5] = 0.0
    samples = 1e-4 * np.fft.irfft(spectrum)[:, None]
    noise = measure_noise(samples, 4000, lines())
    assert levels(noise.hiss_a)[0] - levels(noise.hiss)[0] == pytest.approx(float(a_weighting_db(100.0)), abs=0.1)
