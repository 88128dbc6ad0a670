"""A first fit of one long chirp: where it starts and how fast the take's clock runs, piece by piece of the chirp.

The take is multiplied by the conjugate of the chirp expected: a chirp that arrives later by d then beats at d times the
sweep rate. Each piece is short enough that a clock wrong by a per mille does not blur its beat, and only the size of
the spectrum counts, so that neither polarity nor an unknown phase response matters. A straight line through the delays
of the pieces gives start and rate well enough for the exact fit to follow.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.takes.chirps import (
    Placement,
    audible_span_s,
    chirp_and_slope,
    chirp_frequency_hz,
    signed_sweep_hz_per_s,
)
from humcheck.takes.equalized import EqualizedFile
from humcheck.tracks.sections import TrackChannel

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_PIECE_S = 0.025
#: The beat is summed over so long: delays up to several milliseconds beat far below half its rate.
_SUM_S = 0.0005
#: Search of each piece around the place expected.
REACH_S = 0.0016
_PADDING = 8
#: A piece counts when this share of its energy follows the template.
_PIECE_LIKENESS = 0.1


class PieceFit(NamedTuple):
    """A chirp found by its pieces.

    Attributes
    ----------
    placement : Placement
        Where the chirp lies and how fast the take runs.
    likeness : float
        Share of the energy of the pieces, 0 to 1, that follows the chirp.
    """

    placement: Placement
    likeness: float


def fit_pieces(
    file: TakeFile | EqualizedFile, channel: TrackChannel, guess: Placement, *, fit_rate: bool, reach_s: float = REACH_S
) -> PieceFit | None:
    """Fit one long chirp near a place where it is expected.

    Parameters
    ----------
    file : TakeFile or EqualizedFile
        The take.
    channel : str
        Track channel of the chirp.
    guess : Placement
        Place expected, within `reach_s`.
    fit_rate : bool
        Whether the rate is fitted too; else that of `guess` is kept.
    reach_s : float, optional
        How far from its place each piece is sought.

    Returns
    -------
    PieceFit or None
        None where no piece looks like the chirp.
    """
    pieces = _delays(file, channel, guess, reach_s)
    if pieces is None:
        return None
    time_s, delay, power, energy = pieces
    heard = power > _PIECE_LIKENESS * energy
    if not heard.any():
        return None
    # A stretched chirp passes through a piece's frequency later by the stretch times this lever.
    lever_s = time_s + chirp_frequency_hz(channel, time_s) / signed_sweep_hz_per_s(channel)
    fit_rate = fit_rate and int(heard.sum()) >= 2
    start, stretch = _line(lever_s[heard], delay[heard], power[heard], fit_rate)
    placement = Placement(guess.start_index + start, guess.samples_per_s + stretch)
    return PieceFit(placement, float(power.sum() / max(energy.sum(), 1e-300)))


def _delays(
    file: TakeFile | EqualizedFile, channel: TrackChannel, guess: Placement, reach_s: float
) -> tuple[Array, Array, Array, Array] | None:
    """Return time in the chirp, delay in samples, matched power and energy of each piece inside the take."""
    rate_hz = guess.samples_per_s
    first_s, last_s = audible_span_s(channel, rate_hz)
    n_pieces = max(int((last_s - first_s) / _PIECE_S), 1)
    n_sum = max(int(_SUM_S * rate_hz), 1)
    n_sums = max(int((last_s - first_s) / n_pieces * rate_hz / n_sum), 1)
    n_piece = n_sum * n_sums
    first = int(np.ceil(guess.start_index + first_s * rate_hz))
    begins = first + n_piece * np.arange(n_pieces)
    inside = (begins >= 0) & (begins + n_piece <= file.n_samples)
    if not inside.any():
        return None
    samples = file.read(first, first + n_pieces * n_piece)
    time_s = guess.time_s(first, len(samples))
    template = _complex_chirp(channel, time_s, rate_hz)
    beat = (samples * np.conj(template)[:, None]).reshape(n_pieces, n_sums, n_sum, -1).sum(axis=2)
    norm = np.sum(np.abs(template.reshape(n_pieces, n_piece)) ** 2, axis=1)
    beat_hz, power = _strongest_beat(beat, rate_hz / n_sum, abs(signed_sweep_hz_per_s(channel)) * reach_s)
    delay = -beat_hz / signed_sweep_hz_per_s(channel) * rate_hz
    energy = np.sum(samples.reshape(n_pieces, -1) ** 2, axis=1)
    middle_s = time_s.reshape(n_pieces, n_piece).mean(axis=1)
    return middle_s[inside], delay[inside], (2.0 * power / norm)[inside], energy[inside]


def _complex_chirp(channel: TrackChannel, time_s: Array, rate_hz: float) -> Complex:
    # The slope is a quarter cycle ahead: over the frequency it completes the analytic signal.
    shape, slope = chirp_and_slope(channel, time_s, rate_hz)
    return np.asarray(shape - 1j * slope / (2.0 * np.pi * chirp_frequency_hz(channel, time_s)))


def _strongest_beat(beat: Complex, rate_hz: float, reach_hz: float) -> tuple[Array, Array]:
    """Return frequency and power of the strongest beat of each piece, all channels together.

    Parameters
    ----------
    beat : numpy.ndarray, shape (n_pieces, n_sums, n_channels)
        Product of the take and the chirp, summed.
    rate_hz, reach_hz : float
        Rate of these sums; how far from 0 Hz to look.
    """
    n_fft = _PADDING * beat.shape[1]
    power = np.sum(np.abs(np.fft.fftshift(np.fft.fft(beat, n_fft, axis=1), axes=1)) ** 2, axis=2)
    middle = n_fft // 2
    reach = min(max(int(np.ceil(reach_hz / rate_hz * n_fft)), 2), middle - 1)
    power = power[:, middle - reach : middle + reach + 1]
    best = np.argmax(power, axis=1)
    row = np.arange(len(best))
    inner = np.clip(best, 1, power.shape[1] - 2)
    before, at, after = power[row, inner - 1], power[row, inner], power[row, inner + 1]
    bend = before - 2.0 * at + after
    shift = np.where((best == inner) & (bend < 0.0), 0.5 * (before - after) / np.where(bend < 0.0, bend, -1.0), 0.0)
    return (best + shift - reach) * rate_hz / n_fft, power[row, best]


def _line(lever_s: Array, delay: Array, weight: Array, fit_rate: bool) -> tuple[float, float]:
    """Return the weighted straight line through the delays: value at lever 0, slope."""
    if not fit_rate:
        return float(np.sum(weight * delay) / np.sum(weight)), 0.0
    total = weight.sum()
    middle_s = np.sum(weight * lever_s) / total
    middle = np.sum(weight * delay) / total
    slope = np.sum(weight * (lever_s - middle_s) * (delay - middle)) / np.sum(weight * (lever_s - middle_s) ** 2)
    return float(middle - slope * middle_s), float(slope)
