"""What noise may hide: one-sided 95 % bounds of families that were sought and not found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.lines.joint import Booleans
from humcheck.estimates.lines.spectrum import Floats, QuietSpectrum

#: Orders that a bound of mains covers (IEC 61000-4-7 counts harmonics of mains to the 40th); a picture's go to 20 kHz.
MAINS_ORDERS = 40
ONE_SIDED_95 = 1.6448536269514722
#: Standard deviation of the noise in three neighbouring Hann bins together, relative to the mean of one.
THREE_BIN_SD = float(np.sqrt(3 + 2 * (2 * (2 / 3) ** 2 + (1 / 6) ** 2)))
#: Orders that must be free of other lines for a rate to be bounded.
FREE_SHARE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Remainder:
    """What the Hann spectrum holds beyond its noise floor and the lines that were found.

    Attributes
    ----------
    spectrum : QuietSpectrum
        The section.
    taken : numpy.ndarray of bool, shape (n_bins,)
        Bins that belong to lines that were found.
    excess : numpy.ndarray, shape (n_ch, n_bins)
        Power above the floor in each bin and its two neighbours, nothing where taken.
    """

    spectrum: QuietSpectrum
    taken: Booleans
    excess: Floats


def remainder(spectrum: QuietSpectrum, taken: Booleans) -> Remainder:
    """Return what is left beside the bins of the lines that were found."""
    above = spectrum.hann_power - spectrum.floor
    above[:, taken] = 0.0
    excess = above.copy()
    excess[:, 1:] += above[:, :-1]
    excess[:, :-1] += above[:, 1:]
    return Remainder(spectrum=spectrum, taken=taken, excess=excess)


def comb_bound(left: Remainder, lowest_hz: float, highest_hz: float, *, most_orders: int | None = None) -> Floats:
    """Return the bound of the mean square of a comb whose fundamental lies in a range, shape (n_ch,).

    For every fundamental the unbiased sum of its lines and 1.645 of its standard deviations; the largest is the bound.
    A fundamental of which most lines are taken is left out: a comb right on another one is not bounded.

    Parameters
    ----------
    left : Remainder
        What is left of the section.
    lowest_hz, highest_hz : float
        Range of the fundamental.
    most_orders : int, optional
        Orders counted; all up to the top of the band by default.
    """
    spectrum = left.spectrum
    n_orders = max(1, int(spectrum.highest_hz / highest_hz))
    n_orders = min(n_orders, most_orders or n_orders)
    rates_hz = np.arange(lowest_hz, highest_hz, spectrum.bin_hz / n_orders)
    total = np.zeros((left.excess.shape[0], rates_hz.size))
    variance = np.zeros((left.excess.shape[0], 1))
    free = np.zeros(rates_hz.size)
    for order in range(1, n_orders + 1):
        places = np.round(rates_hz * (order / spectrum.bin_hz)).astype(np.int64)
        total += left.excess[:, places]
        variance += (THREE_BIN_SD * spectrum.floor[:, [places[places.size // 2]]]) ** 2
        free += ~left.taken[places]
    # A line adds to the scatter: twice its power times the noise, spread over the lines as the noise is.
    variance = variance + 2 * np.sqrt(variance / n_orders) / THREE_BIN_SD * np.maximum(total, 0.0)
    above = np.maximum(total, 0.0) + ONE_SIDED_95 * np.sqrt(variance)
    above[:, free < FREE_SHARE * n_orders] = 0.0
    return np.asarray(2.0 * above.max(axis=1) / spectrum.n_samples)


def line_bound(left: Remainder, lowest_hz: float, highest_hz: float) -> Floats:
    """Return the bound of the mean square of one line anywhere in a range, shape (n_ch,)."""
    return comb_bound(left, lowest_hz, highest_hz, most_orders=1)
