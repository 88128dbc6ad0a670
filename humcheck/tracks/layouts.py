"""The layouts that this version can read, keyed by number. Old ones stay: a take made years ago names its own."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from humcheck.errors import UnusableCall
from humcheck.results.rows import TrackIdentity
from humcheck.tracks import layout_1, layout_2
from humcheck.tracks.markers import LENGTHS, NAMES
from humcheck.tracks.sections import Channels, Kind, Layout, Section, TrackChannel

__all__ = [
    "CLIP_LAYOUT",
    "CURRENT_LAYOUT",
    "LAYOUT_NUMBERS",
    "LENGTHS",
    "NAMES",
    "Channels",
    "Kind",
    "Layout",
    "Section",
    "TrackChannel",
    "layout",
    "layout_of",
]

_BUILDERS: dict[int, Callable[[str, str], Layout]] = {
    layout_1.NUMBER: layout_1.build,
    layout_2.NUMBER: layout_2.build,
}
LAYOUT_NUMBERS = tuple(_BUILDERS)
#: The layout that new tracks are written in.
CURRENT_LAYOUT = layout_1.NUMBER
#: The layout of the track in a test clip.
CLIP_LAYOUT = layout_2.NUMBER


@cache
def layout(name: str, length: str, number: int = CURRENT_LAYOUT) -> Layout:
    """Return the layout of a track.

    Parameters
    ----------
    name : str
        ``"full"``, ``"sweep"`` or ``"silence"``.
    length : str
        ``"short"``, ``"standard"`` or ``"long"``.
    number : int, optional
        Layout number, as the markers carry it.

    Raises
    ------
    ValueError
        If there is no track of that name or length.
    UnusableCall
        If this version does not know the layout number.
    """
    if name not in NAMES or length not in LENGTHS:
        raise ValueError(f"name={name!r}, length={length!r}: expected one of {NAMES} and one of {LENGTHS}")
    if number not in _BUILDERS:
        known = ", ".join(str(known) for known in LAYOUT_NUMBERS)
        raise UnusableCall(
            f"track layout {number} is not known, this version reads {known}",
            remedy="use a newer version for takes of that track",
        )
    return _BUILDERS[number](name, length)


def layout_of(identity: TrackIdentity) -> Layout:
    """Return the layout that a track identity names; errors as for `layout`."""
    return layout(identity.name, identity.length, identity.layout)
