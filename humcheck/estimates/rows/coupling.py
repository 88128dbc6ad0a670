"""The way the picture takes into the sound, as a curve: read from the amplitudes of the raster's lines.

A leak is a real circuit: its gain is a series in ``j f`` with real factors (a constant is a shared ground, the first
power a stray capacitance), behind a corner at which it stops rising or the sound's line falls off. Only as many terms
are used as the lines call for. When the first line is drawn is not known beforehand, so the delay is fitted with them.
What the screen draws besides the rows (sync, a grey black) is fitted too: only the step from black to white counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.estimates.rows.basebands import RasterLines
from humcheck.estimates.rows.rasters import Complexes, harmonics

#: Powers of ``j f`` that a leak may be made of.
POWERS = (0, 1, 2, 3)
FIRST_POWERS = (0, 1)
MOST_POWERS = 4
#: Corners that are tried, as 10 kHz over the corner; without one it is 0.
CORNERS = (0.1, 0.2, 0.3, 0.42, 0.6, 0.85, 1.2)
#: How likely a corner or a second way is beforehand, where the lines do not tell.
OTHER_CHANCE = 0.5
UNIT_HZ = 10_000.0
#: How much better (in chi squared) a further term must fit: for one channel, and for each more.
WORTH_A_TERM, FOR_EACH_CHANNEL = 12.0, 3.0
#: The same for a pulse beside the picture, and how many there may be.
WORTH_A_PULSE, MOST_PULSES = 25.0, 24
_PULSE_WIDTH = 0.25
#: Power over variance at which a line that does not fit is held down.
OUTLIER = 6.0
#: By how much (in chi squared) one sign must fit better than the other.
CERTAIN_SIGN = 9.0
_REACH_LINES, _PER_LINE = 1.2, 80
_ROUNDS = 6
_TWO_SIDED_95 = 1.959963984540054


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CouplingFit:
    """Gain from luma to sound of every channel, full scale over the step from black to white.

    Attributes
    ----------
    powers : tuple of int
        Powers of ``j f`` / 10 kHz.
    corner : float
        10 kHz over the frequency of the corner; 0 for none.
    factors : numpy.ndarray, shape (n_ch, n_powers)
        Their real factors.
    covariance : numpy.ndarray, shape (n_ch, n_powers, n_powers)
        Of the factors of each channel, the uncertainties of delay and corner included.
    sign_is_certain : bool
        Whether the opposite polarity fits clearly worse.
    chi_squared : float
        Misfit; about twice the number of lines.
    spread_db : numpy.ndarray, shape (n_ch,)
        What a corner or a second way, neither shown nor excluded by the lines, may do to the level at 1 kHz.
    slope_range : numpy.ndarray, shape (n_ch, 2)
        Slopes at 1 kHz in dB per octave that a second way, neither shown nor excluded, would leave possible.
    """

    powers: tuple[int, ...]
    corner: float
    factors: Floats
    covariance: Floats
    sign_is_certain: bool
    chi_squared: float
    spread_db: Floats
    slope_range: Floats

    def gain(self, frequency_hz: Floats) -> Complexes:
        """Return the gain at frequencies, shape (n_ch, n)."""
        return np.asarray(self.factors @ terms(self.powers, frequency_hz, self.corner))

    def at_1k(self, channel: int) -> tuple[complex, Floats]:
        """Return a channel's gain at 1 kHz and the covariance, shape (2, 2), of its real and imaginary parts."""
        basis = terms(self.powers, np.array([1000.0]), self.corner)[:, 0]
        parts = np.stack([basis.real, basis.imag])
        return complex(self.factors[channel] @ basis), parts @ self.covariance[channel] @ parts.T

    def slope(self, channel: int) -> tuple[float, float]:
        """Return the slope of a channel's gain at 1 kHz in dB per octave, and its standard uncertainty."""
        basis = terms(self.powers, np.array([1000.0]), self.corner)[:, 0]
        unit = 1000.0 / UNIT_HZ * self.corner
        # d log(1 / (1 + j f a)) / d log f
        falling = -1j * unit / (1 + 1j * unit)
        rising = (np.array(self.powers) + falling) * basis
        gain, growth = self.factors[channel] @ basis, self.factors[channel] @ rising
        scale = 20 * np.log10(2.0)
        gradient = scale * np.real(rising / gain - growth * basis / gain**2)
        slope = scale * np.real(growth / gain)
        return float(slope), float(np.sqrt(max(0.0, gradient @ self.covariance[channel] @ gradient)))


