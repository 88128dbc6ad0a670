"""A marker read: which track it belongs to, and which of its markers it is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from humcheck.audio.files import TakeFile
from humcheck.errors import UnusableCall
from humcheck.results.rows import TrackIdentity
from humcheck.takes.chirps import Placement
from humcheck.takes.code_word import CodeReading, read_code, swaying_code
from humcheck.takes.equalized import EqualizedFile, Equalizer
from humcheck.takes.slot_fit import SlotFit
from humcheck.tracks.layouts import Layout, layout_of
from humcheck.tracks.markers import SLOT_OFFSET_S, decode_marker

#: Bits of a code word must on average be received at this share of their strength.
_LEAST_BIT = 0.3
#: They must make up this share of the sound at their place (other sound gives 0.02, at 6 dB more noise than code word
#: it is 0.1 to 0.2) and be received alike: standard deviation of their sizes re the mean (0.1 at 0 dB, by chance 0.6).
_LEAST_CODE_SHARE = 0.04
_MOST_UNEVEN = 0.4
#: Where it is sought at any place and speed, chance has much to choose from.
_LEAST_SWAYING_SHARE = 0.3
#: Clock errors tried, in ppm, when a single chirp of a narrow-band take leaves the rate too vague to find the bits.
_VAGUE_RATES_PPM = (0.0, -150.0, 150.0, -300.0, 300.0, -450.0, 450.0, -600.0, 600.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """A marker that was found and read.

    Attributes
    ----------
    identity : TrackIdentity
        The track that it belongs to.
    layout : Layout or None
        Its layout; None where this version does not know it.
    marker_index : int
        Which of the track's markers it is.
    slots : tuple of SlotFit
        One or both of its long chirps.
    samples_per_s : float
        Take samples for each track second around it.
    code_share : float
        Share of the sound at the code word's place that its bits explain.
    equalizer : Equalizer or None
        What takes back a path that changed the chirps much; the slots are fitted to the take seen through it.
    """

    identity: TrackIdentity
    layout: Layout | None
    marker_index: int
    slots: tuple[SlotFit, ...]
    samples_per_s: float
    code_share: float
    equalizer: Equalizer | None = None

    def seen(self, file: TakeFile) -> TakeFile | EqualizedFile:
        """Return the take as it is to be looked at for more markers."""
        return file if self.equalizer is None else EqualizedFile(file, self.equalizer)

    def coherence(self) -> float:
        """Return how far a chirp holds together on a steady clock: below 1 where the path leaves only part of it."""
        return 1.0 if self.equalizer is None else max(slot.coherence() for slot in self.slots)


def read_marker(file: TakeFile | EqualizedFile, slots: list[SlotFit]) -> Sighting | None:
    """Return the marker that long chirps and the code word after them prove to be; None where it cannot be read."""
    for reading, rate_hz in _code_words(file, slots):
        read = decode_marker([int(value > 0.0) for value in reading.values]) if _is_code(reading) else None
        if read is not None and (sighting := _sighting(*read, slots, rate_hz, reading.share)) is not None:
            return sighting
    return None


def read_swaying(file: TakeFile | EqualizedFile, slot: SlotFit) -> Sighting | None:
    """Return the marker that one chirp and a code word out of step with it prove to be: where a speed sways."""
    reading = swaying_code(file, slot)
    if reading.share < _LEAST_SWAYING_SHARE or not _is_code(reading):
        return None
    read = decode_marker([int(value > 0.0) for value in reading.values])
    return None if read is None else _sighting(*read, [slot], slot.placement.samples_per_s, reading.share)


def _is_code(reading: CodeReading) -> bool:
    size = np.abs(reading.values)
    strong = float(size.mean()) >= _LEAST_BIT and reading.share >= _LEAST_CODE_SHARE
    return strong and float(size.std()) <= _MOST_UNEVEN * float(size.mean())


def _code_words(file: TakeFile | EqualizedFile, slots: list[SlotFit]) -> Iterator[tuple[CodeReading, float]]:
    """Yield readings of the code word with the rate that they imply, the best first: both slots, then either alone."""
    readings = [read_code(file, slot) for slot in slots]
    if len(slots) == 2:
        weights = [reading.weight for reading in readings]
        both = np.average([reading.values for reading in readings], axis=0, weights=weights)
        yield CodeReading(both, sum(weights), max(r.share for r in readings)), slots[0].placement.samples_per_s
    for slot, reading in zip(slots, readings, strict=True):
        yield reading, slot.placement.samples_per_s
    if len(slots) == 1:
        for ppm in _VAGUE_RATES_PPM:
            rate_hz = slots[0].placement.samples_per_s * (1.0 + ppm * 1e-6)
            yield read_code(file, replace(slots[0], placement=turned(slots[0], rate_hz))), rate_hz


def _sighting(
    identity: TrackIdentity, index: int, slots: list[SlotFit], rate_hz: float, share: float
) -> Sighting | None:
    found = Sighting(
        identity=identity,
        layout=None,
        marker_index=index,
        slots=tuple(slots),
        samples_per_s=rate_hz,
        code_share=share,
    )
    try:
        layout = layout_of(identity)
    except UnusableCall:
        return found
    if index >= len(layout.markers):
        return None
    start_s = layout.markers[index].start_s
    placed = tuple(replace(slot, marker_index=index, track_s=slot.track_s + start_s) for slot in slots)
    return replace(found, layout=layout, slots=placed)


def turned(slot: SlotFit, rate_hz: float) -> Placement:
    """Return the placement with another rate that leaves the slot's timing where it is."""
    since_start_s = slot.track_s - SLOT_OFFSET_S[slot.channel]
    return Placement(slot.take_index - since_start_s * rate_hz, rate_hz)
