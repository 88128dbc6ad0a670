"""Steady lines of no comb: the picture's line rate, frame noise of digital links, and tones of unknown origin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.lines.bands import Bands, Indices, cut_bands
from humcheck.estimates.lines.clock_walk import parts_of, phase_parts_of_lines, walked_rate
from humcheck.estimates.lines.joint import Booleans
from humcheck.estimates.lines.spectrum import HIGHEST_HZ, Complexes, Floats, QuietSpectrum

#: Power over noise of a Hann bin that is a line: one false line in some thousand sections of a million bins.
STANDS_OUT = 22.0
LOWEST_HZ = 20.0
#: Bins on either side of a Hann line's peak that are its own.
HALF_WIDTH = 3
MOST_LINES = 200
#: Bins on either side of a peak whose median it must stand out of.
AROUND = 16
#: Half-widths of the bands in which lines are read, in Hz and in bins.
FLAT_HZ, STOP_HZ = 2.0, 4.0
FEWEST_BINS = 8.0
#: Refinements of a frequency; each squares the error.
N_STEPS = 3
#: A line is steady where the scatter of its amplitude over parts of the section is below this share of its power.
N_PARTS = 4
#: Power over noise at which the phase of each part of a line is known, so that a walk of the clocks shows.
CLEAR = 1000.0
MOST_SCATTER = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class LoneLines:
    """Steady lines that stand out, in order of frequency.

    Attributes
    ----------
    frequency_hz, sd_hz : numpy.ndarray, shape (n_lines,)
        Frequencies and their standard uncertainties.
    amplitude : numpy.ndarray, shape (n_lines, n_ch)
        Complex amplitudes at the section's middle.
    variance : numpy.ndarray, shape (n_lines, n_ch)
        E|error|^2 of the amplitudes.
    """

    frequency_hz: Floats
    sd_hz: Floats
    amplitude: Complexes
    variance: Floats

    @property
    def mean_square(self) -> Floats:
        """Unbiased mean square, shape (n_lines, n_ch)."""
        return np.asarray(0.5 * (np.abs(self.amplitude) ** 2 - self.variance))

    @property
    def mean_square_sd(self) -> Floats:
        """Standard uncertainty of the mean square, shape (n_lines, n_ch)."""
        power = np.maximum(2 * self.mean_square, 0.0)
        return np.asarray(0.5 * np.sqrt(2 * power * self.variance + self.variance**2))

    def chosen(self, which: Booleans) -> LoneLines:
        """Return some of the lines."""
        return LoneLines(
            frequency_hz=self.frequency_hz[which],
            sd_hz=self.sd_hz[which],
            amplitude=self.amplitude[which],
            variance=self.variance[which],
        )


def find_lone_lines(
    spectrum: QuietSpectrum, taken: Booleans, lowest_hz: float = LOWEST_HZ, highest_hz: float = HIGHEST_HZ
) -> LoneLines:
    """Return the steady lines that stand out of the Hann spectrum.

    Parameters
    ----------
    spectrum : QuietSpectrum
        The section.
    taken : numpy.ndarray of bool, shape (n_bins,)
        Bins that belong to combs already.
    lowest_hz, highest_hz : float, optional
        Where to look.
    """
    first = int(np.ceil(lowest_hz / spectrum.bin_hz))
    last = int(min(highest_hz, spectrum.highest_hz) / spectrum.bin_hz)
    over = (spectrum.hann_power[:, first : last + 1] / spectrum.floor[:, first : last + 1]).max(axis=0)
    over[taken[first : last + 1]] = 0.0
    peaks = _peaks(over) + first
    peaks = peaks[_above_skirts(spectrum.hann_power, peaks)]
    if not peaks.size:
        none = np.zeros((0, spectrum.n_channels))
        return LoneLines(frequency_hz=none[:, 0], sd_hz=none[:, 0], amplitude=none.astype(np.complex128), variance=none)
    flat_hz = max(FLAT_HZ, FEWEST_BINS * spectrum.bin_hz)
    bands = cut_bands(
        spectrum, np.ones(peaks.size, dtype=np.int64), peaks * spectrum.bin_hz, flat_hz=flat_hz, stop_hz=2 * flat_hz
    )
    lines, steady = _read(bands, _centroids(spectrum.hann_power.sum(axis=0), peaks) * spectrum.bin_hz)
    return lines.chosen(steady)


def _above_skirts(power: Floats, peaks: Indices) -> Booleans:
    """Return which peaks stand out of what is around them: lines that wander have skirts far above the noise."""
    if not peaks.size:
        return np.zeros(0, dtype=np.bool_)
    offsets = np.concatenate([np.arange(-AROUND, -HALF_WIDTH), np.arange(HALF_WIDTH + 1, AROUND + 1)])
    around = power[:, np.clip(peaks[:, np.newaxis] + offsets, 0, power.shape[1] - 1)]
    sides = np.median(around.reshape(*around.shape[:2], 2, -1), axis=3).max(axis=2) / np.log(2)
    return np.asarray((power[:, peaks] > STANDS_OUT * sides).any(axis=0))


def skirt_bins(over_noise: Floats) -> Floats:
    """Return how many bins beside a line its side lobes stand above the noise (Hann: power falls with m^-6)."""
    return np.asarray(np.maximum(6.0, 1.5 * np.maximum(over_noise, 1.0) ** (1 / 6)))


def _peaks(over: Floats) -> Indices:
    """Return the bins of separate peaks that stand out, the highest of each neighbourhood."""
    candidates = np.flatnonzero(over > STANDS_OUT)
    kept: list[int] = []
    blocked = np.zeros(over.size, dtype=np.bool_)
    for place in candidates[np.argsort(-over[candidates])]:
        if not blocked[place] and len(kept) < MOST_LINES:
            kept.append(int(place))
            reach = int(np.ceil(skirt_bins(over[[place]])[0])) + HALF_WIDTH
            blocked[max(0, place - reach) : place + reach + 1] = True
    return np.array(sorted(kept), dtype=np.int64)


def _centroids(power: Floats, peaks: Indices) -> Floats:
    offsets = np.arange(-2, 3)
    around = power[np.clip(peaks[:, np.newaxis] + offsets, 0, power.size - 1)]
    return np.asarray(peaks + (around * offsets).sum(axis=1) / np.maximum(around.sum(axis=1), 1e-300))


def _read(bands: Bands, frequency_hz: Floats) -> tuple[LoneLines, Booleans]:
    """Fit one line in each band; a Hann weight keeps stronger lines beside it out."""
    duration_s = bands.spectrum.duration_s
    offset_s = bands.time_s - duration_s / 2
    weight = np.cos(np.pi * offset_s / duration_s) ** 2
    weight /= weight.sum()
    carrier = np.exp(-2j * np.pi * np.outer(bands.centre_hz, bands.time_s))
    bend = float(weight @ offset_s**2)
    for _ in range(N_STEPS):
        turned = bands.values * (np.exp(2j * np.pi * np.outer(frequency_hz, offset_s)) * carrier).conj()[:, np.newaxis]
        amplitude = turned @ weight
        slope = (amplitude.conj() * (turned @ (weight * offset_s))).imag.sum(axis=1)
        power = np.maximum((np.abs(amplitude) ** 2).sum(axis=1), 1e-300)
        frequency_hz = frequency_hz + np.clip(slope / (2 * np.pi * power * bend), -1 / duration_s, 1 / duration_s)
    sd_hz = np.sqrt(float(((weight * offset_s) ** 2).sum()) / bend**2 / (2 * power)) / (2 * np.pi)
    clear = power * offset_s.size > CLEAR
    if clear.any():
        parts = phase_parts_of_lines(turned[clear], amplitude[clear], bands.time_s, parts_of(duration_s))
        walked = walked_rate(parts, frequency_hz[clear], bands.spectrum.section_s)
        frequency_hz[clear] += walked.offset_hz
        sd_hz[clear] = walked.sd_hz
    gains = bands.line_gains(frequency_hz)
    noise = float((weight**2).sum())
    lines = LoneLines(
        frequency_hz=frequency_hz,
        sd_hz=sd_hz,
        amplitude=amplitude / gains,
        variance=noise / gains**2,
    )
    return lines, _steady(turned, amplitude)


def _steady(turned: Complexes, amplitude: Complexes) -> Booleans:
    """Return which lines keep their amplitude in the channel in which they are stronger, shape (n_lines,)."""
    n_times = turned.shape[2]
    edges = np.linspace(0, n_times, N_PARTS + 1).astype(int)
    parts = np.add.reduceat(turned, edges[:-1], axis=2) / np.diff(edges)
    scatter = (np.abs(parts - parts.mean(axis=2, keepdims=True)) ** 2).mean(axis=2)
    power = np.abs(amplitude) ** 2
    rows, stronger = np.arange(power.shape[0]), power.argmax(axis=1)
    # Four parts of noise scatter by less than 3.3 times their mean in 999 of 1000 cases (chi-square, 8 d.f.).
    excess = scatter[rows, stronger] - 3.3 * N_PARTS / n_times
    return np.asarray(excess < MOST_SCATTER * power[rows, stronger])
