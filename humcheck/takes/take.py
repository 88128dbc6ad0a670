"""A take: a recording opened, its track recognised, its sections handed out."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile, open_take
from humcheck.errors import MeasurementError
from humcheck.results.rows import Channel, Fault, TrackIdentity
from humcheck.takes.alignment import Alignment, align
from humcheck.takes.faults import NO_SOUND_DB, alignment_faults, copy_faults, sample_faults
from humcheck.takes.faults_wiring import dead_channel_faults
from humcheck.takes.quiet import quiet_stretch
from humcheck.takes.recognition import find_marker
from humcheck.takes.section_audio import SectionAudio
from humcheck.takes.survey import Survey, survey
from humcheck.tracks.layouts import Layout

__all__ = ["SectionAudio", "Take", "load_take", "sought_in"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Take:
    """One recording, opened with `load_take`; it keeps no samples.

    Attributes
    ----------
    file : TakeFile
        The recording on disk.
    layout : Layout or None
        Layout of the track that it holds; None where it holds none.
    alignment : Alignment or None
        How it lies against that track.
    notes : tuple of Fault
        What was noticed while the track was sought.
    span : tuple of (int, int) or None
        Of a recording that holds the track several times, the part with this run of it; None for all of it.
    """

    file: TakeFile
    layout: Layout | None = None
    alignment: Alignment | None = None
    notes: tuple[Fault, ...] = ()
    span: tuple[int, int] | None = None

    @cached_property
    def survey(self) -> Survey:
        """Peaks, offset, clipping and silences of the whole take; read once, when first asked for."""
        return survey(self.file, *self.bounds)

    @cached_property
    def faults(self) -> list[Fault]:
        """What is wrong with the take; needs a pass over all of it, made when first asked for."""
        found = [*self.notes, *sample_faults(self.file, self.survey, self._file_channels)]
        if self.layout is not None and self.alignment is not None:
            found += alignment_faults(self.file, self.layout, self.alignment, self.survey, self.bounds)
        else:
            found += dead_channel_faults(self.survey.peak, self._file_channels)
        found += copy_faults(self.file, self.bounds, self.layout, self.alignment)
        return found

    @cached_property
    def is_silent(self) -> bool:
        """Whether nothing plays in the take: it holds no track and no sound stands out of its steady noise."""
        if self.alignment is not None:
            return max(self.alignment.gain_db.values(), default=-np.inf) < NO_SOUND_DB
        try:
            return quiet_stretch(self.file).covers_all
        except MeasurementError:
            return bool(self.survey.peak.max(initial=0.0) == 0.0)

    @property
    def bounds(self) -> tuple[int, int]:
        """First sample of the take in its file, and the one after its last."""
        return self.span or (0, self.file.n_samples)

    @property
    def rate_hz(self) -> int:
        """Nominal sampling rate."""
        return self.file.rate_hz

    @property
    def n_channels(self) -> int:
        """Channels used: 1 or 2."""
        return self.file.n_channels

    @property
    def has_track(self) -> bool:
        """Whether a track was recognised."""
        return self.alignment is not None

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Names of the channels in the order in which sections have them."""
        return ("mono",) if self.n_channels == 1 else ("left", "right")

    @property
    def _file_channels(self) -> tuple[Channel, ...]:
        """Names of the channels in the file's own order."""
        if self.alignment is not None and self.alignment.channel_map == "swapped":
            return self.channels[::-1]
        return self.channels

    @property
    def track(self) -> TrackIdentity | None:
        """Which track it holds."""
        return None if self.alignment is None else self.alignment.identity

    def section(self, name: str, before_s: float = 0.0, after_s: float = 0.0) -> SectionAudio:
        """Return one section of the track.

        Parameters
        ----------
        name : str
            Name of the section.
        before_s, after_s : float, optional
            Track time to add at either end.

        Raises
        ------
        MeasurementError
            If the take holds no track, the track has no such section, or the take does not hold all of it.
        """
        if self.layout is None or self.alignment is None:
            raise MeasurementError("No test track was recognised in this take.")
        if not self.layout.has_section(name):
            raise MeasurementError(f"The track in this take ({self.layout.identity.name}) has no section {name}.")
        section = self.layout.section(name)
        clock = self.alignment.clock
        whole = clock.take_index(np.array([section.start_s, section.end_s]))
        if not self._holds(whole):
            raise MeasurementError(f"The take does not hold all of the section {name}.")
        ends = clock.take_index(np.array([section.start_s - before_s, section.end_s + after_s]))
        start = max(int(np.ceil(ends[0])), self.bounds[0])
        stop = min(int(np.ceil(ends[1])), self.file.n_samples)
        return SectionAudio(
            samples=self._in_track_order(self.file.read(start, stop)),
            channels=self.channels,
            rate_hz=self.rate_hz,
            start_index=start,
            clock=clock,
            section=section,
        )

    def has_section(self, name: str) -> bool:
        """Return whether the take holds all of a section."""
        if self.layout is None or self.alignment is None or not self.layout.has_section(name):
            return False
        section = self.layout.section(name)
        ends = self.alignment.clock.take_index(np.array([section.start_s, section.end_s]))
        return self._holds(ends)

    def _holds(self, ends: Array) -> bool:
        return bool(ends[0] >= self.bounds[0] - 0.5 and ends[1] <= self.bounds[1] + 0.5)

    def blocks(self, block_samples: int = 1 << 17) -> Iterator[tuple[int, Array]]:
        """Yield ``(start_index, samples)`` of the whole take in order, channels in the track's order."""
        for start, samples in self.file.blocks(block_samples):
            yield start, self._in_track_order(samples)

    def row_fields(self) -> dict[str, Any]:
        """Return the fields of this take's row in the results that follow from the recording itself."""
        fields: dict[str, Any] = {
            "file": self.file.name,
            "sha256": self.file.sha256(),
            "rate_hz": self.rate_hz,
            "channels": self.file.n_file_channels,
            "sample_format": self.file.sample_format,
            "duration_s": (self.bounds[1] - self.bounds[0]) / self.rate_hz,
            "faults": self.faults,
        }
        if self.alignment is None:
            return fields
        first = next(iter(self.alignment.gain_db), None)
        return fields | {
            "track": self.alignment.identity,
            "offset_s": self.alignment.offset_s,
            "drift_ppm": self.alignment.drift_ppm,
            "gain_db": None if first is None else self.alignment.gain_db[first],
            "polarity": None if first is None else self.alignment.polarity[first],
            "channel_map": self.alignment.channel_map,
        }

    def _in_track_order(self, samples: Array) -> Array:
        if self.alignment is not None and self.alignment.channel_map == "swapped":
            return np.ascontiguousarray(samples[:, ::-1])
        return samples


