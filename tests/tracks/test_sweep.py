"""The sweep: its law, its harmonics, its spectrum, its band."""

from __future__ import annotations

from decimal import Decimal, localcontext

import numpy as np
import pytest
from scipy import fft

from humcheck.tracks.layouts import layout
from humcheck.tracks.sections import Section
from humcheck.tracks.waveforms import (
    section_derivative,
    section_waveform,
    sweep_time_constant_s,
    sweep_time_s,
)

SWEEP = layout("full", "standard").section("sweep-right")
LEVEL = 10 ** (-6 / 20)
NO_LIMIT = float("inf")
LOW_HZ, HIGH_HZ = SWEEP.frequencies_hz


def plain_times(n, seed=3):
    """Times from the start of the sweep at which no fade is at work."""
    rng = np.random.default_rng(seed)
    return np.sort(rng.uniform(SWEEP.fade_in_s, SWEEP.duration_s - SWEEP.fade_out_s, n))


def phase_and_frequency(time_s):
    """Phase (mod 2 pi) from the sound and its derivative, with the frequency of the law."""
    frequency_hz = LOW_HZ * np.exp(time_s / sweep_time_constant_s(SWEEP))
    sine = section_waveform(SWEEP, SWEEP.start_s + time_s, "right", NO_LIMIT) / LEVEL
    cosine = section_derivative(SWEEP, SWEEP.start_s + time_s, "right", NO_LIMIT) / (LEVEL * 2 * np.pi * frequency_hz)
    return np.arctan2(sine, cosine)


def exact_phase(time_s):
    """The law in 50-digit arithmetic, mod 2 pi: 2 pi f1 L exp(t / L), L = T / ln(f2 / f1)."""
    with localcontext() as context:
        context.prec = 50
        two_pi = 2 * Decimal("3.14159265358979323846264338327950288419716939937510582")
        time_constant = Decimal(SWEEP.duration_s) / (Decimal(HIGH_HZ) / Decimal(LOW_HZ)).ln()
        turns = Decimal(LOW_HZ) * time_constant * (Decimal(time_s) / time_constant).exp()
        return float((turns - int(turns)) * two_pi)


def test_phase_is_exact_to_a_nanoradian():
    """Target 1e-9 rad; derived: rounding of exp() and of a phase of 2.1e5 rad leaves about 3e-10."""
    # As the function sees them: differences of floats near the track time.
    times_s = (SWEEP.start_s + plain_times(300)) - SWEEP.start_s
    found = phase_and_frequency(times_s)
    expected = np.array([exact_phase(float(time_s)) for time_s in times_s])
    error = (found - expected + np.pi) % (2 * np.pi) - np.pi
    assert np.abs(error).max() < 1e-9


def test_frequency_follows_the_exponential_law():
    """Farina, AES preprint 5093 (2000): f(t) = f1 exp(t ln(f2/f1) / T); zero crossings count half its integral."""
    time_s = np.arange(0, SWEEP.duration_s, 1 / 384000)
    sound = section_waveform(SWEEP, SWEEP.start_s + time_s, "right", NO_LIMIT)
    for start_s, stop_s in ((1.0, 4.0), (4.0, 8.0), (8.0, 11.9)):
        part = sound[(time_s >= start_s) & (time_s < stop_s)]
        crossings = np.count_nonzero(np.diff(np.signbit(part)))
        rate = np.log(HIGH_HZ / LOW_HZ) / SWEEP.duration_s
        cycles = LOW_HZ * (np.exp(rate * stop_s) - np.exp(rate * start_s)) / rate
        assert crossings == pytest.approx(2 * cycles, abs=1.5)


def test_sweep_time_is_where_the_frequency_is_passed():
    time_s = sweep_time_s(SWEEP, np.array([LOW_HZ, 997.0, HIGH_HZ]))
    assert time_s[0] == pytest.approx(0.0, abs=1e-12)
    assert time_s[2] == pytest.approx(SWEEP.duration_s, abs=1e-12)
    step_s = 1e-5
    turned = np.diff(phase_and_frequency(time_s[1] + np.array([-step_s, step_s])))
    assert turned[0] / (2 * np.pi * 2 * step_s) == pytest.approx(997.0, rel=1e-6)


@pytest.mark.parametrize("order", [2, 3, 4, 5])
def test_a_shift_of_l_ln_n_is_exactly_the_nth_harmonic(order):
    """Novak, Lotton, Simon, JAES 63 (2015) 786: the synchronised sweep."""
    advance_s = sweep_time_constant_s(SWEEP) * np.log(order)
    time_s = plain_times(500)
    time_s = time_s[time_s + advance_s < SWEEP.duration_s - SWEEP.fade_out_s]
    shifted = section_waveform(SWEEP, SWEEP.start_s + time_s + advance_s, "right", NO_LIMIT) / LEVEL
    # Both phases are good to 1e-9 rad or so, the lower one counts N times; times are rounded to 7e-15 s.
    expected = np.sin(order * phase_and_frequency(time_s))
    np.testing.assert_allclose(shifted, expected, rtol=0, atol=1e-8)


