"""Window functions in their periodic form, built without scipy.signal (whose import alone takes long).

References
----------
.. [1] F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier transform",
   Proc. IEEE 66(1), 1978.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats

# Terms of the cosine sums [1]; signs alternate. Flat top: the five-term window of scipy and others.
_COSINE_TERMS = {
    "boxcar": (1.0,),
    "hann": (0.5, 0.5),
    "blackmanharris": (0.35875, 0.48829, 0.14128, 0.01168),
    "flattop": (0.21557895, 0.41663158, 0.277263158, 0.083578947, 0.006947368),
}
# Kaiser's window with this parameter has side lobes below -138 dB: strong hum does not reach the hiss.
_STEEP_BETA = 18.0


@dataclass(frozen=True, slots=True)
class WindowShape:
    """What a window does to a spectrum.

    Attributes
    ----------
    overlap : float
        Share of a segment that the next one repeats, enough to use nearly all of the data.
    main_lobe_bins : float
        Half the width of the main lobe, between its zeros.
    """

    overlap: float
    main_lobe_bins: float


WINDOWS = {
    "boxcar": WindowShape(0.0, 1.0),
    "hann": WindowShape(0.5, 2.0),
    "blackmanharris": WindowShape(2.0 / 3.0, 4.0),
    "flattop": WindowShape(0.75, 5.0),
    "steep": WindowShape(0.75, float(np.hypot(1.0, _STEEP_BETA / np.pi))),
}


def window(name: str, n_samples: int) -> Floats:
    """Return a window in its periodic form.

    Parameters
    ----------
    name : str
        ``"boxcar"``, ``"hann"``, ``"blackmanharris"``, ``"flattop"`` or ``"steep"`` (side lobes below -138 dB).
    n_samples : int
        Length.

    Returns
    -------
    numpy.ndarray, shape (n_samples,)
    """
    if name not in WINDOWS:
        raise ValueError(f"window must be one of {', '.join(WINDOWS)}, got {name!r}")
    if name == "steep":
        return np.kaiser(n_samples + 1, _STEEP_BETA)[:-1]
    phase = 2.0 * np.pi * np.arange(n_samples) / n_samples
    values = np.zeros(n_samples)
    for order, term in enumerate(_COSINE_TERMS[name]):
        values += (-1) ** order * term * np.cos(order * phase)
    return values


def enbw_bins(values: Floats) -> float:
    """Return the equivalent noise bandwidth of a window in bins of its own length: ``N sum(w^2) / (sum w)^2``."""
    return float(len(values) * np.sum(values**2) / np.sum(values) ** 2)
