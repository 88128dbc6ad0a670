"""The tracks as formulas: their sound at any time, and its derivative.

A take is compared with the track by evaluating the track at the take's own sample times; the take itself is never
resampled. Every section is a sum of parts ``envelope(t) * sin(phase(t))``; all of them are known in closed form.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from humcheck.tracks import markers
from humcheck.tracks.envelopes import band_gain, edge, edge_slope, fade
from humcheck.tracks.sections import Kind, Layout, Section, TrackChannel

Array = NDArray[np.float64]

TRACK_CHANNELS: tuple[TrackChannel, TrackChannel] = ("left", "right")
_TWO_PI = 2.0 * np.pi
_MARKER_AMPLITUDE = 10.0 ** (markers.MARKER_DBFS / 20.0)


class Part(NamedTuple):
    """``envelope * sin(phase)`` at the times `at` (indices into the times asked for); slopes are per second."""

    at: NDArray[np.intp]
    envelope: Array
    envelope_slope: Array
    phase: Array
    frequency_hz: Array | float


def section_waveform(section: Section, time_s: Array, channel: TrackChannel, rate_hz: float) -> Array:
    """Return the sound of one section in one channel.

    Parameters
    ----------
    section : Section
        A section of a layout.
    time_s : numpy.ndarray, shape (n,)
        Track times, in any order, evenly spaced or not.
    channel : str
        ``"left"`` or ``"right"``, of the track.
    rate_hz : float
        Sampling rate that the sound must fit into: what would lie above 0.49 of it is faded out. Times do not
        depend on it. ``math.inf`` for no limit.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Full scale = 1; zero outside the section and in silent channels. No dither.
    """
    sound = np.zeros(len(time_s))
    for part in _parts(section, np.asarray(time_s, dtype=np.float64), channel, rate_hz):
        sound[part.at] += part.envelope * np.sin(part.phase)
    return sound


def section_derivative(section: Section, time_s: Array, channel: TrackChannel, rate_hz: float) -> Array:
    """Return the derivative of `section_waveform` by time, per second; parameters as there."""
    slope = np.zeros(len(time_s))
    for part in _parts(section, np.asarray(time_s, dtype=np.float64), channel, rate_hz):
        turning = part.envelope * np.cos(part.phase) * (_TWO_PI * part.frequency_hz)
        slope[part.at] += part.envelope_slope * np.sin(part.phase) + turning
    return slope


def track_waveform(layout: Layout, time_s: Array, rate_hz: float) -> NDArray[np.float64]:
    """Return the sound of a whole track, shape (n, 2), left then right; parameters as for `section_waveform`."""
    time_s = np.asarray(time_s, dtype=np.float64)
    sound = np.zeros((len(time_s), 2))
    if len(time_s) == 0:
        return sound
    first_s, last_s = time_s.min(), time_s.max()
    for section in layout.sections:
        if section.end_s <= first_s or section.start_s > last_s:
            continue
        inside = np.flatnonzero((time_s >= section.start_s) & (time_s < section.end_s))
        for column, channel in enumerate(TRACK_CHANNELS):
            if section.drives(channel):
                sound[inside, column] = section_waveform(section, time_s[inside], channel, rate_hz)
    return sound


def marker_chirp(channel: TrackChannel, time_s: Array, rate_hz: float) -> Array:
    """Return the long chirp of a marker slot, `time_s` counted from its own start; full scale = 1."""
    return _chirp_sound(_long_chirp(channel), time_s, rate_hz)


def marker_chirp_derivative(channel: TrackChannel, time_s: Array, rate_hz: float) -> Array:
    """Return the derivative of `marker_chirp` by time, per second."""
    return _chirp_slope(_long_chirp(channel), time_s, rate_hz)


def marker_chirp_and_derivative(channel: TrackChannel, time_s: Array, rate_hz: float) -> tuple[Array, Array]:
    """Return `marker_chirp` and `marker_chirp_derivative`, which share most of their work."""
    time_s = np.asarray(time_s, dtype=np.float64)
    sound, slope = np.zeros(len(time_s)), np.zeros(len(time_s))
    part = _long_chirp(channel).part(time_s, rate_hz)
    sine, cosine = np.sin(part.phase), np.cos(part.phase)
    sound[part.at] = part.envelope * sine
    slope[part.at] = part.envelope_slope * sine + part.envelope * cosine * (_TWO_PI * part.frequency_hz)
    return sound, slope


def bit_chirp(channel: TrackChannel, time_s: Array, rate_hz: float) -> Array:
    """Return the short chirp of a code bit of value 1, `time_s` counted from the bit's start; a 0 is its negative."""
    return _chirp_sound(_short_chirp(channel), time_s, rate_hz)


