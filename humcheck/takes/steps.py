"""From counted jumps to steps of the clock: each is placed in its interval as exactly as the sound there allows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from humcheck.audio.files import TakeFile
from humcheck.takes.arrivals import Arrivals
from humcheck.takes.channels import Routing
from humcheck.takes.clock import Clock, Step
from humcheck.takes.loss_place import Place, examine
from humcheck.takes.lost import Jump
from humcheck.takes.voices import sounds, usable_span_s
from humcheck.tracks.layouts import Layout
from humcheck.tracks.sections import Section


@dataclass(frozen=True, slots=True, kw_only=True)
class LostSamples:
    """A place where the take lost or gained samples.

    Attributes
    ----------
    start_s, end_s : float
        Take time between which it happened.
    count : int
        Samples lost; negative where samples were inserted.
    place_index : int or None
        First take sample after the loss (the first inserted one); None where nothing sounded that could tell.
    place_sd : float or None
        Standard uncertainty of the place in samples.
    """

    start_s: float
    end_s: float
    count: int
    place_index: int | None
    place_sd: float | None


def steps_between(arrivals: Arrivals, jumps: Sequence[Jump]) -> tuple[Step, ...]:
    """Return the jumps as steps halfway between the arrivals on either side."""
    return tuple(
        Step(track_s=float(np.mean(arrivals.track_s[jump.after : jump.after + 2])), count=jump.count) for jump in jumps
    )


def place_steps(
    file: TakeFile, layout: Layout, routing: Routing, clock: Clock, arrivals: Arrivals, jumps: Sequence[Jump]
) -> tuple[tuple[Step, ...], tuple[LostSamples, ...]]:
    """Place each jump within its interval.

    Parameters
    ----------
    file : TakeFile
        The take.
    layout : Layout
        The track's layout.
    routing : Routing
        Which take channel holds what.
    clock : Clock
        The clock; its steps are replaced by what is found.
    arrivals : Arrivals
        The arrivals that the jumps lie between.
    jumps : sequence of Jump
        In order of time.
    """
    steps: list[Step] = []
    lost: list[LostSamples] = []
    for jump in jumps:
        before = replace(clock, steps=tuple(steps))
        start_s, end_s = (float(arrivals.track_s[jump.after + k]) for k in (0, 1))
        step, found = _placed(file, layout, routing, before, jump.count, start_s, end_s)
        steps.append(step)
        lost.append(found)
    return tuple(steps), tuple(lost)


def _placed(
    file: TakeFile, layout: Layout, routing: Routing, before: Clock, count: int, start_s: float, end_s: float
) -> tuple[Step, LostSamples]:
    for section in _sounding(layout, start_s, end_s):
        # A chirp that gave an arrival was whole: only what lies wholly between the arrivals can have been hit.
        sources = [
            (channel, source)
            for channel, source in routing.sources.items()
            if section.drives(channel) and _between(usable_span_s(section, channel), start_s, end_s)
        ]
        verdict = examine(file, section, sources, before, count)
        if verdict.place is not None:
            return _at(verdict.place, before, count)
        spans = [usable_span_s(section, channel) for channel, _ in sources]
        if verdict.side == "before":
            start_s = max([start_s, *(end for _, end in spans)])
        elif verdict.side == "after":
            end_s = max(start_s, min([end_s, *(start for start, _ in spans)]))
    step = Step(track_s=_longest_silence_middle_s(layout, start_s, end_s), count=count)
    index = before.take_index(np.array([start_s, end_s]))
    lost = LostSamples(
        start_s=float(index[0]) / before.rate_hz,
        end_s=float(index[1] - count) / before.rate_hz,
        count=count,
        place_index=None,
        place_sd=None,
    )
    return step, lost


def _between(span_s: tuple[float, float], start_s: float, end_s: float) -> bool:
    return start_s < span_s[0] and span_s[1] < end_s


def _at(place: Place, before: Clock, count: int) -> tuple[Step, LostSamples]:
    # Halfway between the last sample of one part and the first of the other.
    step = Step(track_s=float(before.track_time_s(place.index - 0.5)), count=count)
    reach = 2.0 * place.sd
    lost = LostSamples(
        start_s=(place.index - reach) / before.rate_hz,
        end_s=(place.index + max(-count, 0) + reach) / before.rate_hz,
        count=count,
        place_index=place.index,
        place_sd=place.sd,
    )
    return step, lost


def _sounding(layout: Layout, start_s: float, end_s: float) -> Iterator[Section]:
    for section in layout.sections:
        if (
            section.end_s > start_s
            and section.start_s < end_s
            and (sounds(section, "left") or sounds(section, "right"))
        ):
            yield section


def _longest_silence_middle_s(layout: Layout, start_s: float, end_s: float) -> float:
    """Return the middle of the longest stretch without sound between two track times."""
    edges = [start_s]
    for section in _sounding(layout, start_s, end_s):
        edges += [min(max(section.start_s, start_s), end_s), min(max(section.end_s, start_s), end_s)]
    edges.append(end_s)
    gaps = [(later - earlier, 0.5 * (earlier + later)) for earlier, later in zip(edges[::2], edges[1::2], strict=True)]
    longest = max(gaps)
    return longest[1] if longest[0] > 0.0 else 0.5 * (start_s + end_s)
