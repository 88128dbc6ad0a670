"""How far noise moves the arrival of each chirp: its variance, measured beside the chirps themselves.

What a path does to a chirp (a filter's ringing) is the same at every marker, noise is not. So the residuals of all
markers, laid over each other, are split into what they share and what they do not; the second is the noise, hum and
coding noise included, taken in the band that moves the arrival.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.spectra import fast_length
from humcheck.takes.slot_fit import SlotFit

Array = NDArray[np.float64]

#: What rounding leaves, in samples.
FLOOR_SAMPLES = 2e-8


def rough_variances(slots: Sequence[SlotFit]) -> Array:
    """Return variances that take all that a chirp leaves for noise: quick, and too large where a filter rings."""
    noise = np.array([np.mean(slot.residual[:, slot.timing_gains() != 0.0] ** 2) for slot in slots])
    return np.asarray(noise / [slot.information() for slot in slots] + FLOOR_SAMPLES**2)


def arrival_variances(slots: Sequence[SlotFit]) -> Array:
    """Return the variance of each slot's arrival in square samples.

    Parameters
    ----------
    slots : sequence of SlotFit
        Long chirps of a take.

    Returns
    -------
    numpy.ndarray, shape (n_slots,)
    """
    variances = np.empty(len(slots))
    for channel in {slot.channel for slot in slots}:
        places = [place for place, slot in enumerate(slots) if slot.channel == channel]
        variances[places] = _of_one_channel([slots[place] for place in places])
    return variances + FLOOR_SAMPLES**2


def _of_one_channel(slots: list[SlotFit]) -> Array:
    n_fft = fast_length(max(len(slot.residual) for slot in slots) + 2)
    strength = np.array([slot.timing_gains() for slot in slots])
    power = _noise_power(slots, strength, n_fft)
    variances = []
    for slot, gains in zip(slots, strength, strict=True):
        slope_power = np.abs(np.fft.rfft(slot.slope_unit, n_fft)) ** 2
        slope_power[1:-1] *= 2.0
        # Variance of the sum over samples and channels of gain * slope * noise, by the noise's spectrum.
        moved = float(np.sum((slope_power @ power) * gains**2)) / n_fft
        variances.append(moved / slot.information() ** 2)
    return np.array(variances)


def _noise_power(slots: list[SlotFit], strength: Array, n_fft: int) -> Array:
    """Return the noise's power per sample in each bin and take channel, shape (n_bins, n_channels)."""
    spectra = np.stack([_laid_over(slot, n_fft) for slot in slots])  # (n_slots, n_bins, n_channels)
    n_samples = np.mean([len(slot.residual) for slot in slots])
    if len(slots) < 2:
        return np.asarray(np.abs(spectra[0]) ** 2 / n_samples)
    total = np.maximum(np.sum(strength**2, axis=0), 1e-300)
    shared = np.sum(spectra * strength[:, None, :], axis=0) / total
    noise = spectra - shared[None] * strength[:, None, :]
    # Each slot gives up its own share of freedom to the mean.
    freedom = len(slots) - 1
    return np.asarray(np.sum(np.abs(noise) ** 2, axis=0) / (freedom * n_samples))


def _laid_over(slot: SlotFit, n_fft: int) -> NDArray[np.complex128]:
    """Return the residual's spectrum counted from the chirp's exact start."""
    spectrum = np.fft.rfft(slot.residual, n_fft, axis=0)
    late = slot.placement.start_index - slot.first_index
    turn = np.exp(2j * np.pi * np.arange(len(spectrum)) / n_fft * late)
    return np.asarray(spectrum * turn[:, None])
