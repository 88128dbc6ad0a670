"""A tone that climbs in steps: gain at each level, and how it moves within each step.

A linear path shows the same gain at every level, from the start of each step to its end. A level control, a limiter, a
clipped input or a noise gate does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import amplitude_to_dbfs
from humcheck.estimates.tones.blocks import (
    BlockGrid,
    Complexes,
    Floats,
    block_grid,
    demodulate,
    demodulate_hann,
    fold,
    grid_of_weight,
    moments,
)
from humcheck.estimates.tones.fit import DB_PER_NEPER
from humcheck.estimates.tones.lock import TrackTime, starting_path
from humcheck.estimates.tones.movement import movement
from humcheck.estimates.tones.residual import density_in_blocks

#: Edge of each step's weight.
_EDGE_S = 0.03
#: Freedom of the clock within a step: a straight line and a bend.
_CLOCK_ORDER = 2
_PASSES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """The steps of a tone as received.

    Attributes
    ----------
    nominal_dbfs : numpy.ndarray, shape (n_steps,)
        Levels in the track.
    gain_db, sd_db : numpy.ndarray, shape (n_steps, n_channels)
        Level as received minus nominal, and its standard uncertainty from noise.
    change_db : numpy.ndarray, shape (n_steps, n_channels)
        Rise of the level within each step.
    unrest_db : numpy.ndarray, shape (n_steps, n_channels)
        RMS movement of 10 ms means within each step beside that: what hum that beats with the tone may do.
    heard : numpy.ndarray of bool, shape (n_steps, n_channels)
        Whether the step stands out of the noise.
    """

    nominal_dbfs: Floats
    gain_db: Floats
    sd_db: Floats
    change_db: Floats
    unrest_db: Floats
    heard: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    level_dbfs: Floats
    sd_db: Floats
    change_db: Floats
    unrest_db: Floats
    heard: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]


def measure_steps(
    samples: Floats,
    rate_hz: float,
    frequency_hz: float,
    nominal_dbfs: Sequence[float],
    windows: Sequence[tuple[int, int]],
    *,
    track_time: TrackTime | None = None,
) -> Steps:
    """Measure a tone that climbs in steps.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        All steps.
    rate_hz, frequency_hz : float
        Sampling rate, and the tone's frequency by the track's clock.
    nominal_dbfs : sequence of float, one a step
        Levels in the track.
    windows : sequence of (start, stop), one a step
        First and one past the last sample of the steady part of each step; at least a block apart.
    track_time : callable, optional
        Track time at sample indices; it must be good to a tenth of a period over a step.
    """
    grid = _grid_of_windows(len(samples), rate_hz, windows)
    path = starting_path(grid, track_time)
    sums = moments(fold(samples, grid), grid, np.array([frequency_hz]), path.mean_slope_s)
    plain, hann = demodulate(sums, grid, path), demodulate_hann(sums, grid, path)
    steps = [_measure_step(grid, plain, hann, start, stop) for start, stop in windows]
    nominal = np.asarray(nominal_dbfs, dtype=np.float64)
    return Steps(
        nominal_dbfs=nominal,
        gain_db=np.array([step.level_dbfs for step in steps]) - nominal[:, None],
        sd_db=np.array([step.sd_db for step in steps]),
        change_db=np.array([step.change_db for step in steps]),
        unrest_db=np.array([step.unrest_db for step in steps]),
        heard=np.array([step.heard for step in steps]),
    )


def _grid_of_windows(n_samples: int, rate_hz: float, windows: Sequence[tuple[int, int]]) -> BlockGrid:
    whole = block_grid(n_samples, rate_hz)
    weight = np.zeros(whole.weight.size)
    for start, stop in windows:
        length = stop - start
        weight[start:stop] = block_grid(length, rate_hz, _EDGE_S).weight.ravel()[:length]
    return grid_of_weight(weight.reshape(whole.weight.shape), n_samples, rate_hz)


def _measure_step(grid: BlockGrid, plain: Complexes, hann: Complexes, start: int, stop: int) -> _Step:
    n_block = len(grid.offset)
    blocks = slice(start // n_block, -(-stop // n_block))
    own = grid_of_weight(grid.weight[blocks], (blocks.stop - blocks.start) * n_block, grid.rate_hz)
    turn = np.exp(-1j * _phase_error(plain[0, :, blocks], own))
    plain, hann = plain[:, :, blocks] * turn, hann[:, :, blocks] * turn
    amplitude = 2.0 * plain.sum(axis=2) / own.sums.sum()
    noise = density_in_blocks(own, hann, amplitude)[0] * own.noise_gain
    power = np.abs(amplitude[0]) ** 2
    own_power = np.maximum(power - noise, 1e-40)
    moved = movement(hann[0], own.weight @ own.hann)
    return _Step(
        level_dbfs=amplitude_to_dbfs(np.sqrt(own_power)),
        sd_db=DB_PER_NEPER * np.sqrt(0.5 * noise / own_power),
        change_db=moved.change_db,
        unrest_db=moved.unrest_db,
        heard=power > 100.0 * noise,
    )


def _phase_error(sums: Complexes, own: BlockGrid) -> Floats:
    """Return the phase along a step that the clock given leaves, shape (n_blocks,)."""
    place = np.linspace(-1.0, 1.0, sums.shape[1])
    basis = np.array([place**degree for degree in range(1, _CLOCK_ORDER + 1)])
    basis -= (basis @ own.sums / own.sums.sum())[:, None]
    shape = (basis * own.sums) @ basis.T
    error = np.zeros(sums.shape[1])
    for _ in range(_PASSES):
        still = sums * np.exp(-1j * error)
        mean = still.sum(axis=1)
        pull = np.imag(np.conj(mean) @ still) * own.sums.sum() / max(float(np.sum(np.abs(mean) ** 2)), 1e-300)
        error = error + np.linalg.solve(shape, basis @ pull) @ basis
    return error
