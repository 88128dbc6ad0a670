"""The linear part of a path: from the two channels of the source to the two channels of the recorder."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from humcheck.audio.levels import Floats, db_to_ratio
from humcheck.simulation.components import Complexes, capacitive_coupling, corner_hz, high_pass, low_pass

ChannelMap = Literal["straight", "swapped", "merged", "left-only", "right-only", "mono-source", "none"]

_HALF = 0.5
#: Rows are outputs, columns inputs.
_ROUTING: dict[str, tuple[tuple[float, float], tuple[float, float]]] = {
    "straight": ((1, 0), (0, 1)),
    "swapped": ((0, 1), (1, 0)),
    "merged": ((_HALF, _HALF), (_HALF, _HALF)),
    "left-only": ((1, 0), (0, 0)),
    "right-only": ((0, 0), (0, 1)),
    "mono-source": ((_HALF, _HALF), (_HALF, _HALF)),
    "none": ((0, 0), (0, 0)),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelPath:
    """One channel from source to recorder.

    Attributes
    ----------
    gain_db : float
        Gain where the filters are flat.
    polarity : int
        1 or -1.
    low_corners_hz : tuple of float
        Corners of first-order high-passes (coupling capacitors into loads).
    high_corners_hz : tuple of float
        Corners of first-order low-passes.
    series_capacitance_f, series_load_ohm : float
        With a capacitance above 0, the sound arrives only through it: bleed from a driven neighbour.
    """

    gain_db: float = 0.0
    polarity: int = 1
    low_corners_hz: tuple[float, ...] = ()
    high_corners_hz: tuple[float, ...] = ()
    series_capacitance_f: float = 0.0
    series_load_ohm: float = 10e3 / 11

    def gain(self, frequency_hz: Floats) -> Complexes:
        """Return the complex gain, shape of `frequency_hz`."""
        gain = np.full(np.shape(frequency_hz), self.polarity * db_to_ratio(self.gain_db), dtype=np.complex128)
        for corner in self.low_corners_hz:
            gain = gain * high_pass(frequency_hz, corner)
        for corner in self.high_corners_hz:
            gain = gain * low_pass(frequency_hz, corner)
        if self.series_capacitance_f > 0:
            gain = gain * capacitive_coupling(frequency_hz, self.series_capacitance_f, self.series_load_ohm)
        return gain


@dataclass(frozen=True, slots=True, kw_only=True)
class Crosstalk:
    """What one channel receives of the other one's voltage.

    Attributes
    ----------
    capacitance_f, victim_ohm : float
        Stray capacitance into the resistance of the idle line (rises 6.02 dB per octave); 0 is none.
    shared : float
        Voltage ratio by a shared return: the same at every frequency, may be negative.
    """

    capacitance_f: float = 0.0
    victim_ohm: float = 10e3 / 11
    shared: float = 0.0

    @classmethod
    def at_1k(cls, level_db: float, victim_ohm: float = 10e3 / 11) -> Crosstalk:
        """Return purely capacitive crosstalk of a level at 1 kHz."""
        ratio = db_to_ratio(level_db)
        # |jx / (1 + jx)| = ratio, solved for x = 1000 Hz over the corner.
        corner = 1000.0 * math.sqrt(1 - ratio**2) / ratio
        return cls(capacitance_f=1 / (2 * math.pi * corner * victim_ohm), victim_ohm=victim_ohm)

    def ratio(self, frequency_hz: Floats) -> Complexes:
        """Return the idle channel's voltage over the driven channel's."""
        return self.shared + capacitive_coupling(frequency_hz, self.capacitance_f, self.victim_ohm)

    @property
    def corner_hz(self) -> float:
        """Frequency above which capacitive crosstalk stops rising."""
        return corner_hz(self.victim_ohm, self.capacitance_f) if self.capacitance_f > 0 else math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearPath:
    """Both channels, what goes over between them, and how they are wired.

    Attributes
    ----------
    left, right : ChannelPath
        The channels as the source feeds them.
    into_left, into_right : Crosstalk
        What the left channel receives of the right one, and the other way round.
    channel_map : str
        ``"straight"``, ``"swapped"``, ``"merged"`` (half of each in both), ``"left-only"``, ``"right-only"``,
        ``"none"``: wiring at the recorder. ``"mono-source"``: the source itself sends half of each to both.
    """

    left: ChannelPath = field(default_factory=ChannelPath)
    right: ChannelPath = field(default_factory=ChannelPath)
    into_left: Crosstalk = field(default_factory=Crosstalk)
    into_right: Crosstalk = field(default_factory=Crosstalk)
    channel_map: ChannelMap = "straight"

    def matrix(self, frequency_hz: Floats) -> Complexes:
        """Return the complex gain, shape (n_frequencies, 2 outputs, 2 inputs)."""
        frequency_hz = np.asarray(frequency_hz, dtype=np.float64)
        left, right = self.left.gain(frequency_hz), self.right.gain(frequency_hz)
        lines = np.empty((*frequency_hz.shape, 2, 2), dtype=np.complex128)
        lines[..., 0, 0], lines[..., 0, 1] = left, self.into_left.ratio(frequency_hz) * right
        lines[..., 1, 0], lines[..., 1, 1] = self.into_right.ratio(frequency_hz) * left, right
        routing = np.array(_ROUTING[self.channel_map])
        wired = lines @ routing if self.channel_map == "mono-source" else routing @ lines
        return np.asarray(wired)

    @property
    def is_plain(self) -> bool:
        """Whether the matrix is the same at every frequency."""
        channels = (self.left, self.right)
        filtered = any(channel.low_corners_hz or channel.high_corners_hz for channel in channels)
        stray = any(channel.series_capacitance_f for channel in channels)
        return not filtered and not stray and self.into_left.capacitance_f == self.into_right.capacitance_f == 0

    @property
    def lowest_corner_hz(self) -> float:
        """Lowest corner of a high-pass, infinite without one: how long the path rings on."""
        return min((*self.left.low_corners_hz, *self.right.low_corners_hz), default=math.inf)
