"""Distortion against Fourier series and against polynomials whose products are known in closed form.

Fourier series and expansions of polynomials are elementary. All signals are made without aliasing that matters.
"""

import numpy as np
import pytest

from humcheck.errors import MeasurementError
from humcheck.estimates.tones.distortion import difference_distortion, smpte_distortion, tone_distortion

TONE_HZ = 997.0
TWO_PI = 2.0 * np.pi


def time_s(seconds, rate_hz):
    return np.arange(int(seconds * rate_hz)) / rate_hz


def series(frequency_hz, coefficients, seconds=2.75, rate_hz=48000):
    """Sines of the harmonics 1, 2, ... with these amplitudes."""
    time = time_s(seconds, rate_hz)
    return sum(
        amplitude * np.sin(TWO_PI * order * frequency_hz * time)
        for order, amplitude in enumerate(coefficients, start=1)
        if amplitude
    )


def measured(sound, frequency_hz=TONE_HZ, rate_hz=48000):
    return tone_distortion(sound[:, None], rate_hz, frequency_hz)


def thd(result):
    return np.sqrt(result.harmonics.total(0).power)


def rest_over_fundamental(result):
    return np.sqrt(2.0 * result.residual.flat[0] / result.tone.power[0, 0])


def rest_over_total(result):
    return np.sqrt(result.residual.flat[0] / (result.residual.flat[0] + 0.5 * result.tone.power[0, 0]))


