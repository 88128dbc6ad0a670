"""Power spectra scaled so that powers add up: one-sided mean square in every bin."""

from __future__ import annotations


def fast_length(n_samples: int) -> int:
    """Return the next length at or above `n_samples` at which a real FFT is fast.

    A real FFT of an awkward length costs eleven times that of a fast one: always pad to this.
    """
    import scipy.fft

    return int(scipy.fft.next_fast_len(max(n_samples, 1), real=True))
