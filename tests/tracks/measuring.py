"""Small measurements for the tests, written apart from the package that they check."""

from __future__ import annotations

import numpy as np

STEP = {16: 2.0**-15, 24: 2.0**-23}


def level_dbfs(samples):
    """AES17: a full-scale sine (mean square 1/2) reads 0 dBFS."""
    return 10.0 * np.log10(2.0 * np.mean(np.square(samples)))


def cut(samples, rate_hz, start_s, end_s):
    """Samples between two track times that fall on whole samples."""
    return samples[round(start_s * rate_hz) : round(end_s * rate_hz)]


def tone_amplitude(samples, rate_hz, frequency_hz):
    """Amplitude of a tone that has a whole number of cycles in `samples`."""
    time_s = np.arange(len(samples)) / rate_hz
    return 2.0 * abs(np.mean(samples * np.exp(-2j * np.pi * frequency_hz * time_s)))
