"""Recognise which track a take holds: look for a long chirp, find its partner, read the code word."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.errors import UnusableCall
from humcheck.results.rows import TrackIdentity
from humcheck.takes.chirps import TRACK_CHANNELS, Placement
from humcheck.takes.code_word import read_code
from humcheck.takes.pieces import PieceFit, fit_pieces
from humcheck.takes.scan import Candidate, scan
from humcheck.takes.slot_fit import SlotFit, fit_slot
from humcheck.tracks.layouts import Layout, layout_of
from humcheck.tracks.markers import SLOT_OFFSET_S, decode_marker
from humcheck.tracks.sections import TrackChannel

#: A chirp is taken as one when at least this share of the energy follows it, its phase included. Noise alone reaches
#: about 0.002 over all the places tried.
LEAST_LIKENESS = 0.01
#: Pieces compare sizes only, so noise reaches about 0.1 by itself.
_LEAST_PIECE_LIKENESS = 0.12
_FIRST_REACH_S = 0.004
#: Bits of a code word must on average be received at this share of their strength.
_LEAST_BIT = 0.3
#: Take seconds for each track second where a file states a rate that is not its own.
_WRONG_RATES = (48000 / 44100, 44100 / 48000, 2.0, 0.5)
_WRONG_RATE_SEARCH_S = 45.0
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
    """

    identity: TrackIdentity
    layout: Layout | None
    marker_index: int
    slots: tuple[SlotFit, ...]
    samples_per_s: float


@dataclass(slots=True)
class Search:
    """What a search for a marker came across.

    Attributes
    ----------
    sighting : Sighting or None
        The first marker that could be read.
    n_unread : int
        Long chirps before it whose code word could not be read.
    """

    sighting: Sighting | None = None
    n_unread: int = 0


def find_marker(file: TakeFile, start: int = 0) -> Search:
    """Look for the first marker from a take index on that can be read; nothing after it is looked at.

    At first, chirps of a track whose rate is not the one that the file states are looked for too.
    """
    early = min(file.n_samples, start + int(_WRONG_RATE_SEARCH_S * file.rate_hz))
    search = read_candidates(file, scan(file, start, early, (1.0, *_WRONG_RATES)))
    if search.sighting is not None or early == file.n_samples:
        return search
    # A chirp that lies across the border was not whole in the first part.
    further = read_candidates(file, scan(file, max(early - file.rate_hz, start)))
    return Search(sighting=further.sighting, n_unread=search.n_unread + further.n_unread)


def read_candidates(file: TakeFile, candidates: Iterable[Candidate]) -> Search:
    """Go through candidates until one proves to be a marker that can be read."""
    search = Search()
    for candidate in candidates:
        slots = _slots_of(file, candidate)
        if not slots:
            continue
        search.sighting = _read(file, slots)
        if search.sighting is not None:
            return search
        search.n_unread += 1
    return search


def _slots_of(file: TakeFile, candidate: Candidate) -> list[SlotFit]:
    """Return the exact fits of a candidate's chirp and of its partner, those that hold."""
    guess = Placement(candidate.start_index, file.rate_hz * candidate.stretch)
    pieces = _pieces_twice(file, candidate.channel, guess)
    if pieces is None:
        return []
    found = {candidate.channel: pieces.placement}
    partner: TrackChannel = "right" if candidate.channel == "left" else "left"
    away_s = SLOT_OFFSET_S[partner] - SLOT_OFFSET_S[candidate.channel]
    partner_pieces = _pieces_twice(file, partner, pieces.placement.moved(away_s))
    if partner_pieces is not None:
        found[partner] = partner_pieces.placement
    slots = _fit_all(file, found)
    if len(slots) == 2:
        rate_hz = (slots[1].take_index - slots[0].take_index) / (slots[1].track_s - slots[0].track_s)
        # Two chirps that do not belong together give a nonsense rate.
        if abs(rate_hz / guess.samples_per_s - 1.0) < 0.02:
            slots = _fit_all(file, {slot.channel: _turned(slot, rate_hz) for slot in slots})
    return slots


def _pieces_twice(file: TakeFile, channel: TrackChannel, guess: Placement) -> PieceFit | None:
    """Fit the pieces, and once more from there: the second time the rate is right to a few ppm."""
    first = fit_pieces(file, channel, guess, fit_rate=True, reach_s=_FIRST_REACH_S)
    if first is None or first.likeness < _LEAST_PIECE_LIKENESS:
        return None
    if abs(first.placement.samples_per_s / guess.samples_per_s - 1.0) > 0.02:
        return None
    second = fit_pieces(file, channel, first.placement, fit_rate=True)
    return first if second is None else second


def _turned(slot: SlotFit, rate_hz: float) -> Placement:
    """Return the placement with another rate that leaves the slot's timing where it is."""
    since_start_s = slot.track_s - SLOT_OFFSET_S[slot.channel]
    return Placement(slot.take_index - since_start_s * rate_hz, rate_hz)


def _fit_all(file: TakeFile, found: dict[TrackChannel, Placement]) -> list[SlotFit]:
    """Fit the chirps; track times count from the marker's start as long as it is not known which one it is."""
    slots = []
    for channel in TRACK_CHANNELS:
        if channel not in found:
            continue
        slot = fit_slot(file, -1, channel, SLOT_OFFSET_S[channel], found[channel])
        if slot is not None and slot.likeness > LEAST_LIKENESS:
            slots.append(slot)
    return slots


def _read(file: TakeFile, slots: list[SlotFit]) -> Sighting | None:
    for values, rate_hz in _code_words(file, slots):
        if float(np.mean(np.abs(values))) < _LEAST_BIT:
            continue
        read = decode_marker([int(value > 0.0) for value in values])
        if read is not None and (sighting := _sighting(*read, slots, rate_hz)) is not None:
            return sighting
    return None


def _code_words(file: TakeFile, slots: list[SlotFit]) -> Iterator[tuple[NDArray[np.float64], float]]:
    """Yield readings of the code word with the rate that they imply, the best first: both slots, then either alone."""
    readings = [read_code(file, slot) for slot in slots]
    if len(slots) == 2:
        weights = [weight for _, weight in readings]
        both = np.average([values for values, _ in readings], axis=0, weights=weights)
        yield both, slots[0].placement.samples_per_s
    for slot, (values, _) in zip(slots, readings, strict=True):
        yield values, slot.placement.samples_per_s
    if len(slots) == 1:
        for ppm in _VAGUE_RATES_PPM:
            rate_hz = slots[0].placement.samples_per_s * (1.0 + ppm * 1e-6)
            yield read_code(file, replace(slots[0], placement=_turned(slots[0], rate_hz)))[0], rate_hz


def _sighting(identity: TrackIdentity, index: int, slots: list[SlotFit], rate_hz: float) -> Sighting | None:
    try:
        layout = layout_of(identity)
    except UnusableCall:
        return Sighting(identity=identity, layout=None, marker_index=index, slots=tuple(slots), samples_per_s=rate_hz)
    if index >= len(layout.markers):
        return None
    start_s = layout.markers[index].start_s
    placed = tuple(replace(slot, marker_index=index, track_s=slot.track_s + start_s) for slot in slots)
    return Sighting(identity=identity, layout=layout, marker_index=index, slots=placed, samples_per_s=rate_hz)