def sweep_time_constant_s(section: Section) -> float:
    """Return L of a sweep: frequency ``f(t) = f_1 exp(t / L)``, phase ``2 pi f_1 L exp(t / L)``.

    In this form, without a constant taken off the phase, the sweep shifted by ``L ln N`` is exactly its own N-th
    harmonic (Novak, Lotton, Simon, JAES 63, 2015).
    """
    low_hz, high_hz = section.frequencies_hz
    return section.duration_s / math.log(high_hz / low_hz)


def sweep_time_s(section: Section, frequency_hz: Array) -> Array:
    """Return the time from the start of a sweep at which it passes through `frequency_hz`."""
    return sweep_time_constant_s(section) * np.log(np.asarray(frequency_hz) / section.frequencies_hz[0])


def _parts(section: Section, time_s: Array, channel: TrackChannel, rate_hz: float) -> Iterator[Part]:
    if section.drives(channel):
        yield from _PARTS_OF_KIND[section.kind](section, time_s - section.start_s, channel, rate_hz)


def _no_parts(section: Section, time_s: Array, channel: TrackChannel, rate_hz: float) -> Iterator[Part]:
    return iter(())


def _tone_parts(section: Section, time_s: Array, channel: TrackChannel, rate_hz: float) -> Iterator[Part]:
    at, inside_s = _inside(time_s, section.duration_s)
    envelope, slope = fade(inside_s, section.duration_s, section.fade_in_s, section.fade_out_s)
    for frequency_hz, amplitude in zip(section.frequencies_hz, section.amplitudes, strict=True):
        gain = amplitude * band_gain(np.array([frequency_hz]), rate_hz)[0]
        yield Part(at, gain * envelope, gain * slope, _TWO_PI * (frequency_hz * inside_s), frequency_hz)


def _step_parts(section: Section, time_s: Array, channel: TrackChannel, rate_hz: float) -> Iterator[Part]:
    """One tone of unbroken phase whose amplitude climbs over soft edges."""
    at, inside_s = _inside(time_s, section.duration_s)
    frequency_hz = section.frequencies_hz[0]
    envelope = np.zeros_like(inside_s)
    slope = np.zeros_like(inside_s)
    previous = 0.0
    for index, level_dbfs in enumerate(section.step_levels_dbfs):
        amplitude = 10.0 ** (level_dbfs / 20.0)
        position = (inside_s - index * section.step_s) / section.fade_in_s
        envelope += (amplitude - previous) * edge(position)
        slope += (amplitude - previous) * edge_slope(position) / section.fade_in_s
        previous = amplitude
    position = (section.duration_s - inside_s) / section.fade_out_s
    slope = slope * edge(position) - envelope * edge_slope(position) / section.fade_out_s
    envelope = envelope * edge(position)
    gain = band_gain(np.array([frequency_hz]), rate_hz)[0]
    yield Part(at, gain * envelope, gain * slope, _TWO_PI * (frequency_hz * inside_s), frequency_hz)


def _sweep_parts(section: Section, time_s: Array, channel: TrackChannel, rate_hz: float) -> Iterator[Part]:
    at, inside_s = _inside(time_s, section.duration_s)
    time_constant_s = sweep_time_constant_s(section)
    frequency_hz = section.frequencies_hz[0] * np.exp(inside_s / time_constant_s)
    envelope, slope = fade(inside_s, section.duration_s, section.fade_in_s, section.fade_out_s)
    gain, gain_slope = band_gain(frequency_hz, rate_hz)
    slope = slope * gain + envelope * gain_slope * (frequency_hz / time_constant_s)
    amplitude = section.amplitudes[0]
    phase = (_TWO_PI * time_constant_s) * frequency_hz
    yield Part(at, amplitude * envelope * gain, amplitude * slope, phase, frequency_hz)


