"""The way the picture takes into the sound, as a curve: read from the amplitudes of the raster's lines.

A leak is a real circuit: its gain is a series in ``j f`` with real factors (a constant is a shared ground, the first
power a stray capacitance), behind a corner at which it stops rising or the sound's line falls off. Only as many terms
are used as the lines call for. When the first line is drawn is not known beforehand, so the delay is fitted with them.
What the screen draws besides the rows (sync, a grey black) is fitted too: only the step from black to white counts.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import Floats
from humcheck.estimates.rows.basebands import RasterLines
from humcheck.estimates.rows.curve import CURVE_HZ, UNIT_HZ, CouplingFit, terms
from humcheck.estimates.rows.problem import OUTLIER, Problem, Solution

#: Powers of ``j f`` that a leak may be made of.
POWERS = (0, 1, 2, 3)
MOST_POWERS = 4
#: How likely a corner or a second way is beforehand, where the lines do not tell.
OTHER_CHANCE = 0.5
#: How much better (in chi squared) a further term must fit: for one channel, and for each more.
WORTH_A_TERM, FOR_EACH_CHANNEL = 12.0, 3.0
#: By how much (in chi squared) one sign must fit better than the other.
CERTAIN_SIGN = 9.0
#: What is left, re the noise, before it counts: the noise itself is known to some percent.
CLEAR_SHARE = 0.5
_TWO_SIDED_95 = 1.959963984540054


def fit_coupling(lines: RasterLines) -> CouplingFit:
    """Fit the coupling to the lines of a raster, with as many terms as they call for."""
    problem = Problem(lines)
    starts = problem.starts()
    best = max(starts, key=lambda start: start[0])
    opposite = max(start[0] for start in starts if start[3] != best[3])
    solution = problem.with_pulses(problem.solve((best[1],), best[2]))
    corners = problem.with_corners(solution)
    while len(solution.powers) < MOST_POWERS:
        richer = [] if solution.corner else list(corners)
        for power in POWERS:
            if power not in solution.powers:
                powers = tuple(sorted((*solution.powers, power)))
                richer.append(problem.solve(powers, solution.delay, solution.corner))
        next_one = min(richer, key=lambda candidate: candidate.chi_squared)
        if not is_better(next_one, solution, problem):
            break
        solution = problem.with_pulses(next_one)
        corners = problem.with_corners(solution)
    mixed = [] if len(solution.powers) > 1 else [problem.solve((0, 1), solution.delay, solution.corner)]
    return CouplingFit(
        powers=solution.powers,
        corner=solution.corner,
        factors=solution.factors,
        covariance=solution.covariance,
        sign_is_certain=best[0] - opposite >= CERTAIN_SIGN,
        delay=solution.delay,
        chi_squared=solution.chi_squared,
        spread_curve_db=_spread_db(solution, [*corners, *mixed]),
        slope_range=_slope_range(solution, mixed),
        unexplained=_unexplained(lines, solution),
        outlier=_outliers(lines, solution),
    )


def _unexplained(lines: RasterLines, solution: Solution) -> float:
    """Return the share of the lines' power over the noise that is left, of every line alike, held down or not."""
    noise = lines.amplitude.size
    before, after = (
        float((np.abs(values) ** 2 / lines.variance).sum()) - noise for values in (lines.amplitude, solution.residual)
    )
    return after / before if after > CLEAR_SHARE * noise and before > 0 else 0.0


def _outliers(lines: RasterLines, solution: Solution) -> npt.NDArray[np.bool_]:
    """Return the lines at which so much is left that another's line must stand there."""
    size = np.abs(solution.residual) ** 2 / lines.variance
    usual = max(1.0, float(np.median(size)) / np.log(2.0))
    return np.asarray((size > OUTLIER * usual) | lines.foreign)


def is_better(richer: Solution, solution: Solution, problem: Problem) -> bool:
    """Return whether a further term fits so much better that chance does not explain it."""
    worth = WORTH_A_TERM + FOR_EACH_CHANNEL * (len(solution.factors) - 1)
    # Where the model errs more than the noise, chance improves a fit by so much more.
    worth *= max(1.0, solution.chi_squared / problem.n_values)
    return solution.chi_squared - richer.chi_squared >= worth


def _spread_db(solution: Solution, others: Sequence[Solution]) -> Floats:
    """Return how far the curve would move if one of the other solutions were true, shape (n_ch, n_curve)."""
    if not others:
        return np.zeros((len(solution.factors), CURVE_HZ.size))
    better = np.clip([0.5 * (solution.chi_squared - other.chi_squared) for other in others], -300.0, 300.0)
    chances = OTHER_CHANCE / len(others) * np.exp(better)
    moved = np.stack([_levels(other) - _levels(solution) for other in others])
    weight = chances / (1 - OTHER_CHANCE + chances.sum())
    return np.asarray(np.sqrt(np.einsum("o,ocn->cn", weight, moved**2)))


def _slope_range(solution: Solution, mixed: Sequence[Solution]) -> Floats:
    """Return the slopes from one way alone to both, the weaker one as strong as it may be (95 %)."""
    octave = 20 * np.log10(2.0)
    alone = octave * solution.powers[0] if mixed else 0.0
    ranges = np.full((len(solution.factors), 2), alone)
    for other in mixed:
        unit = np.array([1.0, 1000.0 / UNIT_HZ])
        sds = np.sqrt(np.stack([np.diag(covariance) for covariance in other.covariance]))
        second = 1 - solution.powers[0]
        size = np.abs(other.factors) * unit
        size[:, second] += _TWO_SIDED_95 * sds[:, second] * unit[second]
        both = octave * size[:, 1] ** 2 / (size**2).sum(axis=1)
        ranges = np.stack([np.minimum(alone, both), np.maximum(alone, both)], axis=1)
    return ranges


def _levels(solution: Solution) -> Floats:
    gain = solution.factors @ terms(solution.powers, CURVE_HZ, solution.corner)
    return np.asarray(20 * np.log10(np.maximum(np.abs(gain), 1e-30)))
