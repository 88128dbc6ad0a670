"""What comes on top of a leak that is known already: the direct take's, subtracted with its phase."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.estimates.rows.basebands import RasterLines
from humcheck.estimates.rows.coupling import MOST_POWERS, POWERS, is_better
from humcheck.estimates.rows.curve import AT_1K, CURVE_HZ, CouplingFit, gain_and_sd, terms
from humcheck.estimates.rows.problem import Problem, Solution
from humcheck.estimates.rows.rasters import Complexes

_ONE_SIDED_95 = 1.6448536269514722


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AddedCoupling:
    """Gain that was added, full scale over the step from black to white, at `CURVE_HZ`.

    Attributes
    ----------
    curve : numpy.ndarray, shape (n_ch, n_curve), complex
        Best values; zeros where nothing is seen.
    curve_sd : numpy.ndarray, shape (n_ch, n_curve)
        Standard uncertainty of their sizes, the known leak's left out.
    curve_bound : numpy.ndarray, shape (n_ch, n_curve)
        One-sided 95 % bound where nothing is seen, else zeros.
    """

    curve: Complexes
    curve_sd: Floats
    curve_bound: Floats

    @property
    def gain(self) -> Complexes:
        """Gain at 1 kHz, shape (n_ch,)."""
        return self.curve[:, AT_1K]

    @property
    def sd(self) -> Floats:
        """Standard uncertainty of its size at 1 kHz, shape (n_ch,)."""
        return self.curve_sd[:, AT_1K]

    @property
    def bound(self) -> Floats:
        """Bound at 1 kHz, shape (n_ch,)."""
        return self.curve_bound[:, AT_1K]


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
        gain, sd = _curve(solution)
        return AddedCoupling(curve=gain, curve_sd=sd, curve_bound=np.zeros(sd.shape))
    ends = []
    for power in (0, 1):
        gain, sd = _curve(problem.solve((power,), solution.delay))
        ends.append(np.abs(gain) + _ONE_SIDED_95 * sd)
    none = np.zeros(ends[0].shape)
    return AddedCoupling(curve=none.astype(np.complex128), curve_sd=none, curve_bound=np.max(ends, axis=0))


def _curve(solution: Solution) -> tuple[Complexes, Floats]:
    return gain_and_sd(solution.factors, solution.covariance, terms(solution.powers, CURVE_HZ))
