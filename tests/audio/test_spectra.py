import numpy as np
import pytest
import scipy.fft

from humcheck.audio.levels import power_to_dbfs
from humcheck.audio.spectra import fast_length, full_spectrum, welch_spectrum
from humcheck.audio.weighting import a_weighting_db, c_weighting_db, ccir_rms_weighting_db, itu468_weighting_db
from humcheck.audio.windows import WINDOWS, enbw_bins, window


# Harris, Proc. IEEE 66(1), 1978, table 1, with more digits computed from the periodic windows; the flat top is
# scipy's, figures by Heinzel, Ruediger and Schilling, 2002 (both papers from memory).
@pytest.mark.parametrize(
    ("name", "bins", "scalloping_db"),
    [("boxcar", 1.0, -3.922), ("hann", 1.5, -1.424), ("blackmanharris", 2.0044, -0.826), ("flattop", 3.7702, -0.010)],
)
def test_noise_bandwidth_and_scalloping_of_windows(name, bins, scalloping_db):
    values = window(name, 4096)
    assert enbw_bins(values) == pytest.approx(bins, abs=5e-5)
    half_bin = np.abs(np.sum(values * np.exp(1j * np.pi * np.arange(4096) / 4096))) / values.sum()
    assert 20 * np.log10(half_bin) == pytest.approx(scalloping_db, abs=1.5e-3)


@pytest.mark.parametrize("name", list(WINDOWS))
def test_main_lobe_ends_where_it_is_said_to(name):
    values = window(name, 1024)
    transform = np.abs(np.fft.rfft(values, 64 * 1024)) / values.sum()
    assert transform[round(64 * WINDOWS[name].main_lobe_bins)] < 10 ** (-13 / 20) * 0.06


def test_side_lobes_of_the_steep_window():
    # Kaiser's window; our own choice of its parameter, so this is a check of the claim, not of a standard.
    values = window("steep", 1024)
    transform = np.abs(np.fft.rfft(values, 64 * 1024)) / values.sum()
    outside = transform[round(64 * WINDOWS["steep"].main_lobe_bins) :]
    assert 20 * np.log10(outside.max()) < -138.0


def test_unknown_window():
    with pytest.raises(ValueError, match="window must be one of"):
        window("none", 16)


@pytest.mark.parametrize("name", list(WINDOWS))
@pytest.mark.parametrize("frequency_hz", [1000.0, 1000.37, 61.7])
def test_a_tone_s_power_is_the_sum_over_its_bins(name, frequency_hz):
    # A sine of amplitude a has mean square a**2 / 2, wherever it falls between the bins.
    time_s = np.arange(5 * 48_000) / 48_000
    samples = (0.1 * np.sin(2 * np.pi * frequency_hz * time_s))[:, None]
    for spectrum in (full_spectrum(samples, 48_000, name), welch_spectrum(samples, 48_000, window_name=name)):
        # The side lobes of no window are far down: its tails are all over the spectrum.
        reach_hz = 30.0 if name == "boxcar" else 2 * spectrum.main_lobe_hz
        power = spectrum.band_power(frequency_hz - reach_hz, frequency_hz + reach_hz)[0]
        assert power == pytest.approx(0.005, rel=0.01 if name == "boxcar" else 1e-4)
        highest = spectrum.power.max() * spectrum.enbw_bins
        assert 10 * np.log10(highest / 0.005) <= 5e-3  # scalloping takes off; the flat top ripples


