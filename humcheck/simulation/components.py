"""What resistors and capacitors do to sound: the few formulas that paths, bleed and hum are made of.

All are elementary circuit theory; complex gains are by the convention ``exp(+j 2 pi f t)``.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import Floats

Complexes = npt.NDArray[np.complex128]


def parallel_ohm(*resistances_ohm: float) -> float:
    """Return the resistance of resistors in parallel."""
    return 1.0 / sum(1.0 / resistance for resistance in resistances_ohm)


def corner_hz(resistance_ohm: float, capacitance_f: float) -> float:
    """Return the frequency at which a resistor and a capacitor lose 3.01 dB."""
    return 1.0 / (2 * math.pi * resistance_ohm * capacitance_f)


def divider_gain(source_ohm: float, load_ohm: float) -> float:
    """Return the voltage ratio of a source of some resistance into a load."""
    return load_ohm / (source_ohm + load_ohm)


def high_pass(frequency_hz: Floats, low_corner_hz: float) -> Complexes:
    """Return the gain of a series capacitor into a load; a corner of 0 Hz is a plain wire."""
    if low_corner_hz == 0:
        return np.ones(np.shape(frequency_hz), dtype=np.complex128)
    ratio = 1j * np.asarray(frequency_hz) / low_corner_hz
    return np.asarray(ratio / (1 + ratio))


def low_pass(frequency_hz: Floats, high_corner_hz: float) -> Complexes:
    """Return the gain of a series resistor into a capacitor; an infinite corner is a plain wire."""
    return np.asarray(1 / (1 + 1j * np.asarray(frequency_hz) / high_corner_hz))


def capacitive_coupling(frequency_hz: Floats, capacitance_f: float, victim_ohm: float) -> Complexes:
    """Return the voltage that a line couples through a stray capacitance into a line of some resistance.

    Parameters
    ----------
    frequency_hz : numpy.ndarray
        Frequencies in Hz.
    capacitance_f : float
        Stray capacitance in farad; 0 couples nothing.
    victim_ohm : float
        Resistance from the disturbed line to ground, source and load in parallel.
    """
    if capacitance_f == 0:
        return np.zeros(np.shape(frequency_hz), dtype=np.complex128)
    return high_pass(frequency_hz, corner_hz(victim_ohm, capacitance_f))


def shared_resistance_coupling(shared_ohm: float, load_ohm: float) -> float:
    """Return the part of a line's voltage that its load current leaves on a return shared with another line."""
    return shared_ohm / (shared_ohm + load_ohm)


def common_impedance_volts(current_a: float, shared_ohm: float) -> float:
    """Return the voltage that a current, such as a ground loop's, leaves across a shared resistance."""
    return current_a * shared_ohm