@pytest.mark.parametrize(
    ("low_hz", "high_hz", "duration_s", "time_constant_s", "second_s", "third_s"),
    [
        pytest.param(20.0, 20000.0, 10.0, 1.447648273, 1.003433, 1.590404, id="Farina 2000, L = T / ln(f2/f1)"),
        pytest.param(20.0, 20000.0, 5.0, 0.723824137, 0.501717, 0.795202, id="Farina 2000, 5 s"),
        pytest.param(10.0, 22000.0, 20.0, 2.598680798, 1.801268, 2.854943, id="Farina 2000, 10 Hz-22 kHz"),
    ],
)
def test_time_constant_and_harmonic_advance(low_hz, high_hz, duration_s, time_constant_s, second_s, third_s):
    sweep = Section(
        name="sweep-left",
        kind="sweep",
        start_s=0.0,
        duration_s=duration_s,
        channels="left",
        frequencies_hz=(low_hz, high_hz),
        amplitudes=(1.0,),
        fade_in_s=0.1,
        fade_out_s=0.01,
    )
    found_s = sweep_time_constant_s(sweep)
    assert found_s == pytest.approx(time_constant_s, abs=5e-10)
    assert found_s * np.log(2) == pytest.approx(second_s, abs=5e-7)
    assert found_s * np.log(3) == pytest.approx(third_s, abs=5e-7)


@pytest.mark.parametrize("order", [2, 3])
def test_distortion_comes_before_the_linear_response_by_l_ln_n(order):
    """Farina (2000): deconvolved, the response of harmonic N leads the linear one by L ln N."""
    rate_hz = 48000
    sweep = layout("full", "short").section("sweep-left")
    n_samples = round(sweep.duration_s * rate_hz)
    clean = section_waveform(sweep, sweep.start_s + np.arange(n_samples) / rate_hz, "left", rate_hz)
    bent = clean + 0.1 * clean**order
    spectrum = fft.rfft(clean, 2 * n_samples)
    power = np.abs(spectrum) ** 2
    response = fft.irfft(fft.rfft(bent, 2 * n_samples) * np.conj(spectrum) / (power + 1e-4 * power.max()))
    assert np.argmax(np.abs(response)) == 0
    expected = round(sweep_time_constant_s(sweep) * np.log(order) * rate_hz)
    window = 2000
    before = np.abs(response[-expected - window : -expected + window])
    assert np.argmax(before) - window == pytest.approx(0, abs=1)
    assert before.max() > 20 * np.median(before)


def spectrum_at(frequency_hz, rate_hz=96000):
    """Fourier integral of the sweep at some frequencies, phase counted from the start of the sweep."""
    time_s = np.arange(round(SWEEP.duration_s * rate_hz)) / rate_hz
    sound = section_waveform(SWEEP, SWEEP.start_s + time_s, "right", rate_hz)
    return np.array([np.sum(sound * np.exp(-2j * np.pi * hz * time_s)) / rate_hz for hz in frequency_hz])


def test_spectrum_falls_three_decibels_an_octave():
    """Farina (2000): pink. The tolerance is the ripple that soft edges leave."""
    octaves_hz = 20.0 * 2.0 ** np.arange(10)  # 20 Hz to 10.24 kHz
    fall_db = np.diff(20 * np.log10(np.abs(spectrum_at(octaves_hz))))
    np.testing.assert_allclose(fall_db, -3.0103, rtol=0, atol=0.02)


def test_spectrum_is_that_of_the_paper():
    """Novak, Lotton, Simon (2015), eq. 42: X(f) = sqrt(L/f)/2 exp(j 2 pi f L (1 - ln(f/f1)) - j pi/4), sine form.

    Stationary phase is an approximation, good to about 1/(2 pi f L); below that, what the edges leave.
    """
    frequency_hz = np.array([50.0, 100.0, 315.0, 1000.0, 3150.0, 10000.0])
    time_constant_s = sweep_time_constant_s(SWEEP)
    turn = 2 * np.pi * frequency_hz * time_constant_s * (1 - np.log(frequency_hz / LOW_HZ)) - np.pi / 4
    expected = LEVEL * 0.5 * np.sqrt(time_constant_s / frequency_hz) * np.exp(1j * turn)
    np.testing.assert_allclose(spectrum_at(frequency_hz) / expected, 1.0, rtol=0, atol=4e-3)


def test_full_level_from_8_hz_to_20_khz_at_every_rate():
    """The edges lie outside 8 Hz to 20 kHz."""
    time_s = np.linspace(*sweep_time_s(SWEEP, np.array([8.0, 20000.0])), 20001)
    free = section_waveform(SWEEP, SWEEP.start_s + time_s, "right", NO_LIMIT)
    frequency_hz = LOW_HZ * np.exp(time_s / sweep_time_constant_s(SWEEP))
    turning = section_derivative(SWEEP, SWEEP.start_s + time_s, "right", NO_LIMIT) / (2 * np.pi * frequency_hz)
    np.testing.assert_allclose(np.hypot(free, turning), LEVEL, rtol=1e-6)
    for rate_hz in (44100.0, 48000.0, 96000.0):
        np.testing.assert_array_equal(section_waveform(SWEEP, SWEEP.start_s + time_s, "right", rate_hz), free)


def test_nothing_is_left_above_049_of_the_rate():
    time_s = np.linspace(0.0, SWEEP.duration_s, 100001)
    frequency_hz = LOW_HZ * np.exp(time_s / sweep_time_constant_s(SWEEP))
    sound = section_waveform(SWEEP, SWEEP.start_s + time_s, "right", 44100.0)
    assert not sound[frequency_hz > 0.49 * 44100].any()
    assert np.abs(sound[frequency_hz < 0.48 * 44100]).max() == pytest.approx(LEVEL, rel=1e-6)


def test_both_channels_get_the_same_sweep():
    left = layout("full", "standard").section("sweep-left")
    time_s = np.linspace(0, left.duration_s, 5001)
    np.testing.assert_allclose(
        section_waveform(left, left.start_s + time_s, "left", 48000.0),
        section_waveform(SWEEP, SWEEP.start_s + time_s, "right", 48000.0),
        rtol=0,
        atol=2e-9,  # times near 80 s are known to 1.4e-14 s: 2e-9 rad at 23 kHz
    )