def test_white_noise_density_and_bin_level():
    # 48 kHz, Hann, 65536 points: noise bandwidth 1.0986 Hz; a 16-bit TPDF floor of -93.319 dBFS then reads
    # -136.713 dBFS in a bin scaled for tones, density -137.121 dBFS/Hz (computed).
    power = 10 ** (-93.319 / 10) / 2
    samples = np.random.default_rng(7).standard_normal((20 * 48_000, 1)) * np.sqrt(power)
    spectrum = welch_spectrum(samples, 48_000, segment_s=65_536 / 48_000)
    assert spectrum.enbw_bins * 48_000 / 65_536 == pytest.approx(1.0986, abs=1e-4)
    assert spectrum.bin_hz == pytest.approx(48_000 / 65_536)
    density = float(np.mean(spectrum.density()[10:-10]))
    assert power_to_dbfs(density) == pytest.approx(-137.121, abs=0.03)  # 4 sd of 20 s of noise
    assert power_to_dbfs(density * spectrum.enbw_bins * spectrum.bin_hz) == pytest.approx(-136.713, abs=0.03)


# Computed by integrating the curves over a flat density: weighting of white noise confined to 20 Hz-20 kHz.
@pytest.mark.parametrize(
    ("weighting", "expected_db"),
    [
        (a_weighting_db, -2.0483),
        (c_weighting_db, -3.4505),
        (itu468_weighting_db, 7.3014),
        (ccir_rms_weighting_db, 1.6722),
    ],
)
def test_weighted_power_of_a_flat_spectrum(weighting, expected_db):
    # One impulse has an exactly flat spectrum, so there is no noise in the check.
    impulse = np.zeros((96_000, 1))
    impulse[40_000] = 1.0
    spectrum = full_spectrum(impulse, 48_000, "boxcar")
    flat = spectrum.band_power(20, 20_000)[0]
    weighted = spectrum.band_power(20, 20_000, weighting)[0]
    assert 10 * np.log10(weighted / flat) == pytest.approx(expected_db, abs=2e-4)


@pytest.mark.parametrize(("rate_hz", "expected_db"), [(44_100, -0.4281), (48_000, -0.7962), (96_000, -3.8065)])
def test_band_limit_of_white_noise(rate_hz, expected_db):
    # 10 lg(19980 / (rate / 2)), elementary.
    impulse = np.zeros((rate_hz, 1))
    impulse[100] = 1.0
    spectrum = full_spectrum(impulse, rate_hz, "boxcar")
    ratio = spectrum.band_power(20, 20_000)[0] / spectrum.band_power(0, rate_hz / 2)[0]
    assert 10 * np.log10(ratio) == pytest.approx(expected_db, abs=1e-4)


def test_parts_of_bins_count():
    impulse = np.zeros((1000, 1))
    impulse[0] = 1.0
    spectrum = full_spectrum(impulse, 1000, "boxcar")  # 1 Hz bins
    whole = spectrum.band_power(100, 110)[0]
    assert spectrum.band_power(100.25, 110.25)[0] == pytest.approx(whole)
    assert spectrum.band_power(100, 100.1)[0] == pytest.approx(whole / 100)
    assert spectrum.band_power(600, 700)[0] == 0.0
    assert spectrum.band_power(0, 500)[0] == pytest.approx(float(np.mean(impulse**2)))
    with pytest.raises(ValueError, match="in order"):
        spectrum.band_power(2, 1)


def test_padding_does_not_change_powers():
    samples = np.random.default_rng(8).standard_normal((48_001, 2))  # 23 * 2087: not a fast length
    spectrum = full_spectrum(samples, 48_000, "boxcar")
    assert len(spectrum.frequency_hz) > 24_001
    assert spectrum.band_power(0, 24_000) == pytest.approx(np.mean(samples**2, axis=0))


def test_blocks_give_the_same_spectrum_as_the_whole():
    samples = np.random.default_rng(9).standard_normal((70_000, 2))
    whole = welch_spectrum(samples, 8000, segment_s=1.0, window_name="steep")
    blocks = welch_spectrum(iter(np.array_split(samples, 13)), 8000, segment_s=1.0, window_name="steep")
    assert blocks.power == pytest.approx(whole.power)
    assert blocks.batches == pytest.approx(whole.batches)