def terms(powers: Sequence[int], frequency_hz: Floats, corner: float = 0.0) -> Complexes:
    """Return powers of ``j f`` / 10 kHz behind a corner, shape (n_powers, n)."""
    base = 1j * np.asarray(frequency_hz) / UNIT_HZ
    return np.asarray(np.stack([base**power for power in powers]) / (1 + base * corner))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Solution:
    """One set of powers fitted."""

    powers: tuple[int, ...]
    corner: float
    delay: float
    factors: Floats
    covariance: Floats
    residual: Complexes
    chi_squared: float


def fit_coupling(lines: RasterLines) -> CouplingFit:
    """Fit the coupling to the lines of a raster, with as many terms as they call for."""
    problem = _Problem(lines)
    starts = problem.starts()
    best = max(starts, key=lambda start: start[0])
    opposite = max(start[0] for start in starts if start[3] != best[3])
    worth = WORTH_A_TERM + FOR_EACH_CHANNEL * (lines.amplitude.shape[0] - 1)
    solution = problem.with_pulses(problem.solve((best[1],), best[2]))
    corners = problem.with_corners(solution)
    while len(solution.powers) < MOST_POWERS:
        richer = [] if solution.corner else list(corners)
        for power in POWERS:
            if power not in solution.powers:
                powers = tuple(sorted((*solution.powers, power)))
                richer.append(problem.solve(powers, solution.delay, solution.corner))
        next_one = min(richer, key=lambda candidate: candidate.chi_squared)
        # Where the model errs more than the noise, chance improves a fit by so much more.
        if solution.chi_squared - next_one.chi_squared < worth * max(1.0, solution.chi_squared / problem.n_values):
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
        chi_squared=solution.chi_squared,
        spread_db=_spread_db(solution, [*corners, *mixed]),
        slope_range=_slope_range(solution, mixed),
    )


def _spread_db(solution: _Solution, others: Sequence[_Solution]) -> Floats:
    """Return how far the level at 1 kHz would move if one of the other solutions were true."""
    if not others:
        return np.zeros(len(solution.factors))
    better = np.clip([0.5 * (solution.chi_squared - other.chi_squared) for other in others], -300.0, 300.0)
    chances = OTHER_CHANCE / len(others) * np.exp(better)
    moved = np.stack([_level_at_1k(other) - _level_at_1k(solution) for other in others])
    weight = chances / (1 - OTHER_CHANCE + chances.sum())
    return np.asarray(np.sqrt(weight @ moved**2))


def _slope_range(solution: _Solution, mixed: Sequence[_Solution]) -> Floats:
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


def _level_at_1k(solution: _Solution) -> Floats:
    gain = solution.factors @ terms(solution.powers, np.array([1000.0]), solution.corner)[:, 0]
    return np.asarray(20 * np.log10(np.maximum(np.abs(gain), 1e-30)))