def load_take(path: str | os.PathLike[str], *, seek_track: bool = True, span: tuple[int, int] | None = None) -> Take:
    """Open a recording and recognise the track in it.

    Parameters
    ----------
    path : path
        The recording.
    seek_track : bool, optional
        Whether to look for a track.
    span : tuple of (int, int), optional
        Of a recording that holds the track several times, the part with one run of it, as `humcheck.takes.cutting`
        found it. Clocks and sections count from the beginning of the file all the same.

    Raises
    ------
    UnusableTake
        If the file cannot be read as a recording.
    """
    file = open_take(path)
    start = 0 if span is None else span[0]
    return replace(sought_in(file, start) if seek_track else Take(file=file), span=span)


def sought_in(file: TakeFile, start: int = 0) -> Take:
    """Return the take of an open file, the first track from a sample on recognised."""
    search = find_marker(file, start)
    sighting = search.sighting
    if sighting is None:
        # At low rates a chirp is so short that voices look like one now and then.
        unread = search.n_unread and file.rate_hz >= _CHIRPS_WHOLE_HZ
        return Take(file=file, notes=(_UNREAD,) if unread else ())
    if sighting.layout is None:
        return Take(file=file, notes=(_newer_track(sighting.identity),))
    return Take(file=file, layout=sighting.layout, alignment=align(file, sighting, sighting.layout))


_CHIRPS_WHOLE_HZ = 16_000
_UNREAD = Fault(
    code="unread-markers",
    sentence="The take holds markers of a test track, but none of them can be read: it is too noisy or distorted, its "
    "speed sways as a tape's does, or it was cut within one. Record it again with more level, from a steadier player.",
)


def _newer_track(identity: TrackIdentity) -> Fault:
    return Fault(
        code="newer-track",
        sentence=f"The take holds a track of layout {identity.layout}, which this version does not know: update "
        "humcheck.",
    )
