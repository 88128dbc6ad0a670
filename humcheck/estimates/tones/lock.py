"""Following a tone's clock: track time along a section, refined until the tones stand still.

The track time that the markers give is good to a fraction of a microsecond; without markers it is the take's own
nominal time. What is left is a smooth error: a constant is the tone's phase, a slope its frequency, the rest wander.
The error is a short polynomial, fitted by Newton's method on the likelihood of all tones and channels together.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from humcheck.estimates.tones.blocks import (
    BlockGrid,
    BlockMoments,
    Complexes,
    Floats,
    Trajectory,
    demodulate,
    demodulate_hann,
    demodulate_slope,
    fold,
    moments,
)

#: Track time in seconds at sample indices of the section.
TrackTime = Callable[[Floats], Floats]

#: Consumer clocks keep 1000 ppm (IEC 60958-3, level II); two of them may differ by twice that.
SEARCH_PPM = 2000.0
#: Highest order of the clock's polynomial that a tone bears, by its energy over noise density in dB, strongest first.
BEARABLE = ((60.0, 6), (34.0, 3), (14.0, 1))
HIGHEST_ORDER = BEARABLE[0][1]
_PASSES = 6
_ROUGH_RAD = 1e-2
_FINE_RAD = 1e-7
_PADDING = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Lock:
    """A section whose track time follows its tones.

    Attributes
    ----------
    grid : BlockGrid
        Blocks and weights.
    path : Trajectory
        Refined track time.
    frequency_hz : numpy.ndarray, shape (n_tones,)
        Track frequencies of the tones.
    block_sums, hann_sums : numpy.ndarray, shape (n_tones, n_channels, n_blocks)
        Each block's sum against each tone along `path`; plain, and with a Hann window in each block.
    order : int
        Order of the polynomial that was fitted: 0 none, 1 frequency, 2 and more wander.
    """

    grid: BlockGrid
    path: Trajectory
    frequency_hz: Floats
    block_sums: Complexes
    hann_sums: Complexes
    order: int

    @property
    def amplitude(self) -> Complexes:
        """Complex amplitudes, ``x = Re(amplitude exp(j 2 pi f t))``, shape (n_tones, n_channels)."""
        return mean_amplitude(self.block_sums, self.grid)


def mean_amplitude(block_sums: Complexes, grid: BlockGrid) -> Complexes:
    """Return complex amplitudes, shape (n_tones, n_channels), from the sums of all blocks."""
    return np.asarray(2.0 * block_sums.sum(axis=2) / grid.sums.sum())


def lock_to_tones(
    samples: Floats,
    frequency_hz: Floats,
    grid: BlockGrid,
    *,
    track_time: TrackTime | None = None,
    order: int = HIGHEST_ORDER,
) -> Lock:
    """Follow tones whose track frequencies are known.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        Section with the tones sounding throughout.
    frequency_hz : numpy.ndarray, shape (n_tones,)
        Frequencies by the track's clock.
    grid : BlockGrid
        For that many samples.
    track_time : callable, optional
        Track time in seconds at sample indices; by default index over rate, and the frequency is searched for.
    order : int, optional
        Highest order of the polynomial; less is used where the tones are too weak to bear it.
    """
    start = starting_path(grid, track_time)
    folded = fold(samples, grid)
    sums = moments(folded, grid, frequency_hz, start.mean_slope_s)
    rate_error, snr_db = _coarse_rate(demodulate(sums, grid, start), grid, frequency_hz)
    used = min(order, _bearable_order(snr_db, known=track_time is not None))
    path = start
    if used:
        if rate_error:
            path = _bent(start, *_basis(grid, 1), np.array([rate_error * start.mean_slope_s * _half_length(grid)]))
            sums = moments(folded, grid, frequency_hz, path.mean_slope_s)
        for stage in sorted({1, min(used, 3), used}):
            path = _follow(sums, grid, path, stage, _ROUGH_RAD)
        # Once more from sums made at the clock's own speed: the expansion within a block is then exact to 1e-9.
        sums = moments(folded, grid, frequency_hz, path.mean_slope_s)
        path = _follow(sums, grid, path, used, _FINE_RAD)
    return Lock(
        grid=grid,
        path=path,
        frequency_hz=frequency_hz,
        block_sums=demodulate(sums, grid, path),
        hann_sums=demodulate_hann(sums, grid, path),
        order=used,
    )


def starting_path(grid: BlockGrid, track_time: TrackTime | None) -> Trajectory:
    """Return track time as given, or the take's nominal time from the section's start."""
    if track_time is None:
        slope = np.full(len(grid.centre_index), 1.0 / grid.rate_hz)
        return Trajectory(time_s=grid.centre_index / grid.rate_hz, slope_s=slope)
    ends = np.append(grid.centre_index - grid.half_block, grid.centre_index[-1] + grid.half_block)
    time_s = track_time(ends)
    slope_s = np.diff(time_s) / (2.0 * grid.half_block)
    return Trajectory(time_s=0.5 * (time_s[1:] + time_s[:-1]), slope_s=slope_s)


def rate_sd(lock: Lock, density: Floats) -> float:
    """Return the relative standard uncertainty of the tones' frequencies for noise of these densities.

    Parameters
    ----------
    lock : Lock
        The tones.
    density : numpy.ndarray, shape (n_tones, n_channels)
        Noise beside them, mean square per Hz.

    Returns
    -------
    float
        Where there is no sound at all, the range that was searched.
    """
    basis, _ = _basis(lock.grid, max(lock.order, 1))
    gain = _phase_weight(lock.amplitude, lock.frequency_hz)
    if not gain.any():
        return SEARCH_PPM * 1e-6
    information = (basis * lock.grid.sums) @ basis.T * gain.sum()
    scatter = (basis * lock.grid.square_sums) @ basis.T * float(np.sum(gain**2 * _time_noise(lock, density)))
    inverse = np.linalg.inv(information)
    covariance = inverse @ scatter @ inverse
    line = _line_of(basis, lock.grid)
    return float(np.sqrt(line @ covariance @ line)) / lock.path.mean_slope_s


def _time_noise(lock: Lock, density: Floats) -> Floats:
    """Return the variance, for each unit of weight, with which noise shifts a tone in time."""
    power = np.maximum(np.abs(lock.amplitude) ** 2, 1e-40)
    omega = 2.0 * np.pi * lock.frequency_hz[:, None]
    return np.asarray(density * lock.grid.rate_hz / (power * omega**2))


def _coarse_rate(block_sums: Complexes, grid: BlockGrid, frequency_hz: Floats) -> tuple[float, float]:
    """Return the relative frequency error at the highest peak, and the peak over the noise around it in dB.

    The tone that tells most about the clock is looked at: a high one, if it is there.
    """
    told = frequency_hz**2 * np.sum(np.abs(block_sums) ** 2, axis=(1, 2))
    index = int(np.argmax(told))
    n_bins = _PADDING * block_sums.shape[2]
    power = np.sum(np.abs(np.fft.fft(block_sums[index], n_bins, axis=1)) ** 2, axis=0)
    offset_hz = np.fft.fftfreq(n_bins, len(grid.offset) / grid.rate_hz)
    inside = np.abs(offset_hz) <= SEARCH_PPM * 1e-6 * frequency_hz[index] + 1.0 / (n_bins / _PADDING * _block_s(grid))
    peak = int(np.argmax(np.where(inside, power, 0.0)))
    noise = max(float(np.median(power)) / np.log(2.0), 1e-300)
    return float(offset_hz[peak] / frequency_hz[index]), float(10.0 * np.log10(max(power[peak] / noise, 1.0)))


def _bearable_order(snr_db: float, *, known: bool) -> int:
    order = next((order for least_db, order in BEARABLE if snr_db >= least_db), 0)
    return order if known else max(order, 1)


def _follow(sums: BlockMoments, grid: BlockGrid, path: Trajectory, order: int, until_rad: float) -> Trajectory:
    """Return `path` bent so that the tones' phases stand still, by Gauss-Newton, until a pass bends by this little."""
    basis, slopes = _basis(grid, order)
    shape = (basis * grid.sums) @ basis.T
    omega = 2.0 * np.pi * sums.frequency_hz[:, None]
    for _ in range(_PASSES):
        block_sums = demodulate(sums, grid, path)
        amplitude = mean_amplitude(block_sums, grid)
        weight = _phase_weight(amplitude, sums.frequency_hz)
        # The imaginary part is the phase times half the squared amplitude; over omega it is time.
        direction = np.conj(amplitude) * 2.0 * omega
        pull = np.imag(np.einsum("tc,tcb->b", direction, block_sums))
        # Constant weights within a block would let in what beats with the block rate: they slope as the basis does.
        lean = np.imag(np.einsum("tc,tcb->b", direction, demodulate_slope(sums, grid, path)))
        force = basis @ pull + slopes @ lean * grid.half_block
        bend = np.linalg.solve(shape * max(float(weight.sum()), 1e-300), force)
        path = _bent(path, basis, slopes, bend)
        if np.max(np.abs(bend)) * np.max(omega) < until_rad:
            break
    return path


