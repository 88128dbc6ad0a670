"""The lines of a comb whose phase is known, in every band: amplitudes, powers, and a rigid comb's better rate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.lines.bands import Bands, cut_bands
from humcheck.estimates.lines.spectrum import Floats, QuietSpectrum

FLAT_HZ, STOP_HZ = 12.0, 18.0
#: Gain over noise of a line that stands out: one in 10000 (exponential distribution).
STANDS_OUT = 9.2
#: Gain over noise of a line that no search over rates finds in noise.
CERTAIN = 25.0
#: Parts of the section that a rate is refined from.
_PARTS = 48


@dataclass(frozen=True, slots=True)
class Rate:
    """A fundamental and its standard uncertainty."""

    hz: float
    sd_hz: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CombLines:
    """Lines of one comb, in order.

    Attributes
    ----------
    orders : numpy.ndarray, shape (n_lines,)
    amplitude : numpy.ndarray, shape (n_lines, n_ch)
        Complex amplitudes at the middle of the section.
    mean_square, sd : numpy.ndarray, shape (n_lines, n_ch)
        Unbiased mean squares and their standard uncertainty.
    noise_sd : numpy.ndarray, shape (n_lines, n_ch)
        The uncertainty that noise alone would leave.
    detected : numpy.ndarray of bool, shape (n_lines, n_ch)
    """

    orders: np.ndarray
    amplitude: np.ndarray
    mean_square: Floats
    sd: Floats
    noise_sd: Floats
    detected: np.ndarray


def band_of_orders(spectrum: QuietSpectrum, rate_hz: float, without: np.ndarray) -> Bands | None:
    """Return the bands around all multiples of a rate up to the top but some orders; None where there is none."""
    highest = int((spectrum.highest_hz - STOP_HZ) / rate_hz)
    orders = np.setdiff1d(np.arange(1, highest + 1), without)
    if not orders.size:
        return None
    return cut_bands(spectrum, orders, orders * rate_hz, flat_hz=FLAT_HZ, stop_hz=STOP_HZ)


def rigid_lines(bands: Bands, rate_hz: float) -> np.ndarray:
    """Return unit lines at the multiples of a rate, shape (n_bands, n_times)."""
    return unit_lines(bands, 2 * np.pi * rate_hz * (bands.time_s - bands.spectrum.duration_s / 2))


def unit_lines(bands: Bands, phase: Floats) -> np.ndarray:
    """Return unit lines at the multiples of a phase, shape (n_bands, n_times)."""
    turns = np.outer(bands.orders, phase) - 2 * np.pi * np.outer(bands.centre_hz, bands.time_s)
    return np.asarray(np.exp(1j * turns))


def read_lines(
    bands: Bands, lines: np.ndarray, rate: Rate, *, rigid: bool, others_hz: Floats
) -> tuple[Rate, CombLines]:
    """Read a comb's lines along its phase.

    Parameters
    ----------
    bands : Bands
        Around the comb's lines.
    lines : numpy.ndarray, shape (n_bands, n_times)
        Unit lines along the comb's phase.
    rate : Rate
        Its fundamental.
    rigid : bool
        Whether the comb keeps its rate, so that its lines can tell the rate better.
    others_hz : numpy.ndarray, shape (n_others,)
        Fundamentals of combs that may have lines in the same bands.
    """
    orders = bands.orders
    turned = bands.values * lines.conj()[:, np.newaxis]
    if rigid:
        offset_s = bands.time_s - bands.spectrum.duration_s / 2
        rate, error_hz = refined_rate(rate, orders, turned, offset_s)
        turned = turned * np.exp(-2j * np.pi * error_hz * np.outer(orders, offset_s))[:, np.newaxis]
    gains = bands.line_gains(orders * rate.hz)
    amplitude, variance = _beside(turned, orders, rate.hz, others_hz, bands.time_s)
    gain_over_noise = np.abs(amplitude) ** 2 / variance
    return rate, CombLines(
        orders=orders,
        amplitude=amplitude / gains,
        mean_square=0.5 * (np.abs(amplitude) ** 2 - variance) / gains**2,
        sd=0.5 * np.sqrt(2 * np.maximum(gain_over_noise - 1, 0) + 1) * variance / gains**2,
        noise_sd=0.5 * variance / gains**2,
        detected=gain_over_noise > STANDS_OUT,
    )


def _beside(
    turned: np.ndarray, orders: np.ndarray, rate_hz: float, others_hz: Floats, time_s: Floats
) -> tuple[np.ndarray, Floats]:
    """Return each line's amplitude and its variance, least squares with the other region's lines where they are close.

    Parameters
    ----------
    turned : numpy.ndarray, shape (n_lines, n_ch, n_times)
        Bands turned back by the comb's own phase; noise has unit variance.
    orders : numpy.ndarray, shape (n_lines,)
        Orders of the lines.
    rate_hz : float
        The comb's fundamental.
    others_hz : numpy.ndarray, shape (n_others,)
        Fundamentals of combs around the other nominal frequency.
    time_s : numpy.ndarray, shape (n_times,)
        Times of the samples.
    """
    amplitude = turned.mean(axis=2)
    variance = np.full((orders.size, 1), 1 / time_s.size)
    for other_hz in others_hz:
        offset_hz = np.round(orders * rate_hz / other_hz) * other_hz - orders * rate_hz
        for place in np.flatnonzero(np.abs(offset_hz) < FLAT_HZ):
            columns = np.stack([np.ones(time_s.size), np.exp(2j * np.pi * offset_hz[place] * time_s)])
            inverse = np.linalg.inv(columns.conj() @ columns.T)
            amplitude[place] = (turned[place] @ columns.conj().T @ inverse.T)[:, 0]
            variance[place] = inverse[0, 0].real
    return amplitude, variance


def refined_rate(rate: Rate, orders: np.ndarray, turned: np.ndarray, offset_s: Floats) -> tuple[Rate, float]:
    """Return a rigid comb's rate from its upper lines, and how far the first one was off.

    The lines near a picture's line rate are often its strongest and hundreds of times as sensitive as the fundamental.
    A search within four standard deviations, then a step of Newton's; the first rate is weighed in.
    """
    n_parts = max(1, min(_PARTS, offset_s.size // 4))
    edges = np.linspace(0, offset_s.size, n_parts + 1).astype(int)
    sums = np.add.reduceat(turned, edges[:-1], axis=2)
    middle_s = np.array([offset_s[low:high].mean() for low, high in zip(edges, edges[1:], strict=False)])
    n_steps = int(np.ceil(8 * rate.sd_hz * orders[-1] * np.ptp(offset_s))) + 8
    errors_hz = np.linspace(-4, 4, 2 * n_steps + 1) * rate.sd_hz
    turns = np.outer(orders, middle_s)

    def gains(error_hz: float) -> Floats:
        coherent = np.einsum("bct,bt->bc", sums, np.exp(-2j * np.pi * error_hz * turns))
        return np.asarray(np.abs(coherent) ** 2 / offset_s.size)

    grid = np.stack([gains(float(error_hz)) for error_hz in errors_hz])
    # Lines that are but noise would only pull the rate about.
    heard = grid.max(axis=0) > CERTAIN
    if not heard.any():
        return rate, 0.0

    def score(error_hz: float) -> float:
        return float(np.sum(gains(error_hz)[heard])) - 0.5 * (error_hz / rate.sd_hz) ** 2

    prior = 0.5 * (errors_hz / rate.sd_hz) ** 2
    best_hz = float(errors_hz[int(np.argmax(grid[:, heard].sum(axis=1) - prior))])
    step_hz = float(errors_hz[1] - errors_hz[0]) / 4
    before, top, after = (score(best_hz + step * step_hz) for step in (-1, 0, 1))
    bend = before - 2 * top + after
    if bend >= 0:
        return rate, 0.0
    best_hz += 0.5 * (before - after) / bend * step_hz
    # The score is a log likelihood (noise has unit variance): its bend is the information.
    return Rate(rate.hz + best_hz, float(step_hz / np.sqrt(-bend))), best_hz
