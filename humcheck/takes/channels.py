"""Which take channel holds which track channel, with what gain and polarity."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.levels import ratio_to_db
from humcheck.takes.chirps import TRACK_CHANNELS
from humcheck.takes.slot_fit import SlotFit
from humcheck.tracks.sections import TrackChannel

ChannelMap = Literal["straight", "swapped", "merged", "left-only", "right-only", "mono-source", "none"]

#: A track channel that arrives weaker than this, re the other one, is what leaks across, not what was connected.
_LEAK_DB = -40.0
#: Two track channels that arrive in one take channel within this of each other are merged; less is crosstalk.
_MERGED_DB = -10.0
#: Inverted is what four chirps in five say: where a speed sways they say this and that.
_INVERTED_SIGN = -0.55


@dataclass(frozen=True, slots=True, kw_only=True)
class Routing:
    """Where the track's channels went.

    Attributes
    ----------
    channel_map : str
        ``"straight"``; ``"swapped"``; ``"merged"``, both track channels in one or both take channels;
        ``"left-only"`` or ``"right-only"``, one track channel arrives, in one take channel; ``"mono-source"``, one
        track channel arrives, in both take channels; ``"none"``.
    sources : dict
        Take channel (0 or 1) that holds each track channel that arrives.
    gain_db, polarity : dict
        Gain around 1 kHz and sign (1 or -1) of each track channel that arrives.
    gains : numpy.ndarray, shape (n_take_channels, 2)
        Amplitude of track left and right in each take channel.
    """

    channel_map: ChannelMap
    sources: dict[TrackChannel, int]
    gain_db: dict[TrackChannel, float]
    polarity: dict[TrackChannel, int]
    gains: NDArray[np.float64]


def routing_of(slots: Sequence[SlotFit], n_take_channels: int, *, least_coherence: float = 0.5) -> Routing:
    """Decide the routing from the long chirps, of which left and right ones never sound together.

    Parameters
    ----------
    slots : sequence of SlotFit
        The long chirps.
    n_take_channels : int
        Channels of the take.
    least_coherence : float, optional
        Chirps that hold together less (a tape's speed sways) tell no polarity; where none is left, it is taken for the
        usual one.
    """
    gains = np.zeros((n_take_channels, 2))
    for column, channel in enumerate(TRACK_CHANNELS):
        of_channel = [slot for slot in slots if slot.channel == channel]
        if of_channel:
            # The sign is of the whole chirp, the size of the band around the tone by which gains are named.
            signed = [slot.gains for slot in of_channel if slot.coherence() >= least_coherence]
            sign = np.where(np.mean(np.sign(signed), axis=0) < _INVERTED_SIGN, -1.0, 1.0) if signed else 1.0
            gains[:, column] = sign * np.median([slot.tone_gains for slot in of_channel], axis=0)
    size = np.abs(gains)
    largest = float(size.max(initial=0.0))
    arrives = [column for column in (0, 1) if size[:, column].max() > largest * 10.0 ** (_LEAK_DB / 20.0)]
    channel_map = _map(size, arrives) if largest > 0.0 else "none"
    sources = _sources(size, arrives, channel_map)
    carried = {channel: float(gains[source, TRACK_CHANNELS.index(channel)]) for channel, source in sources.items()}
    return Routing(
        channel_map=channel_map,
        sources=sources,
        gain_db={channel: ratio_to_db(gain) for channel, gain in carried.items()},
        polarity={channel: 1 if gain >= 0.0 else -1 for channel, gain in carried.items()},
        gains=gains,
    )


def _map(size: NDArray[np.float64], arrives: list[int]) -> ChannelMap:
    near = 10.0 ** (_MERGED_DB / 20.0)
    if len(arrives) == 1:
        column = size[:, arrives[0]]
        if len(column) == 2 and column.min() > near * column.max():
            return "mono-source"
        return "left-only" if arrives[0] == 0 else "right-only"
    # The stronger take channel decides: does it hold both track channels alike?
    rows = size[size.max(axis=1) > near * size.max()]
    if any(row.min() > near * row.max() for row in rows):
        return "merged"
    if len(size) == 1:
        return "left-only" if size[0, 0] > size[0, 1] else "right-only"
    return "straight" if size[0, 0] * size[1, 1] >= size[0, 1] * size[1, 0] else "swapped"


def _sources(size: NDArray[np.float64], arrives: list[int], channel_map: ChannelMap) -> dict[TrackChannel, int]:
    if channel_map == "none":
        return {}
    if channel_map == "straight":
        return {"left": 0, "right": 1}
    if channel_map == "swapped":
        return {"left": 1, "right": 0}
    if channel_map in ("left-only", "right-only"):
        arrives = [0 if channel_map == "left-only" else 1]
    # Each track channel is read where a straight lead would have put it, if it is there.
    return {TRACK_CHANNELS[column]: _source(size[:, column], column) for column in arrives}


def _source(column: NDArray[np.float64], straight: int) -> int:
    if straight < len(column) and column[straight] >= 0.5 * column.max():
        return straight
    return int(np.argmax(column))
