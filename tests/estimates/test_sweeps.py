"""Responses from sweeps: filters, crosstalk and distortion of known size, hum, noise, awkward takes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from humcheck.errors import MeasurementError
from humcheck.estimates.sweeps import FREQUENCIES_HZ, IN_SERIES, estimate_response, index_of, mean_gain
from humcheck.estimates.sweeps.deconvolution import SweepLaw, impulse_response, path_spectrum
from humcheck.estimates.sweeps.windows import RESPONSE, window_at, window_kernel
from tests.estimates.swept_path import capacitive, decibels, high_pass, low_pass, swept

AUDIBLE = (FREQUENCIES_HZ >= 19.99) & (FREQUENCIES_HZ < 20001)


def delta_db(through, direct):
    return decibels(through.gain.value / direct.gain.value)


@pytest.fixture(scope="module")
def direct():
    return estimate_response(swept(length="standard", ppm=150.0, seed=1), "left")


def through(**more):
    return estimate_response(swept(length="standard", ppm=-170.0, seed=2, **more), "left")


def at(curve, frequency_hz):
    return curve[index_of(frequency_hz)]


# The grid ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("frequency_hz", [8.0, 20.0, 200.0, 997.0, 1000.0, 2000.0, 20000.0])
def test_the_grid_meets_the_frequencies_that_are_quoted(frequency_hz):
    assert FREQUENCIES_HZ[index_of(frequency_hz)] == frequency_hz


def test_the_series_steps_by_twelfths_of_an_octave():
    """IEC 61260-1:2014: octave ratio G = 10**(3/10); a twelfth of an octave is G**(1/12) = 1.0593."""
    series = FREQUENCIES_HZ[IN_SERIES][1:]
    assert series[1:] / series[:-1] == pytest.approx(10 ** (0.3 / 12), rel=1e-12)
    assert np.count_nonzero((series > 19.99) & (series < 20001)) == 121


def test_a_frequency_off_the_grid_is_a_programming_error():
    with pytest.raises(ValueError, match="frequency_hz is 1234"):
        index_of(1234.0)


# Filters ----------------------------------------------------------------------------------------------------------


def test_coupling_capacitor_of_10k_and_1uf(direct):
    """Elementary: 1 / (2 pi R C) = 15.9155 Hz, 10 lg(1 + (fc/f)^2) = 2.1305 dB at 20 Hz (target 0.001 dB)."""
    corner_hz = 1 / (2 * math.pi * 10e3 * 1e-6)
    assert corner_hz == pytest.approx(15.9155, abs=5e-5)
    found = delta_db(through(through=high_pass(corner_hz)), direct)
    assert at(found, 20.0) == pytest.approx(-2.1305, abs=0.001)


def test_low_pass_of_1k_and_1nf(direct):
    """Elementary: 159.155 kHz, 0.0680 dB at 20 kHz (target 0.001 dB)."""
    found = delta_db(through(through=low_pass(1 / (2 * math.pi * 1e3 * 1e-9))), direct)
    assert at(found, 20000.0) == pytest.approx(-0.0680, abs=0.001)


@pytest.mark.parametrize(
    ("order", "corner_hz", "kind"),
    [(1, 30.0, "high"), (2, 40.0, "high"), (3, 12000.0, "low"), (4, 5000.0, "low")],
    ids=["1st 30 Hz high", "2nd 40 Hz high", "3rd 12 kHz low", "4th 5 kHz low"],
)
def test_butterworth_filters(direct, order, corner_hz, kind):
    """Analogue prototypes and their response by scipy.signal; the target is 0.001 dB RMS from 20 Hz to 20 kHz."""
    numerator, denominator = signal.butter(order, 2 * math.pi * corner_hz, kind, analog=True)

    def gain(frequency_hz):
        return signal.freqs(numerator, denominator, 2 * math.pi * frequency_hz)[1]

    error_db = delta_db(through(through=gain), direct) - decibels(gain(FREQUENCIES_HZ))
    # Forty decibels down the neighbourhood and the noise begin to count.
    audible = AUDIBLE & (decibels(gain(FREQUENCIES_HZ)) > -40.0)
    assert np.sqrt(np.mean(error_db[audible] ** 2)) < 0.001
    assert np.abs(error_db[audible]).max() < 0.005


def test_a_resonant_dip_is_resolved(direct):
    """Derived: a dip of Q 8 at 400 Hz of 10.46 dB; the long window follows it to 0.05 dB."""

    def dip(frequency_hz):
        s = 1j * frequency_hz / 400.0
        return (s * s + 0.3 * s / 8 + 1) / (s * s + s / 8 + 1)

    assert decibels(dip(np.array([400.0])))[0] == pytest.approx(-10.46, abs=0.01)
    error_db = delta_db(through(through=dip), direct) - decibels(dip(FREQUENCIES_HZ))
    assert np.abs(error_db[AUDIBLE]).max() < 0.05


def test_gain_and_polarity_come_out(direct):
    found = through(through=lambda frequency_hz: np.full(frequency_hz.shape, -0.5))
    assert at(delta_db(found, direct), 997.0) == pytest.approx(-6.0206, abs=1e-4)
    assert np.real(at(found.gain.value / direct.gain.value, 997.0)) == pytest.approx(-0.5, abs=1e-4)


def test_a_misplaced_take_is_found_and_costs_no_level(direct):
    """5 ms of delay that the alignment does not know; polarity and phase count from the alignment."""
    sound = swept(length="standard", ppm=-170.0, seed=2, across=capacitive(1e-9, 1e4 / 11))
    late = replace(sound, times_s=sound.times_s + 0.005)
    found = estimate_response(late, "left")
    assert decibels(found.crosstalk_1k.value)[0] == pytest.approx(-44.87, abs=0.02)
    assert np.angle(at(found.crosstalk.value, 1000.0)) == pytest.approx(np.pi / 2, abs=0.01)
    assert found.delay_s == pytest.approx(0.005, abs=2e-5)
    assert np.abs(delta_db(found, direct)[AUDIBLE]).max() < 0.001
    turned = at(found.gain.value, 1000.0) / np.exp(-2j * np.pi * 1000.0 * 0.005)
    assert turned == pytest.approx(1.0, abs=1e-3)


# Crosstalk --------------------------------------------------------------------------------------------------------


def test_stray_capacitance_of_10_pf(direct):
    """Elementary: 2 pi f R C for 10 pF into 1 kohm parallel 10 kohm; 6.0206 dB an octave."""
    found = through(across=capacitive(10e-12, 1e4 / 11))
    level_db = decibels(found.crosstalk.value)
    assert decibels(found.crosstalk_1k.value)[0] == pytest.approx(-84.864, abs=0.2)
    assert at(level_db, 20000.0) == pytest.approx(-58.844, abs=0.1)
    assert at(level_db, 2000.0) - at(level_db, 200.0) == pytest.approx(20.0, abs=1.5)
    high = (FREQUENCIES_HZ > 2500) & (FREQUENCIES_HZ < 20001)
    slope = np.polyfit(np.log2(FREQUENCIES_HZ[high]), level_db[high], 1)[0]
    assert slope == pytest.approx(6.0206, abs=0.05)
    assert np.angle(at(found.crosstalk.value, 20000.0)) == pytest.approx(np.pi / 2, abs=0.02)


def test_crosstalk_of_minus_100_db_at_1_khz_is_read_within_0_3_db():
    """Noise -90 dBFS over 24 kHz; RMS over 12 takes (target 0.3 dB), the noise's power taken off.

    A coupling capacitor in the way of both channels must not enter.
    """
    powers = []
    # The same density at a third of the rate, for speed.
    noise_dbfs = -90.0 - 10 * math.log10(3)
    for seed in range(12):
        sound = swept(
            length="standard",
            rate_hz=16000.0,
            noise_dbfs=noise_dbfs,
            seed=seed,
            through=high_pass(15.0),
            across=lambda f: 1e-5j * f / 1000,
        )
        found = estimate_response(sound, "left")
        powers.append(abs(found.crosstalk_1k.value[0]) ** 2 - found.crosstalk_1k.sd[0] ** 2)
    error_db = 10 * np.log10(np.array(powers)) + 100.0
    assert np.sqrt(np.mean(error_db**2)) < 0.3
    assert 10 * np.log10(np.mean(powers)) == pytest.approx(-100.0, abs=0.2)


# Hum --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("mains_hz", [50.0, 59.94])
def test_hum_of_minus_70_in_both_takes_hardly_enters(mains_hz):
    """Target 0.002 dB RMS and 0.02 dB at most; the estimator is told neither mains nor harmonics."""
    clean = estimate_response(swept(length="standard", ppm=150.0, hum_dbfs=-70.0, mains_hz=mains_hz, seed=3), "left")
    passed = through(hum_dbfs=-70.0, mains_hz=mains_hz, through=high_pass(15.0))
    error_db = (delta_db(passed, clean) - decibels(high_pass(15.0)(FREQUENCIES_HZ)))[AUDIBLE]
    assert np.sqrt(np.mean(error_db**2)) < 0.0005
    assert np.abs(error_db).max() < 0.005


def test_hum_is_taken_out_of_the_idle_channel():
    """Without that, 6 harmonics of -70 dBFS hold the floor at -60 dB around 50 Hz; noise alone allows about -117."""
    hummed = estimate_response(swept(length="standard", hum_dbfs=-70.0, seed=4), "left")
    band = (FREQUENCIES_HZ > 25) & (FREQUENCIES_HZ < 400)
    assert decibels(hummed.crosstalk.sd[band]).max() < -100.0
    assert decibels(np.abs(hummed.crosstalk.value[band])).max() < -95.0


def test_the_floor_from_1_to_10_khz():
    """Target -110 dB re the driven channel with noise of -90 dBFS and hum of -70 dBFS."""
    hummed = estimate_response(swept(length="standard", hum_dbfs=-70.0, seed=5), "left")
    band = (FREQUENCIES_HZ >= 999) & (FREQUENCIES_HZ < 10100)
    assert decibels(hummed.crosstalk.sd[band]).max() < -110.0


def test_unsteady_hum_is_told_from_noise():
    """Hum that comes and goes every two seconds is not followed well; the uncertainty grows, noise is not blamed."""
    sound = swept(hum_dbfs=-50.0, seed=6)
    quiet = swept(seed=6)
    swelling = (0.5 + 0.5 * np.sin(2 * np.pi * 0.5 * np.arange(len(sound.samples)) / 48000.0))[:, np.newaxis]
    unsteady = replace(sound, samples=quiet.samples + (sound.samples - quiet.samples) * swelling)
    found = estimate_response(unsteady, "left").crosstalk
    near_hum = (FREQUENCIES_HZ > 40) & (FREQUENCIES_HZ < 320)
    assert np.median(found.sd[near_hum] / found.noise_sd[near_hum]) > 2.0
    clear = (FREQUENCIES_HZ > 2000) & (FREQUENCIES_HZ < 20000)
    assert np.median(found.sd[clear] / found.noise_sd[clear]) == pytest.approx(1.0, abs=0.15)


# Uncertainty ------------------------------------------------------------------------------------------------------


def test_intervals_hold_the_truth_as_often_as_they_say():
    """95 % intervals of level and of both directions of the crosstalk hold 93-97 %; noise -60 dBFS, hum -70 dBFS."""
    from scipy.stats import t as student

    inside_gain, inside_leak = [], []
    for seed in range(14):
        sound = swept(seed=seed, rate_hz=16000.0, noise_dbfs=-60.0, hum_dbfs=-70.0, across=capacitive(1e-9, 1e4 / 11))
        found = estimate_response(sound, "left")
        true_leak = capacitive(1e-9, 1e4 / 11)(found.frequency_hz)
        factor = student.ppf(0.975, found.gain.freedom)
        inside_gain.append(np.abs(np.abs(found.gain.value) - 1.0) < factor * found.gain.sd / math.sqrt(2))
        error = found.crosstalk.value - true_leak
        half = student.ppf(0.975, found.crosstalk.freedom) * found.crosstalk.sd / math.sqrt(2)
        inside_leak += [np.abs(error.real) < half, np.abs(error.imag) < half]
    # Not the last tenth of an octave of the band, where the method itself errs more than this noise.
    audible = (AUDIBLE & IN_SERIES)[: found.frequency_hz.size] & (found.frequency_hz < 0.44 * 16000.0)
    assert 0.93 < np.mean(np.array(inside_gain)[:, audible]) < 0.97
    assert 0.93 < np.mean(np.array(inside_leak)[:, audible]) < 0.97


def test_uncertainty_agrees_with_the_energy_of_the_sweep():
    """Novak, Lotton, Simon (2015), eq. 42: |X(f)| = sqrt(L / f) / 2 for amplitude 1; white noise through the window."""
    sound = swept(length="standard", seed=7, noise_dbfs=-70.0)
    found = estimate_response(sound, "left").gain
    time_constant_s = 12.0 / math.log(sound.section.frequencies_hz[1] / sound.section.frequencies_hz[0])
    law = SweepLaw(
        time_constant_s=time_constant_s, low_hz=sound.section.frequencies_hz[0], high_hz=23e3, first_s=-0.2, last_s=12.7
    )
    ratios = []
    for index in np.flatnonzero(AUDIBLE & IN_SERIES):
        at_hz = FREQUENCIES_HZ[index]
        weights = window_kernel(at_hz, window_at(at_hz, RESPONSE, law), 48000.0).noise_gain / 48000.0
        spectrum = sound.section.amplitudes[0] / 2 * math.sqrt(time_constant_s / at_hz)
        noise_density = (10 ** (-70.0 / 20)) ** 2 / 2 / 48000.0
        ratios.append(found.sd[index] / math.sqrt(noise_density * weights) * spectrum)
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.03)
    assert np.std(ratios) < 0.2


def test_random_error_of_a_magnitude():
    """Bendat, Piersol, Random Data, ch. 9: at high coherence eps = sqrt(1 - g) / sqrt(2 n_d); here n_d = 1 and 1 - g is
    the noise-to-signal ratio of the reading, so that the scatter of magnitudes is sd / sqrt(2)."""
    found = [estimate_response(swept(seed=seed, rate_hz=16000.0, noise_dbfs=-60.0), "left").gain for seed in range(20)]
    scatter = np.std([np.abs(gain.value) for gain in found], axis=0, ddof=1)
    predicted = np.sqrt(np.mean([gain.sd**2 for gain in found], axis=0) / 2)
    audible = AUDIBLE[: scatter.size]
    assert np.mean(scatter[audible] ** 2) == pytest.approx(np.mean(predicted[audible] ** 2), rel=0.1)


def test_scatter_between_takes_replaces_what_noise_explains():
    """Derived: four ratios that scatter by 1e-3 in both directions leave sqrt(2) 1e-3 / 2 in their mean."""
    one = estimate_response(swept(seed=8), "left").gain
    rng = np.random.default_rng(0)
    shaken = [
        replace(one, value=1.0 + 1e-3 * (rng.standard_normal(one.sd.size) + 1j * rng.standard_normal(one.sd.size)))
        for _ in range(4)
    ]
    mean = mean_gain(shaken)
    assert np.sqrt(np.mean(mean.sd**2)) == pytest.approx(math.sqrt(2) * 1e-3 / 2, rel=0.1)
    still = mean_gain([one, one, one, one])
    assert still.sd == pytest.approx(one.sd / 2)
    assert mean_gain([one]) is one


# Distortion -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("order", "expected_s"),
    [(2, 1.003433), (3, 1.590404), (4, 2.006867), (5, 2.329900)],
    ids=["Farina 2000 order 2", "Farina 2000 order 3", "Farina 2000 order 4", "Farina 2000 order 5"],
)
def test_distortion_leads_by_l_ln_n(order, expected_s):
    """Sweep from 20 Hz to 20 kHz in 10 s."""
    law = SweepLaw(time_constant_s=10 / math.log(1000), low_hz=20.0, high_hz=2e4, first_s=0.0, last_s=11.0)
    assert law.advance_s(order) == pytest.approx(expected_s, abs=1e-6)


def test_the_impulse_response_of_a_bent_path_has_its_peaks_there():
    """The same law in the sound itself: y = x + 0.1 x^2 + 0.1 x^3 in a low-noise take."""
    sound = swept(length="standard", noise_dbfs=-140.0, curve=lambda x: x + 0.1 * x**2 + 0.1 * x**3)
    path = path_spectrum(sound, "left")
    response = impulse_response(path, 20000.0)
    for order in (2, 3):
        place = -path.law.advance_s(order) * response.rate_hz
        reach = np.arange(-400, 401)
        near = np.abs(response.samples[0].take(round(place) + reach, mode="wrap"))
        assert reach[np.argmax(near)] + round(place) - place == pytest.approx(0.0, abs=1.0)


def test_harmonics_of_a_polynomial():
    """Derived: a2 x^2 on amplitude A gives a2 A / 2 at the 2nd, a3 x^3 gives a3 A^2 / 4 at the 3rd harmonic.

    Both re the fundamental of 1 + 3 a3 A^2 / 4. (On a unit sine with 0.01: -46.021 and -52.106 dB.)
    """
    sound = swept(length="standard", seed=9, curve=lambda x: x + 0.01 * x**2 + 0.01 * x**3)
    amplitude = sound.section.amplitudes[0]
    fundamental = 1 + 0.75 * 0.01 * amplitude**2
    second, third, fourth, _ = estimate_response(sound, "left").distortion
    low = second.frequency_hz < 5000
    expected_db = decibels(0.01 * amplitude / 2 / fundamental)
    assert 10 * np.log10(second.power[low]) == pytest.approx(expected_db, abs=0.05)
    low = third.frequency_hz < 5000
    expected_db = decibels(0.01 * amplitude**2 / 4 / fundamental)
    assert 10 * np.log10(third.power[low]) == pytest.approx(expected_db, abs=0.15)
    assert np.all(fourth.power < 10 * np.maximum(fourth.noise_power, fourth.noise_power.mean()))


# Awkward takes ----------------------------------------------------------------------------------------------------


def test_a_source_that_ends_at_15_khz_narrows_the_valid_band():
    numerator, denominator = signal.ellip(9, 0.01, 90, 2 * math.pi * 15000, analog=True)

    def gain(frequency_hz):
        return signal.freqs(numerator, denominator, 2 * math.pi * frequency_hz)[1]

    found = through(through=gain)
    valid = found.valid()
    # Derived from the filter: the last point of the grid that lies less than 40 dB down, give or take one.
    ends = index_of(FREQUENCIES_HZ[decibels(gain(FREQUENCIES_HZ)) > -40.0][-1])
    assert FREQUENCIES_HZ[ends - 1] <= found.frequency_hz[valid][-1] <= FREQUENCIES_HZ[ends + 1]
    assert found.frequency_hz[valid][0] == 8.0


def test_a_strong_whistle_is_no_end_of_the_band():
    sound = swept(seed=10)
    whistle = 0.3 * np.sin(2 * np.pi * 15625.0 * np.arange(len(sound.samples)) / 48000.0)
    found = estimate_response(replace(sound, samples=sound.samples + whistle[:, np.newaxis]), "left")
    assert found.frequency_hz[found.valid()][-1] > 22000
    assert np.abs(decibels(found.gain.value)[AUDIBLE]).max() < 0.05


def test_no_sweep_is_said_so():
    sound = swept(seed=11)
    noise = replace(sound, samples=1e-4 * np.random.default_rng(0).standard_normal(sound.samples.shape))
    with pytest.raises(MeasurementError, match="sweep does not arrive in the left channel"):
        estimate_response(noise, "left")


def test_digital_silence_is_no_sweep_either():
    sound = swept(seed=11)
    with pytest.raises(MeasurementError, match="does not arrive"):
        estimate_response(replace(sound, samples=np.zeros_like(sound.samples)), "left")


def test_a_mono_take_has_no_idle_channel():
    sound = swept(seed=12)
    found = estimate_response(replace(sound, samples=sound.samples[:, :1], channels=("mono",)), "left")
    assert (found.driven, found.idle, found.crosstalk, found.crosstalk_1k) == ("mono", None, None, None)
    assert at(decibels(found.gain.value), 997.0) == pytest.approx(0.0, abs=0.001)


def test_the_right_channel_is_driven_by_the_right_sweep():
    found = estimate_response(swept(driven="right", seed=13, across=capacitive(1e-9, 909.0)), "right")
    assert (found.driven, found.idle) == ("right", "left")
    assert decibels(found.crosstalk_1k.value)[0] == pytest.approx(-44.87, abs=0.05)


def test_low_rates_are_read_as_far_as_they_reach():
    found = estimate_response(swept(rate_hz=8000.0, seed=14), "left")
    assert 3500 < found.frequency_hz[-1] < 4000
    assert np.abs(decibels(found.gain.value)[found.frequency_hz > 20]).max() < 0.01
    with pytest.raises(MeasurementError, match="too low"):
        estimate_response(swept(rate_hz=4000.0, seed=14), "left")


def test_a_record_that_ends_with_the_sweep_is_still_read():
    found = estimate_response(swept(seed=15, after_s=0.0), "left")
    assert np.abs(decibels(found.gain.value)[AUDIBLE]).max() < 0.01
    assert np.all(np.isfinite(found.gain.sd))


def test_one_bad_sample_widens_the_uncertainty():
    sound = swept(seed=16)
    clean = estimate_response(sound, "left")
    sound.samples[150000] = 1.0
    spoilt = estimate_response(sound, "left")
    assert np.median(spoilt.crosstalk.sd / clean.crosstalk.sd) > 1.0
    assert np.all(np.isfinite(spoilt.gain.value))


def test_the_driven_channel_must_be_there():
    sound = replace(swept(seed=17), channels=("right", "centre"))
    with pytest.raises(ValueError, match="driven is 'left'"):
        estimate_response(sound, "left")


@pytest.mark.filterwarnings("ignore:.*will be deprecated")
def test_deconvolution_agrees_with_a_general_purpose_library():
    """pyfar: exponential sweep, regularised deconvolution, and its own Butterworth high-pass, to its 0.03 dB."""
    pyfar = pytest.importorskip("pyfar", reason="pyfar is in the extra `crosscheck`")
    sound = swept(length="short", ppm=0.0, noise_dbfs=-120.0, through=high_pass(50.0), seed=18)
    found = estimate_response(sound, "left")
    from humcheck.tracks.waveforms import section_waveform

    sweep = section_waveform(sound.section, sound.times_s, "left", 48000.0)
    theirs = pyfar.dsp.deconvolve(
        pyfar.Signal(sound.samples[:, 0], 48000), pyfar.Signal(sweep, 48000), frequency_range=(8, 22000)
    )
    level_db = np.interp(FREQUENCIES_HZ[AUDIBLE], theirs.frequencies, decibels(theirs.freq[0]))
    assert decibels(found.gain.value)[AUDIBLE] == pytest.approx(level_db, abs=0.03)
