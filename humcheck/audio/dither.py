"""Dither and rounding to the steps of a fixed word length.

Full scale is 1.0, so a word of `bits` bits has steps of ``2 / 2**bits`` and reaches from -1 to one step below +1.

References
----------
.. [1] S. P. Lipshitz, R. A. Wannamaker, J. Vanderkooy, "Quantization and dither: a theoretical survey", JAES 40(5),
   1992: triangular dither two steps wide makes mean and power of the error independent of the signal.
"""

from __future__ import annotations

import numpy as np

from humcheck.audio.levels import Floats


def step_size(bits: int) -> float:
    """Return the step of a word of `bits` bits, full scale = 1.0.

    Raises
    ------
    ValueError
        If `bits` is not in 2...32.
    """
    if not 2 <= bits <= 32:
        raise ValueError(f"bits must be between 2 and 32, got {bits}")
    return 2.0 ** (1 - bits)


def tpdf_dither(shape: int | tuple[int, ...], bits: int, rng: np.random.Generator) -> Floats:
    """Return triangular dither of two steps peak to peak, to be added before rounding.

    Parameters
    ----------
    shape : int or tuple of int
        Shape of the array wanted.
    bits : int
        Word length that the sum will be rounded to.
    rng : numpy.random.Generator
        Source of randomness.

    Notes
    -----
    Mean square ``step**2 / 6``; with the rounding error of ``step**2 / 12`` the total is ``step**2 / 4``.
    """
    return (rng.random(shape) - rng.random(shape)) * step_size(bits)


def quantise(samples: Floats, bits: int) -> Floats:
    """Round samples to the steps of a word of `bits` bits and clip what does not fit; still float64."""
    step = step_size(bits)
    return np.clip(np.rint(samples / step), -(2.0 ** (bits - 1)), 2.0 ** (bits - 1) - 1.0) * step