class _Problem:
    """The least squares behind the fit: columns for each channel, one delay for all.

    Parameters
    ----------
    lines : RasterLines
        What is to be explained.
    """

    def __init__(self, lines: RasterLines) -> None:
        self.lines = lines
        self.raster = lines.match.raster
        self.expected = lines.expected()
        self.order = lines.order
        rows = _shown_lines(lines)
        #: Drawn beside the rows: all of them alike (a black that is not blanking), and pulses where nothing is shown.
        self.extras: list[Complexes] = [harmonics(self.raster, rows, self.order)]
        self._pulses = _pulses(lines, rows)
        self._used: set[int] = set()
        self.weight = 1 / lines.variance
        self.n_values = 2 * lines.variance.size

    def starts(self) -> list[tuple[float, int, float, int]]:
        """Return how well each first term fits at delays near the search's: gain, power, delay, sign."""
        step = 1 / (_PER_LINE * self.raster.n_lines)
        n_steps = round(_REACH_LINES * _PER_LINE)
        delays = np.arange(-n_steps, n_steps + 1) * step
        turn = np.exp(2j * np.pi * np.multiply.outer(self.order, delays))
        found = []
        for power in FIRST_POWERS:
            column = terms((power,), self.lines.frequency_hz)[0] * self.expected
            matched = np.real((self.weight * self.lines.amplitude * np.conj(column)) @ turn)
            energy = (self.weight * np.abs(column) ** 2).sum(axis=1, keepdims=True)
            gain = 2 * (matched**2 / energy).sum(axis=0)
            strongest = np.argmax((matched**2 / energy).sum(axis=1))
            sign = np.sign(matched[strongest]).astype(int)
            for wanted in (-1, 1):
                place = int(np.argmax(np.where(sign == wanted, gain, -1.0)))
                found.append((float(gain[place]), power, float(delays[place]), wanted))
        return found

    def solve(
        self, powers: tuple[int, ...], delay: float, corner: float = 0.0, *, moving_corner: bool = False
    ) -> _Solution:
        """Fit the factors of some powers, starting from a delay and a corner."""
        n_channels, n_terms = self.lines.amplitude.shape[0], len(powers)
        factors = np.zeros((n_channels, n_terms))
        hold = np.ones(self.lines.amplitude.shape)
        for turn_number in range(_ROUNDS):
            turned = self.lines.amplitude * np.exp(2j * np.pi * self.order * delay)
            basis = terms(powers, self.lines.frequency_hz, corner)
            gain = factors @ basis
            n_shared = 0 if turn_number == 0 else 1 + moving_corner
            blocks = [self._columns(basis, gain[channel], n_shared, corner) for channel in range(n_channels)]
            values, inverse = _joint(blocks, turned, self.weight * hold, shared=n_shared)
            own = values[n_shared:].reshape(n_channels, -1)
            factors = own[:, :n_terms]
            if n_shared:
                delay += float(np.clip(values[0], -1, 1) * _delay_scale(self.raster.n_lines))
            if n_shared == 2:
                corner = max(0.02, corner + float(np.clip(values[1], -0.1, 0.1)))
            residual = np.stack([turned[c] - own[c] @ blocks[c][n_shared:] for c in range(n_channels)])
            size = np.abs(residual) ** 2 * self.weight
            usual = max(1.0, float(np.median(size)) / np.log(2.0))
            hold = np.minimum(1.0, OUTLIER * usual / np.maximum(size, 1e-12)) ** 2
        chi_squared = 2 * float((size * hold).sum())
        covariance = inverse[n_shared:, n_shared:] * max(1.0, chi_squared / (2 * size.size - len(inverse)))
        n_own = covariance.shape[0] // n_channels
        places = [slice(c * n_own, c * n_own + n_terms) for c in range(n_channels)]
        return _Solution(
            powers=powers,
            corner=corner,
            delay=delay,
            factors=factors,
            covariance=np.stack([covariance[place, place] for place in places]),
            residual=residual,
            chi_squared=chi_squared,
        )

    def with_corners(self, solution: _Solution) -> list[_Solution]:
        """Return the same terms behind each of the corners, the best of them fitted."""
        if solution.corner:
            return []
        fixed = [self.solve(solution.powers, solution.delay, corner) for corner in CORNERS]
        best = min(fixed, key=lambda candidate: candidate.chi_squared)
        return [*fixed, self.solve(best.powers, best.delay, best.corner, moving_corner=True)]

    def _columns(self, basis: Complexes, gain: Complexes, n_shared: int, corner: float) -> Complexes:
        """Return the columns of one channel: delay and corner first if they are fitted, terms, what else is drawn."""
        columns = list(basis * self.expected)
        if n_shared:
            columns += [gain * extra for extra in self.extras]
        if n_shared == 2:
            base = 1j * self.lines.frequency_hz / UNIT_HZ
            columns.insert(0, -base / (1 + base * corner) * gain * self.expected)
        if n_shared:
            scale = _delay_scale(self.raster.n_lines)
            columns.insert(0, -2j * np.pi * self.order * scale * gain * self.expected)
        return np.stack(columns)

    def with_pulses(self, solution: _Solution) -> _Solution:
        """Return the solution with the pulses beside the picture that its residual shows."""
        if not self._add_pulses(solution):
            return solution
        return self.solve(solution.powers, solution.delay, solution.corner, moving_corner=solution.corner > 0)

    def _add_pulses(self, solution: _Solution) -> bool:
        """Add the pulses beside the picture that the residual shows; return whether there were any."""
        gain = solution.factors @ terms(solution.powers, self.lines.frequency_hz, solution.corner)
        residual, added = solution.residual.copy(), False
        while len(self._used) < MOST_PULSES:
            columns = gain[:, np.newaxis, :] * self._pulses
            matched = np.real(np.einsum("cq,cq,cpq->cp", self.weight, residual, np.conj(columns)))
            energy = np.einsum("cq,cpq->cp", self.weight, np.abs(columns) ** 2)
            worth = 2 * (matched**2 / np.maximum(energy, 1e-300)).sum(axis=0)
            worth[list(self._used)] = 0.0
            place = int(np.argmax(worth))
            if worth[place] < WORTH_A_PULSE:
                break
            residual -= (matched[:, place] / energy[:, place])[:, np.newaxis] * columns[:, place]
            self._used.add(place)
            self.extras.append(self._pulses[place])
            added = True
        return added


