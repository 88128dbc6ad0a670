"""Magnitudes of noisy complex readings: unbiased values with intervals, or upper bounds where noise hides them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats, ratio_to_db
from humcheck.estimates.sweeps.deconvolution import Complexes
from humcheck.estimates.sweeps.grid import Flags

#: Noise alone passes for a value this often, a point.
FALSE_VALUES = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Magnitudes in dB.

    Attributes
    ----------
    value_db : numpy.ndarray, shape (n,)
        The noise's power taken off; where hidden, the one-sided 95 % upper limit.
    low_db, high_db : numpy.ndarray, shape (n,)
        95 % interval; where hidden, the limit again.
    hidden : numpy.ndarray of bool, shape (n,)
        True where noise alone may be all there is.
    """

    value_db: Floats
    low_db: Floats
    high_db: Floats
    hidden: Flags


def read_magnitudes(value: Complexes, sd: Floats, freedom: Floats) -> Reading:
    """Return the magnitudes of complex readings.

    Parameters
    ----------
    value : numpy.ndarray, shape (n,)
        Complex readings.
    sd : numpy.ndarray, shape (n,)
        Root mean square magnitude of their errors.
    freedom : numpy.ndarray, shape (n,)
        Degrees of freedom of `sd`.

    Notes
    -----
    Noise alone gives ``|value|^2 / sd^2`` the F distribution with 2 and `freedom` degrees of freedom, whose tail is
    ``(1 + 2 x / freedom) ** (-freedom / 2)``. Along the magnitude the error is ``sd / sqrt(2)``.
    """
    from scipy.special import stdtrit

    magnitude = np.abs(value)
    along = sd / np.sqrt(2.0)
    threshold = freedom / 2.0 * (FALSE_VALUES ** (-2.0 / freedom) - 1.0)
    hidden = magnitude**2 <= threshold * sd**2
    unbiased = np.sqrt(np.maximum(magnitude**2 - sd**2, 0.0))
    half = stdtrit(freedom, 0.975) * along
    limit_db = ratio_to_db(magnitude + stdtrit(freedom, 0.95) * along)
    return Reading(
        value_db=np.where(hidden, limit_db, ratio_to_db(unbiased)),
        low_db=np.where(hidden, limit_db, ratio_to_db(np.maximum(unbiased - half, 0.0))),
        high_db=np.where(hidden, limit_db, ratio_to_db(unbiased + half)),
        hidden=hidden,
    )
