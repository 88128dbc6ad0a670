"""Recognise which track a take holds: look for a long chirp, find its partner, read the code word."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.takes.chirps import TRACK_CHANNELS, Placement
from humcheck.takes.code_word import code_rate, read_code
from humcheck.takes.equalized import Equalized, EqualizedFile, equalized_pair, equalized_single
from humcheck.takes.pieces import PieceFit, fit_pieces
from humcheck.takes.scan import Candidate, scan
from humcheck.takes.sighting import Sighting, read_marker, read_swaying, turned
from humcheck.takes.slot_fit import SlotFit, fit_slot
from humcheck.tracks.markers import SLOT_OFFSET_S
from humcheck.tracks.sections import TrackChannel

#: A chirp is taken as one when at least this share of the energy follows it, its phase included. Noise alone reaches
#: about 0.002 over all the places tried.
LEAST_LIKENESS = 0.01
#: Pieces compare sizes only, so noise reaches about 0.1 by itself.
_LEAST_PIECE_LIKENESS = 0.12
_FIRST_REACH_S = 0.004
#: Where a rate is sought by the code word alone, chance has more to choose from.
_LEAST_SOUGHT_SHARE = 0.1
#: Chirps that follow their template less than this are looked at with the path's filter taken back, too. The take is
#: seen so from then on if chirps or code word then explain so many times as much of its sound, or leave so small a part
#: of what was left (white noise alone gives 1.4 times and 0.8), or if the two chirps of a marker tell another rate.
_PLAIN_LIKENESS = 0.85
_MORE, _LEFT = 1.4, 0.6
_SAME_RATE = 15e-6
_RATE_PASSES = 2
_CRYSTAL_ERROR = 1.2e-3
#: Take seconds for each track second where a file states a rate that is not its own.
_WRONG_RATES = (48000 / 44100, 44100 / 48000, 2.0, 0.5)
_WRONG_RATE_SEARCH_S = 45.0
#: Those of rarer mistakes between 22.05, 32, 44.1, 48, 88.2 and 96 kHz, and of tape that runs 2 to 5 % fast or slow:
#: looked for where nothing else was found. (Shorter chirps than a third of their length look like any sound, and
#: the first marker of a track that runs four times too slow comes after half a minute.)
_RARE_RATES = (
    *(0.965, 1.035),
    *(32 / 96, 32 / 88.2, 44.1 / 96, 48 / 88.2, 32 / 48, 22.05 / 32, 32 / 44.1),
    *(44.1 / 32, 32 / 22.05, 48 / 32, 88.2 / 48, 96 / 44.1, 88.2 / 32, 96 / 32),
)
_RARE_RATE_SEARCH_S = 25.0
#: Candidates of a wrong rate are looked at closely where they are this clear: by chance few are.
_CLEAR_LIKENESS = 0.3
_MOMENT_S, _LOUDER_RATIO = 0.1, 2.0


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
    n_unread = search.n_unread
    if search.sighting is None and early < file.n_samples:
        # A chirp that lies across the border was not whole in the first part.
        search = read_candidates(file, scan(file, max(early - file.rate_hz, start)))
        n_unread += search.n_unread
    early = min(file.n_samples, start + int(_RARE_RATE_SEARCH_S * file.rate_hz))
    if search.sighting is None and not n_unread and _plays(file, start, early):
        rare = (one for one in scan(file, start, early, _RARE_RATES) if one.likeness > _CLEAR_LIKENESS)
        search = read_candidates(file, rare)
    return Search(sighting=search.sighting, n_unread=n_unread)


def _plays(file: TakeFile, start: int, stop: int) -> bool:
    """Return whether some moments of a take are louder than others: in steady noise there is nothing to find."""
    n_chunk = max(int(_MOMENT_S * file.rate_hz), 1)
    powers = [
        np.square(samples[: len(samples) // n_chunk * n_chunk]).sum(axis=1).reshape(-1, n_chunk).mean(axis=1)
        for _, samples in file.blocks(20 * n_chunk, start, stop)
    ]
    power = np.concatenate(powers) if powers else np.zeros(0)
    return bool(power.size and power.max() > _LOUDER_RATIO * np.quantile(power, 0.1))


def read_candidates(
    file: TakeFile | EqualizedFile, candidates: Iterable[Candidate], *, equalize: bool = True
) -> Search:
    """Go through candidates until one proves to be a marker that can be read.

    Parameters
    ----------
    file : TakeFile or EqualizedFile
        The take.
    candidates : iterable of Candidate
        Places to look at.
    equalize : bool, optional
        Whether to take back what the path does where a chirp is hardly its own.
    """
    search = Search()
    for candidate in candidates:
        slots = _slots_of(file, candidate)
        sighting = read_marker(file, slots) if slots else None
        clear = candidate.stretch == 1.0 or candidate.likeness > _CLEAR_LIKENESS
        if equalize and clear and not isinstance(file, EqualizedFile) and not _is_plain(sighting):
            sighting = _better(file, sighting, _read_equalized(file, candidate))
        search.sighting = sighting
        if sighting is not None:
            return search
        search.n_unread += _is_marker(file, slots)
    return search


def _is_marker(file: TakeFile | EqualizedFile, slots: list[SlotFit]) -> bool:
    """Return whether these are chirps of a marker although it cannot be read: both of them, or a code word after it."""
    return len(slots) == 2 or any(read_code(file, slot).share >= _LEAST_SOUGHT_SHARE for slot in slots)


def _is_plain(sighting: Sighting | None) -> bool:
    return sighting is not None and min(slot.likeness for slot in sighting.slots) >= _PLAIN_LIKENESS


def _better(file: TakeFile, plain: Sighting | None, equalized: Sighting | None) -> Sighting | None:
    """Return the one with more chirps; of two with as many, the plain one unless it is much less clear."""
    if plain is None or equalized is None:
        return plain or equalized
    if len(equalized.slots) != len(plain.slots):
        return equalized if len(equalized.slots) > len(plain.slots) else plain
    clear, plainly = _clearness(equalized), _clearness(plain)
    clearer = bool(np.any((clear > _MORE * plainly + 0.05) | (1.0 - clear + 0.05 < _LEFT * (1.0 - plainly))))
    apart = abs(equalized.samples_per_s / plain.samples_per_s - 1.0) > _SAME_RATE
    return equalized if clearer or (apart and len(plain.slots) == 2) else plain


def _clearness(sighting: Sighting) -> NDArray[np.float64]:
    """Return the shares of the sound that chirp and code word explain."""
    return np.array([max(slot.likeness for slot in sighting.slots), sighting.code_share])


def _read_equalized(file: TakeFile, candidate: Candidate) -> Sighting | None:
    """Return the marker that a candidate proves to be once the path's filter is taken back."""
    guess = Placement(candidate.start_index, file.rate_hz * candidate.stretch)
    equalized = equalized_pair(file, candidate.channel, guess)
    if equalized is not None and (sighting := _read_through(file, equalized, guess)) is not None:
        return sighting
    # Of rarer rates nothing but both chirps together is believed, and looked at.
    return None if candidate.stretch in _RARE_RATES[2:] else _read_single(file, candidate.channel, guess)


