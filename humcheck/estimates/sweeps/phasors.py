"""Sums over turning phasors at any frequencies, without a row for each frequency.

An index is a multiple of the block length and a rest; a phasor is the product of a coarse and a fine one. So sums over
samples become products of small matrices, and an exponential, which costs twenty times a product, is seldom taken.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Reals = NDArray[np.floating[Any]]

_BLOCK = 64
#: Of so few frequencies all exponentials are taken sooner than products of them are laid out.
_FEW = 8


class Phasors:
    """``exp(2j pi turns n)`` for consecutive sample indices n.

    Parameters
    ----------
    turns : numpy.ndarray, shape (n_f,)
        Frequencies in turns a sample.
    local : numpy.ndarray of int, shape (n,)
        Consecutive indices, such as those of a kernel.
    """

    def __init__(self, turns: Reals, local: NDArray[np.intp]) -> None:
        self._n_samples = local.size
        n_coarse = -(-local.size // _BLOCK)
        if turns.size <= _FEW:
            self._fine = _phasor(np.arange(_BLOCK)[:, np.newaxis] * turns)
            self._coarse = _phasor((local[0] + _BLOCK * np.arange(n_coarse))[:, np.newaxis] * turns)
            return
        doublings = 1 << np.arange((_BLOCK - 1).bit_length() + (n_coarse - 1).bit_length())
        steps = _phasor(np.append(doublings, local[0])[:, np.newaxis] * turns)
        self._fine = _turning(steps[: (_BLOCK - 1).bit_length()], _BLOCK)
        self._coarse = steps[-1] * _turning(steps[(_BLOCK - 1).bit_length() : -1], n_coarse)

    def rows(self) -> Complexes:
        """Return the phasors themselves, shape (n_f, n)."""
        products = self._coarse.T[:, :, np.newaxis] * self._fine.T[:, np.newaxis]
        return np.asarray(products.reshape(len(products), -1)[:, : self._n_samples])

    def sums(self, rows: Floats) -> Complexes:
        """Return the sum over samples of each row times each phasor.

        Parameters
        ----------
        rows : numpy.ndarray, shape (n_rows, n)
            Real.

        Returns
        -------
        numpy.ndarray, shape (n_rows, n_f)
        """
        blocks = np.zeros((len(rows), len(self._coarse) * _BLOCK))
        blocks[:, : self._n_samples] = rows
        # Real parts and imaginary parts in one real product: a third of a mixed one.
        inner = (blocks.reshape(-1, _BLOCK) @ self._fine.view(np.float64)).view(np.complex128)
        return np.asarray(np.einsum("raf,af->rf", inner.reshape(len(rows), *self._coarse.shape), self._coarse))

    def waves(self, amplitudes: Complexes) -> Complexes:
        """Return the sum over frequencies of each phasor times its amplitude.

        Parameters
        ----------
        amplitudes : numpy.ndarray, shape (n_rows, n_f)
            Complex.

        Returns
        -------
        numpy.ndarray, shape (n_rows, n)
        """
        blocks = (amplitudes[:, np.newaxis] * self._coarse) @ self._fine.T
        return np.asarray(blocks.reshape(len(amplitudes), -1)[:, : self._n_samples])


def _turning(steps: Complexes, n: int) -> Complexes:
    """Return n rows, each turned on by the same angles: from the phasors of once, twice, four times... these angles."""
    rows = np.empty((n, steps.shape[1]), dtype=np.complex128)
    rows[0] = 1.0
    done = 1
    for step in steps:
        more = min(done, n - done)
        np.multiply(rows[:more], step, out=rows[done : done + more])
        done += more
    return rows


def _phasor(turns: Reals) -> Complexes:
    # Without whole turns the angle keeps its digits.
    return np.asarray(np.exp(2j * np.pi * (turns - np.rint(turns))))
