"""A take with what its path does to sound taken back, as far as a long chirp shows it: filters, resonances, delays.

The inverse of the path's response, held back where noise is stronger, makes the take's chirps and code words look as
they were sent.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.audio.spectra import fast_length
from humcheck.takes.chirps import Placement
from humcheck.takes.pulses import (
    NOISE_HZ,
    Pulse,
    heard_share,
    middle_lever_s,
    n_fft_of,
    pulse_of,
    rate_of_pair,
)
from humcheck.tracks import markers
from humcheck.tracks.envelopes import PASS_SHARE
from humcheck.tracks.sections import TrackChannel

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Share of the energy, in the bands where it is heard, that the response of what is taken for a chirp holds.
_CHIRP_COMPACTNESS = 0.25
_RATE_PASSES = 2
#: A response that is still further off after its place was moved there belongs to a chirp elsewhere.
_CENTRED_S = 0.001
#: Nor is one believed that is this far from its candidate: paths of 20 ms of group delay move it by 1 ms.
_NEAR_S = 0.005
#: Responses this far below the strongest one are not raised to it.
_MOST_RAISED = 1e-4
#: All noise is that much more than what falls into the stretch of the response.
_ALL_NOISE = 8.0
#: The inverse reaches as far.
_INVERSE_S = 0.03
#: Sound around the tone of 997 Hz, by which gains are named.
_NAMED_HZ = (797.0, 1197.0)


@dataclass(frozen=True, slots=True)
class Equalizer:
    """A filter for each take channel that takes back what the path did.

    Attributes
    ----------
    taps : numpy.ndarray, shape (n_taps, n_channels)
        Impulse responses.
    lead : int
        Taps before the moment of no delay.
    """

    taps: Array
    lead: int


class Equalized(NamedTuple):
    """An equalizer, the places of the chirps that it rests on, and `middle_lever_s` of the first of these."""

    equalizer: Equalizer
    found: dict[TrackChannel, Placement]
    lever_s: float


class EqualizedFile:
    """A take seen through an equalizer; it has the reading side of a `TakeFile`."""

    def __init__(self, file: TakeFile, equalizer: Equalizer) -> None:
        self._file = file
        self._equalizer = equalizer
        self.rate_hz = file.rate_hz
        self.n_samples = file.n_samples
        self.n_channels = file.n_channels

    def read(self, start: int = 0, stop: int | None = None) -> Array:
        """Return samples as `TakeFile.read` does."""
        import scipy.fft

        stop = self.n_samples if stop is None else stop
        taps, lead = self._equalizer.taps, self._equalizer.lead
        samples = self._file.read(start - (len(taps) - 1 - lead), stop + lead)
        n_fft = fast_length(len(samples) + len(taps) - 1)
        spectrum = scipy.fft.rfft(samples, n_fft, axis=0) * scipy.fft.rfft(taps, n_fft, axis=0)
        return np.asarray(scipy.fft.irfft(spectrum, n_fft, axis=0)[len(taps) - 1 : len(taps) - 1 + stop - start])


def equalized_pair(file: TakeFile, channel: TrackChannel, guess: Placement) -> Equalized | None:
    """Return the equalizer by both chirps of a marker, at the rate that they tell; None where they do not.

    Parameters
    ----------
    file : TakeFile
        The take.
    channel : str
        Track channel of a chirp.
    guess : Placement
        Where it is, to some milliseconds, at a rate right to some per mille.
    """
    away_s = markers.SLOT_OFFSET_S["right"] - markers.SLOT_OFFSET_S["left"]
    placed = guess if channel == "left" else guess.moved(-away_s)
    pulses: list[Pulse] = []
    for _ in range(_RATE_PASSES):
        pulses = _compact(pulse_of(file, "left", placed), pulse_of(file, "right", placed.moved(away_s)))
        error = rate_of_pair(pulses[0], pulses[1], placed.samples_per_s) if len(pulses) == 2 else None
        if error is None:
            return None
        placed = _slower(_centred(placed, pulses[0]), "left", pulses[0], error)
    pulses = _compact(pulse_of(file, "left", placed), pulse_of(file, "right", placed.moved(away_s)))
    if len(pulses) < 2 or abs(pulses[0].delay_s) > _CENTRED_S:
        return None
    found: dict[TrackChannel, Placement] = {"left": placed, "right": placed.moved(away_s)}
    return _equalized(pulses, found)


def equalized_single(file: TakeFile, channel: TrackChannel, guess: Placement, error: float = 0.0) -> Equalized | None:
    """Return the equalizer by one chirp; parameters as for `equalized_pair`, and by what share the clock is slower."""
    pulses = _compact(pulse_of(file, channel, guess))
    if not pulses:
        return None
    placed = _slower(_centred(guess, pulses[0]), channel, pulses[0], error)
    pulses = _compact(pulse_of(file, channel, placed))
    if not pulses or abs(pulses[0].delay_s) > _CENTRED_S:
        return None
    return _equalized(pulses, {channel: placed})


def _equalized(pulses: list[Pulse], found: dict[TrackChannel, Placement]) -> Equalized:
    channel, placed = next(iter(found.items()))
    rate_hz = placed.samples_per_s
    return Equalized(equalizer_of(pulses, rate_hz), found, middle_lever_s(channel, pulses[0], rate_hz))


def _compact(*pulses: Pulse | None) -> list[Pulse]:
    return [
        pulse
        for pulse in pulses
        if pulse is not None and pulse.compactness >= _CHIRP_COMPACTNESS and abs(pulse.delay_s) < _NEAR_S
    ]


def _centred(placed: Placement, pulse: Pulse) -> Placement:
    """Return the place moved to where the response is strongest."""
    return placed._replace(start_index=placed.start_index + pulse.delay_s * placed.samples_per_s)


def _slower(placed: Placement, channel: TrackChannel, pulse: Pulse, error: float) -> Placement:
    """Return the placement for a clock slower by a share, the middle of the response where it is."""
    late = middle_lever_s(channel, pulse, placed.samples_per_s) * error * placed.samples_per_s
    return Placement(placed.start_index - late, placed.samples_per_s * (1.0 + error))


def equalizer_of(pulses: list[Pulse], rate_hz: float) -> Equalizer:
    """Return the equalizer for the path that the chirps of a marker show.

    Parameters
    ----------
    pulses : list of Pulse
        One or both chirps of a marker.
    rate_hz : float
        Take samples for each track second.
    """
    n_fft = n_fft_of(rate_hz)
    frequency_hz = np.arange(len(pulses[0].spectrum)) * rate_hz / n_fft
    top_hz = min(markers.CHIRP_HIGH_HZ, PASS_SHARE * rate_hz)
    band = np.clip((frequency_hz - 200.0) / 100.0, 0.0, 1.0) * np.clip((top_hz - frequency_hz) / 500.0, 0.0, 1.0)
    sizes = np.array([np.sum(np.abs(pulse.spectrum) ** 2, axis=0) for pulse in pulses])  # (n_pulses, n_channels)
    loudest = int(np.argmax(sizes.max(axis=0)))
    n_side = int(_INVERSE_S * rate_hz)
    taper = np.sin(0.5 * np.pi * np.clip((n_side - np.abs(np.arange(-n_side, n_side + 1))) / (0.3 * n_side), 0.0, 1.0))
    taps = np.empty((2 * n_side + 1, sizes.shape[1]))
    for take_channel in range(sizes.shape[1]):
        # A channel that carries next to nothing has no response of its own.
        source = take_channel if sizes[:, take_channel].max() > 1e-3 * sizes.max() else loudest
        pulse = pulses[int(np.argmax(sizes[:, source]))]
        inverse = _inverse(pulse.spectrum[:, source], pulse.noise[:, source], frequency_hz) * band
        taps[:, take_channel] = np.roll(np.fft.irfft(inverse, n_fft), n_side)[: 2 * n_side + 1] * taper**2
    return Equalizer(taps, n_side)


def _inverse(response: Complex, noise: Array, frequency_hz: Array) -> Complex:
    power = np.abs(response) ** 2
    position = np.clip((frequency_hz - _NAMED_HZ[0]) / (_NAMED_HZ[1] - _NAMED_HZ[0]), 0.0, 1.0)
    named = np.sin(np.pi * position) ** 2
    size = float(np.sum(named * np.abs(response)) / named.sum()) or float(np.sqrt(power.mean()))
    sign = 1.0 if float(response.real.sum()) >= 0.0 else -1.0
    heard = heard_share(response[:, None], noise[:, None], max(int(NOISE_HZ / (frequency_hz[1] - frequency_hz[0])), 1))[
        :, 0
    ]
    kept = power + _ALL_NOISE * noise + _MOST_RAISED * power.max() + 1e-300
    inverse: Complex = sign * size * heard * np.conj(response) / kept
    return inverse