def test_less_sound_than_a_segment_is_one_segment():
    samples = np.random.default_rng(10).standard_normal((4000, 1))
    spectrum = welch_spectrum(samples, 8000, segment_s=2.0)
    assert spectrum.bin_hz == pytest.approx(2.0)
    assert spectrum.n_averages == pytest.approx(1.0)
    with pytest.raises(ValueError, match="16 samples"):
        welch_spectrum(samples[:10], 8000)
    with pytest.raises(ValueError, match="shape"):
        welch_spectrum(samples[:, 0], 8000)


@pytest.mark.parametrize(("window_name", "expected"), [("hann", 0.947), ("boxcar", 1.0)])
def test_effective_number_of_averages(window_name, expected):
    # Welch 1967: Hann at half overlap makes K segments worth 0.947 K (computed from the correlation of 1/6).
    spectrum = welch_spectrum(np.zeros((100_000, 1)), 1000, segment_s=0.5, window_name=window_name)
    n_segments = 399 if window_name == "hann" else 200
    assert spectrum.n_averages / n_segments == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("duration_s", [2.5, 6.0, 16.0])
@pytest.mark.parametrize("window_name", ["hann", "steep"])
def test_readings_are_as_uncertain_as_they_say(duration_s, window_name):
    """Coverage: of many readings of noise of known power (one a channel), 95 % lie inside the 95 % interval."""
    from scipy.stats import t

    rate_hz, n_trials = 2000, 300
    noise = np.random.default_rng(11).standard_normal((round(duration_s * rate_hz), n_trials))
    reading = welch_spectrum(noise, rate_hz, segment_s=0.5, window_name=window_name).reading(100, 600)
    errors = reading.power - 0.5
    k = t.ppf(0.975, reading.freedom) if np.isfinite(reading.freedom) else 1.96
    inside = np.count_nonzero(np.abs(errors) <= k * reading.sd)
    assert abs(np.mean(errors)) < 4 * np.std(errors) / np.sqrt(n_trials)
    # Four deviations of a binomial around 95 %: 0.050.
    assert 0.900 <= inside / n_trials <= 0.997
    # Deviations found and stated: four times 1 / sqrt(2 n), and as much for those stated.
    assert np.sqrt(np.mean(np.square(reading.sd))) == pytest.approx(np.std(errors), rel=0.2)


def test_steady_lines_add_no_scatter_and_swelling_noise_does():
    rate_hz = 4000
    time_s = np.arange(20 * rate_hz) / rate_hz
    noise = np.random.default_rng(12).standard_normal((len(time_s), 2)) * 0.01
    noise[:, 0] += np.sin(2 * np.pi * 50.1 * time_s)
    noise[:, 1] *= 1.0 + 0.8 * np.sin(2 * np.pi * time_s / 8.0)
    reading = welch_spectrum(noise, rate_hz, window_name="steep").reading(20, 1900)
    # Only the noise that stands with the line: sqrt(2 * line * density / time), 0.5, 5e-8 per Hz and 20 s.
    assert reading.sd[0] == pytest.approx(np.sqrt(2 * 0.5 * 5e-8 / 20), rel=0.5)
    gaussian = 1 / np.sqrt(1880 * 20)
    assert reading.sd[1] / reading.power[1] > 10 * gaussian


def test_mean_channel_is_the_power_mean():
    samples = np.random.default_rng(13).standard_normal((20_000, 2)) * np.array([1.0, 3.0])
    spectrum = welch_spectrum(samples, 2000, segment_s=0.5)
    with_mean = spectrum.with_mean()
    assert with_mean.band_power(0, 1000)[2] == pytest.approx(spectrum.band_power(0, 1000).mean())
    assert with_mean.batches.shape[2] == 3


@pytest.mark.parametrize("n", [1, 2, 4799, 48_000, 5_280_001])
def test_fast_length(n):
    length = fast_length(n)
    assert length >= n
    assert length == scipy.fft.next_fast_len(n, real=True)
