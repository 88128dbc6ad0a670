"""What a path makes of a pulse, seen by one long chirp of a marker.

A chirp divided by itself leaves a pulse; what a path makes of it is the path's impulse response. Where that is short
against the chirp it is told from noise, other sound and other chirps, which are spread over all delays.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.audio.spectra import fast_length
from humcheck.takes.chirps import Placement, chirp, chirp_time_s, signed_sweep_hz_per_s
from humcheck.tracks import markers
from humcheck.tracks.envelopes import PASS_SHARE
from humcheck.tracks.sections import TrackChannel

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Sound read before and after the chirp: less than the gap to the code word.
_MARGIN_S = 0.016
#: A chirp is sought so far around its place.
_DELAY_S = 0.006
#: The impulse response reaches so far before and after its strongest moment.
_BEFORE_S, _AFTER_S = 0.008, 0.02
_EDGE_S = 0.002
#: Resolution in which the noise is taken: finer than a resonance that hides the chirp would be.
NOISE_HZ = 150.0
#: A response so many times the noise begins to be one, at twice that it is all used.
_HEARD_RATIO = 2.0
#: Share of all delays' energy that a response's stretch must hold at least; noise leaves 0.09 there.
_LEAST_COMPACTNESS = 0.13
#: A clock error of this in steps of that is told by the two chirps of a marker.
_RATE_REACH, _RATE_STEP = 4e-3, 25e-6
_LEAST_AGREEMENT = 0.15


class Pulse(NamedTuple):
    """What a path makes of a pulse, seen by one long chirp.

    Attributes
    ----------
    spectrum : numpy.ndarray, shape (n_bins, n_channels)
        The path's response, bins of a real FFT.
    noise : numpy.ndarray, shape (n_bins, n_channels)
        Power of what noise adds to `spectrum`.
    compactness : float
        Share of the energy, 0 to 1, that lies in the pulse's short stretch: 1 for a chirp without noise, about
        the stretch's share of all delays for sound that is no chirp.
    delay_s : float
        Where its strongest moment lies after the place that was assumed.
    """

    spectrum: Complex
    noise: Array
    compactness: float
    delay_s: float


def pulse_of(file: TakeFile, channel: TrackChannel, placed: Placement) -> Pulse | None:
    """Return what the path makes of one long chirp; None where there is no sound or the chirp is not all there."""
    rate_hz = placed.samples_per_s
    margin = int(_MARGIN_S * rate_hz)
    first, stop = placed.span()
    if first < 0 or stop > file.n_samples:
        return None
    samples = file.read(first - margin, stop + margin)
    n_fft = n_fft_of(rate_hz)
    sent = np.fft.rfft(chirp(channel, placed.time_s(first - margin, len(samples)), rate_hz), n_fft)
    power = np.abs(sent) ** 2
    response = np.fft.rfft(samples, n_fft, axis=0) * (np.conj(sent) / (power + 0.02 * power.max()))[:, None]
    delays = np.fft.irfft(response, n_fft, axis=0)
    energy = np.sum(delays**2, axis=1)
    if energy.sum() <= 0.0:
        return None
    window, place = _window(delays, rate_hz)
    spectrum = np.fft.rfft(delays * window[:, None], n_fft, axis=0)
    outside = np.fft.rfft(delays * (window == 0.0)[:, None], n_fft, axis=0)
    scale = float(np.sum(window**2) / np.sum(window == 0.0))
    n_bins = max(int(NOISE_HZ * n_fft / rate_hz), 1)
    noise = scale * _smooth(np.abs(outside) ** 2, n_bins)
    if float(np.sum(energy * window) / energy.sum()) < _LEAST_COMPACTNESS:
        return None
    # Where only noise is, the bands in which the chirp is heard decide.
    delays = np.fft.irfft(response * heard_share(spectrum, noise, n_bins), n_fft, axis=0)
    energy = np.sum(delays**2, axis=1)
    compactness = float(np.sum(energy * window) / max(energy.sum(), 1e-300))
    return Pulse(spectrum, noise, compactness, place / rate_hz)


def heard_share(response: Complex, noise: Array, n_bins: int) -> Array:
    """Return from 0 to 1 where a response is there, neighbouring bins taken together."""
    around = _smooth(np.abs(response) ** 2, n_bins)
    return np.asarray(np.clip(around / (_HEARD_RATIO * noise + 1e-300) - 1.0, 0.0, 1.0))


def rate_of_pair(left: Pulse, right: Pulse, rate_hz: float) -> float | None:
    """Return the clock's error that a marker's two chirps show, as a share of the rate; None where they disagree.

    Parameters
    ----------
    left, right : Pulse
        Both taken as if the right chirp came later by `markers.SLOT_OFFSET_S` at `rate_hz`.
    rate_hz : float
        Take samples for each track second that was assumed.

    Notes
    -----
    A filter delays a frequency by the same in both chirps. A clock that is slow by d delays the left chirp at f by
    d (2 f - f_1) / s and the right one by d (0.5 s + 0.25 s - (2 f - f_1) / s), with s the sweep rate: the difference
    of the phases at f tells d whatever the filter. Sizes are left out, so that a resonance does not decide alone.
    """
    n_fft = n_fft_of(rate_hz)
    one, other = strongest(left), strongest(right)
    frequency_hz = np.arange(len(one)) * rate_hz / n_fft
    floor = strongest_noise(left) ** 0.5 * np.abs(other) + strongest_noise(right) ** 0.5 * np.abs(one)
    product = other * np.conj(one)
    turning = product / np.maximum(np.abs(product) + floor, 1e-300)
    heard = (frequency_hz > 250.0) & (frequency_hz < min(markers.CHIRP_HIGH_HZ, PASS_SHARE * rate_hz))
    turning, frequency_hz = turning[heard], frequency_hz[heard]
    sweep_hz_per_s = (markers.CHIRP_HIGH_HZ - markers.CHIRP_LOW_HZ) / markers.CHIRP_S
    apart_s = markers.SLOT_OFFSET_S["right"] - markers.SLOT_OFFSET_S["left"] + markers.CHIRP_S
    turns = apart_s * frequency_hz - 2.0 * (frequency_hz**2 - markers.CHIRP_LOW_HZ * frequency_hz) / sweep_hz_per_s
    errors = np.arange(-_RATE_REACH, _RATE_REACH, _RATE_STEP)
    # Neighbours in the grid turn by the same: one complex product each.
    value = turning * np.exp(2j * np.pi * turns * errors[0])
    step = np.exp(2j * np.pi * turns * _RATE_STEP)
    agreement = np.empty(len(errors))
    for place in range(len(errors)):
        agreement[place] = abs(value.sum())
        value = value * step
    agreement /= max(float(np.sum(np.abs(turning) > 0.5)), 20.0)
    best = int(np.argmax(agreement))
    return float(errors[best]) if agreement[best] >= _LEAST_AGREEMENT else None


def middle_lever_s(channel: TrackChannel, pulse: Pulse, rate_hz: float) -> float:
    """Return how much later the response's middle comes for each part by which the clock is slow, in seconds."""
    power = np.abs(strongest(pulse)) ** 2
    frequency_hz = np.arange(len(power)) * rate_hz / n_fft_of(rate_hz)
    middle_hz = float(np.sum(frequency_hz * power) / power.sum())
    return chirp_time_s(channel, middle_hz) + middle_hz / signed_sweep_hz_per_s(channel)


