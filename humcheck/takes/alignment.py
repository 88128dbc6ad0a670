"""Alignment of a take with the track that it holds: identity, clock, gain, polarity, channels, lost samples."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.results.rows import TrackIdentity
from humcheck.takes.arrival_noise import arrival_variances, rough_variances
from humcheck.takes.arrivals import Arrivals, arrivals_of
from humcheck.takes.channels import ChannelMap, Routing, routing_of
from humcheck.takes.chirps import TRACK_CHANNELS, Placement
from humcheck.takes.clock import Clock
from humcheck.takes.equalized import EqualizedFile
from humcheck.takes.following import follow
from humcheck.takes.lost import Jump, count_jumps
from humcheck.takes.sighting import Sighting
from humcheck.takes.slot_fit import SlotFit, fit_slot
from humcheck.takes.steps import LostSamples, place_steps, steps_between
from humcheck.takes.timing import ClockFit, clock_of_one, fit_clock
from humcheck.takes.wander import Wander
from humcheck.tracks.layouts import Layout
from humcheck.tracks.markers import SLOT_OFFSET_S
from humcheck.tracks.sections import TrackChannel

#: A chirp was hit by something, and times nothing, when it leaves so many times more than the better of its like.
_DAMAGED_RATIO = 6.0
_DAMAGED_LEAST = 0.01
#: A chirp so much weaker than the strongest one is what leaks across, or chance in the noise: it times nothing.
_LEAK_SHARE = 0.01
_MOST_REFITS = 3
#: Losses and polarity are told only of clocks that wander less than this in a minute (RMS, ppm); crystals stay below 1.
_STEADY_WALK_PPM = 5.0
#: A chirp tells the polarity that holds together so far as the one that was read.
_COHERENT_SHARE = 0.6
#: A rate that was wrong by this much in the fit leaves the arrivals right to far below a millionth of a sample.
_SETTLED_PPM = 0.5


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
    wander : Wander
        How the clock leaves the straight line; all zero where it does not.
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
    wander: Wander
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
    seen = sighting.seen(file)
    slots = follow(seen, sighting, layout)
    coherent = _COHERENT_SHARE * sighting.coherence()
    timed = _timed(slots, rough_variances(slots), file.rate_hz, layout.duration_s, coherent)
    for _ in range(_MOST_REFITS):
        before_ppm = timed.fit.clock.drift_ppm
        slots = _refitted(seen, slots, timed.fit.clock, layout)
        timed = _timed(slots, arrival_variances(slots), file.rate_hz, layout.duration_s, coherent)
        if abs(timed.fit.clock.drift_ppm - before_ppm) < _SETTLED_PPM:
            break
    routing = routing_of(slots, file.n_channels, least_coherence=np.inf if timed.sways else coherent)
    clock = timed.fit.clock
    lost: tuple[LostSamples, ...] = ()
    if timed.arrivals is not None and timed.jumps:
        steps, lost = place_steps(file, layout, routing, clock, timed.arrivals, timed.jumps)
        clock = replace(clock, steps=steps)
    residual = np.full(len(slots), np.nan)
    residual[timed.used] = timed.fit.residual_samples
    return Alignment(
        identity=sighting.identity,
        clock=clock,
        offset_s=clock.offset_s,
        offset_sd_s=timed.fit.offset_sd_s,
        drift_ppm=clock.drift_ppm,
        drift_sd_ppm=timed.fit.drift_sd_ppm,
        wander=timed.fit.wander,
        routing=routing,
        lost=lost,
        slots=tuple(slots),
        used=timed.used,
        arrival_sd_samples=np.sqrt(timed.variance),
        residual_samples=residual,
    )


class _Timed(NamedTuple):
    fit: ClockFit
    used: NDArray[np.bool_]
    variance: NDArray[np.float64]
    arrivals: Arrivals | None
    jumps: list[Jump]
    sways: bool


def _timed(
    slots: list[SlotFit], variance: NDArray[np.float64], rate_hz: float, end_s: float, coherent: float
) -> _Timed:
    """Return the clock through the undamaged chirps; where most hold together less than `coherent`, it sways."""
    used = _undamaged(slots)
    sound = [slot for slot, use in zip(slots, used, strict=True) if use]
    if len(sound) == 1:
        return _Timed(clock_of_one(sound[0], float(variance[used][0]), rate_hz), used, variance, None, [], False)
    arrivals = arrivals_of(sound, variance[used], rate_hz)
    jumps = count_jumps(arrivals)
    steps = steps_between(arrivals, jumps)
    fit = fit_clock(arrivals_of(sound, variance[used], rate_hz, steps), end_s, steps)
    sways = fit.wander.walk_ppm > _STEADY_WALK_PPM or float(np.median([one.coherence() for one in sound])) < coherent
    if jumps and sways:
        # A speed that sways as a tape's does feigns any number of lost samples.
        jumps, fit = [], fit_clock(arrivals_of(sound, variance[used], rate_hz), end_s)
    return _Timed(fit, used, variance, arrivals, jumps, sways)


def _undamaged(slots: list[SlotFit]) -> NDArray[np.bool_]:
    misfit = np.array([1.0 - slot.likeness for slot in slots])
    size = np.array([np.abs(slot.gains).max() for slot in slots])
    used: NDArray[np.bool_] = size > _LEAK_SHARE * size.max(initial=0.0)
    for channel in TRACK_CHANNELS:
        own = np.array([slot.channel == channel for slot in slots])
        if own.any():
            used[own] &= misfit[own] <= _DAMAGED_RATIO * np.quantile(misfit[own], 0.25) + _DAMAGED_LEAST
    return used


def _refitted(file: TakeFile | EqualizedFile, slots: list[SlotFit], clock: Clock, layout: Layout) -> list[SlotFit]:
    """Fit every chirp again at the rate that the clock has there."""
    fitted = []
    for slot in slots:
        rate_hz = float(clock.local_rate_hz(slot.track_s))
        chirp_track_s = layout.markers[slot.marker_index].start_s + SLOT_OFFSET_S[slot.channel]
        start = slot.take_index - (slot.track_s - chirp_track_s) * rate_hz
        again = fit_slot(file, slot.marker_index, slot.channel, chirp_track_s, Placement(start, rate_hz))
        fitted.append(slot if again is None else again)
    return fitted
