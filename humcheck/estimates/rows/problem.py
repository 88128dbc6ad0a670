"""The least squares behind a coupling: real factors of powers of ``j f`` for each channel, one delay for all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.estimates.rows.basebands import RasterLines
from humcheck.estimates.rows.curve import UNIT_HZ, terms
from humcheck.estimates.rows.rasters import Complexes, harmonics

FIRST_POWERS = (0, 1)
#: Corners that are tried, as 10 kHz over the corner; without one it is 0.
CORNERS = (0.1, 0.2, 0.3, 0.42, 0.6, 0.85, 1.2)
#: By how much (in chi squared) a pulse beside the picture must be worth it, and how many there may be.
WORTH_A_PULSE, MOST_PULSES = 25.0, 24
#: Power over variance at which a line that does not fit is held down.
OUTLIER = 6.0
_PULSE_WIDTH = 0.25
_REACH_LINES, _PER_LINE = 1.2, 80
_ROUNDS = 6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solution:
    """One set of powers fitted."""

    powers: tuple[int, ...]
    corner: float
    delay: float
    factors: Floats
    covariance: Floats
    residual: Complexes
    chi_squared: float


class Problem:
    """The least squares behind the fit: columns for each channel, one delay for all.

    Parameters
    ----------
    lines : RasterLines
        What is to be explained.
    known : numpy.ndarray, shape (n_ch, n_lines), optional
        Gain at the lines that is there already; only what comes on top of it is fitted.
    """

    def __init__(self, lines: RasterLines, known: Complexes | None = None) -> None:
        self.lines = lines
        self.raster = lines.match.raster
        self.expected = lines.expected()
        self.order = lines.order
        self.known = np.zeros(lines.amplitude.shape, dtype=np.complex128) if known is None else known
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
    ) -> Solution:
        """Fit the factors of some powers, starting from a delay and a corner."""
        n_channels, n_terms = self.lines.amplitude.shape[0], len(powers)
        factors = np.zeros((n_channels, n_terms))
        hold = np.ones(self.lines.amplitude.shape)
        for _ in range(_ROUNDS):
            turned = self.lines.amplitude * np.exp(2j * np.pi * self.order * delay) - self.known * self.expected
            basis = terms(powers, self.lines.frequency_hz, corner)
            gain = self.known + factors @ basis
            n_shared = 1 + moving_corner if gain.any() else 0
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
        return Solution(
            powers=powers,
            corner=corner,
            delay=delay,
            factors=factors,
            covariance=np.stack([covariance[place, place] for place in places]),
            residual=residual,
            chi_squared=chi_squared,
        )

    def with_corners(self, solution: Solution) -> list[Solution]:
        """Return the same terms behind each of the corners, the best of them fitted."""
        if solution.corner:
            return []
        fixed = [self.solve(solution.powers, solution.delay, corner) for corner in CORNERS]
        best = min(fixed, key=lambda candidate: candidate.chi_squared)
        return [*fixed, self.solve(best.powers, best.delay, best.corner, moving_corner=True)]

    def _columns(self, basis: Complexes, gain: Complexes, n_shared: int, corner: float) -> Complexes:
        """Return the columns of one channel: delay and corner first if they are fitted, terms, what else is drawn."""
        columns = [column * self.expected for column in basis]
        if n_shared:
            columns += [gain * extra for extra in self.extras]
        if n_shared == 2:
            base = 1j * self.lines.frequency_hz / UNIT_HZ
            columns.insert(0, -base / (1 + base * corner) * gain * self.expected)
        if n_shared:
            scale = _delay_scale(self.raster.n_lines)
            columns.insert(0, -2j * np.pi * self.order * scale * gain * self.expected)
        return np.stack(columns) if columns else np.zeros((0, self.order.size), dtype=np.complex128)

    def with_pulses(self, solution: Solution) -> Solution:
        """Return the solution with the pulses beside the picture that its residual shows."""
        if not self._add_pulses(solution):
            return solution
        return self.solve(solution.powers, solution.delay, solution.corner, moving_corner=solution.corner > 0)

    def _add_pulses(self, solution: Solution) -> bool:
        """Add the pulses beside the picture that the residual shows; return whether there were any."""
        gain = self.known + solution.factors @ terms(solution.powers, self.lines.frequency_hz, solution.corner)
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
