"""The long chirps of the markers as templates: evaluated at the times at which a take holds them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from humcheck.tracks import markers
from humcheck.tracks.envelopes import PASS_SHARE
from humcheck.tracks.sections import TrackChannel
from humcheck.tracks.waveforms import marker_chirp, marker_chirp_and_derivative

Array = NDArray[np.float64]

TRACK_CHANNELS: tuple[TrackChannel, TrackChannel] = ("left", "right")

_SWEEP_HZ_PER_S = (markers.CHIRP_HIGH_HZ - markers.CHIRP_LOW_HZ) / markers.CHIRP_S


class Placement(NamedTuple):
    """Where a long chirp lies in a take.

    Attributes
    ----------
    start_index : float
        Take index of the chirp's first moment.
    samples_per_s : float
        Take samples for each second of the track.
    """

    start_index: float
    samples_per_s: float

    def time_s(self, first_index: int, n_samples: int) -> Array:
        """Return the time from the chirp's start at `n_samples` take samples from `first_index` on."""
        return np.asarray((np.arange(first_index, first_index + n_samples) - self.start_index) / self.samples_per_s)

    def span(self) -> tuple[int, int]:
        """Return the first take index that the chirp covers, and the one after the last."""
        stop = self.start_index + markers.CHIRP_S * self.samples_per_s
        return int(np.ceil(self.start_index)), int(np.ceil(stop))

    def moved(self, track_s: float) -> Placement:
        """Return the placement of a chirp that starts `track_s` later in the track."""
        return self._replace(start_index=self.start_index + track_s * self.samples_per_s)


def chirp(channel: TrackChannel, time_s: Array, rate_hz: float) -> Array:
    """Return the long chirp of a track channel at times from its start, band-limited to a take's rate."""
    return marker_chirp(channel, time_s, rate_hz)


def chirp_and_slope(channel: TrackChannel, time_s: Array, rate_hz: float) -> tuple[Array, Array]:
    """Return `chirp` and its derivative by time, per second."""
    return marker_chirp_and_derivative(channel, time_s, rate_hz)


def chirp_frequency_hz(channel: TrackChannel, time_s: Array) -> Array:
    """Return the frequency through which the chirp passes at times from its start."""
    if channel == "left":
        return np.asarray(markers.CHIRP_LOW_HZ + _SWEEP_HZ_PER_S * time_s)
    return np.asarray(markers.CHIRP_HIGH_HZ - _SWEEP_HZ_PER_S * time_s)


def signed_sweep_hz_per_s(channel: TrackChannel) -> float:
    """Return how fast the chirp's frequency climbs; negative for the one that falls."""
    return _SWEEP_HZ_PER_S if channel == "left" else -_SWEEP_HZ_PER_S


def chirp_time_s(channel: TrackChannel, frequency_hz: float) -> float:
    """Return the time from the chirp's start at which it passes through a frequency."""
    from_low_s = (frequency_hz - markers.CHIRP_LOW_HZ) / _SWEEP_HZ_PER_S
    return from_low_s if channel == "left" else markers.CHIRP_S - from_low_s


def audible_span_s(channel: TrackChannel, rate_hz: float) -> tuple[float, float]:
    """Return the part of the chirp that a sampling rate can carry, in seconds from its start."""
    top_hz = min(markers.CHIRP_HIGH_HZ, PASS_SHARE * rate_hz)
    ends = chirp_time_s(channel, markers.CHIRP_LOW_HZ), chirp_time_s(channel, top_hz)
    return min(ends), max(ends)
