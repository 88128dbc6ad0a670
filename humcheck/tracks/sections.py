"""What a track is made of: sections, and the layout that puts them in order.

Times are in seconds of the track: sample ``k`` of a track file at rate ``r`` is the track at time ``k / r``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from humcheck.results.rows import TrackIdentity

Kind = Literal["marker", "level", "tone", "quiet", "zero", "steps", "sweep", "imd"]
Channels = Literal["left", "right", "both", "none"]
TrackChannel = Literal["left", "right"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A named stretch of a track.

    Attributes
    ----------
    name : str
        Unique within the layout, such as ``"sweep-left"`` or ``"marker-3"``.
    kind : str
        ``"marker"``, ``"level"``, ``"tone"``, ``"quiet"``, ``"zero"``, ``"steps"``, ``"sweep"`` or ``"imd"``.
    start_s, duration_s : float
        Place in the track. Starts are multiples of 0.25 s: exact in binary, and whole samples at every rate.
    channels : str
        The driven channels: ``"left"``, ``"right"``, ``"both"`` or ``"none"``. The others are silent (dithered).
    level_dbfs : float or None
        Level by the AES17 convention. Of a tone pair, the level of a single sine with the same peak; of steps, the
        highest; None where the track is silent.
    frequencies_hz : tuple of float
        Frequencies of the tones; of a sweep, its first and its last instantaneous frequency.
    amplitudes : tuple of float
        Peak amplitude of each of `frequencies_hz`, full scale = 1; of a sweep or a marker, one amplitude for all.
    fade_in_s, fade_out_s : float
        Lengths of the soft edges, inside the section.
    step_levels_dbfs : tuple of float
        Of steps: the level of each, in order; empty elsewhere.
    step_s : float
        Of steps: how long each lasts; 0 elsewhere.
    marker_index : int or None
        Of a marker: its place among the markers, from 0.
    marker_bits : tuple of int
        Of a marker: the code word that it carries, 0 or 1 each.
    """

    name: str
    kind: Kind
    start_s: float
    duration_s: float
    channels: Channels
    level_dbfs: float | None = None
    frequencies_hz: tuple[float, ...] = ()
    amplitudes: tuple[float, ...] = ()
    fade_in_s: float = 0.0
    fade_out_s: float = 0.0
    step_levels_dbfs: tuple[float, ...] = ()
    step_s: float = 0.0
    marker_index: int | None = None
    marker_bits: tuple[int, ...] = ()

    @property
    def end_s(self) -> float:
        """Track time at which the section is over, in seconds."""
        return self.start_s + self.duration_s

    def drives(self, channel: TrackChannel) -> bool:
        """Return whether the track has sound in `channel` during this section."""
        return self.channels in (channel, "both")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownPicture:
    """Which test picture stands for how long while a track plays.

    Attributes
    ----------
    name : str
        One of the test pictures.
    start_s, end_s : float
        In seconds of the track.
    """

    name: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """The sections of one track in the order of their times.

    Attributes
    ----------
    identity : TrackIdentity
        Name, length and layout number, as the markers carry them.
    sections : tuple of Section
        In order; they do not overlap, and at least 0.25 s of dithered silence lies between any two.
    duration_s : float
        Length of the track, lead-in and tail of silence included.
    pictures : tuple of ShownPicture
        Of the track of a clip: what stands on the screen, from beginning to end; empty where that is not known.
    """

    identity: TrackIdentity
    sections: tuple[Section, ...]
    duration_s: float
    pictures: tuple[ShownPicture, ...] = ()

    def section(self, name: str) -> Section:
        """Return the section called `name`.

        Raises
        ------
        KeyError
            If the track has no such section.
        """
        for section in self.sections:
            if section.name == name:
                return section
        raise KeyError(f"track {self.identity.name!r} has no section {name!r}")

    def sections_of(self, kind: Kind) -> tuple[Section, ...]:
        """Return the sections of one kind, in order."""
        return tuple(section for section in self.sections if section.kind == kind)

    def has_section(self, name: str) -> bool:
        """Return whether the track has a section called `name`."""
        return any(section.name == name for section in self.sections)

    @property
    def markers(self) -> tuple[Section, ...]:
        """The markers in order; their indices count from 0."""
        return self.sections_of("marker")
