"""Readings taken with nothing but a least-squares fit and an FFT, so that the simulation is not checked by itself."""

import numpy as np
from scipy import fft


def lines(samples, rate_hz, frequencies_hz):
    """Return complex peak amplitudes of known frequencies, shape (n_frequencies, n_channels), phase at sample 0."""
    time_s = np.arange(samples.shape[0]) / rate_hz
    columns = []
    for frequency in frequencies_hz:
        columns += [np.cos(2 * np.pi * frequency * time_s), -np.sin(2 * np.pi * frequency * time_s)]
    basis = np.stack(columns, axis=1)
    solution = np.linalg.solve(basis.T @ basis, basis.T @ samples)
    return solution[0::2] + 1j * solution[1::2]


def band_dbfs(samples, rate_hz, low_hz, high_hz):
    """Return the level between two frequencies by the AES17 convention, one per channel."""
    power = np.abs(fft.rfft(samples, axis=0)) ** 2 * 2 / samples.shape[0] ** 2
    frequency_hz = np.arange(power.shape[0]) * rate_hz / samples.shape[0]
    inside = (frequency_hz >= low_hz) & (frequency_hz < high_hz)
    return 10 * np.log10(2 * power[inside].sum(axis=0))


def decibels(ratio):
    return 20 * np.log10(np.abs(ratio))


def sine(frequency_hz, duration_s, rate_hz, left=1.0, right=1.0):
    """Return a sine with soft edges of 0.2 s in both channels, shape (n, 2)."""
    n = round(duration_s * rate_hz)
    time_s = np.arange(n) / rate_hz
    edge = np.minimum(1.0, np.minimum(time_s, duration_s - time_s) / 0.2)
    tone = np.sin(2 * np.pi * frequency_hz * time_s) * np.sin(np.pi / 2 * edge) ** 2
    return tone[:, np.newaxis] * np.array([left, right])
