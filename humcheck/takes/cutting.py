"""One long recording cut at the markers of the tracks in it, and its runs handed out along a list."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

import numpy as np

from humcheck.audio.files import TakeFile, open_take
from humcheck.errors import UnusableTake
from humcheck.results.rows import TrackIdentity
from humcheck.takes.plug_events import clock_time, plug_event
from humcheck.takes.take import Take, sought_in
from humcheck.tracks.markers import SLOT_S

Planned = TypeVar("Planned")

#: Two sightings whose tracks would begin this close together are one run.
_SAME_RUN_S = 1.0
#: So many runs are listed in an error.
_MOST_LISTED = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundRun:
    """One run of a track within a long recording.

    Attributes
    ----------
    span : tuple of (int, int)
        First sample of the run in the file, and the one after its last; `humcheck.takes.take.load_take` takes it.
    rate_hz : int
        Nominal sampling rate of the file.
    track : TrackIdentity or None
        Which track it is.
    problem : str or None
        Why it cannot be used, as a clause: its beginning or end is missing, or a plug was moved meanwhile.
    """

    span: tuple[int, int]
    rate_hz: int
    track: TrackIdentity | None
    problem: str | None = None

    @property
    def words(self) -> str:
        """When it is, what it holds, and what is wrong with it, such as ``0:12 to 1:54 full (standard)``."""
        start, stop = (clock_time(index / self.rate_hz) for index in self.span)
        held = "" if self.track is None else f" {self.track.name} ({self.track.length})"
        return f"{start} to {stop}{held}" + ("" if self.problem is None else f", left out: {self.problem}")


@dataclass(frozen=True, kw_only=True)
class HandedOut(Generic[Planned]):
    """What became of a long recording.

    Attributes
    ----------
    runs : tuple of (planned, FoundRun)
        Each entry of the list with its run, in order of time.
    dropped : tuple of FoundRun
        Runs that were left out; each has a `problem`.
    """

    runs: tuple[tuple[Planned, FoundRun], ...]
    dropped: tuple[FoundRun, ...]


def find_runs(path: str | os.PathLike[str], *, on_run: Callable[[FoundRun], None] | None = None) -> list[FoundRun]:
    """Find every run of a track in a long recording.

    Parameters
    ----------
    path : path
        The recording; read in blocks, however long it is.
    on_run : callable, optional
        Told of each run when it is found.

    Returns
    -------
    list of FoundRun
        In order of time; those that cannot be used included.

    Raises
    ------
    UnusableTake
        If the file cannot be read as a recording.
    """
    runs = []
    for take in runs_in(open_take(path)):
        # The take itself is let go: its chirps would add up over a day.
        problem = _cut(take) or plug_event(take)
        run = FoundRun(span=take.bounds, rate_hz=take.rate_hz, track=take.track, problem=problem)
        runs.append(run)
        if on_run is not None:
            on_run(run)
    return runs


def runs_in(file: TakeFile) -> Iterator[Take]:
    """Yield every run of a track in an open file as a take with its span, whole or not, in order of time."""
    start, earlier, free_from = 0, -np.inf, 0
    while start < file.n_samples:
        take = sought_in(file, start)
        if take.layout is None or take.alignment is None:
            return
        ends = take.alignment.clock.take_index(np.array([0.0, take.layout.duration_s]))
        last = take.alignment.slots[-1]
        # The next search begins behind the last marker that came: a run that was broken off is followed by another
        # before its own end.
        start = max(int(last.take_index + SLOT_S * file.rate_hz / 2), start + 1)
        if ends[0] - earlier > _SAME_RUN_S * file.rate_hz:
            is_whole = last.marker_index == len(take.layout.markers) - 1
            stop = int(np.ceil(ends[1])) if is_whole else start
            span = max(int(np.floor(ends[0])), free_from), min(stop, file.n_samples)
            yield replace(take, span=span)
            free_from = span[1]
        earlier = ends[0]


def hand_out(
    path: str | os.PathLike[str],
    planned: Sequence[Planned],
    *,
    on_run: Callable[[FoundRun], None] | None = None,
) -> HandedOut[Planned]:
    """Find the runs in a long recording and hand them out along a list.

    Parameters
    ----------
    path : path
        The recording.
    planned : sequence
        What was recorded, in order; whatever describes a run.
    on_run : callable, optional
        Told of each run when it is found.

    Raises
    ------
    UnusableTake
        If the file cannot be read, or holds more or fewer usable runs than are planned: names each with its time.
    """
    found = find_runs(path, on_run=on_run)
    usable = [run for run in found if run.problem is None]
    if len(usable) != len(planned):
        raise _wrong_count(path, found, len(usable), len(planned))
    return HandedOut(
        runs=tuple(zip(planned, usable, strict=True)),
        dropped=tuple(run for run in found if run.problem is not None),
    )


def _cut(take: Take) -> str | None:
    """Return what of a run is missing, as a clause; None where it is whole."""
    assert take.layout is not None
    assert take.alignment is not None
    seen = {slot.marker_index for slot in take.alignment.slots}
    sounds = take.layout.sections[0].name, take.layout.sections[-1].name
    if 0 not in seen or not take.has_section(sounds[0]):
        return "its beginning is missing"
    if len(take.layout.markers) - 1 not in seen or not take.has_section(sounds[1]):
        return "it was broken off"
    return None


def _wrong_count(
    path: str | os.PathLike[str], found: Sequence[FoundRun], n_usable: int, n_planned: int
) -> UnusableTake:
    listed = "; ".join(f"{number}. {run.words}" for number, run in enumerate(found[:_MOST_LISTED], 1))
    more = f"; and {len(found) - _MOST_LISTED} more" if len(found) > _MOST_LISTED else ""
    usable = f"{n_usable} usable run{'' if n_usable == 1 else 's'} of a track"
    what = f": {listed}{more}" if found else ""
    return UnusableTake(
        f"holds {usable}, and the bench file names {n_planned}{what}",
        where=os.fspath(path),
        remedy="write one entry in runs for each usable one, in this order",
    )
