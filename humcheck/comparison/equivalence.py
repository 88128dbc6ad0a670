"""Shown to be the same: two one-sided tests, and how many takes they need.

Not being told apart is not being the same: with enough scatter nothing is told apart. Sameness is shown where both one-
sided tests at 5 % say that the difference is inside the margin, which is to say that its 90 % interval lies inside
[1]_. That all of several differences lie inside needs no correction for their number: the claim is made only where
every one of the tests rejects, and the chance of that is at most the chance of the one whose difference is in truth
outside (intersection-union test [2]_).

References
----------
.. [1] D. J. Schuirmann, A comparison of the two one-sided tests procedure and the power approach for assessing the
   equivalence of average bioavailability, J. Pharmacokinet. Biopharm. 15, 1987.
.. [2] R. L. Berger, Multiparameter hypothesis testing and acceptance sampling, Technometrics 24, 1982.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from humcheck.audio.levels import Floats

#: Probability of a wrong "the same", and of missing one that holds.
ALPHA = 0.05
POWER = 0.8
#: More takes than this nobody makes.
MOST_TAKES = 500
#: Beyond so many degrees of freedom Student's t is normal.
_MANY = 1e6


def equivalence_p(value: Any, standard_uncertainty: Any, freedom: Any, margin: Any) -> Floats:
    """Return the larger tail probability of the two one-sided tests.

    Parameters
    ----------
    value, standard_uncertainty, freedom, margin : float or array
        Differences, with their uncertainties and degrees of freedom (may be infinite), and margins. Zero uncertainty
        decides by the value alone.
    """
    from scipy.special import stdtr

    room = np.asarray(margin, dtype=np.float64) - np.abs(value)
    uncertainty = np.asarray(standard_uncertainty, dtype=np.float64)
    tiny = np.finfo(np.float64).tiny
    return np.asarray(stdtr(np.minimum(freedom, _MANY), -room / np.maximum(uncertainty, tiny)))


def equivalence_power(standard_uncertainty: Any, freedom: Any, margin: Any) -> Floats:
    """Return the probability of showing sameness where there is no difference; by the noncentral t, from below."""
    from scipy.special import nctdtr, stdtrit

    freedom = np.minimum(freedom, _MANY)
    t_limit = stdtrit(freedom, 1 - ALPHA)
    shift = np.asarray(margin) / standard_uncertainty
    # Far beyond what decides, where the distribution function loses its digits.
    shift = np.minimum(shift, t_limit + 30.0)
    return np.asarray(np.clip(nctdtr(freedom, -shift, -t_limit) - nctdtr(freedom, shift, t_limit), 0.0, 1.0))


def takes_needed(
    variance: Floats, freedom: Floats, n_pluggings: Floats, margin: Floats, *, power: float | Floats = POWER
) -> Floats:
    """Return how many takes on each side would probably show sameness where there is no difference.

    Parameters
    ----------
    variance : numpy.ndarray, shape (n,)
        Of the difference of two single takes.
    freedom : numpy.ndarray, shape (n,)
        Degrees of freedom of that now.
    n_pluggings : numpy.ndarray, shape (n,)
        Takes of both sides together that there are already; each further one adds a degree of freedom.
    margin : numpy.ndarray, shape (n,)
        What counts as the same.
    power : float or array, optional
        Probability of showing it.

    Returns
    -------
    numpy.ndarray, shape (n,)
        At least 2, takes made already included; infinite where more than 500 would be needed.
    """
    # Cells of one pool ask the same: each question is worked out once. Three digits are more than a count shows.
    ratio = np.asarray(np.sqrt(variance) / margin)
    digits = 10.0 ** (2 - np.floor(np.log10(ratio)))
    asked = np.stack(
        [np.round(ratio * digits) / digits, np.round(freedom, 1), n_pluggings, np.broadcast_to(power, ratio.shape)]
    )
    once, back = np.unique(asked, axis=1, return_inverse=True)
    return _takes_needed(*once)[back.reshape(-1)]


def _takes_needed(ratio: Floats, freedom: Floats, n_pluggings: Floats, power: Floats) -> Floats:
    def enough(count: Floats) -> Any:
        later = freedom + np.maximum(2 * count - n_pluggings, 0.0)
        return equivalence_power(ratio / np.sqrt(count), later, 1.0) >= power

    least = np.ones(ratio.shape)
    most = np.full(ratio.shape, float(MOST_TAKES))
    reached = enough(most)
    while np.any(most - least > 1):
        middle = np.floor((least + most) / 2)
        ok = enough(middle)
        most, least = np.where(ok, middle, most), np.where(ok, least, middle)
    return np.where(reached, most, np.inf)
