"""Everything that stands between a track and a take, as one set of parameters."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from humcheck.audio.levels import dbfs_to_amplitude
from humcheck.simulation.clocks import Crystal
from humcheck.simulation.components import Complexes
from humcheck.simulation.distortion import Polynomial
from humcheck.simulation.mains import Hum, Mains
from humcheck.simulation.noise import Hiss
from humcheck.simulation.raster import Picture
from humcheck.simulation.recorder import Recorder
from humcheck.simulation.transfer import LinearPath


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyTone:
    """A line of no family, steady in true time.

    Attributes
    ----------
    frequency_hz, level_dbfs : float
        Where and how strong.
    left, right : float
        Factors by which the channels receive it.
    """

    frequency_hz: float
    level_dbfs: float
    left: float = 1.0
    right: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameComb:
    """Noise of data frames: lines at every multiple of the frame rate, equally strong.

    Attributes
    ----------
    level_dbfs : float
        Level of each line.
    frame_hz : float
        Frames per second in true time.
    left, right : float
        Factors by which the channels receive it.
    """

    level_dbfs: float
    frame_hz: float = 1000.0
    left: float = 1.0
    right: float = 1.0

    def amplitudes(self, highest_hz: float) -> Complexes:
        """Return peak amplitudes of the lines up to a frequency, shape (n, 2)."""
        order = np.arange(1, int(highest_hz / self.frame_hz) + 1)
        # Quadratic phases: a flat comb of low crest.
        lines = dbfs_to_amplitude(self.level_dbfs) * np.exp(1j * np.pi * order**2 / max(1, order.size))
        return np.asarray(lines[:, np.newaxis] * np.array([self.left, self.right]))


@dataclass(frozen=True, slots=True, kw_only=True)
class PathModel:
    """A whole audio path, from the player's clock to the file.

    Levels of what is added (hum, picture, hiss) are levels in the take. The order is: player, linear path, bent curve,
    hum, picture, lines and hiss added, recorder.

    Attributes
    ----------
    player, recorder_clock : Crystal
        The two clocks.
    delay_s : float
        Delay of the path; the take's `offset_s` contains it.
    linear : LinearPath
        Gain, filters, crosstalk, wiring.
    distortion : Polynomial or None
        Bent curve after the linear path.
    mains : Mains
        Frequency of the mains, of which all `hum` is made.
    hum : tuple of Hum
        Contributions of source, box and recorder; they add with their phases.
    picture : Picture or None
        What is on the screen and how it leaks.
    frames : FrameComb or None
        Noise of data frames.
    tones : tuple of SteadyTone
        Other lines.
    hiss : tuple of Hiss
        Contributions; their powers add.
    source_hiss : Hiss or None
        Hiss of a player that mutes on digital zero: absent where the source is exactly zero for 50 ms and more.
    recorder : Recorder
        Recorder with its faults.
    """

    player: Crystal = field(default_factory=Crystal)
    recorder_clock: Crystal = field(default_factory=Crystal)
    delay_s: float = 0.0
    linear: LinearPath = field(default_factory=LinearPath)
    distortion: Polynomial | None = None
    mains: Mains = field(default_factory=Mains)
    hum: tuple[Hum, ...] = ()
    picture: Picture | None = None
    frames: FrameComb | None = None
    tones: tuple[SteadyTone, ...] = ()
    hiss: tuple[Hiss, ...] = ()
    source_hiss: Hiss | None = None
    recorder: Recorder = field(default_factory=Recorder)
