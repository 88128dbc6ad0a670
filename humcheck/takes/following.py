"""From one marker that was read to all the others: where each is expected, and what is found there."""

from __future__ import annotations

from collections.abc import Iterator

from humcheck.audio.files import TakeFile
from humcheck.takes.chirps import TRACK_CHANNELS, Placement
from humcheck.takes.equalized import EqualizedFile
from humcheck.takes.pieces import fit_pieces
from humcheck.takes.recognition import LEAST_LIKENESS, read_candidates
from humcheck.takes.scan import scan
from humcheck.takes.sighting import Sighting
from humcheck.takes.slot_fit import SlotFit, fit_slot
from humcheck.tracks.layouts import Layout
from humcheck.tracks.markers import MARKER_S, SLOT_OFFSET_S
from humcheck.tracks.sections import Section, TrackChannel

#: How far from its place a marker is sought at once, and how far when it is not there.
_NEAR_S = 0.004
_FAR_S = (0.15, 2.5)


def follow(file: TakeFile | EqualizedFile, first: Sighting, layout: Layout) -> list[SlotFit]:
    """Return the long chirps of all markers that the take holds, in order of time.

    Parameters
    ----------
    file : TakeFile or EqualizedFile
        The take.
    first : Sighting
        A marker that was read.
    layout : Layout
        The track's layout.

    Notes
    -----
    The markers are followed outwards from the first one. Each is expected where the last one and the rate say; one
    that is not there is sought around its place, further and further, and must then prove itself by its code word.
    """
    slots = list(first.slots)
    after = layout.markers[first.marker_index + 1 :]
    before = layout.markers[: first.marker_index][::-1]
    for markers in (after, before):
        anchor, rate_hz = first.slots[0], first.samples_per_s
        for marker in markers:
            found = _marker(file, marker, anchor, rate_hz)
            if not found:
                continue
            same = [slot for slot in found if slot.channel == anchor.channel] or found
            rate_hz = _updated_rate(anchor, same[0], rate_hz)
            anchor = same[0]
            slots += found
    return sorted(slots, key=lambda slot: slot.track_s)


def _updated_rate(anchor: SlotFit, found: SlotFit, rate_hz: float) -> float:
    measured = (found.take_index - anchor.take_index) / (found.track_s - anchor.track_s)
    # Lost samples are no rate: up to 40 ppm is believed, the chirps themselves were fitted with less error than that.
    return measured if abs(measured / rate_hz - 1.0) < 40e-6 else rate_hz


def _marker(file: TakeFile | EqualizedFile, marker: Section, anchor: SlotFit, rate_hz: float) -> tuple[SlotFit, ...]:
    start_index = anchor.take_index + (marker.start_s - anchor.track_s) * rate_hz
    if start_index + MARKER_S * rate_hz < 0.0 or start_index > file.n_samples:
        return ()
    placed = Placement(start_index, rate_hz)
    near = tuple(_slots_near(file, marker, placed))
    if near:
        return near
    for reach_s in _FAR_S:
        found = _sought(file, marker, placed, reach_s)
        if found:
            return found
    return ()


def _slots_near(file: TakeFile | EqualizedFile, marker: Section, placed: Placement) -> Iterator[SlotFit]:
    if marker.marker_index is None:
        return
    for channel in TRACK_CHANNELS:
        offset_s = SLOT_OFFSET_S[channel]
        slot = _slot_near(file, marker.marker_index, channel, marker.start_s + offset_s, placed.moved(offset_s))
        if slot is not None:
            yield slot


def _slot_near(
    file: TakeFile | EqualizedFile, marker_index: int, channel: TrackChannel, chirp_track_s: float, guess: Placement
) -> SlotFit | None:
    pieces = fit_pieces(file, channel, guess, fit_rate=False, reach_s=_NEAR_S)
    if pieces is None:
        return None
    slot = fit_slot(file, marker_index, channel, chirp_track_s, pieces.placement)
    return slot if slot is not None and slot.likeness > LEAST_LIKENESS else None


def _sought(file: TakeFile | EqualizedFile, marker: Section, placed: Placement, reach_s: float) -> tuple[SlotFit, ...]:
    """Look for a marker that is not where it should be."""
    stretch = placed.samples_per_s / file.rate_hz
    reach = reach_s * placed.samples_per_s
    start = max(int(placed.start_index - reach), 0)
    stop = min(int(placed.start_index + MARKER_S * placed.samples_per_s + reach), file.n_samples)
    if stop - start < file.rate_hz * 0.05:
        return ()
    sighting = read_candidates(file, scan(file, start, stop, (stretch,)), equalize=False).sighting
    if sighting is None or sighting.marker_index != marker.marker_index:
        return ()
    return sighting.slots
