"""A take, simulated: source, clocks, path, interference, recorder, in the order in which they stand in the world."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.audio.writing import write_audio
from humcheck.simulation.clocks import time_map
from humcheck.simulation.interference import add_hiss, add_lines
from humcheck.simulation.path import PathModel
from humcheck.simulation.playback import SourceSpectrum, play, ringing_s, source_spectrum
from humcheck.simulation.truth import Truth
from humcheck.simulation.warp import warp
from humcheck.tracks.layouts import Layout
from humcheck.tracks.rendering import render_track

_MUTE_S = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedTake:
    """A simulated take.

    Attributes
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        What is in the file, full scale = 1.
    rate_hz : int
        Nominal rate.
    truth : Truth
        True values of what can be measured in it.
    """

    samples: Floats
    rate_hz: int
    truth: Truth

    def write(self, path: str | Path, *, bits: int | None = None, force: bool = False) -> None:
        """Write the take as an audio file (see `write_audio`); `bits` defaults to the recorder's, else 32 (float)."""
        word = bits or self.truth.path.recorder.bits or 32
        write_audio(path, self.samples, self.rate_hz, word, force=force, comment="A simulated take.")


@dataclass(frozen=True, slots=True, kw_only=True)
class TakePlan:
    """A take before it is made: all that is random about clocks and mains is drawn, so its truth is known.

    Attributes
    ----------
    source : Layout, numpy.ndarray or None
        What is played.
    source_rate_hz, source_bits : int
        Rate of the source's file, and word length if it is a track.
    truth : Truth
        True values.
    streams : tuple of numpy.random.SeedSequence
        Seeds of the phases, the hiss and the recorder's dither.
    """

    source: Layout | Floats | None
    source_rate_hz: int
    source_bits: int
    truth: Truth
    streams: tuple[np.random.SeedSequence, ...]

    def simulate(self) -> SimulatedTake:
        """Make the take; the same plan gives the same samples."""
        truth = self.truth
        phases, hiss, dither = (np.random.default_rng(stream) for stream in self.streams)
        path = truth.path
        sound = self._played()
        add_lines(sound, path, truth.clock, truth.mains_cycles, phases.random(3 + len(path.tones)))
        add_hiss(sound, path, truth.rate_hz, hiss)
        if path.source_hiss is not None:
            sound += path.source_hiss.samples(truth.n_samples, truth.rate_hz, hiss) * self._unmuted()
        recorded = path.recorder.record(sound, truth.rate_hz, dither)
        return SimulatedTake(samples=np.ascontiguousarray(recorded.T), rate_hz=truth.rate_hz, truth=truth)

    def _played(self) -> Floats:
        """Return the source as it arrives at the recorder, shape (2, n_samples)."""
        truth, linear = self.truth, self.truth.path.linear
        if self.source is None or linear.channel_map == "none":
            return np.zeros((2, truth.n_samples))
        rates = (self.source_rate_hz, truth.rate_hz)
        pad_s = ringing_s(linear.lowest_corner_hz)
        if isinstance(self.source, Layout):
            spectrum = _track_spectrum(self.source, self.source_bits, *rates, pad_s)
        else:
            spectrum = source_spectrum(_two_channels(self.source), *rates, pad_s)
        clock_factor = 1 + 1e-6 * truth.path.player.ppm
        played = play(spectrum, truth.rate_hz, linear, clock_factor=clock_factor, distortion=truth.path.distortion)
        return warp(played.samples, truth.clock.positions(truth.n_samples) + played.first_index).T

    def _unmuted(self) -> Floats:
        """Return 1 where the player's own hiss is heard and 0 where it mutes, shape (n_samples,)."""
        if self.source is None:
            return np.ones(self.truth.n_samples)
        if isinstance(self.source, Layout):
            file = _track(self.source, self.source_rate_hz, self.source_bits)
        else:
            file = self.source
        step = max(1, round(_MUTE_S * self.source_rate_hz))
        sounding = np.logical_or.reduceat(np.any(file != 0, axis=1), np.arange(0, file.shape[0], step))
        # Mute before the start and after the end.
        sounding = np.concatenate([[False], sounding, [False]])
        place = self.truth.clock.positions(self.truth.n_samples) * (self.source_rate_hz / self.truth.rate_hz / step)
        index = np.clip(np.floor(place).astype(np.intp) + 1, 0, sounding.size - 1)
        return np.where(sounding[index], 1.0, 0.0)


