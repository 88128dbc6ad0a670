"""The raster's lines followed through the section: their timing refined, their amplitudes, and the noise about them.

Every line is cut out of the spectrum with a few bins about it, which is its amplitude at a few dozen times. All lines
share one timing (delay, rate, and a slow bend where a clock warms up), fitted to all of them at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import Floats
from humcheck.estimates.rows.rasters import Complexes, harmonics, pattern
from humcheck.estimates.rows.search import SLOPES, Match, line_orders
from humcheck.estimates.rows.spectrum import PADDING, RowsSpectrum

#: Bins about each line, and as many times at which its amplitude is read.
N_BINS = 48
#: Times at which the window is lower than this are left out.
LEAST_WINDOW = 0.1
#: The noise of the spectrum's neighbourhood counts as so many times beside a line's own.
FLOOR_WORTH = 8.0
#: Standard deviation of how fast clocks change their rate, in parts per million a minute.
CLOCK_PPM_PER_MINUTE = 3.0
_STEPS = 8
#: Power over what noise and leak explain from which on a line is another's.
FOREIGN = 16.0
#: A line whose weight falls below this share is another's.
LEAST_BELONGING = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RasterLines:
    """The lines of a raster, put on the raster's own time.

    Attributes
    ----------
    match : Match
        Raster and code, the rate refined.
    order : numpy.ndarray of int, shape (n_lines,)
        Multiples of the repeat rate.
    frequency_hz : numpy.ndarray, shape (n_lines,)
        In the take's clock.
    amplitude : numpy.ndarray, shape (n_ch, n_lines)
        Complex peak amplitudes, full scale 1.0, as they stand when the first line is drawn.
    variance : numpy.ndarray, shape (n_ch, n_lines)
        Variance of their noise (sum of both parts).
    foreign : numpy.ndarray of bool, shape (n_ch, n_lines)
        Lines at which something far stronger stands, such as hum.
    line_rate_sd_hz : float
        Standard uncertainty of the line rate.
    """

    match: Match
    line_rate_hz: float
    line_rate_sd_hz: float
    order: npt.NDArray[np.int64]
    frequency_hz: Floats
    amplitude: Complexes
    variance: Floats
    foreign: npt.NDArray[np.bool_]

    def covers(self, frequency_hz: Floats) -> npt.NDArray[np.bool_]:
        """Return whether frequencies lie where lines were read."""
        return np.asarray((frequency_hz >= self.frequency_hz[0]) & (frequency_hz <= self.frequency_hz[-1]))

    def expected(self) -> Complexes:
        """Return the luma's peak amplitudes at the lines, shape (n_lines,)."""
        return harmonics(self.match.raster, pattern(self.match.raster, self.match.shown), self.order)


def follow_lines(spectrum: RowsSpectrum, match: Match) -> RasterLines:
    """Return the lines of a match with its timing refined.

    Parameters
    ----------
    spectrum : RowsSpectrum
        The section.
    match : Match
        What the search found.
    """
    raster = match.raster
    order = line_orders(raster, match.line_rate_hz, spectrum.highest_hz - 10.0)
    frequency_hz: Floats = order.astype(np.float64) * (match.line_rate_hz / raster.n_lines)
    values, time, weight = _cut(spectrum, frequency_hz)
    variance = _variance(values, weight, spectrum.noise_variance(frequency_hz))
    expected = harmonics(raster, pattern(raster, match.shown), order)
    repeat_hz = match.line_rate_hz / raster.n_lines
    half_s = spectrum.duration_s / 2
    bend = 0.5 * (1e-6 / 60.0 * CLOCK_PPM_PER_MINUTE) * half_s**2 * repeat_hz
    timing = np.array([match.delay, 0.0, 0.0])
    sd = np.zeros(3)
    share = weight / weight.sum()
    belonging = foreign_lines(values @ share, variance / weight.sum(), order, expected)
    variance /= belonging
    for _ in range(_STEPS):
        turned = values * _turn(order, timing, time)
        step, sd = _timing_step(turned, time, weight, variance, order, expected, np.array([0.0, 0.0, bend]), timing)
        timing += step
    turned = values * _turn(order, timing, time)
    # A delay that grows: the picture repeats more slowly than was thought.
    line_rate_hz = match.line_rate_hz - float(timing[1]) / half_s * raster.n_lines
    return RasterLines(
        match=match,
        line_rate_hz=float(line_rate_hz),
        line_rate_sd_hz=float(sd[1] / half_s * raster.n_lines),
        order=order,
        frequency_hz=np.asarray(order * (line_rate_hz / raster.n_lines), dtype=np.float64),
        amplitude=turned @ share,
        variance=variance / weight.sum(),
        foreign=belonging < LEAST_BELONGING,
    )


def foreign_lines(amplitude: Complexes, variance: Floats, order: npt.NDArray[np.int64], expected: Complexes) -> Floats:
    """Return factors that take the weight from lines far stronger than noise and leak explain: hum at the same place.

    Parameters
    ----------
    amplitude, variance : numpy.ndarray, shape (n_ch, n_lines)
        What was read.
    order, expected : numpy.ndarray, shape (n_lines,)
        The lines and the luma's amplitudes.

    Returns
    -------
    numpy.ndarray, shape (n_ch, n_lines)
        1 for lines that may belong to the leak, less for others.
    """
    size = np.abs(amplitude) ** 2 / variance
    usual = np.ones_like(size)
    for slope in (0.0, 1.0):
        shape = np.abs(expected * (order / order[-1]) ** slope) ** 2 / variance
        strong = shape >= np.median(shape, axis=1, keepdims=True)
        ratio = np.where(strong, size / shape, np.nan)
        usual = np.maximum(usual, 1 + shape * np.nanmedian(ratio, axis=1, keepdims=True))
    return np.asarray(np.minimum(1.0, FOREIGN * usual / np.maximum(size, 1e-12)) ** 2)


