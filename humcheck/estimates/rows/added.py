"""What comes on top of a leak that is known already: the direct take's, subtracted with its phase."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.estimates.rows.basebands import RasterLines
from humcheck.estimates.rows.coupling import MOST_POWERS, POWERS, is_better
from humcheck.estimates.rows.curve import CouplingFit, terms
from humcheck.estimates.rows.problem import Problem, Solution
from humcheck.estimates.rows.rasters import Complexes

_ONE_SIDED_95 = 1.6448536269514722
_AT_HZ = np.array([1000.0])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AddedCoupling:
    """Gain at 1 kHz that was added, full scale over the step from black to white.

    Attributes
    ----------
    gain : numpy.ndarray, shape (n_ch,), complex
        Best value; zeros where nothing is seen.
    sd : numpy.ndarray, shape (n_ch,)
        Standard uncertainty of its size, the known leak's left out.
    bound : numpy.ndarray, shape (n_ch,)
        One-sided 95 % bound where nothing is seen, else zeros.
    """

    gain: Complexes
    sd: Floats
    bound: Floats


def added_to(lines: RasterLines, own: CouplingFit, known: CouplingFit, factors: Floats) -> AddedCoupling:
    """Return what a take's leak holds beside a known one.

    Parameters
    ----------
    lines : RasterLines
        Of the take.
    own : CouplingFit
        The take's whole coupling.
    known : CouplingFit
        The direct take's; as many channels.
    factors : numpy.ndarray, shape (n_ch,)
        What the path makes of the known leak: its gain and sign.
    """
    problem = Problem(lines, known.gain(lines.frequency_hz) * factors[:, np.newaxis])
    solution = problem.with_pulses(problem.solve((), own.delay))
    while len(solution.powers) < MOST_POWERS:
        further = [power for power in POWERS if power not in solution.powers]
        # A known leak that is a small part of the whole does not tell when the first line is drawn.
        delay = solution.delay if solution.powers else own.delay
        richer = [problem.solve(tuple(sorted((*solution.powers, power))), delay) for power in further]
        best = min(richer, key=lambda candidate: candidate.chi_squared)
        if not is_better(best, solution, problem):
            break
        solution = problem.with_pulses(best)
    if solution.powers:
        gain, sd = _at_1k(solution)
        return AddedCoupling(gain=gain, sd=sd, bound=np.zeros(len(gain)))
    ends = []
    for power in (0, 1):
        gain, sd = _at_1k(problem.solve((power,), solution.delay))
        ends.append(np.abs(gain) + _ONE_SIDED_95 * sd)
    none = np.zeros(len(lines.amplitude))
    return AddedCoupling(gain=none.astype(np.complex128), sd=none, bound=np.max(ends, axis=0))


def _at_1k(solution: Solution) -> tuple[Complexes, Floats]:
    basis = terms(solution.powers, _AT_HZ)[:, 0]
    gain = solution.factors @ basis
    along = np.conj(gain) / np.maximum(np.abs(gain), 1e-30)
    gradient = np.real(along[:, np.newaxis] * basis)
    variance = np.einsum("ca,cab,cb->c", gradient, solution.covariance, gradient)
    return np.asarray(gain), np.sqrt(np.maximum(variance, 0.0))
