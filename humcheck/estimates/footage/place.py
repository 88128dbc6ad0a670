"""The exact place of the picture in the sound, and how likely it is to be that one and no other.

All of the picture counts but the tone of the line rate itself, which is the same at every lag. A scene that stands or
scrolls looks nearly alike a field later, and a picture upside down in sign nearly alike half a line later: the
likelihood of every lag is kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft

from humcheck.audio.levels import Floats
from humcheck.estimates.footage.clock import ROWS, Grid
from humcheck.estimates.footage.fields import Frames
from humcheck.estimates.footage.matching import REACH_S, folded, leak_spectrum, match_at_lines
from humcheck.estimates.footage.search import Fit, rows_as
from humcheck.estimates.footage.whitening import Complexes, Moments, weights_of, without_steady

#: Places are compared at so many steps a sample.
_STEPS = 8
#: Places within so many lines belong to the same field.
_SAME_LINES = 3.0
#: A stray capacitance does not turn the sign over; amplifiers behind it may. So much likelier is the one that does not.
_UPRIGHT = np.log(20.0)
#: So much likelier is the standard's height, kept as it was, than each other one.
_KEPT = np.log(40.0)
#: Heights that are compared, in rows beside the coarse one.
_ROWS_BESIDE = 3
#: Places that are less likely than the best by this factor (as a logarithm) are left out.
_EXCLUDED = 12.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """Where the picture is.

    Attributes
    ----------
    lag_samples : float
        The first row of a frame is drawn so much later than the frame's stamp.
    scale : float
        Height of the frame over that of a field of the standard.
    probability : float
        That this is the place, to the sample, and not another one within the reach.
    field_probability : float
        That it is right within a line.
    relative : numpy.ndarray, shape (n_places,)
        Gains that other possible places would give over the gain at this one.
    weight : numpy.ndarray, shape (n_places,)
        How likely those places are; they sum to 1.
    lines : numpy.ndarray, shape (n_lines // 2 + 1,), complex
        Spectrum of the picture's lines in the fit's place.
    shift_samples : float
        What is left from the fit's place.
    """

    lag_samples: float
    scale: float
    probability: float
    field_probability: float
    relative: Floats
    weight: Floats
    lines: Complexes
    shift_samples: float


def place_of(fit: Fit, frames: Frames) -> Place:
    """Return the likeliest place of all samples of the sound."""
    grid = fit.heard.grid
    per_line = grid.n_samples / grid.n_lines
    # Lags are counted from the fit's; all of the reach about the stamps is compared.
    first = -int(REACH_S * grid.rate_hz) - round(fit.lag_lines * per_line)
    channels = [_Weighed(channel, fit) for channel in fit.heard.sound.T]
    for is_last in (False, True):
        scale, scale_chance = _scale_of(fit, frames, channels) if is_last else (fit.scale, 1.0)
        lines = scipy.fft.rfft(rows_as(frames, fit.heard, fit.weave, scale, fit.lag_lines))
        expected = leak_spectrum(without_steady(lines, grid.n_lines, 1), grid, fit.heard.pulse)
        peaks = _peaks(*_likelihood(fit, channels, expected, first, 2 * int(REACH_S * grid.rate_hz)))
        shift = float(peaks.lag[0]) + first
        if not is_last:
            # The leak is in the power that weighs it: it is taken off for the weights.
            leak = scipy.fft.irfft(expected * _turn(grid, shift), grid.n_samples)
            for channel, gain in zip(channels, peaks.gains[:, 0], strict=True):
                channel.weigh(gain * leak)
                channel.strength = abs(float(gain)) * float(np.sqrt(channel.weight.mean()))
    apart = np.abs(peaks.lag - peaks.lag[0])
    strongest = peaks.gains[int(np.abs(peaks.gains[:, 0]).argmax())]
    start = round(frames.first_s * grid.line_rate_hz) * per_line - frames.first_s * grid.rate_hz
    return Place(
        lag_samples=shift + fit.lag_lines * per_line + start,
        scale=scale,
        probability=float(peaks.chance[0]) * scale_chance,
        field_probability=float(peaks.chance[apart < _SAME_LINES * per_line].sum()),
        relative=np.abs(strongest / strongest[0]),
        weight=peaks.chance,
        lines=lines,
        shift_samples=shift,
    )


@dataclass(slots=True, eq=False, kw_only=True)
class _Peaks:
    """Places that are not excluded, the likeliest first, with the gains of the channels there."""

    lag: Floats
    chance: Floats
    gains: Floats


def _peaks(likelihood: Floats, gains: Floats) -> _Peaks:
    inner = likelihood[1:-1]
    places = 1 + np.flatnonzero(
        (inner >= likelihood[:-2])
        & (inner >= likelihood[2:])
        & (inner > inner.max() - 2 * _EXCLUDED - 0.05 * inner.max())
    )
    below, top, above = likelihood[places - 1], likelihood[places], likelihood[places + 1]
    curvature = np.minimum(below - 2 * top + above, -1e-12)
    shift = 0.5 * (below - above) / curvature
    # Between the steps, a peak is higher by this.
    height = top - 0.25 * (below - above) * shift
    order = np.argsort(-height)
    order = order[height[order] > height.max() - _EXCLUDED]
    chance = np.exp(height[order] - height.max())
    gain = gains[:, places[order]] * np.sqrt(height[order] / np.maximum(top[order], 1e-12))
    return _Peaks(lag=(places + shift)[order] / _STEPS, chance=chance / chance.sum(), gains=gain)


def _turn(grid: Grid, shift: float) -> Complexes:
    """Return what a spectrum on the grid is multiplied by to come so many samples later."""
    return np.asarray(np.exp(-2j * np.pi * np.arange(grid.n_samples // 2 + 1) * shift / grid.n_samples))


class _Weighed:
    """A channel without the line tone: its weights, and the spectrum of the sound that they leave."""

    def __init__(self, channel: Floats, fit: Fit) -> None:
        self._grid = fit.heard.grid
        self._moments = Moments.of_rate(self._grid.rate_hz)
        spectrum = without_steady(scipy.fft.rfft(channel), self._grid.n_lines, 1)
        self._sound = scipy.fft.irfft(spectrum, self._grid.n_samples)
        self.strength = 0.0
        self.weigh(np.zeros(1))

    def weigh(self, leak: Floats) -> None:
        """Weigh by the power of what is left without a leak."""
        spectra = self._moments.spectra(self._sound)
        left = self._moments.spectra(self._sound - leak) if leak.any() else spectra
        self.weight = weights_of(left)
        self.spectrum = scipy.fft.rfft(self._moments.sound(spectra * self.weight, self._grid.n_samples))


def _scale_of(fit: Fit, frames: Frames, channels: list[_Weighed]) -> tuple[float, float]:
    """Return the height that fits best, in whole rows, and how likely it is beside others."""
    heard = fit.heard
    n_rows = ROWS[heard.drawing.standard_hz]
    middle = round(fit.scale * n_rows)
    tried = sorted({*range(middle - _ROWS_BESIDE, middle + _ROWS_BESIDE + 1), n_rows})
    reach = round(REACH_S * heard.grid.line_rate_hz) + abs(fit.lag_lines)
    # A match at whole lines misses some of what lies between: half a line later is looked at, too.
    half = _turn(heard.grid, -0.5 * heard.grid.n_samples / heard.grid.n_lines)
    channel = max(channels, key=lambda one: one.strength)
    spectrum = channel.spectrum
    sounds = [folded(one, heard.pulse, heard.grid.n_lines) for one in (spectrum, spectrum * half)]
    unit = 0.0
    likelihood = []
    for count in tried:
        lines = scipy.fft.rfft(rows_as(frames, heard, fit.weave, count / n_rows, fit.lag_lines))
        lines = without_steady(lines, heard.grid.n_lines, 1)
        unit = unit or _unit(fit, channel, lines)
        matches = [match_at_lines(sound, lines) for sound in sounds]
        highest = max(max(match[:reach].max(), match[-reach:].max()) for match in matches)
        kept = _KEPT if count == n_rows else 0.0
        likelihood.append(float(highest) / (unit * np.vdot(lines, lines).real) + kept)
    chance = np.exp(np.array(likelihood) - max(likelihood))
    best = int(chance.argmax())
    return tried[best] / n_rows, float(chance[best] / chance.sum())


def _unit(fit: Fit, channel: _Weighed, lines: Complexes) -> float:
    """Return what a squared match of lines is divided by, and by their energy, to be a log likelihood."""
    grid = fit.heard.grid
    leak = scipy.fft.irfft(leak_spectrum(lines, grid, fit.heard.pulse), grid.n_samples)
    power = np.abs(Moments.of_rate(grid.rate_hz).spectra(leak)) ** 2
    energy = 2 * float(np.vdot(power, channel.weight))
    # A match is a sum over the line's spectrum; the spectrum of samples counts each bin twice.
    return energy * 2 * (grid.n_samples / (2 * grid.n_lines)) ** 2 / float(np.vdot(lines, lines).real)


def _likelihood(
    fit: Fit, channels: list[_Weighed], expected: Complexes, first: int, n_lags: int
) -> tuple[Floats, Floats]:
    """Return log likelihood of all channels at each lag, in steps of a part of a sample, and the gain of each."""
    grid = fit.heard.grid
    moments = Moments.of_rate(grid.rate_hz)
    power = np.abs(moments.spectra(scipy.fft.irfft(expected, grid.n_samples))) ** 2
    likelihood = np.zeros(n_lags * _STEPS)
    gains = []
    for channel in channels:
        match = np.roll(scipy.fft.irfft(channel.spectrum * np.conj(expected), grid.n_samples), -first)[:n_lags]
        energy = np.repeat(_energy(power, channel.weight, moments.hop, first, n_lags), _STEPS)
        fine = scipy.fft.irfft(scipy.fft.rfft(match), n_lags * _STEPS) * _STEPS
        likelihood += 0.5 * fine**2 / energy - np.where(fine < 0, _UPRIGHT, 0.0)
        gains.append(fine / energy)
    return likelihood, np.array(gains)


def _energy(power: Floats, weight: Floats, hop: int, first: int, n_lags: int) -> Floats:
    """Return the match that a leak of gain 1 would have at each lag: moments move against their weights."""
    steps = np.arange(first // hop - 1, (first + n_lags) // hop + 3)
    # Round the grid, as the match itself is.
    at_steps = [2 * np.vdot(np.roll(power, step, axis=0), weight) for step in steps]
    return np.asarray(np.interp(first + np.arange(n_lags), steps * hop, at_steps), dtype=np.float64)
