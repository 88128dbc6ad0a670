"""A steep cut of low sound: the low-cut and speech filters of microphone inputs and calls, which turn hum down.

A coupling capacitor takes 6 dB in an octave, two in a row 12 dB, and less near their corners. A fall that is steeper
than two of them with corners of 60 Hz each make above 25 Hz is a filter that somebody built.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.estimates.sweeps.response import ResponseEstimate
from humcheck.results.rows import Channel, Fault, Role

#: Two first-order corners of 60 Hz fall by 8.9 dB from 50 to 25 Hz (6.02 dB at the corner, 16.6 dB at 25 Hz).
STEEP_DB = 9.5
_LOWEST_HZ, _HIGHEST_HZ = 25.0, 500.0
_REFERENCE_HZ = 997.0
_HUM_HZ = 50.0
_CERTAIN_SD = 2.0
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
    found = [(response, cut) for response in responses if (cut := _cut(response)) is not None]
    if not found:
        return []
    only: Channel | None = found[0][0].driven if len(found) < len(responses) else None
    lost_db, from_hz = max(cut for _, cut in found)
    where = "" if only is None else f" in the {only} channel"
    cause = " (or the device itself, if the direct recording has it all)" if role == "through" else ""
    return [
        Fault(
            code="low-cut",
            channel=only,
            sentence=f"Below about {from_hz:.0f} Hz sound is cut off steeply{where}, by {lost_db:.0f} dB at "
            f"{_HUM_HZ:.0f} Hz: a low-cut or speech filter turns hum down{cause}. Use a line input, switch voice and "
            "sound enhancements off, and record again.",
            spoils=[] if role == "through" else [*_LINES, *_NOISES, "low_corner"],
        )
    ]


def _cut(response: ResponseEstimate) -> tuple[float, float] | None:
    """Return the loss at 50 Hz re 1 kHz in dB and where the steep fall begins; None where no fall is steep."""
    frequency_hz = response.frequency_hz
    size, margin = np.abs(response.gain.value), _CERTAIN_SD * response.gain.sd
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
    from_hz = float(frequency_hz[down[-1]]) if down.size else float(2.0 * lower[steep[-1]])
    return reference_db - float(np.interp(_HUM_HZ, frequency_hz, level_db)), from_hz


def _decibels(magnitude: Floats) -> Floats:
    decibels: Floats = 20.0 * np.log10(np.maximum(magnitude, 1e-12))
    return decibels
