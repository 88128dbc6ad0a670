"""Short-time sums: a section of sound reduced to a few numbers per 10 ms block and tone.

A tone that follows a wandering clock is fitted many times over. Each fit needs only how the sound looks against
the tone within short blocks; over one block the phase is a straight line to within 1e-9, so the sums of a block with
powers 0, 1 and 2 of the time within it hold all that any fit can ask for. They are made by one matrix product.
A fourth sum, with a Hann window in each block, keeps far tones out and shows the noise beside the tone.

The section is weighted by a window that is flat but for short soft edges: hum, harmonics and a constant then leak
into a tone by less than -100 dB, at a loss of efficiency of a few percent (see `BlockGrid.efficiency`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humcheck.tracks.envelopes import edge

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

BLOCK_S = 0.01
#: Length of a soft edge of the weight, and the most of a section that one edge may take.
EDGE_S = 0.1
MOST_EDGE_SHARE = 0.08
#: Powers 0 to 2 of the time within a block, and the sum with the Hann window.
N_MOMENTS = 4
HANN = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockGrid:
    """How a section is cut into blocks and weighted.

    Attributes
    ----------
    rate_hz : float
        Sampling rate.
    n_samples : int
        Length of the section.
    weight : numpy.ndarray, shape (n_blocks, n_block)
        The weight of each sample, 0 past the end of the section.
    centre_index : numpy.ndarray, shape (n_blocks,)
        Index of each block's middle in the section.
    offset : numpy.ndarray, shape (n_block,)
        Index within a block, counted from its middle.
    sums, square_sums : numpy.ndarray, shape (n_blocks,)
        Sum of the weights, and of their squares, in each block.
    """

    rate_hz: float
    n_samples: int
    weight: Floats
    centre_index: Floats
    offset: Floats
    sums: Floats
    square_sums: Floats

    @property
    def noise_gain(self) -> float:
        """Variance of a complex amplitude for white noise of density 1 per Hz (one-sided mean square)."""
        return 2.0 * self.rate_hz * float(self.square_sums.sum() / self.sums.sum() ** 2)

    @property
    def efficiency(self) -> float:
        """Standard deviation of an amplitude at the Cramer-Rao bound over the one reached; 1 without edges."""
        return float(self.sums.sum() / np.sqrt(self.n_samples * self.square_sums.sum()))

    @property
    def hann(self) -> Floats:
        """The Hann window of a block, shape (n_block,)."""
        return np.asarray(np.cos(0.5 * np.pi * self.offset / self.half_block) ** 2)

    @property
    def half_block(self) -> float:
        """Half the length of a block, in samples."""
        return 0.5 * len(self.offset)


def block_grid(
    n_samples: int, rate_hz: float, edge_s: float = EDGE_S, most_share: float = MOST_EDGE_SHARE
) -> BlockGrid:
    """Return the grid for a section of `n_samples`; each edge takes at most `most_share` of it."""
    n_block = max(round(BLOCK_S * rate_hz), 8)
    n_blocks = -(-n_samples // n_block)
    n_edge = min(int(edge_s * rate_hz), int(most_share * n_samples))
    weight = np.zeros(n_blocks * n_block)
    weight[:n_samples] = 1.0
    if n_edge:
        rise = edge((np.arange(n_edge) + 0.5) / n_edge)
        weight[:n_edge] = rise
        weight[n_samples - n_edge : n_samples] = rise[::-1]
    return grid_of_weight(weight.reshape(n_blocks, n_block), n_samples, rate_hz)


def grid_of_weight(weight: Floats, n_samples: int, rate_hz: float) -> BlockGrid:
    """Return the grid with these weights, (n_blocks, n_block)."""
    n_blocks, n_block = weight.shape
    middle = 0.5 * (n_block - 1)
    return BlockGrid(
        rate_hz=rate_hz,
        n_samples=n_samples,
        weight=weight,
        centre_index=np.arange(n_blocks, dtype=np.float64) * n_block + middle,
        offset=np.arange(n_block, dtype=np.float64) - middle,
        sums=np.asarray(weight.sum(axis=1)),
        square_sums=np.asarray(np.einsum("ij,ij->i", weight, weight)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Trajectory:
    """Track time along a section.

    Attributes
    ----------
    time_s : numpy.ndarray, shape (n_blocks,)
        Track time at the middle of each block, from a reference near the section's start.
    slope_s : numpy.ndarray, shape (n_blocks,)
        Track seconds for each sample of the take, block by block.
    """

    time_s: Floats
    slope_s: Floats

    @property
    def mean_slope_s(self) -> float:
        """Track seconds for each sample, mean over the section."""
        return float(self.slope_s.mean())


def fold(samples: Floats, grid: BlockGrid) -> Floats:
    """Return the weighted samples as (n_channels, n_blocks, n_block)."""
    n_blocks, n_block = grid.weight.shape
    folded = np.zeros((samples.shape[1], n_blocks * n_block))
    folded[:, : grid.n_samples] = samples.T
    return folded.reshape(-1, n_blocks, n_block) * grid.weight


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockMoments:
    """The sums of each block against each tone at one speed of the clock.

    Attributes
    ----------
    frequency_hz : numpy.ndarray, shape (n_tones,)
        Track frequencies of the tones.
    slope_s : float
        Track seconds for each sample at which the sums were made.
    values : numpy.ndarray, shape (n_tones, n_moments, n_channels, n_blocks)
        Moment q is the sum of ``x exp(-j 2 pi f slope n) (n / half_block)**q``, n counted from the block's middle;
        the last has the Hann window in place of the power.
    """

    frequency_hz: Floats
    slope_s: float
    values: Complexes


def moments(folded: Floats, grid: BlockGrid, frequency_hz: Floats, slope_s: float) -> BlockMoments:
    """Return the sums of the blocks of `folded` (from `fold`) against tones."""
    kernel = _kernel(grid, frequency_hz, slope_s)
    n_channels, n_blocks, n_block = folded.shape
    stacked = np.concatenate([kernel.real, kernel.imag], axis=1)
    sums = folded.reshape(-1, n_block) @ stacked
    half = kernel.shape[1]
    together = sums[:, :half] + 1j * sums[:, half:]
    values = together.reshape(n_channels, n_blocks, len(frequency_hz), N_MOMENTS).transpose(2, 3, 0, 1)
    return BlockMoments(frequency_hz=frequency_hz, slope_s=slope_s, values=values)


def demodulate(sums: BlockMoments, grid: BlockGrid, path: Trajectory) -> Complexes:
    """Return each block's sum against tones that follow `path`, shape (n_tones, n_channels, n_blocks).

    The clock's speed along `path` must be near that of `sums`: 100 ppm of 10 kHz cost 5e-6 of the sum.
    """
    turn, lean = _turn_and_lean(grid, path, sums.frequency_hz, sums.slope_s)
    values = sums.values
    bent = values[:, 0] - 1j * lean * values[:, 1] - 0.5 * lean**2 * values[:, 2]
    return np.asarray(np.conj(turn) * bent)


def demodulate_slope(sums: BlockMoments, grid: BlockGrid, path: Trajectory) -> Complexes:
    """Return the same sums with each sample counted by its offset from the block's middle, in half blocks."""
    turn, lean = _turn_and_lean(grid, path, sums.frequency_hz, sums.slope_s)
    return np.asarray(np.conj(turn) * (sums.values[:, 1] - 1j * lean * sums.values[:, 2]))


