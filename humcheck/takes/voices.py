"""The sound of a section as voices: one frequency at a time, each with its quarter-cycle partner.

A path of unknown response changes each voice by one complex gain that moves slowly, if at all: with it fitted in place,
take and track can be compared without knowing the response.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from humcheck.takes.chirps import chirp_frequency_hz
from humcheck.tracks.markers import CHIRP_S, SLOT_OFFSET_S
from humcheck.tracks.sections import Section, TrackChannel
from humcheck.tracks.waveforms import section_derivative, section_waveform, sweep_time_constant_s

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Below this a voice turns too slowly to place anything.
_LOWEST_HZ = 50.0
_LOWEST_SWEEP_HZ = 200.0
#: Fewest cycles of a voice in a block in which its gain is fitted, and the shortest block.
_CYCLES = 4.0
_SHORTEST_BLOCK_S = 0.01


def sounds(section: Section, channel: TrackChannel) -> bool:
    """Return whether a section has voices in a track channel."""
    return section.drives(channel) and section.kind not in ("quiet", "zero")


def block_s(section: Section) -> float:
    """Return the length of a block over which the gains of a section's voices can be fitted."""
    lowest_hz = 1e9
    if section.kind in ("sweep", "marker"):
        lowest_hz = _LOWEST_SWEEP_HZ
    elif section.frequencies_hz:
        lowest_hz = min(section.frequencies_hz)
    return max(_CYCLES / lowest_hz, _SHORTEST_BLOCK_S)


def usable_span_s(section: Section, channel: TrackChannel) -> tuple[float, float]:
    """Return the track times between which the voices sound at full strength and turn fast enough."""
    start_s, end_s = section.start_s + section.fade_in_s, section.end_s - section.fade_out_s
    if section.kind == "sweep":
        low_hz = section.frequencies_hz[0]
        start_s = section.start_s + sweep_time_constant_s(section) * float(np.log(_LOWEST_SWEEP_HZ / low_hz))
    elif section.kind == "marker":
        # The code word is not used: its short chirps are too many voices.
        start_s = section.start_s + SLOT_OFFSET_S[channel]
        end_s = start_s + CHIRP_S
    return start_s, end_s


def voices(section: Section, channel: TrackChannel, track_s: Array, rate_hz: float) -> Complex:
    """Return the analytic signals of a section's voices, real part the sound itself.

    Parameters
    ----------
    section : Section
        A section with sound.
    channel : str
        Track channel.
    track_s : numpy.ndarray, shape (n,)
        Track times.
    rate_hz : float
        Rate of the take.

    Returns
    -------
    numpy.ndarray, shape (n_voices, n)
    """
    if section.kind in ("sweep", "marker"):
        return _voice(section, channel, track_s, rate_hz, _frequency_hz(section, channel, track_s))[None]
    parts = [
        replace(section, frequencies_hz=(hz,), amplitudes=(amplitude,))
        for hz, amplitude in zip(section.frequencies_hz, section.amplitudes, strict=True)
        if _LOWEST_HZ <= hz < 0.45 * rate_hz
    ]
    rows = [_voice(part, channel, track_s, rate_hz, np.full(len(track_s), part.frequencies_hz[0])) for part in parts]
    return np.stack(rows) if rows else np.zeros((0, len(track_s)), dtype=np.complex128)


def _voice(section: Section, channel: TrackChannel, track_s: Array, rate_hz: float, frequency_hz: Array) -> Complex:
    shape = section_waveform(section, track_s, channel, rate_hz)
    slope = section_derivative(section, track_s, channel, rate_hz)
    return np.asarray(shape - 1j * slope / (2.0 * np.pi * frequency_hz))


def _frequency_hz(section: Section, channel: TrackChannel, track_s: Array) -> Array:
    if section.kind == "marker":
        inside_s = np.clip(track_s - section.start_s - SLOT_OFFSET_S[channel], 0.0, CHIRP_S)
        return chirp_frequency_hz(channel, inside_s)
    inside_s = np.clip(track_s - section.start_s, 0.0, section.duration_s)
    return np.asarray(section.frequencies_hz[0] * np.exp(inside_s / sweep_time_constant_s(section)))
