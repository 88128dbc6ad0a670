"""The noise floor under the lines, as a smooth curve over frequency.

Read from a Hann-windowed spectrum: unwindowed, the leakage of strong hum reads as noise (up to 1.4 times too much).
Every block of bins gives a mean from which bins that stand out are left out, so that lines do not count; the curve
joins the blocks on double logarithmic axes, because a real floor is steep at low frequencies.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

#: Fewest bins in a block: a mean of 64 Hann bins (43 independent ones) is good to 15 %.
FEWEST_BINS = 64
#: Fewest bins of a block where the floor is steep, and what counts as steep: halves that differ by so many deviations.
FEWEST_IN_STEEP = 16
STEEP_SD = 4.0
#: Standard deviation of the logarithm of exponentially distributed power; Hann bins that count as one.
LOG_SD = float(np.pi / np.sqrt(6.0))
NEIGHBOURS = 1.5
#: Width of a block as a share of its frequency, and its limits in Hz.
BLOCK_SHARE = 0.3
NARROWEST_HZ = 10.0
WIDEST_HZ = 150.0
LOWEST_HZ = 5.0
#: Bins above this many times the mean stand out and are left out, with their neighbours (Hann main lobe: 2 bins).
CUT = 8.0
GUARD_BINS = 3
#: Mean of exponentially distributed power, cut at CUT times its mean.
CUT_MEAN = 1.0 - CUT * np.exp(-CUT) / (1.0 - np.exp(-CUT))
#: Mean of the logarithm of exponentially distributed power is ln(mean) minus Euler's constant.
EULER = 0.5772156649015329
#: Channels are compared by their noise up to here.
CROSS_UP_TO_HZ = 3000.0
#: Power that digital silence is taken for: rounding errors of 64-bit sums.
TINY = 1e-34


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseFloor:
    """Noise without lines.

    Attributes
    ----------
    block_hz : numpy.ndarray, shape (n_blocks,)
        Centres of the blocks.
    log_variance : numpy.ndarray, shape (n_ch, n_blocks)
        Natural logarithm of the variance that white noise of this density would have.
    cross : complex
        Mean of the conjugate of the first channel's noise times the second's, both of unit power; 0 for one channel.
    """

    block_hz: Floats
    log_variance: Floats
    cross: complex

    def variance(self, frequency_hz: Any) -> Floats:
        """Return the variance of white noise of the density found at each frequency, shape (n_ch, n_frequencies)."""
        wanted = np.log(np.maximum(np.atleast_1d(frequency_hz), 0.5 * self.block_hz[0]))
        centres = np.log(self.block_hz)
        return np.asarray(np.exp(np.stack([np.interp(wanted, centres, row) for row in self.log_variance])))


def hann_windowed(values: npt.NDArray[np.complex128]) -> npt.NDArray[np.complex128]:
    """Return the spectrum of a record as if Hann-windowed, without its first and last bins, shape (..., n - 2)."""
    return np.asarray(0.5 * values[..., 1:-1] - 0.25 * (values[..., :-2] + values[..., 2:]))


def read_noise_floor(hann_power: Floats, values: npt.NDArray[np.complex128], bin_hz: float) -> NoiseFloor:
    """Read the floor from Hann-windowed power, shape (n_ch, n_bins), and the spectrum that it comes from."""
    log_power = np.log(np.maximum(hann_power, TINY))
    edges = _split_where_steep(log_power, block_edges(hann_power.shape[1], bin_hz))
    starts, lengths = edges[:-1] - edges[0], np.diff(edges)
    mean = np.empty((hann_power.shape[0], starts.size))
    loud = np.zeros(edges[-1] - edges[0], dtype=np.bool_)
    for channel, power in enumerate(hann_power[:, edges[0] : edges[-1]]):
        first = np.exp(np.add.reduceat(log_power[channel, edges[0] : edges[-1]], starts) / lengths + EULER)
        mean[channel], standing_out = _block_means(power, first, starts, lengths)
        loud[standing_out] = True
    return NoiseFloor(
        block_hz=(edges[:-1] + edges[1:] - 1) / 2 * bin_hz,
        log_variance=_smoothed(np.log(np.maximum(mean, TINY))),
        cross=_cross(values, mean, edges, loud, bin_hz),
    )


def _block_means(power: Floats, first: Floats, starts: Indices, lengths: Indices) -> tuple[Floats, Indices]:
    """Return each block's mean without what stands out, and the bins left out."""
    mean = first
    for _ in range(3):
        loud = np.flatnonzero(power > CUT * np.repeat(mean, lengths))
        loud = np.unique((loud[:, np.newaxis] + np.arange(-GUARD_BINS, GUARD_BINS + 1)).ravel())
        loud = loud[(loud >= 0) & (loud < power.size)]
        blocks = np.searchsorted(starts, loud, side="right") - 1
        kept = lengths - np.bincount(blocks, minlength=starts.size)
        quiet = power.copy()
        quiet[loud] = 0.0
        total = np.add.reduceat(quiet, starts)
        mean = np.where(kept > FEWEST_IN_STEEP / 4, total / np.maximum(kept, 1) / CUT_MEAN, mean)
    return mean, loud


