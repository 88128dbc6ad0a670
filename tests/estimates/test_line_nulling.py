"""Readings that are blind to steady lines, against a general-purpose library's least squares."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.linalg

from humcheck.estimates.sweeps.deconvolution import ImpulseResponse, SweepLaw
from humcheck.estimates.sweeps.line_nulling import nulled_kernel
from humcheck.estimates.sweeps.phasors import Phasors
from humcheck.estimates.sweeps.steady_lines import LineScan
from humcheck.estimates.sweeps.windows import Window, window_kernel

RATE_HZ = 6000.0
BIN_HZ = 0.1
LAW = SweepLaw(time_constant_s=1.2, low_hz=3.0, high_hz=22700.0, first_s=-1.0, last_s=12.0)
WINDOW = Window(early_s=0.008, late_s=0.03)


def scan(lines_hz, power=1.0):
    bins = np.rint(np.array(lines_hz) / BIN_HZ).astype(np.intp)
    return LineScan(
        line_bins=bins, bin_hz=BIN_HZ, line_power=np.full((1, bins.size), power), noise_power=np.full((1, 200), 1e-12)
    )


def nulled(frequency_hz, lines):
    silence = ImpulseResponse(samples=np.zeros((1, 60000)), rate_hz=RATE_HZ)
    return nulled_kernel(frequency_hz, WINDOW, silence, 0, lines, LAW)[0]


@pytest.mark.parametrize(
    ("frequency_hz", "lines_hz"),
    [
        (1000.0, [900.0, 950.1, 1000.0, 1050.2, 1100.0]),
        (250.0, [50.0, 150.0, 250.1, 263.4, 700.0]),
        (40.0, [50.0]),
    ],
)
def test_a_kernel_is_blind_to_lines_and_to_lines_that_rise_and_turn(frequency_hz, lines_hz):
    kernel = nulled(frequency_hz, scan(lines_hz))
    plain = window_kernel(frequency_hz, WINDOW, RATE_HZ)
    for line_hz in lines_hz:
        for phase in (0.0, 1.0):
            wave = np.cos(2 * np.pi * line_hz * kernel.local / RATE_HZ + phase)
            heard = np.abs(plain.weights).sum()
            assert abs(kernel.weights @ wave) < 1e-6 * heard
            assert abs(kernel.weights @ (wave * kernel.local)) < 1e-6 * heard * np.abs(kernel.local).max()


def test_the_lines_are_fitted_by_least_squares():
    lines_hz = np.array([900.0, 950.1, 1000.0, 1050.2, 1600.0])
    kernel, plain = nulled(1000.0, scan(lines_hz)), window_kernel(1000.0, WINDOW, RATE_HZ)
    # Reading sound less the lines that fit it best around the window is what the kernel must do in one step.
    sound = np.random.default_rng(3).normal(size=kernel.local.size)
    turns = 2 * np.pi * np.outer(kernel.local, lines_hz) / RATE_HZ
    basis = np.concatenate([np.cos(turns), np.sin(turns)], axis=1)
    basis = np.concatenate([basis, basis * (kernel.local / np.abs(kernel.local).max())[:, np.newaxis]], axis=1)
    share = _share_of_fit(kernel.local / RATE_HZ)
    root = np.sqrt(share)
    fitted = basis @ scipy.linalg.lstsq(basis * root[:, np.newaxis], sound * root)[0]
    inside = np.isin(kernel.local, plain.local)
    assert kernel.weights @ sound == pytest.approx(plain.weights @ (sound - fitted)[inside], rel=1e-6)


@pytest.mark.parametrize("first", [1, 41])
def test_few_lines_and_many_are_fitted_alike(monkeypatch, first):
    # From the 41st on they stand below half the rate: sums of two of them are as good as differences.
    lines = scan([50.0 * order + 0.1 * (order % 3) for order in range(first, first + 19)])
    frequency_hz = 50.0 * first + 500.0
    many = nulled(frequency_hz, lines)
    monkeypatch.setattr("humcheck.estimates.sweeps.line_nulling.FEW_LINES", 400)
    written_out = nulled(frequency_hz, lines)
    np.testing.assert_allclose(many.weights, written_out.weights, atol=1e-9 * np.abs(written_out.weights).max())


def test_a_line_that_noise_hides_is_left_in():
    plain = window_kernel(1000.0, WINDOW, RATE_HZ)
    assert nulled(1000.0, scan([990.0, 1000.0], power=1e-13)) is plain


def test_sums_and_waves_of_phasors_are_what_a_written_out_matrix_gives():
    rng = np.random.default_rng(0)
    turns, local = np.array([0.0, 0.01, 0.123456, 0.49, 2.3]), np.arange(-150, 207)
    matrix = np.exp(2j * np.pi * np.outer(turns, local))
    phasors = Phasors(turns, local)
    rows, amplitudes = rng.normal(size=(3, local.size)), rng.normal(size=(2, 5)) + 1j * rng.normal(size=(2, 5))
    np.testing.assert_allclose(phasors.rows(), matrix, atol=1e-12)
    np.testing.assert_allclose(phasors.sums(rows), rows @ matrix.T, atol=1e-11)
    np.testing.assert_allclose(phasors.waves(amplitudes), amplitudes @ matrix, atol=1e-11)


def _share_of_fit(time_s):
    """Return the weight of the fit: none in the window, soft edges over 0.3 of each side's 0.152 s or 0.228 s."""
    reaches = {-1: 4.0 * WINDOW.length_s, 1: 6.0 * WINDOW.length_s}
    weight = np.zeros(time_s.size)
    for side, reach_s in reaches.items():
        beyond_s = side * time_s - (WINDOW.early_s if side < 0 else WINDOW.late_s)
        x = np.clip(np.minimum(beyond_s, reach_s - beyond_s) / (0.3 * reach_s), 0.0, 1.0)
        # the integral of sin^4, from 0 to 1
        weight += x - 2 / (3 * np.pi) * np.sin(2 * np.pi * x) + 1 / (12 * np.pi) * np.sin(4 * np.pi * x)
    return weight
