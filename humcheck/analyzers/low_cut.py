"""A steep cut of low sound: the low-cut and speech filters of microphone inputs and calls, which turn hum down.

A coupling capacitor takes 6 dB in an octave, two in a row 12 dB, and less near their corners. A fall that is steeper
than two of them with corners of 60 Hz each make above 25 Hz is a filter that somebody built.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.estimates.marker_response import MarkerResponse
from humcheck.estimates.sweeps.response import ResponseEstimate
from humcheck.results.rows import Channel, Fault, Role

#: Two first-order corners of 60 Hz fall by 8.9 dB from 50 to 25 Hz (6.02 dB at the corner, 16.6 dB at 25 Hz).
STEEP_DB = 9.5
_LOWEST_HZ, _HIGHEST_HZ = 25.0, 500.0
_REFERENCE_HZ = 997.0
_HUM_HZ = 50.0
_CERTAIN_SD = 2.0
#: Frequency in Hz, and what the markers' method leaves without noise, as a share of the size (0.5 dB and less).
_MARKER_METHOD = ((80.0, 160.0, 250.0, 500.0), (0.06, 0.02, 0.01, 0.01))
_LINES = ("hum_level", "hum_level_a", "hum_and_buzz_level", "buzz_level", "buzz_level_a")
_NOISES = ("noise_level", "hiss_level", "noise_spectrum", "hiss_spectrum")


def low_cut_faults(responses: Sequence[ResponseEstimate], role: Role) -> list[Fault]:
    """Return the fault of a steep cut of low sound: code ``low-cut``.

    Parameters
    ----------
    responses : sequence of ResponseEstimate
        From the sweeps of one take.
    role : str
        Role of the take; of a through take the device itself may do it, and nothing is spoiled.
    """
    found = []
    for response in responses:
        frequency_hz, size = response.frequency_hz, np.abs(response.gain.value)
        from_hz = _steep_from_hz(frequency_hz, size, _CERTAIN_SD * response.gain.sd)
        if from_hz is not None:
            reference_db, hum_db = np.interp([_REFERENCE_HZ, _HUM_HZ], frequency_hz, _decibels(size))
            found.append((response.driven, float(reference_db - hum_db), from_hz))
    if not found:
        return []
    lost_db, from_hz = max((lost_db, from_hz) for _, lost_db, from_hz in found)
    only: Channel | None = found[0][0] if len(found) < len(responses) else None
    return [_fault(only, from_hz, f"by {lost_db:.0f} dB at {_HUM_HZ:.0f} Hz", role)]


def marker_low_cut_faults(responses: Sequence[MarkerResponse], role: Role) -> list[Fault]:
    """Return the same fault from the markers of a take without a sweep, which reach down to 80 Hz.

    Steep there are a second-order filter from about 170 Hz on and a fourth-order one from about 105 Hz on; what begins
    lower is not seen.

    Parameters
    ----------
    responses : sequence of MarkerResponse
        One for each track channel that arrives.
    role : str
        Role of the take.
    """
    certain, likely, lost_db = [], [], 0.0
    for response in responses:
        frequency_hz, size = response.frequency_hz, response.magnitude
        margin = _CERTAIN_SD * response.sd + size * np.interp(frequency_hz, *_MARKER_METHOD)
        certain.append(_steep_from_hz(frequency_hz, size, margin))
        likely.append(_steep_from_hz(frequency_hz, size, np.zeros_like(margin)))
        if certain[-1] is not None:
            level_db = float(np.interp(_REFERENCE_HZ, frequency_hz, _decibels(size)))
            lost_db = max(lost_db, level_db - float(_decibels(size + margin)[0]))
    from_hz = max((cut_hz for cut_hz in certain if cut_hz is not None), default=None)
    if from_hz is None:
        return []
    # One channel's noise may hide what both have: it stands apart only where it shows no steep fall at all.
    only = next((r.driven for r, cut in zip(responses, certain, strict=True) if cut), None) if None in likely else None
    loss = f"by at least {lost_db:.0f} dB at {responses[0].frequency_hz[0]:.0f} Hz (read from the markers)"
    return [_fault(only, from_hz, loss, role)]


def _fault(channel: Channel | None, from_hz: float, loss: str, role: Role) -> Fault:
    where = "" if channel is None else f" in the {channel} channel"
    cause = " (or the device itself, if the direct recording has it all)" if role == "through" else ""
    return Fault(
        code="low-cut",
        channel=channel,
        sentence=f"Below about {from_hz:.0f} Hz sound is cut off steeply{where}, {loss}: a low-cut or speech filter "
        f"turns hum down{cause}. Use a line input, switch voice and sound enhancements off, and record again.",
        spoils=[] if role == "through" else [*_LINES, *_NOISES, "low_corner"],
    )


def _steep_from_hz(frequency_hz: Floats, size: Floats, margin: Floats) -> float | None:
    """Return where a steep fall begins; None where no fall is steep beyond doubt."""
    lower = frequency_hz[(frequency_hz >= _LOWEST_HZ) & (frequency_hz <= _HIGHEST_HZ)]
    if not lower.size:
        return None
    at_most_db = np.interp(lower, frequency_hz, _decibels(size + margin))
    octave_up_db = np.interp(2.0 * lower, frequency_hz, _decibels(np.maximum(size - margin, 0.0)))
    steep = np.flatnonzero(octave_up_db - at_most_db >= STEEP_DB)
    if not steep.size:
        return None
    level_db = _decibels(size)
    reference_db = float(np.interp(_REFERENCE_HZ, frequency_hz, level_db))
    down = np.flatnonzero((frequency_hz < _REFERENCE_HZ) & (level_db < reference_db - 3.0))
    return float(frequency_hz[down[-1]]) if down.size else float(2.0 * lower[steep[-1]])


def _decibels(magnitude: Floats) -> Floats:
    decibels: Floats = 20.0 * np.log10(np.maximum(magnitude, 1e-12))
    return decibels
