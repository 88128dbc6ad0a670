"""A take, simulated: source, clocks, path, interference, recorder, in the order in which they stand in the world."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.audio.writing import write_audio
from humcheck.simulation.clocks import TimeMap, time_map
from humcheck.simulation.interference import add_hiss, add_lines
from humcheck.simulation.path import PathModel
from humcheck.simulation.playback import Played, SourceSpectrum, play, source_spectrum
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
    path = PathModel() if path is None else path
    played_rate_hz = rate_hz if source_rate_hz is None else source_rate_hz
    source_s = _source_duration_s(source, played_rate_hz)
    if source is None and duration_s is None:
        raise ValueError("duration_s is needed where nothing plays")
    length_s = lead_s + path.delay_s + source_s + tail_s if duration_s is None else duration_s
    n_samples = math.ceil(length_s * rate_hz)
    if n_samples < 1:
        raise ValueError(f"the take must last longer than 0 s, got {length_s}")
    streams = [np.random.default_rng(child) for child in np.random.SeedSequence(seed).spawn(5)]
    clock = time_map(
        n_samples=n_samples,
        rate_hz=rate_hz,
        player=path.player,
        recorder=path.recorder_clock,
        offset_s=lead_s + path.delay_s,
        rng=streams[0],
    )
    mains = clock.true_counter(path.mains.track_hz(clock.knots.time_s, streams[1]))
    sound = np.zeros((2, n_samples))
    if source is not None and path.linear.channel_map != "none":
        sound = _played_sound(source, path, clock, n_samples, rate_hz, played_rate_hz, source_bits)
    add_lines(sound, path, clock, mains, streams[2].random(3 + len(path.tones)))
    add_hiss(sound, path, rate_hz, streams[3])
    if path.source_hiss is not None:
        _add_source_hiss(sound, path, clock, source, played_rate_hz, source_bits, rate_hz, streams[3])
    recorded = path.recorder.record(sound, rate_hz, streams[4])
    truth = Truth(
        path=path,
        rate_hz=rate_hz,
        n_samples=n_samples,
        offset_s=lead_s + path.delay_s,
        drift_ppm=clock.drift_ppm(0.0, source_s if source_s > 0 else length_s),
        clock=clock,
        mains_cycles=mains,
        source_bits=source_bits if isinstance(source, Layout) else None,
        source_rate_hz=played_rate_hz,
    )
    return SimulatedTake(samples=np.ascontiguousarray(recorded.T), rate_hz=rate_hz, truth=truth)


def _source_duration_s(source: Layout | Floats | None, rate_hz: int) -> float:
    if source is None:
        return 0.0
    return source.duration_s if isinstance(source, Layout) else source.shape[0] / rate_hz


def _played_sound(
    source: Layout | Floats,
    path: PathModel,
    clock: TimeMap,
    n_samples: int,
    rate_hz: int,
    source_rate_hz: int,
    source_bits: int,
) -> Floats:
    """Return the source as it arrives at the recorder, shape (2, n_samples)."""
    ringing_hz = path.linear.lowest_corner_hz
    if isinstance(source, Layout):
        spectrum = _track_spectrum(source, source_rate_hz, source_bits, rate_hz, ringing_hz)
    else:
        spectrum = source_spectrum(_two_channels(source), source_rate_hz, rate_hz, ringing_hz)
    played: Played = play(
        spectrum, rate_hz, path.linear, clock_factor=1 + 1e-6 * path.player.ppm, distortion=path.distortion
    )
    return warp(played.samples, clock.positions(n_samples) + played.first_index).T


def _two_channels(source: Floats) -> Floats:
    return np.repeat(source, 2, axis=1) if source.shape[1] == 1 else source[:, :2]


@lru_cache(maxsize=2)
def _track(layout: Layout, rate_hz: int, bits: int) -> Floats:
    return render_track(layout, rate_hz, bits)


@lru_cache(maxsize=2)
def _track_spectrum(
    layout: Layout, rate_hz: int, bits: int, take_rate_hz: int, lowest_corner_hz: float
) -> SourceSpectrum:
    """Return the spectrum of a track; kept, because a bench plays the same few tracks again and again."""
    return source_spectrum(_track(layout, rate_hz, bits), rate_hz, take_rate_hz, lowest_corner_hz)


def _add_source_hiss(
    sound: Floats,
    path: PathModel,
    clock: TimeMap,
    source: Layout | Floats | None,
    source_rate_hz: int,
    source_bits: int,
    rate_hz: int,
    rng: np.random.Generator,
) -> None:
    """Add the player's own hiss where it is not muted: while the source holds anything but long digital zero."""
    assert path.source_hiss is not None
    n_samples = sound.shape[1]
    hiss = path.source_hiss.samples(n_samples, rate_hz, rng)
    if source is not None:
        file = _track(source, source_rate_hz, source_bits) if isinstance(source, Layout) else source
        step = max(1, round(_MUTE_S * source_rate_hz))
        n_steps = -(-file.shape[0] // step)
        loud = np.zeros(n_steps + 2, dtype=bool)  # silent before and after
        filled = np.any(file != 0, axis=1)
        loud[1:-1] = np.logical_or.reduceat(filled, np.arange(0, file.shape[0], step))
        place = clock.positions(n_samples) / rate_hz * source_rate_hz / step
        index = np.clip(np.floor(place).astype(np.intp) + 1, 0, n_steps + 1)
        hiss *= loud[index]
    sound += hiss