def _phase_weight(amplitude: Complexes, frequency_hz: Floats) -> Floats:
    """Return how much each tone tells about time, shape (n_tones, n_channels)."""
    return np.asarray((2.0 * np.pi * frequency_hz[:, None]) ** 2 * np.abs(amplitude) ** 2)


def _basis(grid: BlockGrid, order: int) -> tuple[Floats, Floats]:
    """Return Legendre polynomials 1 to `order` at the blocks, without their mean, and their slopes a sample."""
    place = (grid.centre_index - 0.5 * (grid.n_samples - 1)) / _half_length(grid)
    values, slopes = [np.ones_like(place), place], [np.zeros_like(place), np.ones_like(place)]
    for degree in range(1, order):
        values.append(((2 * degree + 1) * place * values[degree] - degree * values[degree - 1]) / (degree + 1))
        slopes.append(slopes[degree - 1] + (2 * degree + 1) * values[degree])
    basis = np.array(values[1 : order + 1])
    basis -= (basis @ grid.sums / grid.sums.sum())[:, None]
    return basis, np.array(slopes[1 : order + 1]) / _half_length(grid)


def _bent(path: Trajectory, basis: Floats, slopes: Floats, bend: Floats) -> Trajectory:
    """Return `path` plus a polynomial, `bend` in seconds."""
    return Trajectory(time_s=path.time_s + bend @ basis, slope_s=path.slope_s + bend @ slopes)


def line_slope(path: Trajectory, grid: BlockGrid) -> float:
    """Return the slope of the straight line through `path`, track seconds a sample."""
    return float(_line_of(path.time_s[None, :], grid)[0])


def _line_of(rows: Floats, grid: BlockGrid) -> Floats:
    """Return the slope a sample of the straight line through each of `rows`, (n_rows, n_blocks)."""
    centred = grid.centre_index - grid.centre_index @ grid.sums / grid.sums.sum()
    weighted = centred * grid.sums
    return np.asarray(rows @ weighted / (centred @ weighted))


def _half_length(grid: BlockGrid) -> float:
    return 0.5 * grid.n_samples


def _block_s(grid: BlockGrid) -> float:
    return len(grid.offset) / grid.rate_hz