def _read_through(file: TakeFile, equalized: Equalized, guess: Placement) -> Sighting | None:
    seen = EqualizedFile(file, equalized.equalizer)
    slots = _at_one_rate(seen, _fit_all(seen, equalized.found), guess.samples_per_s)
    sighting = read_marker(seen, slots) if slots else None
    return None if sighting is None else replace(sighting, equalizer=equalized.equalizer)


def _read_single(file: TakeFile, channel: TrackChannel, guess: Placement) -> Sighting | None:
    """Return the marker by one chirp, at the rate that its code word tells, or on a clock that sways."""
    equalized = equalized_single(file, channel, guess)
    if equalized is None:
        return None
    seen = EqualizedFile(file, equalized.equalizer)
    slots = _fit_all(seen, equalized.found)
    if not slots:
        return None
    error, share = code_rate(seen, slots[0], equalized.lever_s)
    steady = None
    if share >= _LEAST_SOUGHT_SHARE and (again := _at_code_rate(file, channel, guess, error)) is not None:
        steady = _read_through(file, again, guess)
    # The equalizer was made at one speed and is of no use at another: a take that sways is seen without.
    return steady or read_swaying(seen, slots[0])


def _at_code_rate(file: TakeFile, channel: TrackChannel, guess: Placement, error: float) -> Equalized | None:
    """Return the equalizer at the rate that the code word tells; None where it tells none that a crystal has."""
    for _ in range(_RATE_PASSES):
        equalized = equalized_single(file, channel, guess, error)
        if equalized is None:
            return None
        seen = EqualizedFile(file, equalized.equalizer)
        slots = _fit_all(seen, equalized.found)
        more, share = code_rate(seen, slots[0], equalized.lever_s) if slots else (0.0, 0.0)
        error += more
        if share < _LEAST_SOUGHT_SHARE or abs(error) > _CRYSTAL_ERROR:
            return None
        if abs(more) < _SAME_RATE:
            break
    return equalized_single(file, channel, guess, error)


def _slots_of(file: TakeFile | EqualizedFile, candidate: Candidate) -> list[SlotFit]:
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
    return _at_one_rate(file, _fit_all(file, found), guess.samples_per_s)


def _at_one_rate(file: TakeFile | EqualizedFile, slots: list[SlotFit], expected_hz: float) -> list[SlotFit]:
    """Fit two chirps again at the rate that the time between them tells."""
    if len(slots) < 2:
        return slots
    rate_hz = (slots[1].take_index - slots[0].take_index) / (slots[1].track_s - slots[0].track_s)
    # Two chirps that do not belong together give a nonsense rate.
    if abs(rate_hz / expected_hz - 1.0) >= 0.02:
        return slots
    return _fit_all(file, {slot.channel: turned(slot, rate_hz) for slot in slots})


def _pieces_twice(file: TakeFile | EqualizedFile, channel: TrackChannel, guess: Placement) -> PieceFit | None:
    """Fit the pieces, and once more from there: the second time the rate is right to a few ppm."""
    first = fit_pieces(file, channel, guess, fit_rate=True, reach_s=_FIRST_REACH_S)
    if first is None or first.likeness < _LEAST_PIECE_LIKENESS:
        return None
    if abs(first.placement.samples_per_s / guess.samples_per_s - 1.0) > 0.02:
        return None
    second = fit_pieces(file, channel, first.placement, fit_rate=True)
    return first if second is None else second


def _fit_all(file: TakeFile | EqualizedFile, found: dict[TrackChannel, Placement]) -> list[SlotFit]:
    """Fit the chirps; track times count from the marker's start as long as it is not known which one it is."""
    slots = []
    for channel in TRACK_CHANNELS:
        if channel not in found:
            continue
        slot = fit_slot(file, -1, channel, SLOT_OFFSET_S[channel], found[channel])
        if slot is not None and slot.likeness > LEAST_LIKENESS:
            slots.append(slot)
    return slots
