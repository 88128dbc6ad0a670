"""Bent curves: closed forms of the textbooks, and nothing folded back."""

import numpy as np
import pytest

from humcheck.simulation import ChannelPath, LinearPath, PathModel, Polynomial, Recorder, simulate_take
from tests.simulation.reading import decibels, lines, sine

RATE_HZ = 48000
NO_LIMIT = Recorder(bits=None, clip_dbfs=20.0)


def take_of(source, coefficients):
    path = PathModel(distortion=Polynomial(coefficients=coefficients), recorder=NO_LIMIT)
    samples = simulate_take(source, path=path, lead_s=0.0, tail_s=0.0).samples
    return samples[RATE_HZ // 2 : 5 * RATE_HZ // 2]


def tones(*pairs, duration_s=3.0):
    return sum(sine(frequency, duration_s, RATE_HZ) * amplitude for frequency, amplitude in pairs)


@pytest.mark.parametrize(
    ("coefficients", "order", "expected_db"),
    [
        # x + a x^2: a/2; x + a x^3: (a/4) / (1 + 3a/4).
        pytest.param((0.01,), 2, -46.021, id="x + 0.01 x^2, unit sine"),
        pytest.param((0.0, 0.01), 3, -52.106, id="x + 0.01 x^3, unit sine"),
    ],
)
def test_harmonics_of_a_unit_sine(coefficients, order, expected_db):
    harmonics = Polynomial(coefficients=coefficients).harmonics(1.0)
    assert decibels(harmonics[order - 1] / harmonics[0]) == pytest.approx(expected_db, abs=1e-3)
    found = lines(take_of(tones((1000.0, 1.0)), coefficients), RATE_HZ, [1000.0, order * 1000.0])[:, 0]
    assert decibels(found[1] / found[0]) == pytest.approx(expected_db, abs=1e-3)


def test_fifth_order_against_numbers():
    polynomial = Polynomial(coefficients=(0.02, -0.03, 0.04, 0.05))
    x = 2 * np.pi * np.arange(64) / 64
    by_numbers = np.fft.rfft(polynomial.apply(0.7 * np.cos(x))).real[1:6] / 32
    assert polynomial.harmonics(0.7) == pytest.approx(by_numbers, abs=1e-12)
    percent = 100 * np.sqrt(np.sum(by_numbers[1:] ** 2)) / by_numbers[0]
    assert polynomial.thd_percent(0.7) == pytest.approx(percent, rel=1e-9)


def test_smpte_pair():
    # Amplitudes 0.8 and 0.2, x + 0.01 x^2: sidebands of 0.8 % of the carrier each (a A B either side of the carrier B).
    samples = take_of(tones((60.0, 0.8), (7000.0, 0.2)), (0.01,))
    low, carrier, high = np.abs(lines(samples, RATE_HZ, [6940.0, 7000.0, 7060.0]))[:, 0]
    assert [low / carrier, high / carrier] == pytest.approx([0.008, 0.008], rel=1e-4)


def test_difference_pair():
    # Two tones of 0.5: x^2 leaves 0.0025 at 1 kHz, x^3 leaves 0.0009375 at 18 and 21 kHz (0.01 each).
    pair = tones((19e3, 0.5), (20e3, 0.5))
    second = np.abs(lines(take_of(pair, (0.01,)), RATE_HZ, [1000.0, 8000.0, 9000.0, 10000.0]))[:, 0]
    assert second[0] == pytest.approx(0.0025, rel=1e-4)
    # 40, 39 and 38 kHz would fold to 8, 9 and 10 kHz: a converter's filter has taken them.
    assert decibels(second[1:].max()) < -140
    third = np.abs(lines(take_of(pair, (0.0, 0.01)), RATE_HZ, [18e3, 21e3, 9e3, 12e3]))[:, 0]
    assert third[:2] == pytest.approx([0.0009375, 0.0009375], rel=1e-4)
    assert decibels(third[2:].max()) < -140


def test_truth_counts_the_gain_before_the_curve():
    linear = LinearPath(left=ChannelPath(gain_db=-20 * np.log10(2.0)))
    path = PathModel(linear=linear, distortion=Polynomial(coefficients=(0.01,)), recorder=Recorder(bits=None))
    truth = simulate_take(sine(997.0, 1.0, RATE_HZ), path=path).truth
    # Half the amplitude, half the second harmonic: 0.25 % and 0.5 %.
    assert truth.thd_percent(0.0) == pytest.approx([0.25, 0.5], rel=1e-9)
