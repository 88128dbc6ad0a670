"""Layout 2: the track of the test clip. Frozen, like every layout.

Its sections are those of layout 1. Its number, which the markers carry, says that pictures were shown meanwhile: the
quiet section is divided in time among them, so that a take tells by itself what stood on the screen.
"""

from __future__ import annotations

from dataclasses import replace

from humcheck.tracks import layout_1
from humcheck.tracks.sections import Layout, ShownPicture

NUMBER = 2

#: Shares of the quiet section, in order, of equal length.
QUIET_PICTURES = ("black", "white", "rows")
#: What stands during everything else: the control.
OTHERWISE = "black"


def build(name: str, length: str) -> Layout:
    """Return the layout of one track; parameters as for layout 1."""
    track = layout_1.build(name, length, NUMBER)
    return replace(track, pictures=_pictures(track))


def _pictures(track: Layout) -> tuple[ShownPicture, ...]:
    changes: list[tuple[str, float]] = [(OTHERWISE, 0.0)]
    for quiet in track.sections_of("quiet"):
        share_s = quiet.duration_s / len(QUIET_PICTURES)
        changes += [(name, quiet.start_s + index * share_s) for index, name in enumerate(QUIET_PICTURES)]
        changes.append((OTHERWISE, quiet.end_s))
    seen = [change for before, change in zip([("", 0.0), *changes], changes, strict=False) if change[0] != before[0]]
    ends_s = [*(start_s for _, start_s in seen[1:]), track.duration_s]
    return tuple(
        ShownPicture(name=name, start_s=start_s, end_s=end_s)
        for (name, start_s), end_s in zip(seen, ends_s, strict=True)
    )
