"""The converter's low-pass: flat to 0.49 of the rate, gone at half of it, short enough for work in blocks.

References
----------
.. [1] J. F. Kaiser, "Nonrecursive digital filter design using the I0-sinh window function", Proc. IEEE ISCAS 1974:
   length and shape of the window for a wanted rejection.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy import fft

from humcheck.audio.levels import Floats

#: Share of the rate up to which nothing is lost.
PASS_BAND = 0.49

_REJECTION_DB = 160.0
_TAPS = int(np.ceil((_REJECTION_DB - 7.95) / (14.36 * (0.5 - PASS_BAND)))) // 2 * 2 + 1

#: Samples to either side that the filter mixes into one, with room for a shift by a few samples.
REACH = _TAPS // 2 + 8


@lru_cache(maxsize=8)
def low_pass_spectrum(block: int) -> Floats:
    """Return the filter's gain at the bins of a real transform of `block` samples; it has no delay."""
    offset = np.arange(_TAPS) - _TAPS // 2
    cut_off = (0.5 + PASS_BAND) / 2
    shape = 0.1102 * (_REJECTION_DB - 8.7)
    kernel = 2 * cut_off * np.sinc(2 * cut_off * offset) * np.kaiser(_TAPS, shape)
    circular = np.zeros(block)
    circular[offset % block] = kernel / kernel.sum()
    return np.asarray(fft.rfft(circular).real)
