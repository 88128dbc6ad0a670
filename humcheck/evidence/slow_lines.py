"""Lines followed by an amplitude that changes slowly: what swells and fades, and lines whose phase is not known."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import Floats

Complexes = npt.NDArray[np.complex128]

#: Half-width of the band that is cut out around each line.
_BAND_HZ = 8.0
#: Fade of the stretch below which its samples tell too little.
_LEAST_FADE = 0.3
#: Power that is explained, over what is left, each by its degrees of freedom: noise alone reaches this once in 10000.
_LEAST_RATIO = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SlowLine:
    """One line to follow.

    Attributes
    ----------
    frequency_hz : float
        Its mean frequency.
    beside : numpy.ndarray, shape (n_points,)
        Its phase beside that of a steady tone, in radians, on the grid of `grid_s`.
    """

    frequency_hz: float
    beside: Floats


def grid_s(duration_s: float) -> Floats:
    """Return the times at which narrow bands are sampled, from the stretch's start, shape (n_points,)."""
    n_points = 2 * _half_band(duration_s)
    return np.arange(n_points, dtype=np.float64) * (duration_s / n_points)


def follow(
    spectrum: Complexes,
    duration_s: float,
    fade: Callable[[int], Floats],
    lines: Sequence[SlowLine],
    *,
    knot_s: float,
) -> Complexes:
    """Return the part of a spectrum that follows given lines.

    Parameters
    ----------
    spectrum : numpy.ndarray, shape (n_channels, n_bins)
        FFT of a stretch that is faded at both ends.
    duration_s : float
        Length of the stretch: one over the distance of the bins.
    fade : callable
        Gives the fade on a grid of so many points over the stretch.
    lines : sequence of SlowLine
        They should be farther apart than their amplitudes change.
    knot_s : float
        Distance of the points between which amplitudes run straight.

    Returns
    -------
    numpy.ndarray, shape (n_channels, n_bins)
        Nothing at lines that do not stand out of the noise.
    """
    import scipy.fft

    half = _half_band(duration_s)
    found = np.zeros_like(spectrum)
    frequency_hz = np.array([line.frequency_hz for line in lines])
    centres = np.rint(frequency_hz * duration_s).astype(np.int64)
    if not len(lines):
        return found
    # In the order of the transform: from the centre up, then from below.
    bins = centres[:, np.newaxis] + np.fft.ifftshift(np.arange(-half, half))
    inside = (bins > 0) & (bins < spectrum.shape[1])
    band = scipy.fft.ifft(np.where(inside, spectrum[:, np.where(inside, bins, 0)], 0.0), axis=2)
    time_s, gain = grid_s(duration_s), fade(2 * half)
    turns = np.outer(frequency_hz - centres / duration_s, time_s)
    unit = np.exp(1j * (2 * np.pi * turns + np.stack([line.beside for line in lines])))
    basis = _hats(time_s, duration_s, knot_s)
    kept = gain > _LEAST_FADE
    turned = (band * unit.conj())[:, :, kept] / gain[kept]
    amplitude = turned @ np.linalg.pinv(basis[kept]).T
    amplitude[~_stands_out(turned, amplitude @ basis[kept].T, basis.shape[1])] = 0.0
    again = scipy.fft.fft((amplitude @ basis.T) * unit * gain, axis=2)
    for channel in range(len(spectrum)):
        np.add.at(found[channel], bins[inside], again[channel][inside])
    return found


def _half_band(duration_s: float) -> int:
    return max(int(np.ceil(_BAND_HZ * duration_s)), 4)


def _hats(time_s: Floats, duration_s: float, knot_s: float) -> Floats:
    """Return functions that rise and fall in straight lines from knot to knot, shape (n_points, n_knots)."""
    knots = np.linspace(0.0, duration_s, max(round(duration_s / knot_s), 1) + 1)
    return np.stack([np.interp(time_s, knots, row) for row in np.eye(knots.size)], axis=1)


def _stands_out(turned: Complexes, fitted: Complexes, n_free: int) -> npt.NDArray[np.bool_]:
    """Return for each channel and line whether the fit explains more than noise would let it."""
    explained = np.sum(np.abs(fitted) ** 2, axis=-1) / n_free
    left = np.sum(np.abs(turned - fitted) ** 2, axis=-1) / max(turned.shape[-1] - n_free, 1)
    return np.asarray(explained > _LEAST_RATIO * left)