def n_fft_of(rate_hz: float) -> int:
    """Return the length of the FFT in which responses are kept at a rate."""
    return fast_length(int((markers.CHIRP_S + 2.0 * _MARGIN_S + _BEFORE_S + _AFTER_S) * rate_hz) + 2)


def _window(delays: Array, rate_hz: float) -> tuple[Array, int]:
    """Return the stretch of delays that the response fills, with soft edges, and its strongest moment."""
    energy = np.sum(delays**2, axis=1)
    n, smooth, reach = len(energy), max(int(0.0005 * rate_hz), 1), int(_DELAY_S * rate_hz)
    near = np.concatenate([energy[-reach - smooth :], energy[: reach + smooth + 1]])
    running = np.cumsum(np.concatenate([[0.0], near]))
    middle = int(np.argmax(running[2 * smooth + 1 :] - running[: -2 * smooth - 1]))
    # Of these the largest swing, whose sign is the polarity.
    place = middle + int(np.argmax(near[middle : middle + 2 * smooth + 1])) - smooth - reach
    away_s = ((np.arange(n) - place + n // 2) % n - n // 2) / rate_hz
    rise = np.minimum((away_s + _BEFORE_S) / _EDGE_S, (_AFTER_S - away_s) / _EDGE_S)
    return np.asarray(np.sin(0.5 * np.pi * np.clip(rise, 0.0, 1.0)) ** 2), place


def _smooth(power: Array, n_bins: int) -> Array:
    """Return the running mean over `2 * n_bins + 1` bins."""
    padded = np.pad(power, ((n_bins + 1, n_bins), (0, 0)), mode="edge")
    running = np.cumsum(padded, axis=0)
    return np.asarray((running[2 * n_bins + 1 :] - running[: -2 * n_bins - 1]) / (2 * n_bins + 1))


def strongest(pulse: Pulse) -> Complex:
    """Return the response of the take channel that holds most of the chirp, shape (n_bins,)."""
    return np.asarray(pulse.spectrum[:, int(np.argmax(np.sum(np.abs(pulse.spectrum) ** 2, axis=0)))])


def strongest_noise(pulse: Pulse) -> Array:
    """Return the power of the noise in that channel, shape (n_bins,)."""
    return np.asarray(pulse.noise[:, int(np.argmax(np.sum(np.abs(pulse.spectrum) ** 2, axis=0)))])