def _cut(spectrum: RowsSpectrum, frequency_hz: Floats) -> tuple[Complexes, Floats, Floats]:
    """Return the lines' amplitudes over time, shape (n_ch, n_lines, n_times), times in -1...1, their weights."""
    plain = spectrum.values[:, ::PADDING]
    bins = np.arange(-N_BINS // 2, N_BINS // 2)
    place = frequency_hz * spectrum.duration_s
    centre = np.rint(place).astype(np.int64)
    time = (np.arange(N_BINS) + 0.5) / N_BINS - 0.5
    window = _window_through_cut(spectrum, bins, time)
    kept = window > LEAST_WINDOW
    time, window = time[kept], window[kept]
    near = plain[:, centre[:, np.newaxis] + bins].astype(np.complex128)
    values = near @ np.exp(2j * np.pi * np.multiply.outer(bins, time))
    values *= np.exp(-2j * np.pi * np.multiply.outer(place - centre, time))
    values /= window
    return values, 2 * time, window**2


def _window_through_cut(spectrum: RowsSpectrum, bins: npt.NDArray[np.int64], time: Floats) -> Floats:
    """Return what is left of a line of amplitude 1 at the times of its band."""
    from scipy import fft

    spectrum_of_window = fft.rfft(spectrum.window)[: N_BINS // 2 + 1] / float(spectrum.window.sum())
    # The window is symmetric about the middle, which phases are counted from.
    sign = (-1.0) ** np.abs(bins)
    near = np.real(spectrum_of_window[np.abs(bins)]) * sign
    return np.asarray(np.real(near @ np.exp(2j * np.pi * np.multiply.outer(bins, time))))


def _variance(values: Complexes, weight: Floats, floor: Floats) -> Floats:
    """Return the variance of a line's amplitude at a time of weight 1, shape (n_ch, n_lines).

    From differences of neighbouring times, in which a steady line does not count, and from the floor nearby.
    """
    # The window faded line and noise alike: both stand at full size again where it was divided out.
    clear = np.minimum(weight[1:], weight[:-1]) > 0.5
    change = np.abs(np.diff(values, axis=2)[:, :, clear]) ** 2 / 2
    own = change.mean(axis=2)
    ratio = np.median(own / floor, axis=1, keepdims=True)
    # Differences of neighbours are worth two thirds of as many independent ones.
    worth = 2 / 3 * change.shape[2]
    own = (worth * own + FLOOR_WORTH * ratio * floor) / (worth + FLOOR_WORTH)
    return np.asarray(own * (weight**2).sum() / weight.sum())


def _turn(order: npt.NDArray[np.int64], timing: Floats, time: Floats) -> Complexes:
    delay = timing @ _laws(time)
    return np.asarray(np.exp(2j * np.pi * np.multiply.outer(order, delay)))


def _laws(time: Floats) -> Floats:
    return np.stack([np.ones_like(time), time, time**2 - 1 / 3])


def _timing_step(
    values: Complexes,
    time: Floats,
    weight: Floats,
    variance: Floats,
    order: npt.NDArray[np.int64],
    expected: Complexes,
    prior_sd: Floats,
    timing: Floats,
) -> tuple[Floats, Floats]:
    """Return by how much the delay, its growth and its bend are to change, and their uncertainties."""
    laws = _laws(time)
    moments = (laws * weight) @ laws.T
    read = values @ (laws * weight).T
    precision = 1 / variance
    model = _plain_model(read[..., 0] / weight.sum(), precision, order, expected)
    along = 2 * np.pi * order
    # Of a turn that is common to all lines nothing is known: its direction is taken out.
    power = precision * np.abs(model) ** 2
    centre = (power * along).sum(axis=1, keepdims=True) / power.sum(axis=1, keepdims=True)
    lever = along - np.where(np.arange(3)[:, np.newaxis, np.newaxis] == 0, centre, 0.0)
    matrix = 2 * moments * np.einsum("cq,acq,bcq->ab", power, lever, lever)
    slopes = np.imag(np.conj(model)[..., np.newaxis] * read) * precision[..., np.newaxis]
    right = -2 * np.einsum("cqa,acq->a", slopes, lever)
    prior = np.array([1 / sd**2 if sd > 0 else 0.0 for sd in prior_sd])
    right = right - prior * timing
    matrix = matrix + np.diag(prior)
    inverse = np.linalg.pinv(matrix)
    return np.asarray(inverse @ right), np.sqrt(np.maximum(np.diag(inverse), 0.0))


def _plain_model(
    amplitude: Complexes, precision: Floats, order: npt.NDArray[np.int64], expected: Complexes
) -> Complexes:
    """Return the expected lines with the power of frequency that fits best, one complex factor a channel."""
    models = []
    for slope in SLOPES:
        shape = expected * (order / order[-1]) ** slope
        factor = (precision * np.conj(shape) * amplitude).sum(axis=1) / (precision * np.abs(shape) ** 2).sum(axis=1)
        model = factor[:, np.newaxis] * shape
        models.append((float((precision * np.abs(model) ** 2).sum()), model))
    return np.asarray(max(models, key=lambda pair: pair[0])[1])