SQUARE = [1.0 / k if k % 2 else 0.0 for k in range(1, 20)]
TRIANGLE = [(-1.0) ** ((k - 1) // 2) / k**2 if k % 2 else 0.0 for k in range(1, 200)]
SAWTOOTH = [1.0 / k for k in range(1, 200)]


@pytest.mark.parametrize(
    ("coefficients", "expected"),
    [
        pytest.param(SQUARE[:5], 0.388730, id="Fourier series, square wave, harmonics 3 and 5"),
        pytest.param(SQUARE[:9], 0.428795, id="Fourier series, square wave, harmonics 3-9"),
        pytest.param(
            SAWTOOTH[:10], np.sqrt(sum(k**-2.0 for k in range(2, 11))), id="Fourier series, sawtooth, harmonics 2-10"
        ),
        pytest.param(
            TRIANGLE[:9], np.sqrt(sum(k**-4.0 for k in (3, 5, 7, 9))), id="Fourier series, triangle, harmonics 3-9"
        ),
    ],
)
def test_harmonics_of_known_series(coefficients, expected):
    assert thd(measured(0.5 * series(TONE_HZ, coefficients))) == pytest.approx(expected, abs=1e-6)


def test_square_wave_in_the_20_khz_band():
    result = measured(0.5 * series(TONE_HZ, SQUARE))
    assert rest_over_fundamental(result) == pytest.approx(0.456860, abs=2e-5)  # Fourier series, harmonics up to 19
    # THD_R = THD_F / sqrt(1 + THD_F^2): AES17 refers to the total.
    assert rest_over_total(result) == pytest.approx(0.456860 / np.sqrt(1.0 + 0.456860**2), abs=2e-5)


@pytest.mark.parametrize(
    ("coefficients", "whole", "tail"),
    [
        # What lies above the 199th harmonic is missing: the tails of the sums of 1/k^2, 1/k^4 and of the odd 1/k^2.
        pytest.param(SAWTOOTH, np.sqrt(np.pi**2 / 6.0 - 1.0), 1.0 / 199.5, id="sawtooth, sqrt(pi^2/6 - 1) = 0.803078"),
        pytest.param(TRIANGLE, np.sqrt(np.pi**4 / 96.0 - 1.0), 0.0, id="triangle, sqrt(pi^4/96 - 1) = 0.121153"),
        pytest.param(
            [1.0 / k if k % 2 else 0.0 for k in range(1, 200)],
            np.sqrt(np.pi**2 / 8.0 - 1.0),
            1.0 / 400.0,
            id="square, sqrt(pi^2/8 - 1) = 0.483426",
        ),
    ],
)
def test_whole_series_of_a_100_hz_tone(coefficients, whole, tail):
    result = measured(0.5 * series(100.0, coefficients), 100.0)
    assert rest_over_fundamental(result) == pytest.approx(np.sqrt(whole**2 - tail), rel=2e-4)


@pytest.mark.parametrize(
    ("clip", "all_harmonics", "third"),
    [
        pytest.param(0.9, 0.042199, 0.032863, id="Fourier series, sine clipped at 0.9"),
        pytest.param(0.8, 0.089786, 0.081859, id="Fourier series, sine clipped at 0.8"),
        pytest.param(0.707946, 0.133795, None, id="Fourier series, sine clipped 3 dB below its peak"),
        pytest.param(0.5, 0.232938, 0.226326, id="Fourier series, sine clipped at half"),
    ],
)
def test_clipped_sines(clip, all_harmonics, third):
    rate_hz = 192000
    sine = np.sin(TWO_PI * 97.0 * time_s(2.75, rate_hz))
    result = measured(np.clip(sine, -clip, clip), 97.0, rate_hz)
    # Harmonics above 20 kHz (the 207th and up) and aliases hold less than 1e-5 of the fundamental.
    assert rest_over_fundamental(result) == pytest.approx(all_harmonics, abs=3e-5)
    theta = np.arcsin(clip)
    fundamental = 2.0 / np.pi * (theta + clip * np.sqrt(1.0 - clip**2))
    assert np.abs(result.tone.amplitude[0, 0]) == pytest.approx(fundamental, abs=1e-6)
    if third is not None:
        assert np.abs(result.harmonics.share[1, 0]) == pytest.approx(third, abs=2e-6)


@pytest.mark.parametrize(
    ("bend", "expected_db"),
    [
        pytest.param(lambda x: x + 0.01 * x**2, -46.021, id="y = x + 0.01 x^2: h2/h1 = a/2"),
        pytest.param(lambda x: x + 0.01 * x**3, -52.106, id="y = x + 0.01 x^3: h3/h1 = (a/4)/(1 + 3a/4)"),
    ],
)
def test_bent_curves(bend, expected_db):
    result = measured(bend(np.cos(TWO_PI * TONE_HZ * time_s(2.75, 48000))))
    assert 20.0 * np.log10(thd(result)) == pytest.approx(expected_db, abs=5e-4)


def test_shares_are_signed_and_do_not_know_delay_or_level():
    time = time_s(2.75, 48000)

    def shares(delay_s, level):
        sine = np.cos(TWO_PI * TONE_HZ * (time - delay_s))
        return measured(level * (sine + 0.01 * sine**2 - 0.02 * sine**3)).harmonics.share[:2, 0]

    # Derived: cos^2 = 1/2 + cos(2x)/2, cos^3 = 3/4 cos x + cos(3x)/4; fundamental 1 - 0.015.
    expected = np.array([0.005, -0.005]) / 0.985
    for delay_s, level in ((0.0, 0.9), (1.234e-4, 0.3)):
        np.testing.assert_allclose(shares(delay_s, level), expected, atol=1e-8)


def test_an_inverted_path_has_the_inverted_shares():
    sine = np.cos(TWO_PI * TONE_HZ * time_s(2.75, 48000) + 0.4)
    sound = sine + 0.01 * sine**2 + 0.02 * sine**3 + 0.003 * sine**4
    plain, inverted = measured(0.5 * sound).harmonics, measured(-0.5 * sound).harmonics
    np.testing.assert_allclose(inverted.share, plain.inverted().share, atol=1e-9)
    assert np.abs(inverted.share - plain.share)[0, 0] > 0.009


def pair(frequency_hz, amplitudes, seconds=1.75, rate_hz=48000):
    time = time_s(seconds, rate_hz)
    return sum(
        amplitude * np.cos(TWO_PI * frequency * time + phase)
        for frequency, amplitude, phase in zip(frequency_hz, amplitudes, (0.3, 1.9), strict=True)
    )


def test_smpte_sidebands():
    # SMPTE RP 120 pair; product 2 a x y of y = x + a x^2: each sideband a * 0.8 of the carrier (elementary).
    sound = pair((60.0, 7000.0), (0.8, 0.2))
    result = smpte_distortion((sound + 0.01 * sound**2)[:, None], 48000, (60.0, 7000.0))
    np.testing.assert_allclose(np.abs(result.products.share[:2, 0]), 0.008, rtol=1e-6)
    assert np.sqrt(result.products.total(0).power) == pytest.approx(0.011314, abs=1e-6)  # 1.1314 % power sum
    assert np.abs(result.products.share[2:, 0]).max() < 1e-8


def test_smpte_third_order():
    # Derived: a x^3 with tones A (low) and B (high) leaves 3/4 a A^2 B at high +- 2 low.
    sound = pair((60.0, 7000.0), (0.8, 0.2))
    result = smpte_distortion((sound + 0.01 * sound**3)[:, None], 48000, (60.0, 7000.0))
    carrier = 0.2 + 0.01 * (0.75 * 0.2**3 + 1.5 * 0.2 * 0.8**2)
    expected = 0.01 * 0.75 * 0.8**2 * 0.2 / carrier
    np.testing.assert_allclose(np.abs(result.products.share[2:, 0]), expected, rtol=1e-6)
    assert np.sqrt(result.products.total(0, order=3).power) == pytest.approx(np.sqrt(2.0) * expected, rel=1e-6)


def test_mains_hum_beside_the_sidebands_does_not_matter():
    # Hum of 50 and of 60 Hz has harmonics 10 and 20 Hz beside every sideband.
    sound = pair((60.0, 7000.0), (0.8, 0.2))
    time = time_s(1.75, 48000)
    bent = sound + 1e-4 * sound**2
    for mains_hz in (50.02, 59.98):
        hum = sum(10.0 ** (-70.0 / 20.0) * np.cos(TWO_PI * mains_hz * k * time + k**2) for k in range(1, 160))
        clean = smpte_distortion(bent[:, None], 48000, (60.0, 7000.0)).products
        hummed = smpte_distortion((bent + hum)[:, None], 48000, (60.0, 7000.0)).products
        np.testing.assert_allclose(hummed.share[:2], clean.share[:2], rtol=0.01)
        assert np.abs(hummed.share - clean.share).max() < 2e-6


def test_difference_frequency():
    # IEC 60268-3 pair, two tones of 0.5; y = x + 0.01 x^2: 0.0025 at 1 kHz, 0.25 % of the sum (elementary).
    sound = pair((19000.0, 20000.0), (0.5, 0.5))
    second = difference_distortion((sound + 0.01 * sound**2)[:, None], 48000, (19000.0, 20000.0))
    np.testing.assert_allclose(np.abs(second.products.share[:, 0]), [0.0025, 0.0, 0.0], atol=1e-8)
    # y = x + 0.01 x^3: each third-order product 0.0009375; each tone becomes 0.5 + 0.01 * 9/4 * 0.5^3.
    third = difference_distortion((sound + 0.01 * sound**3)[:, None], 192000 // 4, (19000.0, 20000.0))
    np.testing.assert_allclose(np.abs(third.products.share[1:, 0]), 0.0009375 / 1.005625, rtol=1e-6)


def test_difference_frequency_where_the_band_ends():
    at_44100 = pair((19000.0, 20000.0), (0.5, 0.5), rate_hz=44100)
    result = difference_distortion(at_44100[:, None], 44100, (19000.0, 20000.0))
    assert result.products.left_out.tolist() == []  # 21 kHz lies just below 0.48 of the rate
    at_40500 = pair((19000.0, 20000.0), (0.5, 0.5), rate_hz=40500)
    result = difference_distortion(at_40500[:, None], 40500, (19000.0, 20000.0))
    assert result.products.left_out.tolist() == [[-1, 2]]
    with pytest.raises(MeasurementError, match="does not reach"):
        difference_distortion(np.zeros((32000, 1)), 32000, (19000.0, 20000.0))


def test_a_line_of_the_bench_at_1_khz_is_not_called_intermodulation():
    rng = np.random.default_rng(4)
    sound = pair((19000.0, 20000.0), (0.4, 0.4))[:, None]
    noise = 1e-5 * rng.standard_normal((2, len(sound), 1))
    frames = 3e-4 * np.cos(TWO_PI * 1000.02 * time_s(1.75, 48000) + 1.0)[:, None]
    blind = difference_distortion(sound + frames + noise[0], 48000, (19000.0, 20000.0))
    assert not blind.products.total(0).hidden
    background = np.roll(frames, 1234, axis=0) + noise[1]
    known = difference_distortion(sound + frames + noise[0], 48000, (19000.0, 20000.0), background=background)
    assert known.products.total(0).hidden
    assert known.products.total(0).upper > (3e-4 / 0.8) ** 2


def test_lines_of_data_frames_beside_the_harmonics_do_not_matter():
    rng = np.random.default_rng(5)
    time = time_s(2.75, 48000)
    sine = 0.9 * np.cos(TWO_PI * TONE_HZ * time)
    bent = sine + 1e-4 * sine**2 + 1e-6 * rng.standard_normal(len(sine))
    frames = sum(10.0 ** (-85.0 / 20.0) * np.cos(TWO_PI * 1000.03 * k * time + k) for k in range(1, 20))
    assert thd(measured(bent + frames)) == pytest.approx(thd(measured(bent)), rel=0.01)


def test_harmonics_above_the_band_are_left_out_and_told():
    result = measured(0.5 * series(TONE_HZ, SAWTOOTH[:7], rate_hz=16000), rate_hz=16000)
    assert result.harmonics.order.tolist() == [2, 3, 4, 5, 6, 7]
    assert result.harmonics.left_out.ravel().tolist() == [8, 9, 10]
    assert result.residual.band_hz == (20.0, 8000.0)


def test_distortion_intervals_cover_and_hidden_distortion_is_bounded():
    """95 % intervals of a distortion just above the noise, and 95 % bounds of one far below it."""
    rng = np.random.default_rng(6)
    n_samples, rate_hz, n_draws = 12000, 24000, 500
    sine = np.cos(TWO_PI * TONE_HZ * np.arange(n_samples) / rate_hz)
    second = np.cos(TWO_PI * 2.0 * TONE_HZ * np.arange(n_samples) / rate_hz + 1.0)
    covered, bounded = [], []
    for share, found in ((2e-4, covered), (1e-6, bounded)):
        for _ in range(2):
            noise = 2e-3 * rng.standard_normal((n_samples, n_draws // 2))
            result = tone_distortion((sine + share * second)[:, None] + noise, rate_hz, TONE_HZ)
            totals = [result.harmonics.total(index) for index in range(n_draws // 2)]
            if found is covered:
                found += [total.low <= share**2 <= total.high for total in totals]
            else:
                found += [share**2 <= total.upper for total in totals]
    # Binomial scatter of 500 draws: 1 %; the noise under each line is itself known to 20 % only.
    assert np.mean(covered) > 0.93
    assert np.mean(bounded) > 0.93
