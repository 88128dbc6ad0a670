"""Places in a track, as times in a take: where a fault shows first, and where last."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from humcheck.takes.take import Take


@dataclass(frozen=True, slots=True)
class Place:
    """A section of the track or one of its steps; with `edge` only the moment in which that starts or ends."""

    section: str
    step: int | None = None
    edge: Literal["start", "end"] | None = None


def span_s(take: Take | None, places: Iterable[Place]) -> tuple[float, float] | None:
    """Return from where to where in the take some places reach, in seconds of its nominal rate.

    Parameters
    ----------
    take : Take or None
        With a recognised track.
    places : iterable of Place
        Sections of its track.

    Returns
    -------
    tuple of (float, float) or None
        None where there is no take, no track or no place.
    """
    if take is None or take.layout is None or take.alignment is None:
        return None
    ends_s: list[tuple[float, float]] = []
    for place in places:
        section = take.layout.section(place.section)
        start_s, end_s = section.start_s, section.end_s
        if place.step is not None:
            start_s += section.step_s * place.step
            end_s = start_s + section.step_s
        ends_s.append({"start": (start_s, start_s), "end": (end_s, end_s), None: (start_s, end_s)}[place.edge])
    if not ends_s:
        return None
    track_s = np.array([min(start for start, _ in ends_s), max(end for _, end in ends_s)])
    first, last = take.alignment.clock.take_index(track_s) / take.rate_hz
    return float(first), float(last)
