"""Distortion products: harmonics of one tone, intermodulation of two, as complex shares of the tones that cause them.

A product's phase is counted from the phases of its tones, so that neither delay nor the place of the section in the
take matters: two takes of one path have the same complex shares, and what a device adds is their difference.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from humcheck.estimates.tones.blocks import (
    BlockGrid,
    Complexes,
    Floats,
    Trajectory,
    block_grid,
    demodulate,
    demodulate_hann,
    fold,
    moments,
)
from humcheck.estimates.tones.fit import ToneFit
from humcheck.estimates.tones.intervals import PowerEstimate, line_power
from humcheck.estimates.tones.lock import Lock, mean_amplitude
from humcheck.estimates.tones.residual import density_in_blocks

#: Products must lie below this share of the sampling rate: above it recorders roll off.
BAND_SHARE = 0.48
#: Edges of the weight for products, as a share of the section: data frames leave lines at multiples of 1 kHz, 6 Hz and
#: more beside the harmonics of 997 Hz, and mains harmonics come as near. They leak by less than -80 dB, for 12 % more
#: noise.
EDGE_SHARE = 0.25
#: A line of the bench at a product's place counts as noise where it stands this far out of the noise (power).
_STANDS_OUT = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Products:
    """Distortion products of one or two tones.

    Attributes
    ----------
    multiples : numpy.ndarray of int, shape (n_products, n_tones)
        Each product lies at the sum of multiples times the tones' frequencies.
    share : numpy.ndarray, shape (n_products, n_channels)
        Complex amplitude over the reference amplitude, phase re that of the same multiples of the tones' phases.
    noise : numpy.ndarray, shape (n_products, n_channels)
        Variance of `share`.
    left_out : numpy.ndarray of int, shape (n_left_out, n_tones)
        Multiples of products that the band has no room for.
    """

    multiples: NDArray[np.int64]
    share: Complexes
    noise: Floats
    left_out: NDArray[np.int64]

    @property
    def order(self) -> NDArray[np.int64]:
        """Order of each product, shape (n_products,): the sum of the magnitudes of its multiples."""
        return np.asarray(np.abs(self.multiples).sum(axis=1))

    def total(self, channel: int, order: int | None = None) -> PowerEstimate:
        """Return the sum of the squared shares in a channel, of one order or of all, with interval and bound."""
        chosen = slice(None) if order is None else self.order == order
        return line_power(np.abs(self.share[chosen, channel]) ** 2, self.noise[chosen, channel])

    def inverted(self) -> Products:
        """Return the same products as they would be with the whole path's polarity turned."""
        sign = np.where(self.multiples.sum(axis=1) % 2 == 0, -1.0, 1.0)
        return replace(self, share=self.share * sign[:, None])

    def turned(self, angle_rad: Sequence[float]) -> Products:
        """Return the same products seen against tones whose phases are turned by these angles, shape (n_tones,)."""
        return replace(self, share=self.share * np.exp(-1j * (self.multiples @ np.asarray(angle_rad)))[:, None])


def measure_products(
    rest: Floats,
    lock: Lock,
    tones: ToneFit,
    multiples: Sequence[Sequence[int]],
    reference: Floats,
    background: Floats | None = None,
) -> Products:
    """Measure distortion products of tones.

    Parameters
    ----------
    rest : numpy.ndarray, shape (n_samples, n_channels)
        The section without the tones themselves.
    lock : Lock
        The clock along it.
    tones : ToneFit
        The tones.
    multiples : sequence, (n_products, n_tones)
        Which products.
    reference : numpy.ndarray, shape (n_channels,)
        Amplitude that shares refer to.
    background : numpy.ndarray, shape (n_samples, n_channels), optional
        An equally long stretch without these products: lines that the bench itself has at their places are read
        there and count as noise, since their phase is not known.
    """
    wanted = np.asarray(multiples, dtype=np.int64).reshape(-1, len(tones.frequency_hz))
    places_hz = wanted @ tones.frequency_hz
    fits = (places_hz > 0.0) & (places_hz < BAND_SHARE * lock.grid.rate_hz)
    kept, places_hz = wanted[fits], places_hz[fits]
    grid = block_grid(lock.grid.n_samples, lock.grid.rate_hz, lock.grid.n_samples / lock.grid.rate_hz, EDGE_SHARE)
    amplitude, noise = lines_along(rest, grid, lock.path, places_hz)
    if background is not None and len(kept):
        still, _ = lines_along(background, grid, lock.path, places_hz)
        noise = np.where(np.abs(still) ** 2 > _STANDS_OUT * noise, noise + np.abs(still) ** 2, noise)
    spin = np.exp(-1j * (kept @ np.angle(tones.amplitude)))
    scale = np.maximum(reference, 1e-20)
    return Products(multiples=kept, share=amplitude * spin / scale, noise=noise / scale**2, left_out=wanted[~fits])


def lines_along(samples: Floats, grid: BlockGrid, path: Trajectory, frequency_hz: Floats) -> tuple[Complexes, Floats]:
    """Return complex amplitudes at frequencies that follow a clock, and their variance from the noise beside them.

    Both have shape (n_frequencies, n_channels).
    """
    if len(frequency_hz) == 0:
        return np.zeros((0, samples.shape[1]), dtype=np.complex128), np.zeros((0, samples.shape[1]))
    sums = moments(fold(samples, grid), grid, frequency_hz, path.mean_slope_s)
    amplitude = mean_amplitude(demodulate(sums, grid, path), grid)
    density = density_in_blocks(grid, demodulate_hann(sums, grid, path), amplitude)
    return amplitude, density * grid.noise_gain
