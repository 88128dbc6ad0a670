"""Read the code word of a marker: 18 short chirps whose polarity is read against the long chirp of their slot."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.audio.spectra import fast_length
from humcheck.takes.equalized import EqualizedFile
from humcheck.takes.slot_fit import SlotFit
from humcheck.tracks import markers
from humcheck.tracks.waveforms import bit_chirp

Array = NDArray[np.float64]

#: The clock's errors that `code_rate` tries.
_CODE_REACH, _CODE_STEP = 1.5e-3, 2e-5
_CODE_MARGIN_S = 0.004
#: Where a speed sways: how much later the code word may come, and how much slower run.
_SWAY_LATE_S, _SWAY_LATE_STEP_S = 0.002, 1.5e-5
_SWAY_RATE, _SWAY_RATE_STEP = 8e-3, 4e-4
_BIT_HZ_PER_S = (markers.BIT_HIGH_HZ - markers.BIT_LOW_HZ) / markers.BIT_S
_BIT_MIDDLE_HZ = 0.5 * (markers.BIT_HIGH_HZ + markers.BIT_LOW_HZ)
#: How much later a bit seems to come for each part by which the clock is slower: its middle, and its sweep.
_BIT_LEVER_S = {
    "left": 0.5 * markers.BIT_S + _BIT_MIDDLE_HZ / _BIT_HZ_PER_S,
    "right": 0.5 * markers.BIT_S - _BIT_MIDDLE_HZ / _BIT_HZ_PER_S,
}


class CodeReading(NamedTuple):
    """A code word as a take has it.

    Attributes
    ----------
    values : numpy.ndarray, shape (N_BITS,)
        Near 1 for a bit of value 1, near -1 for 0.
    weight : float
        Power with which the slot was received: how much these values should count.
    share : float
        Share of the sound at the code word's place that the bits explain, 0 to 1; other sound gives 0.02.
    """

    values: Array
    weight: float
    share: float


def read_code(file: TakeFile | EqualizedFile, slot: SlotFit) -> CodeReading:
    """Return a slot's code word as the take has it.

    Parameters
    ----------
    file : TakeFile or EqualizedFile
        The take.
    slot : SlotFit
        The long chirp before the code word.
    """
    rate_hz = slot.placement.samples_per_s
    code = slot.placement.moved(markers.CODE_OFFSET_S)
    first = int(np.floor(code.start_index))
    n_samples = int(np.ceil(markers.N_BITS * markers.BIT_S * rate_hz)) + 1
    gains = slot.timing_gains()
    weight = float(gains @ gains)
    received = file.read(first, first + n_samples) @ gains / weight
    time_s = code.time_s(first, n_samples)
    index = np.floor(time_s / markers.BIT_S).astype(np.intp)
    template = bit_chirp(slot.channel, time_s - index * markers.BIT_S, rate_hz)
    inside = (index >= 0) & (index < markers.N_BITS)
    match = np.bincount(index[inside], (received * template)[inside], minlength=markers.N_BITS)
    energy = np.maximum(np.bincount(index[inside], (template**2)[inside], minlength=markers.N_BITS), 1e-300)
    share = float(np.sum(match**2 / energy)) / max(float(received @ received), 1e-300)
    return CodeReading(match / energy, weight, share)


def code_rate(file: TakeFile | EqualizedFile, slot: SlotFit, lever_s: float) -> tuple[float, float]:
    """Return by what share the clock is slower than a single chirp was taken for, by where the code word comes.

    Parameters
    ----------
    file : TakeFile or EqualizedFile
        The take.
    slot : SlotFit
        The long chirp before the code word.
    lever_s : float
        How much later the chirp seems to come for each part by which the clock is slower.

    Returns
    -------
    error : float
        The share by which the clock is slower.
    share : float
        Share of the sound at the code word's place that its bits then explain, 0 to 1; noise gives 0.05.
    """
    match, first, energy = _matched(file, slot)
    rate_hz = slot.placement.samples_per_s
    code = slot.placement.moved(markers.CODE_OFFSET_S)
    errors = np.arange(-_CODE_REACH, _CODE_REACH, _CODE_STEP)
    bit_s = markers.BIT_S * np.arange(markers.N_BITS)
    # Seen from the chirp's middle, which stays where it is, a bit comes later by its distance from there.
    late_s = errors[:, None] * (markers.CODE_OFFSET_S + bit_s + _BIT_LEVER_S[slot.channel] - lever_s)
    place = code.start_index - first + (bit_s + late_s) * rate_hz
    power = np.interp(place, np.arange(len(match)), match**2).sum(axis=1)
    best = int(np.argmax(power))
    return float(errors[best]), float(power[best]) / energy


def swaying_code(file: TakeFile | EqualizedFile, slot: SlotFit) -> CodeReading:
    """Return a code word that comes earlier or later, faster or slower than its chirp has it: where a speed sways.

    Parameters
    ----------
    file : TakeFile or EqualizedFile
        The take.
    slot : SlotFit
        The long chirp before the code word.
    """
    match, first, energy = _matched(file, slot)
    rate_hz = slot.placement.samples_per_s
    start = slot.placement.moved(markers.CODE_OFFSET_S).start_index - first
    late = np.arange(-_SWAY_LATE_S, _SWAY_LATE_S, _SWAY_LATE_STEP_S)[:, None, None]
    slower = np.arange(-_SWAY_RATE, _SWAY_RATE, _SWAY_RATE_STEP)[None, :, None]
    place = start + (late + markers.BIT_S * np.arange(markers.N_BITS) * (1.0 + slower)) * rate_hz
    values = np.interp(place, np.arange(len(match)), match)
    power = np.sum(values**2, axis=2)
    best = np.unravel_index(int(np.argmax(power)), power.shape)
    weight = float(np.sum(slot.timing_gains() ** 2))
    template = _bit(slot, rate_hz)
    return CodeReading(values[best] / (weight * float(template @ template)), weight, float(power[best]) / energy)


def _matched(file: TakeFile | EqualizedFile, slot: SlotFit) -> tuple[Array, int, float]:
    """Return the correlation with a bit around the code word, its first take index, and what a share is counted of."""
    rate_hz = slot.placement.samples_per_s
    code = slot.placement.moved(markers.CODE_OFFSET_S)
    margin = int(_CODE_MARGIN_S * rate_hz)
    first = int(np.floor(code.start_index)) - margin
    n_samples = int(np.ceil(markers.N_BITS * markers.BIT_S * rate_hz)) + 2 * margin
    received = file.read(first, first + n_samples) @ slot.timing_gains()
    template = _bit(slot, rate_hz)
    n_fft = fast_length(n_samples + len(template))
    match = np.fft.irfft(np.fft.rfft(received, n_fft) * np.conj(np.fft.rfft(template, n_fft)), n_fft)
    inside = received[margin : n_samples - margin]
    energy = max(float(template @ template) * float(inside @ inside), 1e-300)
    return match[: n_samples - len(template)], first, energy


def _bit(slot: SlotFit, rate_hz: float) -> Array:
    return bit_chirp(slot.channel, np.arange(int(markers.BIT_S * rate_hz)) / rate_hz, rate_hz)
