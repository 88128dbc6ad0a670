"""Waveforms that repeat exactly, given by their Fourier series and read at any phase: no aliasing by construction."""

from __future__ import annotations

import numpy as np
from scipy import fft

from humcheck.audio.levels import Floats
from humcheck.simulation.components import Complexes

#: Points of the table per period of the highest harmonic: the parabola at the nearest point then errs by
#: (2 pi / 1024)^3 / 48, -166 dB of that harmonic.
_POINTS_PER_CYCLE = 1024
_BLOCK = 1 << 14


def add_periodic(sound: Floats, amplitudes: Complexes, cycles: Floats) -> None:
    """Add a repeating waveform, ``sum over k of Re(a_k exp(j 2 pi k cycles))`` for k = 1...K.

    Parameters
    ----------
    sound : numpy.ndarray, shape (n_channels, n_samples)
        Changed in place.
    amplitudes : numpy.ndarray, shape (n_harmonics, n_channels), complex
        Peak amplitude and phase of harmonics 1, 2, ... K in each channel.
    cycles : numpy.ndarray, shape (n_samples,)
        Phase in cycles of the fundamental.
    """
    reference, factors = _common_shape(amplitudes)
    if reference is not None:
        waveform = periodic(reference, cycles)
        for channel in np.flatnonzero(factors):
            sound[channel] += factors[channel] * waveform
        return
    for index, own in enumerate(amplitudes.T):
        sound[index] += periodic(own, cycles)


def periodic(amplitudes: Complexes, cycles: Floats) -> Floats:
    """Return one channel of a repeating waveform at phases in cycles, both shape (n,); see `add_periodic`."""
    value, slope, bend = _tables(amplitudes)
    last = value.size - 1
    out = np.empty(cycles.size)
    for start in range(0, cycles.size, _BLOCK):
        place = cycles[start : start + _BLOCK] * value.size
        nearest = np.rint(place)
        rest = place - nearest
        index = np.bitwise_and(nearest.astype(np.intp), last)
        part = bend.take(index) * rest
        part += slope.take(index)
        part *= rest
        part += value.take(index)
        out[start : start + _BLOCK] = part
    return out


def _tables(amplitudes: Complexes) -> tuple[Floats, Floats, Floats]:
    """Return value, slope and half the curvature (per step and step squared) over one period, a power of two long."""
    n_harmonics = amplitudes.size
    n_points = 1 << (max(1, n_harmonics) * _POINTS_PER_CYCLE - 1).bit_length()
    spectrum = np.zeros(n_points // 2 + 1, dtype=np.complex128)
    spectrum[1 : n_harmonics + 1] = amplitudes * (n_points / 2)
    slope = spectrum * (2j * np.pi / n_points * np.arange(spectrum.size))
    bend = slope * (1j * np.pi / n_points * np.arange(spectrum.size))
    value, first, second = (fft.irfft(part, n_points) for part in (spectrum, slope, bend))
    return value, first, second


def _common_shape(amplitudes: Complexes) -> tuple[Complexes | None, Floats]:
    """Return one waveform and each channel's real factor, or None where the channels differ in more than that."""
    power = np.sum(np.abs(amplitudes) ** 2, axis=0)
    strongest = int(np.argmax(power))
    reference = amplitudes[:, strongest]
    if power[strongest] == 0:
        return reference, np.zeros(power.size)
    factors = np.real(np.conj(reference) @ amplitudes) / power[strongest]
    differs = np.abs(amplitudes - reference[:, np.newaxis] * factors) > 1e-12 * np.abs(reference).max()
    return (None if differs.any() else reference), factors
