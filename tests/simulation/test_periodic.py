"""Waveforms by their Fourier series: against the plain sum."""

import numpy as np
import pytest

from humcheck.simulation.periodic import add_periodic, periodic


@pytest.mark.parametrize("n_harmonics", [1, 7, 400])
def test_table_gives_the_sum_of_its_harmonics(n_harmonics):
    rng = np.random.default_rng(n_harmonics)
    amplitudes = rng.standard_normal(n_harmonics) + 1j * rng.standard_normal(n_harmonics)
    cycles = rng.uniform(-3, 5000, 2000)
    order = np.arange(1, n_harmonics + 1)
    wanted = np.real(np.exp(2j * np.pi * cycles[:, np.newaxis] * order) @ amplitudes)
    error = periodic(amplitudes, cycles) - wanted
    # Parabola at the nearest of 1024 points: (2 pi / 1024)^3 / 48 of the highest harmonic, fewer for the others.
    assert np.abs(error).max() < 5e-9 * np.abs(amplitudes).max() * max(1.0, np.sqrt(n_harmonics))


def test_channels_that_differ_in_more_than_a_factor_are_kept_apart():
    cycles = np.linspace(0, 3, 1000)
    alike = np.array([[1.0, -0.5], [0.2j, -0.1j]])
    different = np.array([[1.0, 1.0j], [0.2j, 0.0]])
    for amplitudes in (alike, different):
        sound = np.zeros((2, cycles.size))
        add_periodic(sound, amplitudes.astype(complex), cycles)
        wanted = np.real(np.exp(2j * np.pi * cycles[:, np.newaxis] * np.array([1, 2])) @ amplitudes)
        assert np.abs(sound.T - wanted).max() < 1e-8


def test_nothing_adds_nothing():
    sound = np.zeros((2, 10))
    add_periodic(sound, np.zeros((3, 2), dtype=complex), np.arange(10) / 7)
    assert not sound.any()
