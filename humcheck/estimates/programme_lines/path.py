"""The path of a fundamental through the recording: in short frames, every harmonic with a bounded say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.estimates.lines.evidence import line_log_factor, mixed
from humcheck.estimates.programme_lines.basebands import FLAT_HZ, Basebands, Indices
from humcheck.estimates.programme_lines.beside import (
    TINY,
    LineSpectrum,
    line_spectrum,
    powers,
    smoothed_power,
    squared,
)

FRAME_S = 8.0
#: Mains keep within 1 % in an interconnected grid (EN 50160), plus a sloppy clock.
REACH_HZ = 0.55
STEP_HZ = 0.0025
#: Walk of mains frequency over 30 s, standard deviation.
WALK_HZ, WALK_OVER_S = 0.02, 30.0
#: Share of harmonics at which an unrelated sound stands by chance.
STRAY_SHARE = 0.25
#: A line stronger than this says no more than one that strong.
MOST_GAIN = 2000.0
#: Reach and step of the search close to a path.
FINE_HZ, FINE_STEP_HZ = 0.02, 0.0005
#: Other starts: how many, of recordings of how many frames, and where they are looked for.
N_STARTS, MOST_FRAMES = 3, 8
AROUND_HZ, AROUND_STEP_HZ = 0.04, 0.0005
#: Of 50 and of 60 Hz all multiples of this are harmonics: they do not speak for either.
SHARED_HZ = 300.0
_TABLE_AT = np.linspace(0.0, np.log1p(MOST_GAIN), 2000)
_TABLE = line_log_factor(np.expm1(_TABLE_AT))


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """Frequency of the fundamental over time.

    Attributes
    ----------
    time_s, frequency_hz : numpy.ndarray, shape (n_frames,)
        Middles of the frames, and the frequency there.
    """

    time_s: Floats
    frequency_hz: Floats


def own_orders(bands: Basebands) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Return which harmonics only this fundamental has: of 50 and 60 Hz every 300 Hz is shared."""
    place = bands.orders * bands.nominal_hz
    own = np.abs(place - SHARED_HZ * np.round(place / SHARED_HZ)) > 1e-6
    return np.asarray(own if own.any() else np.ones_like(own))


def best_path(bands: Basebands) -> Path:
    """Return the path that most harmonics speak for."""
    grid_hz = np.arange(-REACH_HZ, REACH_HZ + STEP_HZ / 2, STEP_HZ)
    weight = 1.0 / smoothed_power(bands.values, bands.rate_hz)
    frames = frames_of(bands.time_s)
    hop_s = bands.duration_s / len(frames)
    spectra = [_frame_spectrum(bands, weight, frame) for frame in frames]
    places = _likeliest(np.stack([_says(bands, spectrum, grid_hz) for spectrum in spectra]), hop_s)
    coarse_hz = grid_hz[places]
    fine_hz = np.arange(-FINE_HZ, FINE_HZ + FINE_STEP_HZ / 2, FINE_STEP_HZ)
    scores = [
        _fine_score(bands, weight, frame, spectrum, offset_hz + fine_hz)
        for frame, spectrum, offset_hz in zip(frames, spectra, coarse_hz, strict=True)
    ]
    best = np.array([int(score.argmax()) for score in scores])
    middles = np.array([float(bands.time_s[frame].mean()) for frame in frames])
    return Path(time_s=middles, frequency_hz=bands.nominal_hz + coarse_hz + fine_hz[best])


def other_starts(bands: Basebands, path: Path) -> list[Path]:
    """Return constant frequencies near a path that the harmonics speak for too, of a recording not too long for that.

    What plays may pull a path away: each start is worth a fit.
    """
    frames = frames_of(bands.time_s)
    if len(frames) > MOST_FRAMES:
        return []
    weight = 1.0 / smoothed_power(bands.values, bands.rate_hz)
    middle_hz = float(path.frequency_hz.mean()) - bands.nominal_hz
    grid_hz = middle_hz + np.arange(-AROUND_HZ, AROUND_HZ + AROUND_STEP_HZ / 2, AROUND_STEP_HZ)
    score = np.sum([_fine_score(bands, weight, f, _frame_spectrum(bands, weight, f), grid_hz) for f in frames], axis=0)
    peaks = 1 + np.flatnonzero((score[1:-1] >= score[:-2]) & (score[1:-1] > score[2:]))
    chosen = grid_hz[peaks[np.argsort(-score[peaks])[:N_STARTS]]]
    return [
        Path(time_s=path.time_s, frequency_hz=np.full_like(path.frequency_hz, bands.nominal_hz + offset_hz))
        for offset_hz in chosen
    ]


