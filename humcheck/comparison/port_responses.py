"""Whether all ports of a device treat the tone alike: the response of each against that of the others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import msgspec

from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.port_tone_spread import tone_spread
from humcheck.comparison.ports import THE_OTHERS
from humcheck.comparison.references import place_of
from humcheck.comparison.response_delta import compare_levels
from humcheck.comparison.response_figures import span_change
from humcheck.estimates.sweeps import ResponseEstimate
from humcheck.results import Change, Key


def port_spans(takes: Sequence[MeasuredTake], uses: Sequence[Sequence[MeasuredTake]] = ()) -> list[Change]:
    """Return `response_span`, contrast ``port``: how far each port departs from the others; and the spread of all.

    Parameters
    ----------
    takes : sequence of MeasuredTake
        Through takes whose sweeps can be used. Ports of one device under one picture, condition and fix are set against
        each other: each against all takes of the other ports together (of two ports the later against the earlier), so
        that the direct takes play no part.
    uses : sequence of sequence of MeasuredTake, optional
        The takes of every use of the bench, whose scatter is pooled; without them that of the ports alone.
    """
    groups: dict[tuple[Any, ...], dict[str, list[MeasuredTake]]] = {}
    for take in takes:
        if take.role == "through" and take.responses and take.key.port is not None:
            ports = groups.setdefault(place_of(take.key, "port"), {})
            ports.setdefault(take.key.port, []).append(take)
    spans: list[Change] = []
    for ports in groups.values():
        names = list(ports)
        if len(names) > 1:
            spans += _spreads(ports, uses)
        for name in names if len(names) > 2 else names[1:]:
            others = [other for other in names if other != name]
            spans += _against(ports[name], [take for other in others for take in ports[other]], others, uses)
    return spans


def _against(
    ours: Sequence[MeasuredTake],
    theirs: Sequence[MeasuredTake],
    ports: Sequence[str],
    uses: Sequence[Sequence[MeasuredTake]],
) -> list[Change]:
    key = ours[0].key
    reference: dict[str, Any] = {"subject": key.subject, "role": key.role, "n_takes": len(theirs)}
    reference |= {"port": ports[0]} if len(ports) == 1 else {"port": THE_OTHERS, "ports": list(ports)}
    spans = []
    for channel in dict.fromkeys(response.driven for response in ours[0].responses):
        sides = [_of_channel(side, channel) for side in (ours, theirs)]
        if not all(sides):
            continue
        cells = [found for use in uses if (found := _of_channel(use, channel))] or None
        shape = compare_levels(sides[0], sides[1], re_reference=True, cells=cells)
        named = Key(**key.fields(quantity="response_span", channel=channel))
        span = span_change(shape, named, reference, repeated=min(len(side) for side in sides) > 1)
        if isinstance(span, Change):
            spans.append(msgspec.structs.replace(span, contrast="port"))
    return spans


def _spreads(ports: Mapping[str, Sequence[MeasuredTake]], uses: Sequence[Sequence[MeasuredTake]]) -> list[Change]:
    """Return the spread over those ports that have sweeps in a channel."""
    first = next(iter(ports.values()))[0]
    spreads = []
    for channel in dict.fromkeys(response.driven for response in first.responses):
        known = {name: found for name, takes in ports.items() if (found := _of_channel(takes, channel))}
        cells = [found for use in uses if (found := _of_channel(use, channel))] or list(known.values())
        if len(known) > 1:
            spread = tone_spread(known, cells, Key(**first.key.fields(channel=channel)))
            spreads += [] if spread is None else [spread]
    return spreads


def _of_channel(takes: Sequence[MeasuredTake], channel: str) -> list[ResponseEstimate]:
    found = (next((one for one in take.responses if one.driven == channel), None) for take in takes)
    return [one for one in found if one is not None]
