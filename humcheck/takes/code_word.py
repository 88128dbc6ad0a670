"""Read the code word of a marker: 18 short chirps whose polarity is read against the long chirp of their slot."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.takes.slot_fit import SlotFit
from humcheck.tracks import markers
from humcheck.tracks.waveforms import bit_chirp

Array = NDArray[np.float64]


def read_code(file: TakeFile, slot: SlotFit) -> tuple[Array, float]:
    """Return the bits of a slot's code word as the take has them.

    Parameters
    ----------
    file : TakeFile
        The take.
    slot : SlotFit
        The long chirp before the code word.

    Returns
    -------
    values : numpy.ndarray, shape (N_BITS,)
        Near 1 for a bit of value 1, near -1 for 0.
    weight : float
        Power with which the slot was received: how much these values should count.
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
    energy = np.bincount(index[inside], (template**2)[inside], minlength=markers.N_BITS)
    return match / np.maximum(energy, 1e-300), weight
