"""How many harmonics of 50 or 60 Hz agree on one fundamental: counted line by line with one long window.

This is how the open recordings' published frequencies were found: a Blackman-Harris window over the whole recording,
the peak near each harmonic, its frequency divided by its order. It shares nothing with the program.
"""

from __future__ import annotations

import numpy as np
import scipy.fft
from scipy.signal import get_window

ORDERS = range(1, 21)
HIGHEST_HZ = 1300.0
#: A peak counts from this much above the median beside it.
STANDS_OUT_DB = 13.0
BESIDE_HZ = (4.5, 14.0)
REACH_HZ = 0.25
#: Widths of the window's main lobe within which peaks of two orders agree, scaled to the fundamental.
AGREE_WIDTHS = 0.03


def power_spectrum(samples, rate_hz):
    """Return the power at each bin as far up as harmonics are sought, and the distance of the bins."""
    n_samples = len(samples)
    padded = 1 << int(np.ceil(np.log2(16 * n_samples)))
    window = get_window("blackmanharris", n_samples, fftbins=False)
    spectrum = scipy.fft.rfft((samples - samples.mean()) * window, padded)
    bin_hz = rate_hz / padded
    spectrum = spectrum[: int(HIGHEST_HZ / bin_hz)]
    return spectrum.real**2 + spectrum.imag**2, bin_hz


def harmonic_peaks(samples, rate_hz, nominal_hz, reach_hz=REACH_HZ):
    """Return (order, frequency over order, dB above what is beside it) of every harmonic that stands out."""
    return peaks_of(*power_spectrum(samples, rate_hz), rate_hz, nominal_hz, reach_hz)


def peaks_of(power, bin_hz, rate_hz, nominal_hz, reach_hz=REACH_HZ):
    """Return the same of a spectrum that was made already."""
    found = []
    for order in ORDERS:
        middle_hz = order * nominal_hz
        if middle_hz + BESIDE_HZ[1] > rate_hz / 2:
            break
        first, last = (int((middle_hz + sign * order * reach_hz) / bin_hz) for sign in (-1, 1))
        peak = first + int(power[first : last + 1].argmax())
        if peak in (first, last):
            continue
        left, top, right = np.log(power[peak - 1 : peak + 2] + 1e-300)
        frequency_hz = (peak + 0.5 * (left - right) / (left - 2 * top + right)) * bin_hz
        near, far = (int(distance / bin_hz) for distance in BESIDE_HZ)
        beside = np.concatenate([power[max(peak - far, 0) : max(peak - near, 1)], power[peak + near : peak + far]])
        over_db = 10 * np.log10(power[peak] / (np.median(beside) / np.log(2) + 1e-300))
        if over_db > STANDS_OUT_DB:
            found.append((order, float(frequency_hz / order), float(over_db)))
    return found


def most_agreeing(samples, rate_hz):
    """Return how many harmonics agree at most, of 50 or of 60 Hz, and on which frequency (their mean)."""
    best = (0, 0.0)
    spectrum = power_spectrum(samples, rate_hz)
    for nominal_hz in (50.0, 60.0):
        peaks = peaks_of(*spectrum, rate_hz, nominal_hz)
        tolerance_hz = AGREE_WIDTHS * 4 * rate_hz / len(samples)
        for _, centre_hz, _ in peaks:
            agreeing = [
                (order, over_hz)
                for order, over_hz, _ in peaks
                if abs(over_hz - centre_hz) < tolerance_hz / np.sqrt(order)
            ]
            if len(agreeing) > best[0]:
                best = (len(agreeing), float(np.mean([over_hz for _, over_hz in agreeing])))
    return best
