"""Size of a path's response by the long chirps of the markers, for takes that hold no sweep: rough, but always there.

A chirp begins and ends softly within 5 ms, so it holds some sound below its lowest frequency, too: 16 dB less at
200 Hz, 24 dB less at 100 Hz. All markers of a take together say how well that is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.audio.spectra import fast_length
from humcheck.estimates.sweeps.grid import FREQUENCIES_HZ
from humcheck.results.rows import Channel
from humcheck.takes.chirps import TRACK_CHANNELS, chirp
from humcheck.takes.slot_fit import SlotFit
from humcheck.takes.take import Take
from humcheck.tracks.markers import CHIRP_HIGH_HZ, CHIRP_S

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Readings reach from here, where two octaves of a steep filter are still told, to where the chirp's soft end begins.
LOWEST_HZ, HIGHEST_HZ = 80.0, 17400.0
_USABLE_SHARE = 0.46
#: Sound read around a chirp; 20 ms after it the code word begins.
_MARGIN_S = 0.018
_EDGE_S = 0.006
#: Stretch of the impulse response that counts.
_WINDOW_S = (-0.012, 0.017)
_WINDOW_EDGE_S = 0.005
_FEWEST = 3
#: Student's t at 95 % over the normal's, by degrees of freedom from 2 on (tables of the t distribution).
_SMALL_SAMPLE = (2.195, 1.624, 1.416, 1.312, 1.248, 1.207, 1.177, 1.154)


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerResponse:
    """What the markers' chirps of one track channel tell about the path.

    Attributes
    ----------
    driven : str
        The channel, ``"left"``, ``"right"`` or ``"mono"``.
    frequency_hz : numpy.ndarray, shape (n_f,)
        Those of `FREQUENCIES_HZ` that the chirps reach.
    magnitude, sd : numpy.ndarray, shape (n_f,)
        Size of the gain re the track, and its standard uncertainty, widened for the few markers there are.
    """

    driven: Channel
    frequency_hz: Array
    magnitude: Array
    sd: Array


def marker_responses(take: Take) -> list[MarkerResponse]:
    """Return the response of each track channel that arrives and of which three markers or more were found.

    Parameters
    ----------
    take : Take
        With a recognised track.
    """
    alignment = take.alignment
    if alignment is None:
        return []
    top_hz = min(HIGHEST_HZ, _USABLE_SHARE * take.rate_hz)
    frequency_hz = FREQUENCIES_HZ[(FREQUENCIES_HZ >= LOWEST_HZ) & (top_hz >= FREQUENCIES_HZ)]
    responses = []
    for channel in TRACK_CHANNELS:
        source = alignment.routing.sources.get(channel)
        slots = [s for s, used in zip(alignment.slots, alignment.used, strict=True) if used and s.channel == channel]
        if source is None or len(slots) < _FEWEST:
            continue
        driven: Channel = "mono" if take.n_channels == 1 else channel
        responses.append(_response(take.file, slots, source, frequency_hz, driven))
    return responses


def _response(
    file: TakeFile, slots: Sequence[SlotFit], source: int, frequency_hz: Array, driven: Channel
) -> MarkerResponse:
    gains = np.stack([_gain(file, slot, source, frequency_hz) for slot in slots])
    n = len(slots)
    widened = _SMALL_SAMPLE[min(n - 3, len(_SMALL_SAMPLE) - 1)]
    scatter = np.sqrt(np.sum(np.abs(gains - gains.mean(axis=0)) ** 2, axis=0) / (n - 1))
    return MarkerResponse(
        driven=driven,
        frequency_hz=frequency_hz,
        magnitude=np.abs(gains.mean(axis=0)),
        sd=widened * scatter / np.sqrt(n),
    )


def _gain(file: TakeFile, slot: SlotFit, source: int, frequency_hz: Array) -> Complex:
    """Return the complex gain that one chirp tells."""
    placed = slot.placement
    rate_hz = placed.samples_per_s
    margin = int(_MARGIN_S * rate_hz)
    first = int(placed.span()[0]) - margin
    n_samples = int(CHIRP_S * rate_hz) + 2 * margin
    time_s = placed.time_s(first, n_samples)
    sent = chirp(slot.channel, time_s, rate_hz)
    # Hum goes on at both ends: cut off sharply it would lie over all frequencies.
    soft = _edges(time_s, -_MARGIN_S, CHIRP_S + _MARGIN_S, _EDGE_S)
    received = file.read(first, first + n_samples)[:, source]
    n_fft = fast_length(2 * n_samples)
    spectrum = np.fft.rfft(sent, n_fft)
    power = np.abs(spectrum) ** 2
    band = _edges(np.arange(len(power)) * rate_hz / n_fft, 30.0, min(CHIRP_HIGH_HZ, 0.48 * rate_hz), 20.0)
    inverse = np.conj(spectrum) / (power + 1e-12 * power.max()) * band
    # The chirp itself through the same windows: what they do to it is not the path's doing.
    both = np.stack([(received - received.mean()) * soft, sent * soft])
    delays = np.fft.irfft(np.fft.rfft(both, n_fft, axis=1) * inverse, n_fft, axis=1)
    gain, unit = (_at(one, rate_hz, frequency_hz) for one in delays)
    return gain / unit


def _at(delays: Array, rate_hz: float, frequency_hz: Array) -> Complex:
    """Return the spectrum of the stretch of an impulse response that counts, at any frequencies."""
    place = np.arange(int(_WINDOW_S[0] * rate_hz), int(_WINDOW_S[1] * rate_hz) + 1)
    window = _edges(place / rate_hz, *_WINDOW_S, _WINDOW_EDGE_S)
    turning = np.exp(-2j * np.pi * frequency_hz[:, None] * (place / rate_hz))
    return np.asarray(turning @ (delays[place] * window))


def _edges(value: Array, low: float, high: float, width: float) -> Array:
    """Return a window that rises softly from `low` on and is down again at `high`."""
    position = np.minimum(value - low, high - value) / width
    return np.asarray(np.sin(0.5 * np.pi * np.clip(position, 0.0, 1.0)) ** 2)
