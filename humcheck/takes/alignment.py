"""Alignment of a take with the track that it holds: identity, clock, gain, polarity, channels, lost samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.results.rows import TrackIdentity
from humcheck.takes.arrival_noise import arrival_variances
from humcheck.takes.channels import ChannelMap, Routing, routing_of
from humcheck.takes.chirps import Placement
from humcheck.takes.clock import Clock
from humcheck.takes.following import follow
from humcheck.takes.recognition import Sighting
from humcheck.takes.slot_fit import SlotFit, fit_slot
from humcheck.takes.timing import Arrivals, ClockFit, arrivals_of, clock_of_one, fit_line
from humcheck.tracks.layouts import Layout
from humcheck.tracks.markers import SLOT_OFFSET_S
from humcheck.tracks.sections import TrackChannel

#: A chirp that follows the template this much worse than its like was hit by something: it times nothing.
_DAMAGED = 0.5
_REFITS = 2


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
        First take sample after the loss; None where nothing sounded that could tell.
    place_sd : float or None
        Standard uncertainty of the place in samples.
    """

    start_s: float
    end_s: float
    count: int
    place_index: int | None
    place_sd: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Alignment:
    """How a take lies against its track.

    Attributes
    ----------
    identity : TrackIdentity
        The track.
    clock : Clock
        Track time to take index.
    offset_s, offset_sd_s : float
        Take index of track time zero over the nominal rate, and its standard uncertainty. The delay of the path is
        in it: of a filter, the delay of the chirps' energy.
    drift_ppm, drift_sd_ppm : float
        How much longer the take is than the track, and the standard uncertainty.
    routing : Routing
        Channel map, gains, polarities.
    lost : tuple of LostSamples
        In order of time.
    slots : tuple of SlotFit
        The long chirps that were found, in order of time; those that time nothing included.
    used : numpy.ndarray, shape (n_slots,)
        Which of them time the clock.
    arrival_sd_samples, residual_samples : numpy.ndarray, shape (n_slots,)
        Standard uncertainty of each arrival; arrival less the clock (NaN where not used).
    """

    identity: TrackIdentity
    clock: Clock
    offset_s: float
    offset_sd_s: float
    drift_ppm: float
    drift_sd_ppm: float
    routing: Routing
    lost: tuple[LostSamples, ...]
    slots: tuple[SlotFit, ...]
    used: NDArray[np.bool_]
    arrival_sd_samples: NDArray[np.float64]
    residual_samples: NDArray[np.float64]

    @property
    def gain_db(self) -> dict[TrackChannel, float]:
        """Gain of each track channel that arrives: full scale of the take over full scale of the track."""
        return self.routing.gain_db

    @property
    def polarity(self) -> dict[TrackChannel, int]:
        """1 or -1 for each track channel that arrives."""
        return self.routing.polarity

    @property
    def channel_map(self) -> ChannelMap:
        """Where the track's channels went; see `Routing`."""
        return self.routing.channel_map


def align(file: TakeFile, sighting: Sighting, layout: Layout) -> Alignment:
    """Align a take, starting from one marker that was read.

    Parameters
    ----------
    file : TakeFile
        The take.
    sighting : Sighting
        A marker that was found and read.
    layout : Layout
        The track's layout.
    """
    slots = follow(file, sighting, layout)
    fit, used, variance = _timed(slots, file.rate_hz)
    for _ in range(_REFITS):
        slots = _refitted(file, slots, fit.clock, layout)
        fit, used, variance = _timed(slots, file.rate_hz)
    residual = np.full(len(slots), np.nan)
    residual[used] = fit.residual_samples
    return Alignment(
        identity=sighting.identity,
        clock=fit.clock,
        offset_s=fit.clock.offset_s,
        offset_sd_s=fit.offset_sd_s,
        drift_ppm=fit.clock.drift_ppm,
        drift_sd_ppm=fit.drift_sd_ppm,
        routing=routing_of(slots, file.n_channels),
        lost=(),
        slots=tuple(slots),
        used=used,
        arrival_sd_samples=np.sqrt(variance),
        residual_samples=residual,
    )


def _timed(slots: list[SlotFit], rate_hz: float) -> tuple[ClockFit, NDArray[np.bool_], NDArray[np.float64]]:
    """Return the clock through the sound chirps, which those are, and the variances of all."""
    variance = arrival_variances(slots)
    likeness = np.array([slot.likeness for slot in slots])
    used = likeness > _DAMAGED * np.median(likeness)
    sound = [slot for slot, use in zip(slots, used, strict=True) if use]
    if len(sound) == 1:
        return clock_of_one(sound[0], float(variance[used][0]), rate_hz), used, variance
    arrivals: Arrivals = arrivals_of(sound, variance[used])
    return fit_line(arrivals, rate_hz), used, variance


def _refitted(file: TakeFile, slots: list[SlotFit], clock: Clock, layout: Layout) -> list[SlotFit]:
    """Fit every chirp again at the rate that the clock has there."""
    fitted = []
    for slot in slots:
        rate_hz = float(clock.local_rate_hz(slot.track_s))
        chirp_track_s = layout.markers[slot.marker_index].start_s + SLOT_OFFSET_S[slot.channel]
        start = slot.take_index - (slot.track_s - chirp_track_s) * rate_hz
        again = fit_slot(file, slot.marker_index, slot.channel, chirp_track_s, Placement(start, rate_hz))
        fitted.append(slot if again is None else again)
    return fitted
