"""The marker: where its parts lie, and the code word that it carries.

A marker has two slots, one a channel: the left slot sounds in the left channel only, the right slot, later, in the
right one only. A slot is a long chirp, a short gap, and a code word of short chirps whose polarity is read against
the long chirp of the same slot. Left chirps run upwards, right ones downwards, so that swapped, merged, missing and
inverted channels can all be told from one marker. The chirps of all markers are identical; only the code differs.

Code word, most significant bit first::

    name 2 | length 2 | layout 4 | marker index 5 | check 5
"""

from __future__ import annotations

from collections.abc import Sequence

from humcheck.results.rows import TrackIdentity
from humcheck.tracks.sections import TrackChannel

NAMES = ("full", "sweep", "silence")
LENGTHS = ("short", "standard", "long")

#: The long chirp of a slot: its length, its soft edges, and the band that it runs through.
CHIRP_S = 0.25
CHIRP_FADE_S = 0.005
CHIRP_LOW_HZ = 200.0
CHIRP_HIGH_HZ = 18000.0
#: Phase at the start of the left chirp, chosen so that its integral is zero (no DC); the right one has the negative.
CHIRP_PHASE_RAD = 0.751737238277

#: The short chirps of the code word follow the long one after a gap, one right after the other.
CODE_GAP_S = 0.02
BIT_S = 0.01
BIT_FADE_S = 0.0015
BIT_LOW_HZ = 500.0
BIT_HIGH_HZ = 8000.0
BIT_PHASE_RAD = 1.467834966208

#: Level of all chirps.
MARKER_DBFS = -6.0

N_BITS = 18
CODE_OFFSET_S = CHIRP_S + CODE_GAP_S
SLOT_S = CODE_OFFSET_S + N_BITS * BIT_S

#: Start of each channel's slot (and of its long chirp), seconds from the start of the marker.
SLOT_OFFSET_S: dict[TrackChannel, float] = {"left": 0.0, "right": 0.5}
MARKER_S = 0.95

_FIELD_BITS = (2, 2, 4, 5)
_N_CHECK_BITS = 5
# x^5 + x^2 + 1 is primitive: words of up to 31 bits differ in at least three places.
_CHECK_POLYNOMIAL = 0b100101
# A start value that is not zero: neither the word of all zeros nor that of all ones is valid.
_CHECK_START = 0b11111


def bit_offset_s(bit_index: int) -> float:
    """Return the start of a code bit, in seconds from the start of its slot."""
    return CODE_OFFSET_S + bit_index * BIT_S


def encode_marker(identity: TrackIdentity, index: int) -> tuple[int, ...]:
    """Return the code word of a marker.

    Parameters
    ----------
    identity : TrackIdentity
        Name, length and layout number (1 to 15) of the track.
    index : int
        Place of the marker among the track's markers, 0 to 31.

    Returns
    -------
    tuple of int
        `N_BITS` bits, 0 or 1; 1 means the polarity of the slot's long chirp.

    Raises
    ------
    ValueError
        If a field does not fit.
    """
    if identity.name not in NAMES or identity.length not in LENGTHS:
        raise ValueError(f"identity={identity!r}: name must be one of {NAMES}, length one of {LENGTHS}")
    fields = (NAMES.index(identity.name) + 1, LENGTHS.index(identity.length) + 1, identity.layout, index)
    word = 0
    for value, width in zip(fields, _FIELD_BITS, strict=True):
        if not 0 <= value < 1 << width:
            raise ValueError(f"{value} does not fit into {width} bits (identity={identity!r}, index={index})")
        word = word << width | value
    word = word << _N_CHECK_BITS | _check(word)
    return tuple(word >> shift & 1 for shift in reversed(range(N_BITS)))


def decode_marker(bits: Sequence[int]) -> tuple[TrackIdentity, int] | None:
    """Return what a code word says, or None where it is not a valid one.

    A layout number that this version does not know is still returned, so that a newer track can be named as such.

    Parameters
    ----------
    bits : sequence of int
        `N_BITS` bits, 0 or 1 (or bool).

    Returns
    -------
    tuple of (TrackIdentity, int) or None
        The track, and the index of the marker.
    """
    if len(bits) != N_BITS:
        raise ValueError(f"bits must hold {N_BITS} values, got {len(bits)}")
    word = 0
    for bit in bits:
        word = word << 1 | int(bool(bit))
    if _check(word >> _N_CHECK_BITS) != word & (1 << _N_CHECK_BITS) - 1:
        return None
    values = []
    word >>= _N_CHECK_BITS
    for width in reversed(_FIELD_BITS):
        values.append(word & (1 << width) - 1)
        word >>= width
    index, number, length_code, name_code = values
    if not (1 <= name_code <= len(NAMES) and 1 <= length_code <= len(LENGTHS) and number >= 1):
        return None
    identity = TrackIdentity(name=NAMES[name_code - 1], length=LENGTHS[length_code - 1], layout=number)
    return identity, index


def _check(word: int) -> int:
    """Return the cyclic check of the 13 bits that carry meaning."""
    check = _CHECK_START
    for shift in reversed(range(sum(_FIELD_BITS))):
        check = check << 1 | (word >> shift & 1)
        if check >> _N_CHECK_BITS:
            check ^= _CHECK_POLYNOMIAL
    for _ in range(_N_CHECK_BITS):
        check <<= 1
        if check >> _N_CHECK_BITS:
            check ^= _CHECK_POLYNOMIAL
    return check