def frames_of(time_s: Floats) -> list[slice]:
    """Return frames of some seconds that overlap by half; one where there is no more."""
    duration_s = float(time_s[-1] - time_s[0])
    if duration_s <= 1.2 * FRAME_S:
        return [slice(0, time_s.size)]
    starts_s = np.linspace(time_s[0], time_s[-1] - FRAME_S, int(np.ceil((duration_s - FRAME_S) / (FRAME_S / 2))) + 1)
    first, last = np.searchsorted(time_s, starts_s), np.searchsorted(time_s, starts_s + FRAME_S)
    return [slice(int(a), int(b)) for a, b in zip(first, last, strict=True)]


def bounded_say(log_factor: Floats, cells: float) -> Floats:
    """Return how much a line says for a comb: the odds of its share of lines against a stray sound in its band."""
    stray = mixed(log_factor - np.log(max(cells, 2.0)), STRAY_SHARE)
    return np.asarray(mixed(log_factor, 0.5) - stray)


def _frame_spectrum(bands: Basebands, weight: Floats, frame: slice) -> LineSpectrum:
    values = bands.values[:, :, frame]
    return line_spectrum(values, weight[:, :, frame] * _taper(values.shape[2]), bands.rate_hz)


def _taper(length: int) -> Floats:
    return np.hanning(length + 2)[1:-1]


def _says(bands: Basebands, spectrum: LineSpectrum, grid_hz: Floats) -> Floats:
    """Return what a frame's lines say for every fundamental, shape (n_frequencies,)."""
    offset_hz = bands.orders[:, np.newaxis] * grid_hz
    places = np.round(offset_hz / spectrum.bin_hz).astype(np.int64) + spectrum.middle
    gains = spectrum.gain
    places = np.clip(places, 0, gains.shape[2] - 1)
    shape = (places.shape[0], gains.shape[1], places.shape[1])
    gain = np.take_along_axis(gains, np.broadcast_to(places[:, np.newaxis], shape), axis=2)
    factor = mixed(quick_log_factor(gain), 0.5).sum(axis=1)
    say = bounded_say(factor, 2 * FLAT_HZ * spectrum.length_s)
    usable = (np.abs(offset_hz) < FLAT_HZ) & own_orders(bands)[:, np.newaxis]
    return np.asarray(np.where(usable, say, 0.0).sum(axis=0))


def quick_log_factor(gain: Floats) -> Floats:
    """Return ln(Bayes factor) of lines read from a table, much faster than anew."""
    return np.asarray(np.interp(np.log1p(gain), _TABLE_AT, _TABLE))


def _fine_score(bands: Basebands, weight: Floats, frame: slice, spectrum: LineSpectrum, offsets_hz: Floats) -> Floats:
    """Return the score of a frame close to its fundamental: logarithms of the lines' power, so that no line decides."""
    middle_hz = float(offsets_hz.mean())
    used = np.flatnonzero(own_orders(bands) & (np.abs(bands.orders * middle_hz) < FLAT_HZ))
    if not used.size:
        return np.zeros(offsets_hz.size)
    counts = weight[used, :, frame] * _taper(frame.stop - frame.start)
    time_s = bands.time_s[frame] - bands.time_s[frame].mean()
    turns = powers(np.exp(-2j * np.pi * np.outer(time_s, offsets_hz)), int(bands.orders[used[-1]]))
    power = squared((bands.values[used, :, frame] * counts) @ turns[bands.orders[used] - 1])
    total = np.maximum(counts.sum(axis=2, keepdims=True), TINY)
    bins = np.round(bands.orders[used] * middle_hz / spectrum.bin_hz).astype(np.int64) + spectrum.middle
    beside = spectrum.variance[used, :, np.clip(bins, 0, spectrum.variance.shape[2] - 1)]
    return np.asarray(np.log1p(power / total**2 / beside[:, :, np.newaxis]).sum(axis=(0, 1)))


def _likeliest(scores: Floats, hop_s: float) -> Indices:
    """Return the best path of places through the frames under a random walk."""
    walk_hz = max(WALK_HZ * np.sqrt(hop_s / WALK_OVER_S), STEP_HZ / 2)
    reach = int(np.ceil(6 * walk_hz / STEP_HZ))
    moves = np.arange(-reach, reach + 1)
    price = (moves * STEP_HZ) ** 2 / (2 * walk_hz**2)
    states = np.arange(scores.shape[1])
    best, came_from = scores[0], []
    for score in scores[1:]:
        around = np.lib.stride_tricks.sliding_window_view(np.pad(best, reach, constant_values=-np.inf), moves.size)
        options = around - price
        choice = options.argmax(axis=1)
        came_from.append(states + moves[choice])
        best = options[states, choice] + score
    places = [int(best.argmax())]
    for previous in reversed(came_from):
        places.append(int(previous[places[-1]]))
    return np.array(places[::-1], dtype=np.int64)
