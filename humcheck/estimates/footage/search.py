"""Which way of drawing fits, and whether the picture's changes are in the sound at all."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import scipy.fft

from humcheck.audio.levels import Floats
from humcheck.estimates.footage.clock import Drawing, Grid, grid_for
from humcheck.estimates.footage.fields import Frames, Weave, fields_of, weaves
from humcheck.estimates.footage.matching import (
    REACH_S,
    Pulse,
    folded,
    leak_spectrum,
    lines_of_fields,
    match_at_lines,
    pulse_of,
)
from humcheck.estimates.footage.whitening import Complexes, Moments, weights_of, without_steady

#: Heights that are tried: what captures crop and stretch.
SCALES = (1.0, 0.98, 1.02, 0.96, 0.94, 0.92, 0.9, 1.04)
#: A sound without the picture gets there once in so many takes, were its matches as those at far lags.
FOUND_P = 1e-5
#: From there on no other line rate is tried.
_PLAIN_P = 1e-12
#: A chance above this is that of noise.
_DOUBTFUL = 0.02


@dataclass(slots=True, eq=False, kw_only=True)
class Heard:
    """The sound of one way of drawing: what stands still taken out, on the grid of its lines.

    Attributes
    ----------
    sound : numpy.ndarray, shape (n_samples, n_ch)
        As recorded.
    lines : list of numpy.ndarray, shape (n_lines,), complex
        Spectrum of each channel without what repeats with every frame, weighed, one sample a line.
    weights : list of numpy.ndarray
        Of its moments.
    """

    drawing: Drawing
    grid: Grid
    pulse: Pulse
    sound: Floats
    lines: list[Complexes] = field(default_factory=list)
    weights: list[Floats] = field(default_factory=list)


@dataclass(slots=True, eq=False, kw_only=True)
class Fit:
    """How well one picture fits, at its best lag.

    Attributes
    ----------
    lag_lines : int
        By how many lines the first row comes after its frame's stamp.
    peak : float
        Squared size of the match, as many channels in sum; 1 a channel is what noise has.
    p_value : float
        Chance of such a match without a leak.
    needed : float
        Peak from which on a picture is found.
    """

    heard: Heard
    weave: Weave
    scale: float
    lag_lines: int = 0
    peak: float = 0.0
    p_value: float = 1.0
    needed: float = 0.0


def heard_as(samples: Floats, rate_hz: float, drawing: Drawing) -> Heard:
    """Return the sound on the grid of a drawing, weighed by what plays."""
    grid = grid_for(len(samples), rate_hz, drawing.line_rate_hz)
    heard = Heard(drawing=drawing, grid=grid, pulse=pulse_of(grid, drawing), sound=samples[: grid.n_samples])
    moments = Moments.of_rate(rate_hz)
    for channel in heard.sound.T:
        spectrum = without_steady(scipy.fft.rfft(channel), grid.n_lines, drawing.lines_per_repeat)
        spectra = moments.spectra(scipy.fft.irfft(spectrum, grid.n_samples))
        heard.weights.append(weights_of(spectra))
        weighed = moments.sound(spectra * heard.weights[-1], grid.n_samples)
        heard.lines.append(folded(scipy.fft.rfft(weighed), heard.pulse, grid.n_lines).astype(np.complex64))
    return heard


def rows_as(frames: Frames, heard: Heard, weave: Weave, scale: float, lag_lines: int = 0) -> Floats:
    """Return the lines of a picture whose first row is drawn so many lines after its time stamp."""
    start = round(frames.first_s * heard.grid.line_rate_hz) + lag_lines
    fields = fields_of(frames, heard.drawing, weave, scale, heard.grid.n_lines, start)
    return lines_of_fields(fields, heard.grid.n_lines, start)


def search(frames: Frames, sounds: Iterable[Heard]) -> Fit:
    """Return the best fit of all ways of drawing, with the chance of such a match without a leak."""
    fits: list[Fit] = []
    null = np.zeros(0)
    for heard in sounds:
        for scale, weave in itertools.product(SCALES, weaves(frames, heard.drawing)):
            null = _tried(frames, heard, weave, scale, fits, null)
        # A wrong height may be plain, too, where scenes change: all are tried of a drawing.
        if min(fit.p_value for fit in fits) < _PLAIN_P:
            break
    best = max(fits, key=lambda fit: fit.peak)
    for side in (-0.01, 0.01):
        null = _tried(frames, best.heard, best.weave, best.scale + side, fits, null)
    best = max(fits, key=lambda fit: fit.peak)
    best.p_value = _chance(best.peak, null)
    if FOUND_P**2 < best.p_value < _DOUBTFUL:
        # Strong leaks match at far lags, too, as scenes resemble each other: seen without the leak, these do not.
        null = _maxima(_total(_without(best, frames), _changes(frames, best)), best.heard) + np.log(len(fits))
        best.p_value = _chance(best.peak, null)
    middle, scale = _gumbel(null)
    best.needed = middle - scale * float(np.log(FOUND_P))
    return best


def _tried(frames: Frames, heard: Heard, weave: Weave, scale: float, fits: list[Fit], null: Floats) -> Floats:
    """Add a fit; return the best matches at far lags, of all ways so far, one for each second."""
    fit = Fit(heard=heard, weave=weave, scale=scale)
    changes = _changes(frames, fit)
    total = _total(heard.lines, changes)
    reach = round(REACH_S * heard.grid.line_rate_hz)
    near = np.concatenate([total[-reach:], total[: reach + 1]])
    maxima = _maxima(total, heard)
    n_kept = min(len(maxima), len(null)) if len(null) else len(maxima)
    null = np.maximum(maxima[:n_kept], null[:n_kept]) if len(null) else maxima
    at = int(near.argmax())
    fit.lag_lines, fit.peak = at - reach, float(near[at])
    fit.p_value = _chance(fit.peak, null)
    fits.append(fit)
    return null


def _changes(frames: Frames, fit: Fit) -> Complexes:
    lines = scipy.fft.rfft(rows_as(frames, fit.heard, fit.weave, fit.scale).astype(np.float32))
    return without_steady(lines, fit.heard.grid.n_lines, fit.heard.drawing.lines_per_repeat)


def _total(lines: list[Complexes], changes: Complexes) -> Floats:
    """Return the squared match at every lag in lines, of all channels, in units of what noise has."""
    matches = [match_at_lines(spectrum, changes) for spectrum in lines]
    # Squared sizes of noise are spread exponentially: their median is ln 2.
    return np.asarray(np.sum([match / (np.median(match) / np.log(2)) for match in matches], axis=0))


def _maxima(total: Floats, heard: Heard) -> Floats:
    """Return the best match at far lags, one for each second."""
    reach = round(REACH_S * heard.grid.line_rate_hz)
    far = total[reach : len(total) - reach]
    return np.asarray(far[: len(far) // (2 * reach) * 2 * reach].reshape(-1, 2 * reach).max(axis=1))


def _without(fit: Fit, frames: Frames) -> list[Complexes]:
    """Return the lines of the channels without the leak at the fit's place, whichever phase it has."""
    heard, grid = fit.heard, fit.heard.grid
    lines = scipy.fft.rfft(rows_as(frames, heard, fit.weave, fit.scale, fit.lag_lines))
    changes = without_steady(lines, grid.n_lines, heard.drawing.lines_per_repeat)
    expected = leak_spectrum(changes, grid, heard.pulse)
    moments = Moments.of_rate(grid.rate_hz)
    # In phase, and a quarter of a cycle later.
    parts = [moments.spectra(scipy.fft.irfft(expected * turn, grid.n_samples)) for turn in (1, -1j)]
    left: list[Complexes] = []
    for spectrum, channel, weight in zip(heard.lines, heard.sound.T, heard.weights, strict=True):
        kept = without_steady(scipy.fft.rfft(channel), grid.n_lines, heard.drawing.lines_per_repeat)
        sound = moments.spectra(scipy.fft.irfft(kept, grid.n_samples))
        leak = sum(part * (np.vdot(part, weight * sound).real / np.vdot(part, weight * part).real) for part in parts)
        weighed = scipy.fft.rfft(moments.sound(np.asarray(leak * weight, dtype=np.complex128), grid.n_samples))
        left.append(spectrum - folded(weighed, heard.pulse, grid.n_lines))
    return left


def _gumbel(null: Floats) -> tuple[float, float]:
    # The spread of maxima of exponential numbers is pi / sqrt(6) times their scale; noise alone has the scale 1.
    scale = max(1.0, float(np.std(null, ddof=1)) * np.sqrt(6) / np.pi) if len(null) > 2 else 2.0
    return float(np.mean(null)) - 0.5772 * scale, scale


def _chance(peak: float, null: Floats) -> float:
    """Return the chance that the best of a second reaches a height, from the best of other seconds (Gumbel)."""
    middle, scale = _gumbel(null)
    return float(-np.expm1(-np.exp(min(-(peak - middle) / scale, 50.0))))
