"""Frequency-dependent windows: how a gain at one frequency is read off an impulse response.

A window is so many cycles long, flat inside and with the softest of edges. Around the linear
response it keeps distortion, hum and noise out; laid elsewhere it reads what noise and hum leave there, which is the
uncertainty of the first reading. It reaches further after the peak than before it: a device can only ring on.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from humcheck.estimates.sweeps.deconvolution import Complexes, Floats, ImpulseResponse, SweepLaw
from humcheck.estimates.sweeps.phasors import Phasors
from humcheck.tracks.envelopes import edge

LONGEST_S = 0.8
#: Soft edges keep out what the sweep does not cover, below its start and above its end; a window with cosine edges
#: reads 0.002 dB of that at 20 Hz.
FLAT_SHARE = 0.35
#: Share of the distance to the second-order distortion that a window may reach.
SHARE_OF_ADVANCE = 0.8

MOST_PLACES = 24
#: Clear space around the peak, and around distortion, when noise is read.
GUARD_S = 0.02
#: Distortion of higher orders than this counts as noise.
HIGHEST_ORDER = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowShape:
    """Length of a window in cycles of the frequency that it reads, and how short either side of it may get.

    Converter filters ring for a millisecond or more, before the peak too.
    """

    early_cycles: float
    late_cycles: float
    shortest_s: float


#: For the driven channel: no bias on what coupling capacitors do, and a dip of Q 15 is wrong by less than 0.1 dB.
RESPONSE = WindowShape(early_cycles=8.0, late_cycles=36.0, shortest_s=0.004)
#: For the idle channel: noise counts most, and what crosses over has no resonances.
LEAK = WindowShape(early_cycles=3.0, late_cycles=5.0, shortest_s=0.0015)
#: For crosstalk at 1 kHz near the noise. What crosses over by stray capacitance or shared resistance is over in
#: microseconds: the least noise is let in, and a coupling capacitor of 200 Hz costs 0.06 dB.
LEAK_SHORT = WindowShape(early_cycles=0.7, late_cycles=1.0, shortest_s=0.0005)


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A window in seconds: how far it reaches before and after its place."""

    early_s: float
    late_s: float

    @property
    def length_s(self) -> float:
        """The whole length."""
        return self.early_s + self.late_s


def window_at(frequency_hz: float, shape: WindowShape, law: SweepLaw) -> Window:
    """Return the window for one frequency, kept clear of the second-order distortion."""
    # Below twice the lowest frequency there is no second harmonic.
    clear_s = SHARE_OF_ADVANCE * law.advance_s(2) if frequency_hz > 2.0 * law.low_hz else LONGEST_S
    early_s = min(max(shape.early_cycles / frequency_hz, shape.shortest_s), clear_s, LONGEST_S)
    late_s = min(max(shape.late_cycles / frequency_hz, shape.shortest_s), LONGEST_S)
    return Window(early_s=early_s, late_s=late_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kernel:
    """Weights of the samples around a place, whose sum is the gain at one frequency.

    Attributes
    ----------
    local : numpy.ndarray, shape (n,)
        Sample indices from the place.
    weights : numpy.ndarray, shape (n,)
        Complex.
    frequency_hz : float
        In hertz of the track's clock.
    """

    local: NDArray[np.intp]
    weights: Complexes
    frequency_hz: float

    @property
    def noise_gain(self) -> float:
        """Sum of squares of the weights: what the reading does to the power of white noise."""
        return float(np.vdot(self.weights, self.weights).real)


@lru_cache(maxsize=1024)
def window_kernel(frequency_hz: float, window: Window, rate_hz: float) -> Kernel:
    """Return the windowed Fourier sum at one frequency, for samples at `rate_hz`.

    Both sweeps of a take, whose clock is one, share these.
    """
    early = int(window.early_s * rate_hz)
    late = int(window.late_s * rate_hz)
    local = np.arange(-early, late + 1)
    position = np.where(local < 0, local / (early + 1.0), local / (late + 1.0))
    weights = _edges(position) * np.conj(Phasors(np.array([frequency_hz / rate_hz]), local).rows()[0])
    local.setflags(write=False)
    weights.setflags(write=False)
    return Kernel(local=local, weights=weights, frequency_hz=frequency_hz)


def read(response: ImpulseResponse, row: int, kernel: Kernel, places_s: Floats) -> Complexes:
    """Read the gain of one channel at some places of an impulse response.

    Parameters
    ----------
    response : ImpulseResponse
        Whole at the kernel's frequency.
    row : int
        Row of the channel.
    kernel : Kernel
        For the response's rate.
    places_s : numpy.ndarray, shape (n_places,)
        Delays; each is rounded to a sample, but phases count from delay 0 exactly.

    Returns
    -------
    numpy.ndarray, shape (n_places,)
        Complex.
    """
    starts = np.rint(places_s * response.rate_hz).astype(np.intp)
    stretches = response.samples[row].take(starts[:, np.newaxis] + kernel.local, mode="wrap")
    # Two real products cost a third of a mixed one.
    parts = stretches @ kernel.weights.view(np.float64).reshape(-1, 2)
    turns = np.exp(-2j * np.pi * kernel.frequency_hz / response.rate_hz * starts)
    return np.asarray((parts[:, 0] + 1j * parts[:, 1]) * turns)


@lru_cache(maxsize=4096)
def noise_offsets_s(frequency_hz: float, window: Window, reach: Window, law: SweepLaw) -> Floats:
    """Return the places, in seconds from the peak, where a kernel meets neither response nor distortion.

    The windows overlap by half, are the nearest ones there are, at most `MOST_PLACES`, and lie inside the record: delay
    d at frequency f is what was recorded d after the sweep passed through f.

    Parameters
    ----------
    frequency_hz : float
        Frequency read.
    window, reach : Window
        The kernel's window, and how far its weights extend.
    law : SweepLaw
        The sweep.
    """
    passing_s = law.passing_s(frequency_hz)
    steps_s = 0.5 * window.length_s * np.arange(4 * MOST_PLACES)
    later_s = window.late_s + reach.early_s + GUARD_S + steps_s
    later_s = later_s[passing_s + later_s + reach.late_s <= law.last_s]
    earlier_s = -window.early_s - reach.late_s - GUARD_S - steps_s
    earlier_s = earlier_s[passing_s + earlier_s - reach.early_s >= law.first_s]
    for order in range(2, HIGHEST_ORDER + 1):
        if frequency_hz > order * law.low_hz:
            apart_s = earlier_s + law.advance_s(order)
            earlier_s = earlier_s[
                (apart_s > window.late_s + reach.early_s) | (-apart_s > window.early_s + reach.late_s)
            ]
    both_s = np.concatenate([later_s, earlier_s])
    nearest_s = both_s[np.argsort(np.abs(both_s), kind="stable")][:MOST_PLACES]
    nearest_s.setflags(write=False)
    return nearest_s


def _edges(position: Floats) -> Floats:
    """Return the window at positions from -1 to 1: flat inside, then edges of the softest kind to zero."""
    return edge((1.0 - np.abs(position)) / (1.0 - FLAT_SHARE))