def block_edges(n_bins: int, bin_hz: float) -> npt.NDArray[np.int64]:
    """Return the first bins of the blocks, and the end of the last one."""
    first = min(max(int(np.ceil(LOWEST_HZ / bin_hz)), 3), max(n_bins - 2, 1))
    edges = [first]
    while edges[-1] < n_bins:
        width_hz = float(np.clip(BLOCK_SHARE * edges[-1] * bin_hz, NARROWEST_HZ, WIDEST_HZ))
        edges.append(edges[-1] + max(int(width_hz / bin_hz), FEWEST_BINS))
    if len(edges) > 2:
        edges[-2:] = [n_bins]  # the last block takes the remainder in
    else:
        edges[-1] = n_bins
    return np.array(edges)


def _split_where_steep(log_power: Floats, edges: Indices) -> Indices:
    """Return the blocks with those halved, once or twice, over which the floor falls or rises clearly."""
    for _ in range(2):
        lengths = np.diff(edges)
        middles = edges[:-1] + lengths // 2
        both = np.sort(np.concatenate([edges[:-1], middles]))
        sums = np.add.reduceat(log_power, both, axis=1)
        low, high = sums[:, ::2] / (lengths // 2), sums[:, 1::2] / (lengths - lengths // 2)
        # The last block's upper half reaches to the end of the spectrum, which is where it ends.
        sd = LOG_SD * np.sqrt(2 * NEIGHBOURS / np.maximum(lengths // 2, 1))
        steep = (np.abs(high - low) > STEEP_SD * sd).any(axis=0) & (lengths >= 2 * FEWEST_IN_STEEP)
        if not steep.any():
            break
        edges = np.sort(np.concatenate([edges, middles[steep]]))
    return edges


def _smoothed(log_mean: Floats) -> Floats:
    """Return the blocks' logarithms after a three-point mean (1/4, 1/2, 1/4), ends kept."""
    if log_mean.shape[1] < 3:
        return log_mean
    smooth = log_mean.copy()
    smooth[:, 1:-1] = 0.5 * log_mean[:, 1:-1] + 0.25 * (log_mean[:, :-2] + log_mean[:, 2:])
    return smooth


def _cross(
    values: npt.NDArray[np.complex128], mean: Floats, edges: Indices, loud: npt.NDArray[np.bool_], bin_hz: float
) -> complex:
    """Return the normalised cross power of two channels' noise where combs are fitted, every block alike per bin."""
    if values.shape[0] != 2:
        return 0j
    n_blocks = max(int(np.searchsorted(edges, min(CROSS_UP_TO_HZ / bin_hz, values.shape[1] - 1), side="right")) - 1, 1)
    edges = edges[: n_blocks + 1]
    last = min(int(edges[-1]), values.shape[1] - 1)
    starts = edges[:-1] - edges[0]
    quiet = hann_windowed(values[:, edges[0] - 1 : last + 1])
    quiet[:, loud[: quiet.shape[1]]] = 0.0
    floor = np.maximum(mean[:, :n_blocks], TINY)
    shared = np.add.reduceat(quiet[0].conj() * quiet[1], starts) / np.sqrt(floor[0] * floor[1])
    power = np.add.reduceat(np.abs(quiet) ** 2, starts, axis=1) / floor
    product = float(power[0].sum() * power[1].sum())
    return complex(shared.sum() / np.sqrt(product)) if product > 0.0 else 0j
