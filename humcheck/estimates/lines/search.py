"""Where a fit starts: rigid combs on a fine grid of rates, and the mains frequency as a path through short blocks.

Every harmonic counts with its own unknown noise power (the score of one harmonic is ``-M ln(1 - share of the band's
power that the line explains)``). With a plain sum of line powers one strong line of the other family wins the search.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from humcheck.estimates.lines.bands import Bands
from humcheck.estimates.lines.spectrum import Complexes, Floats

Indices = npt.NDArray[np.int64]

#: Rates of picture fields lie in these distances from the nominal 50 or 60 Hz (with 100 ppm of clock error).
FIELD_BELOW_HZ = 0.42
FIELD_ABOVE_HZ = 0.22
#: Mains in an interconnected grid keep within 1 % (EN 50160), plus a sloppy recorder clock (1000 ppm).
MAINS_REACH_HZ = 0.55
#: Blocks of the mains search, their distance, and the grid of frequencies.
BLOCK_S = 4.0
HOP_S = 1.0
GRID_HZ = 0.005
#: Walk assumed from block to block (standard deviation over one hop).
HOP_WALK_HZ = 0.006
FIELD_OVERSAMPLING = 4
PADDING = 4


def field_grid(nominal_hz: float, duration_s: float, highest_order: int) -> Floats:
    """Return the rates at which a rigid comb is sought, spaced so that no harmonic falls between two of them."""
    step_hz = 1.0 / (FIELD_OVERSAMPLING * highest_order * duration_s)
    return np.arange(nominal_hz - FIELD_BELOW_HZ, nominal_hz + FIELD_ABOVE_HZ, step_hz)


@dataclass(frozen=True, slots=True, kw_only=True)
class RigidSearch:
    """Score of every rate of a rigid comb, and what each harmonic has there.

    Attributes
    ----------
    rates_hz, score : numpy.ndarray, shape (n_rates,)
        Rates and their comb scores.
    gains : numpy.ndarray, shape (n_rates, n_bands, n_ch)
        Power of each harmonic relative to noise.
    """

    rates_hz: Floats
    score: Floats
    gains: Floats

    def peaks(self, n_peaks: int) -> Indices:
        """Return the places of the highest local maxima, best first."""
        inner = self.score[1:-1]
        peaks = 1 + np.flatnonzero((inner >= self.score[:-2]) & (inner > self.score[2:]))
        return np.asarray(peaks[np.argsort(self.score[peaks])[::-1][:n_peaks]])


def search_rigid(bands: Bands, residual: Complexes, rates_hz: Floats) -> RigidSearch:
    """Return the comb score at every rate of what is left in the bands."""
    import scipy.fft

    n_times = bands.time_s.size
    n_fft = int(scipy.fft.next_fast_len(PADDING * n_times))
    spectrum = scipy.fft.fft(residual, n_fft, axis=2)
    power = _squared(spectrum) / n_times
    total = _squared(residual).sum(axis=2)
    offset_hz = np.outer(rates_hz, bands.orders) - bands.centre_hz
    places = np.round(offset_hz * (n_fft / bands.rate_hz)).astype(np.int64) % n_fft
    gains = np.stack([power[band][:, places[:, band]].T for band in range(bands.n_bands)], axis=1)
    gains *= (np.abs(offset_hz) < bands.flat_hz)[:, :, np.newaxis]
    score = -n_times * np.log1p(-np.minimum(gains / (total + n_times), 1 - 1e-12)).sum(axis=(1, 2))
    return RigidSearch(rates_hz=rates_hz, score=score, gains=gains)


def mains_path(bands: Bands, residual: Complexes, nominal_hz: float) -> tuple[Floats, Floats]:
    """Find the path of the mains frequency.

    Returns
    -------
    time_s, frequency_hz : numpy.ndarray, shape (n_blocks,)
        Centres of the blocks and the frequency in each.
    """
    grid_hz = nominal_hz + np.arange(-MAINS_REACH_HZ, MAINS_REACH_HZ + GRID_HZ / 2, GRID_HZ)
    starts, n_block = _blocks(bands)
    scores = _block_scores(bands, residual, starts, n_block, grid_hz)
    path = _best_path(scores)
    time_s = bands.time_s[0] + (starts + n_block / 2) / bands.rate_hz
    return time_s, grid_hz[path]


def path_phase(time_s: Floats, frequency_hz: Floats, wanted_s: Floats, mains_hz: float) -> Floats:
    """Return the phase along a path beside ``2 pi mains_hz t``, shape as `wanted_s`, up to a constant."""
    fine_s = np.linspace(wanted_s[0], wanted_s[-1], max(4 * time_s.size, 64))
    offset_hz = np.interp(fine_s, time_s, frequency_hz) - mains_hz
    steps = 0.5 * (offset_hz[1:] + offset_hz[:-1]) * np.diff(fine_s)
    phase = 2 * np.pi * np.concatenate([[0.0], np.cumsum(steps)])
    return np.interp(wanted_s, fine_s, phase)


def _blocks(bands: Bands) -> tuple[Indices, int]:
    n_times = bands.time_s.size
    n_block = min(int(BLOCK_S * bands.rate_hz), max(n_times // 2, min(n_times, int(bands.rate_hz))))
    n_hop = max(int(HOP_S * bands.rate_hz * min(1.0, n_block / (BLOCK_S * bands.rate_hz))), 1)
    return np.arange(0, n_times - n_block + 1, n_hop), n_block


def _block_scores(bands: Bands, residual: Complexes, starts: Indices, n_block: int, grid_hz: Floats) -> Floats:
    """Return the comb score of every block at every frequency, shape (n_blocks, n_frequencies)."""
    import scipy.fft

    window = np.sin(np.pi * (np.arange(n_block) + 0.5) / n_block) ** 2
    n_fft = int(scipy.fft.next_fast_len(3 * n_block))
    places = starts[:, np.newaxis] + np.arange(n_block)
    weight = (window**2).sum()
    effective = window.sum() ** 2 / weight
    score = np.zeros((starts.size, grid_hz.size))
    for band, order in enumerate(bands.orders):
        offset_hz = order * grid_hz - bands.centre_hz[band]
        inside = np.flatnonzero(np.abs(offset_hz) < bands.flat_hz)
        bins = np.round(offset_hz[inside] * n_fft / bands.rate_hz).astype(int) % n_fft
        # Steps of the grid that fall into one bin share its score.
        bins, places_of_bins = np.unique(bins, return_inverse=True)
        blocks = residual[band][:, places]
        total = (_squared(blocks) @ window) / window.sum()  # mean power, 1 for noise
        power = _squared(scipy.fft.fft(blocks * window, n_fft, axis=2, overwrite_x=True)[:, :, bins]) / weight
        share = power / (effective * (total[:, :, np.newaxis] + 1.0))
        gained = -effective * np.log1p(-np.minimum(share, 1 - 1e-12)).sum(axis=0)
        score[:, inside] += gained[:, places_of_bins]
    return score


def _squared(values: Complexes) -> Floats:
    return np.asarray(values.real**2 + values.imag**2)


def _best_path(scores: Floats) -> Indices:
    """Return the best path of indices through the blocks under a random walk."""
    n_blocks, n_states = scores.shape
    reach = min(int(np.ceil(6 * HOP_WALK_HZ / GRID_HZ)), n_states - 1)
    moves = np.arange(-reach, reach + 1)
    price = (moves * GRID_HZ) ** 2 / (2 * HOP_WALK_HZ**2)
    best = scores[0]
    came_from = np.zeros((n_blocks, n_states), dtype=np.int64)
    for block in range(1, n_blocks):
        padded = np.pad(best, reach, constant_values=-np.inf)
        options = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1) - price
        choice = options.argmax(axis=1)
        came_from[block] = np.arange(n_states) + moves[choice]
        best = options[np.arange(n_states), choice] + scores[block]
    path = np.empty(n_blocks, dtype=np.int64)
    path[-1] = int(best.argmax())
    for block in range(n_blocks - 1, 0, -1):
        path[block - 1] = came_from[block, path[block]]
    return path
