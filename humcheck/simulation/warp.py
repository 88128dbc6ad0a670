"""Reading a band-limited signal between its samples, at positions that drift slowly: one clock heard by another.

Within a block the position is its mean plus a small rest. The mean is a phase slope of the block's spectrum; the rest
enters through the Jacobi-Anger expansion ``exp(j w e u) = J0(w e) + 2 sum j^m Jm(w e) Tm(u)``, whose number of terms
is chosen for an error below -160 dB. What lies above 0.49 of the rate fades away, as in any real converter.

References
----------
.. [1] M. Abramowitz, I. Stegun, Handbook of Mathematical Functions, 9.1.44 and 9.1.45 (Jacobi-Anger expansion).
"""

from __future__ import annotations

import numpy as np
from scipy import fft

from humcheck.audio.levels import Floats
from humcheck.simulation.components import Complexes
from humcheck.simulation.lowpass import REACH, low_pass_spectrum

_BLOCK = 8192
#: The expansion stops where its terms are below this, -166 dB.
_LEAST_TERM = 5e-9


def warp(samples: Floats, positions: Floats) -> Floats:
    """Return the signal at `positions`, in samples of the input; it is zero outside.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        Signal; content above 0.49 of its rate is lost.
    positions : numpy.ndarray, shape (n_out,)
        Where to read, rising smoothly by about one (within a few parts in a thousand) from one to the next.

    Returns
    -------
    numpy.ndarray, shape (n_out, n_channels)
        Relative error below -150 dB for content up to 0.49 of the rate.

    Raises
    ------
    ValueError
        If the positions do not rise by about one sample.
    """
    n_out = positions.size
    block = _block_length(positions)
    hop = block - 2 * REACH
    starts = range(0, n_out, hop)
    reach = max((_half_range(positions[start : start + hop]) for start in starts), default=0.0)
    terms = _terms(block, max(reach, 1e-6))
    # Channel by channel in memory: every step below works along one channel.
    source = np.ascontiguousarray(samples.T)
    warped = np.zeros((source.shape[0], n_out))
    for start in starts:
        stop = min(start + hop, n_out)
        _warp_block(source, positions[start:stop], warped[:, start:stop], terms, max(reach, 1e-6))
    return np.asarray(warped.T)


def _block_length(positions: Floats) -> int:
    if positions.size < 2:
        return _BLOCK
    step = np.diff(positions[:: max(1, positions.size // 1000)]) / max(1, positions.size // 1000)
    worst = float(np.abs(step - 1.0).max())
    if worst > 0.01:
        raise ValueError(f"positions must rise by about one sample, got a step off by {worst:.3g}")
    return _BLOCK if worst < 2.5e-4 else _BLOCK // 2


def _half_range(positions: Floats) -> float:
    rest = positions - np.arange(positions.size)
    return float(rest.max() - rest.min()) / 2 if rest.size else 0.0


def _terms(block: int, reach: float) -> Complexes:
    """Return the multiplier of each term of the expansion, shape (n_terms, n_bins)."""
    from scipy.special import jv

    omega = 2 * np.pi * np.arange(block // 2 + 1) / block
    low_pass = low_pass_spectrum(block)
    rows = []
    for order in range(200):
        bessel = jv(order, omega * reach) * (1.0 if order == 0 else 2.0)
        if order > np.pi * reach and np.abs(bessel).max() < _LEAST_TERM:
            break
        rows.append(1j**order * bessel * low_pass)
    return np.array(rows)


def _warp_block(
    source: Floats,
    positions: Floats,
    out: Floats,
    terms: Complexes,
    reach: float,
) -> None:
    """Fill `out`, shape (n_channels, n), with the source read at `positions`."""
    n_bins = terms.shape[1]
    block = 2 * (n_bins - 1)
    rest = positions - np.arange(positions.size)
    middle = (rest.max() + rest.min()) / 2
    whole = int(np.floor(middle))
    piece = _slice_with_zeros(source, whole - REACH, block)
    if not piece.any():
        return
    shift = np.exp(2j * np.pi * (middle - whole) / block * np.arange(n_bins))
    parts = fft.irfft((fft.rfft(piece) * shift)[:, np.newaxis, :] * terms, block, overwrite_x=True)
    parts = parts[:, :, REACH : REACH + positions.size]
    chebyshev = _chebyshev((rest - middle) / reach, terms.shape[0])
    np.einsum("cmn,mn->cn", parts, chebyshev, out=out)


def _slice_with_zeros(source: Floats, start: int, length: int) -> Floats:
    n = source.shape[1]
    if start >= 0 and start + length <= n:
        return source[:, start : start + length]
    piece = np.zeros((source.shape[0], length))
    low, high = max(start, 0), min(start + length, n)
    if low < high:
        piece[:, low - start : high - start] = source[:, low:high]
    return piece


def _chebyshev(u: Floats, n_terms: int) -> Floats:
    rows = np.empty((n_terms, u.size))
    rows[0] = 1.0
    if n_terms > 1:
        rows[1] = u
    for order in range(2, n_terms):
        rows[order] = 2 * u * rows[order - 1] - rows[order - 2]
    return rows