def _delay_scale(n_lines: int) -> float:
    """Return the scale of the delay's column: a twentieth of a line, as a share of the repeat's period."""
    return 0.05 / n_lines


def _joint(blocks: Sequence[Complexes], data: Complexes, weight: Floats, *, shared: int) -> tuple[Floats, Floats]:
    """Solve for real factors: the first `shared` columns of every block have one factor for all channels."""
    n_own = blocks[0].shape[0] - shared
    size = shared + n_own * len(blocks)
    matrix, right = np.zeros((size, size)), np.zeros(size)
    for channel, columns in enumerate(blocks):
        index = [*range(shared), *range(shared + channel * n_own, shared + (channel + 1) * n_own)]
        weighted = np.conj(columns) * weight[channel]
        matrix[np.ix_(index, index)] += 2 * np.real(weighted @ columns.T)
        right[index] += 2 * np.real(weighted @ data[channel])
    scale = 1 / np.sqrt(np.maximum(np.diag(matrix), 1e-300))
    inverse = np.linalg.pinv(matrix * np.outer(scale, scale), rcond=1e-9, hermitian=True) * np.outer(scale, scale)
    return inverse @ right, inverse


def _shown_lines(lines: RasterLines) -> Floats:
    """Return 1 for every line of the raster that shows picture."""
    raster, shown = lines.match.raster, lines.match.shown
    n_shown = min(raster.n_visible, max(1, round(shown.n_rows * shown.scale)))
    rows = np.zeros(raster.n_lines)
    for index in range(raster.n_fields):
        first = int(np.ceil(index * raster.lines_per_field))
        rows[first : first + n_shown] = 1.0
    return rows


def _pulses(lines: RasterLines, rows: Floats) -> Complexes:
    """Return pulses a quarter of a line wide, side by side, wherever nothing is shown; shape (n_pulses, n_lines)."""
    n_lines = lines.match.raster.n_lines
    start = np.flatnonzero(rows == 0)
    # A line apart from the picture: what lies nearer may be its own edge.
    start = start[(rows[(start - 1) % n_lines] == 0) & (rows[(start + 1) % n_lines] == 0)]
    places = np.add.outer(start, np.arange(0.0, 1.0, _PULSE_WIDTH)).ravel()
    order = lines.order
    lit = 2 * _PULSE_WIDTH / n_lines * np.sinc(order * _PULSE_WIDTH / n_lines)
    return np.asarray(lit * np.exp(-2j * np.pi * np.multiply.outer(places, order) / n_lines))