def plan_take(
    source: Layout | Floats | None,
    *,
    path: PathModel | None = None,
    rate_hz: int = 48000,
    seed: int = 0,
    source_rate_hz: int | None = None,
    source_bits: int = 24,
    lead_s: float = 1.25,
    tail_s: float = 1.0,
    duration_s: float | None = None,
) -> TakePlan:
    """Return a take that is not made yet, its truth included; arguments and errors as for `simulate_take`."""
    path = PathModel() if path is None else path
    played_rate_hz = rate_hz if source_rate_hz is None else source_rate_hz
    source_s = _source_duration_s(source, played_rate_hz)
    if source is None and duration_s is None:
        raise ValueError("duration_s is needed where nothing plays")
    offset_s = lead_s + path.delay_s
    length_s = offset_s + source_s + tail_s if duration_s is None else duration_s
    if length_s <= 0:
        raise ValueError(f"the take must last longer than 0 s, got {length_s}")
    n_samples = math.ceil(round(length_s * rate_hz, 6))
    clocks, grid, *streams = np.random.SeedSequence(seed).spawn(5)
    clock = time_map(
        n_samples=n_samples,
        rate_hz=rate_hz,
        player=path.player,
        recorder=path.recorder_clock,
        offset_s=offset_s,
        rng=np.random.default_rng(clocks),
    )
    mains_hz = path.mains.track_hz(clock.knots.time_s, np.random.default_rng(grid))
    truth = Truth(
        path=path,
        rate_hz=rate_hz,
        n_samples=n_samples,
        offset_s=offset_s,
        drift_ppm=clock.drift_ppm(0.0, source_s if source_s > 0 else length_s),
        clock=clock,
        mains_cycles=clock.true_counter(mains_hz),
        source_bits=source_bits if isinstance(source, Layout) else None,
        source_rate_hz=played_rate_hz,
    )
    return TakePlan(
        source=source,
        source_rate_hz=played_rate_hz,
        source_bits=source_bits,
        truth=truth,
        streams=tuple(streams),
    )


def simulate_take(
    source: Layout | Floats | None,
    *,
    path: PathModel | None = None,
    rate_hz: int = 48000,
    seed: int = 0,
    source_rate_hz: int | None = None,
    source_bits: int = 24,
    lead_s: float = 1.25,
    tail_s: float = 1.0,
    duration_s: float | None = None,
) -> SimulatedTake:
    """Return a take of a track, of any other material, or of nothing.

    Parameters
    ----------
    source : Layout, numpy.ndarray of shape (n_samples, 2 or 1), or None
        A track, rendered as its file is written; or sound at `source_rate_hz`; or nothing plays (`duration_s` is then
        needed).
    path : PathModel, optional
        What is in the way; nothing without it but a 24-bit recorder.
    rate_hz : int
        Nominal rate of the take.
    seed : int
        Seed of everything random; the same arguments give the same samples.
    source_rate_hz : int, optional
        Rate of the source file; `rate_hz` without it.
    source_bits : int
        Word length of a track's file.
    lead_s : float
        From the start of the recording to the start of the source; negative cuts the source's start off.
    tail_s : float
        What is recorded after the source's end; negative cuts it off.
    duration_s : float, optional
        Length of the take before anything is lost, instead of `tail_s`.

    Raises
    ------
    ValueError
        If nothing plays and no length is given, or the length is not above 0.
    """
    return plan_take(
        source,
        path=path,
        rate_hz=rate_hz,
        seed=seed,
        source_rate_hz=source_rate_hz,
        source_bits=source_bits,
        lead_s=lead_s,
        tail_s=tail_s,
        duration_s=duration_s,
    ).simulate()


def _source_duration_s(source: Layout | Floats | None, rate_hz: int) -> float:
    if source is None:
        return 0.0
    return source.duration_s if isinstance(source, Layout) else source.shape[0] / rate_hz


def _two_channels(source: Floats) -> Floats:
    return np.repeat(source, 2, axis=1) if source.shape[1] == 1 else source[:, :2]


@lru_cache(maxsize=2)
def _track(layout: Layout, rate_hz: int, bits: int) -> Floats:
    return render_track(layout, rate_hz, bits)


@lru_cache(maxsize=2)
def _track_spectrum(layout: Layout, bits: int, rate_hz: int, take_rate_hz: int, pad_s: float) -> SourceSpectrum:
    """Return the spectrum of a track; kept, because a bench plays the same few tracks again and again."""
    return source_spectrum(_track(layout, rate_hz, bits), rate_hz, take_rate_hz, pad_s)