class _Chirp(NamedTuple):
    """A linear chirp with soft edges: the frequency runs evenly from `start_hz` to `stop_hz`."""

    duration_s: float
    start_hz: float
    stop_hz: float
    start_phase_rad: float
    fade_s: float

    def part(self, time_s: Array, rate_hz: float) -> Part:
        at, inside_s = _inside(time_s, self.duration_s)
        hz_per_s = (self.stop_hz - self.start_hz) / self.duration_s
        frequency_hz = self.start_hz + hz_per_s * inside_s
        envelope, slope = fade(inside_s, self.duration_s, self.fade_s, self.fade_s)
        gain, gain_slope = band_gain(frequency_hz, rate_hz)
        slope = slope * gain + envelope * gain_slope * hz_per_s
        phase = self.start_phase_rad + _TWO_PI * (self.start_hz * inside_s + 0.5 * hz_per_s * inside_s**2)
        return Part(at, _MARKER_AMPLITUDE * envelope * gain, _MARKER_AMPLITUDE * slope, phase, frequency_hz)


def _long_chirp(channel: TrackChannel) -> _Chirp:
    start = _run(channel, markers.CHIRP_LOW_HZ, markers.CHIRP_HIGH_HZ, markers.CHIRP_PHASE_RAD)
    return _Chirp(markers.CHIRP_S, *start, markers.CHIRP_FADE_S)


def _short_chirp(channel: TrackChannel) -> _Chirp:
    start = _run(channel, markers.BIT_LOW_HZ, markers.BIT_HIGH_HZ, markers.BIT_PHASE_RAD)
    return _Chirp(markers.BIT_S, *start, markers.BIT_FADE_S)


def _run(channel: TrackChannel, low_hz: float, high_hz: float, phase_rad: float) -> tuple[float, float, float]:
    """Left chirps run upwards, right ones downwards: but for the sign they are each other backwards."""
    return (low_hz, high_hz, phase_rad) if channel == "left" else (high_hz, low_hz, -phase_rad)


def _chirp_sound(chirp: _Chirp, time_s: Array, rate_hz: float) -> Array:
    sound = np.zeros(len(time_s))
    part = chirp.part(np.asarray(time_s, dtype=np.float64), rate_hz)
    sound[part.at] = part.envelope * np.sin(part.phase)
    return sound


def _chirp_slope(chirp: _Chirp, time_s: Array, rate_hz: float) -> Array:
    slope = np.zeros(len(time_s))
    part = chirp.part(np.asarray(time_s, dtype=np.float64), rate_hz)
    turning = part.envelope * np.cos(part.phase) * (_TWO_PI * part.frequency_hz)
    slope[part.at] = part.envelope_slope * np.sin(part.phase) + turning
    return slope


def _marker_parts(section: Section, time_s: Array, channel: TrackChannel, rate_hz: float) -> Iterator[Part]:
    slot_s = time_s - markers.SLOT_OFFSET_S[channel]
    yield _long_chirp(channel).part(slot_s, rate_hz)
    short = _short_chirp(channel)
    for index, bit in enumerate(section.marker_bits):
        part = short.part(slot_s - markers.bit_offset_s(index), rate_hz)
        sign = 1.0 if bit else -1.0
        yield part._replace(envelope=sign * part.envelope, envelope_slope=sign * part.envelope_slope)


def _inside(time_s: Array, duration_s: float) -> tuple[NDArray[np.intp], Array]:
    at = np.flatnonzero((time_s >= 0.0) & (time_s < duration_s))
    return at, time_s[at]


_PARTS_OF_KIND: dict[Kind, Callable[[Section, Array, TrackChannel, float], Iterator[Part]]] = {
    "marker": _marker_parts,
    "level": _tone_parts,
    "tone": _tone_parts,
    "quiet": _no_parts,
    "zero": _no_parts,
    "steps": _step_parts,
    "sweep": _sweep_parts,
    "imd": _tone_parts,
}