def demodulate_hann(sums: BlockMoments, grid: BlockGrid, path: Trajectory) -> Complexes:
    """Return the same sums with the Hann window in each block; shape as before."""
    turn, _ = _turn_and_lean(grid, path, sums.frequency_hz, sums.slope_s)
    return np.asarray(np.conj(turn) * sums.values[:, HANN])


def synthesise(grid: BlockGrid, path: Trajectory, frequency_hz: Floats, amplitude: Complexes) -> Floats:
    """Return the sum of tones ``Re(amplitude exp(j 2 pi f t))`` that follow `path`.

    Parameters
    ----------
    grid, path : BlockGrid, Trajectory
        Where the blocks are and which track time they hold.
    frequency_hz : numpy.ndarray, shape (n_tones,)
        Track frequency of each tone.
    amplitude : numpy.ndarray, shape (n_tones, n_channels)
        Complex amplitudes at track time 0 of `path`.

    Returns
    -------
    numpy.ndarray, shape (n_samples, n_channels)
    """
    slope_s = path.mean_slope_s
    turn, lean = _turn_and_lean(grid, path, frequency_hz, slope_s)
    kernel = np.conj(_kernel(grid, frequency_hz, slope_s)).T
    base = amplitude[:, :, None] * turn  # (n_tones, n_channels, n_blocks)
    powers = np.stack([base, 1j * lean * base, -0.5 * lean**2 * base, np.zeros_like(base)], axis=-1)
    parts = powers.transpose(1, 2, 0, 3).reshape(amplitude.shape[1], len(path.time_s), -1)
    sound = np.concatenate([parts.real, parts.imag], axis=2) @ np.concatenate([kernel.real, -kernel.imag], axis=0)
    return np.ascontiguousarray(sound.reshape(amplitude.shape[1], -1)[:, : grid.n_samples].T)


def _kernel(grid: BlockGrid, frequency_hz: Floats, slope_s: float) -> Complexes:
    """Return what `BlockMoments` sums against, shape (n_block, n_tones * n_moments)."""
    spin = np.exp(-2j * np.pi * slope_s * grid.offset[:, None] * frequency_hz)
    rho = grid.offset / grid.half_block
    place = np.stack([np.ones_like(rho), rho, rho**2, grid.hann], axis=1)
    return np.asarray((spin[:, :, None] * place[:, None, :]).reshape(len(grid.offset), -1))


def _turn_and_lean(grid: BlockGrid, path: Trajectory, frequency_hz: Floats, slope_s: float) -> tuple[Complexes, Floats]:
    """Return the tones' phasors at the middles, and how far their phase leans off the even step at half a block.

    Both have shape (n_tones, 1, n_blocks).
    """
    cycles = frequency_hz[:, None, None] * path.time_s
    turn = np.exp(2j * np.pi * (cycles - np.rint(cycles)))
    lean = 2.0 * np.pi * frequency_hz[:, None, None] * (path.slope_s - slope_s) * grid.half_block
    return turn, lean
