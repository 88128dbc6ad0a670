"""Joint fit of one comb with a free smooth phase (mains) and rigid combs (picture fields) in narrow bands.

Variable projection: in every band the amplitudes follow from the phases by linear least squares; Gauss-Newton steps
move the spline of the mains phase and the rates of the rigid combs. The noise has unit variance in the bands, so the
cost is the negative log likelihood and the inverse of its Hessian is the covariance.

Phases count from the record's middle, where they do not depend on the frequencies.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from humcheck.estimates.lines.bands import Bands
from humcheck.estimates.lines.spectrum import Complexes, Floats
from humcheck.estimates.lines.spline import PhaseSpline

Booleans = npt.NDArray[np.bool_]

MOST_STEPS = 12
MOST_HALVINGS = 6
#: The fit has settled when a step gains less than this in log likelihood.
SETTLED = 1e-3
#: Information that pins the spline's phase at the middle, where the amplitudes carry it.
PIN = 1e9
#: Share of a band's half-width within which a line counts as in the band.
REACH = 0.9
#: Harmonics closer than this to the previous one are made by multiplication, which is faster than an exponential.
FEW = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Combs:
    """Unknowns of the model besides the amplitudes.

    Attributes
    ----------
    mains_hz : float or None
        Frequency about which the mains phase is given; None without mains.
    coefficients : numpy.ndarray, shape (n_coefficients,)
        Spline of the mains phase beside ``2 pi mains_hz (t - middle)``; empty without mains.
    wander_hz : float
        Assumed wander over 30 s, the spline's penalty.
    rigid_hz : numpy.ndarray, shape (n_rigid,)
        Fundamentals of the rigid combs.
    fixed_hz : numpy.ndarray, shape (n_bands, n_fixed)
        Other lines in each band, NaN where none; their amplitudes are fitted, their frequencies are not.
    """

    mains_hz: float | None
    coefficients: Floats
    wander_hz: float
    rigid_hz: Floats
    fixed_hz: Floats

    @property
    def has_mains(self) -> bool:
        """Whether there is a comb with a free phase."""
        return self.mains_hz is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class JointFit:
    """Outcome of a joint fit.

    Attributes
    ----------
    bands : Bands
        Data.
    spline : PhaseSpline
        Basis of the mains phase.
    combs : Combs
        Fitted unknowns.
    lines : numpy.ndarray, shape (n_bands, n_columns, n_times)
        Unit lines in the bands; columns: mains (if any), rigid combs, fixed lines.
    used : numpy.ndarray of bool, shape (n_bands, n_columns)
        Which of them lie in the band.
    amplitudes : numpy.ndarray, shape (n_bands, n_ch, n_columns)
        Whitened complex amplitudes at the record's middle.
    gram_inverse : numpy.ndarray, shape (n_bands, n_columns, n_columns)
        Their covariance where the phases are known.
    responses : numpy.ndarray, shape (n_bands, n_columns, n_unknowns)
        What the amplitudes lose for a unit of each unknown, per unit of the moving comb's own amplitude.
    hessian : numpy.ndarray, shape (n_unknowns, n_unknowns)
        Second derivatives of the cost by the spline's coefficients and the rigid rates, prior included.
    residual : numpy.ndarray, shape (n_bands, n_ch, n_times)
        What is left in the bands.
    residual_power : numpy.ndarray, shape (n_bands, n_ch)
        Sum of its squares; expected: number of times minus number of columns.
    prior_cost : float
        Penalty of the spline.
    """

    bands: Bands
    spline: PhaseSpline
    combs: Combs
    lines: Complexes
    used: Booleans
    amplitudes: Complexes
    gram_inverse: Complexes
    responses: Complexes
    hessian: Floats
    residual: Complexes
    residual_power: Floats
    prior_cost: float

    @property
    def cost(self) -> float:
        """Negative log posterior, constants left out."""
        return float(self.residual_power.sum()) + self.prior_cost

    @property
    def n_families(self) -> int:
        """Number of combs."""
        return int(self.combs.has_mains) + self.combs.rigid_hz.size

    def covariance(self) -> Floats:
        """Return the covariance of the unknowns, shape (n_unknowns, n_unknowns)."""
        return _inverse(self.hessian)

    def amplitude_response(self) -> Complexes:
        """Return how the amplitudes move with the unknowns, shape (n_bands, n_ch, n_columns, n_unknowns)."""
        n_spline = self.combs.coefficients.size
        n_bands, n_ch, n_columns = self.amplitudes.shape
        moved = np.zeros((n_bands, n_ch, n_columns, self.hessian.shape[0]), dtype=np.complex128)
        first = int(self.combs.has_mains)
        if first:
            moved[..., :n_spline] = -self.amplitudes[:, :, 0, None, None] * self.responses[:, None, :, :n_spline]
        for rigid in range(self.combs.rigid_hz.size):
            own = self.amplitudes[:, :, first + rigid, None]
            moved[..., n_spline + rigid] = -own * self.responses[:, None, :, n_spline + rigid]
        return moved


def fit_combs(
    bands: Bands, spline: PhaseSpline, start: Combs, *, most_steps: int = MOST_STEPS, settled: float = 0.0
) -> JointFit:
    """Fit the combs from a start; see the module for the method.

    Parameters
    ----------
    bands : Bands
        Data.
    spline : PhaseSpline
        Basis of the mains phase.
    start : Combs
        Unknowns to begin with.
    most_steps : int, optional
        Gauss-Newton steps after which to stop.
    settled : float, optional
        The fit has settled when a step gains less than this share of the cost, and less than 0.001 anyway.
    """
    workspace = _Workspace(bands, spline, start)
    combs, state = start, workspace.state(start)
    for _ in range(most_steps):
        gradient, hessian, _ = workspace.normal_equations(combs, state)
        if gradient.size == 0:
            break
        step = -_solved(hessian, gradient)
        scale, moved = 1.0, False
        for _ in range(MOST_HALVINGS):
            trial = _stepped(combs, scale * step)
            trial_state = workspace.state(trial)
            if trial_state.cost < state.cost:
                moved = True
                break
            scale /= 4
        if not moved:
            break
        gained = state.cost - trial_state.cost
        combs, state = trial, trial_state
        if gained < max(SETTLED, settled * state.cost):
            break
    _, hessian, responses = workspace.normal_equations(combs, state)
    return JointFit(
        bands=bands,
        spline=spline,
        combs=combs,
        lines=state.lines,
        used=state.used,
        amplitudes=state.amplitudes,
        gram_inverse=state.gram_inverse,
        responses=responses,
        hessian=hessian,
        residual=state.residual,
        residual_power=_power(state.residual),
        prior_cost=state.prior_cost,
    )


def _solved(hessian: Floats, gradient: Floats) -> Floats:
    """Return the Gauss-Newton step; the shortest one where the data say nothing about some unknown."""
    try:
        return np.asarray(np.linalg.solve(hessian, gradient))
    except np.linalg.LinAlgError:
        return np.asarray(np.linalg.lstsq(hessian, gradient)[0])


def _inverse(hessian: Floats) -> Floats:
    """Return the covariance; what the data say nothing about gets a variance without practical limit, not none."""
    try:
        return np.asarray(np.linalg.inv(hessian))
    except np.linalg.LinAlgError:
        ridge = 1e-12 * float(np.abs(np.diag(hessian)).max() or 1.0)
        return np.asarray(np.linalg.inv(hessian + ridge * np.eye(len(hessian))))


def _power(values: Complexes) -> Floats:
    """Return the sum of squares over time."""
    return np.asarray(
        np.einsum("bct,bct->bc", values.real, values.real) + np.einsum("bct,bct->bc", values.imag, values.imag)
    )


def columns(bands: Bands, basis: Floats, combs: Combs) -> tuple[Complexes, Booleans]:
    """Return a model's unit lines in every band, (n_bands, n_columns, n_times), and which of them are in the band."""
    return _columns(bands, basis, _carrier(bands), combs)


def _carrier(bands: Bands) -> Complexes:
    """Return what turns a line at its own frequency into the baseband, shape (n_bands, n_times)."""
    # Times are even, and a product is cheaper than an exponential.
    step_s = float(bands.time_s[1] - bands.time_s[0]) if bands.time_s.size > 1 else 0.0
    rows = np.empty((bands.n_bands, bands.time_s.size), dtype=np.complex128)
    rows[:] = np.exp(-2j * np.pi * bands.centre_hz * step_s)[:, np.newaxis]
    rows[:, 0] = np.exp(-2j * np.pi * bands.centre_hz * bands.time_s[0])
    return np.asarray(np.cumprod(rows, axis=1))


def _columns(bands: Bands, basis: Floats, carrier: Complexes, combs: Combs) -> tuple[Complexes, Booleans]:
    """Return the model's unit lines in every band, (n_bands, n_columns, n_times), and which of them are in the band."""
    offset_s = bands.time_s - bands.spectrum.duration_s / 2
    n_families = int(combs.has_mains) + combs.rigid_hz.size
    lines = np.empty((bands.n_bands, n_families + combs.fixed_hz.shape[1], bands.time_s.size), dtype=np.complex128)
    centre_hz = np.empty(lines.shape[:2])
    fundamental_hz = list(combs.rigid_hz)
    phases = [2 * np.pi * rigid_hz * offset_s for rigid_hz in combs.rigid_hz]
    if combs.mains_hz is not None:
        phases.insert(0, 2 * np.pi * combs.mains_hz * offset_s + basis @ combs.coefficients)
        slope = (combs.coefficients[-1] - combs.coefficients[0]) / (2 * np.pi * bands.spectrum.duration_s)
        fundamental_hz.insert(0, combs.mains_hz + slope)
    for column, phase in enumerate(phases):
        np.multiply(_harmonics(phase, bands.orders), carrier, out=lines[:, column])
        centre_hz[:, column] = bands.orders * fundamental_hz[column]
    for fixed in range(combs.fixed_hz.shape[1]):
        frequency_hz = combs.fixed_hz[:, fixed]
        known = np.nan_to_num(frequency_hz - bands.centre_hz)
        lines[:, n_families + fixed] = np.exp(2j * np.pi * np.outer(known, bands.time_s))
        centre_hz[:, n_families + fixed] = np.where(np.isnan(frequency_hz), np.inf, frequency_hz)
    used = np.abs(centre_hz - bands.centre_hz[:, np.newaxis]) < REACH * bands.stop_hz
    if not used.all():
        lines *= used[:, :, np.newaxis]
    return lines, used


def _harmonics(phase: Floats, orders: npt.NDArray[np.int64]) -> Complexes:
    """Return exp(j k phase) for every order, shape (n_orders, n_times)."""
    fundamental = np.exp(1j * phase)
    rows = np.empty((orders.size, phase.size), dtype=np.complex128)
    power, reached = np.ones_like(fundamental), 0
    for row, order in enumerate(orders):
        if order - reached > FEW:
            power, reached = np.exp(1j * order * phase), order
        while reached < order:
            power = power * fundamental
            reached += 1
        rows[row] = power
    return rows


def _stepped(combs: Combs, step: Floats) -> Combs:
    n_spline = combs.coefficients.size
    return replace(combs, coefficients=combs.coefficients + step[:n_spline], rigid_hz=combs.rigid_hz + step[n_spline:])


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    lines: Complexes
    used: Booleans
    gram_inverse: Complexes
    amplitudes: Complexes
    residual: Complexes
    prior_cost: float
    cost: float


class _Workspace:
    """What stays the same over the steps of one fit."""

    def __init__(self, bands: Bands, spline: PhaseSpline, combs: Combs) -> None:
        self.bands = bands
        self.carrier = _carrier(bands)
        self.offset_s = bands.time_s - bands.spectrum.duration_s / 2
        self.basis: Floats = np.zeros((bands.time_s.size, 0))
        if combs.has_mains:
            middle = spline.middle_row()
            self.basis = spline.basis(bands.time_s)
            self.prior = spline.roughness() / spline.roughness_variance(combs.wander_hz)
            self.pin = PIN * np.outer(middle, middle)
            self.basis_gram = self.basis.T @ self.basis

    def state(self, combs: Combs) -> _State:
        """Return amplitudes and residual of one set of unknowns."""
        lines, used = _columns(self.bands, self.basis, self.carrier, combs)
        values = self.bands.values
        conjugate = lines.conj()
        gram = conjugate @ lines.transpose(0, 2, 1)
        places = np.arange(gram.shape[1])
        gram[:, places, places] = np.where(used, gram[:, places, places], 1.0)
        gram_inverse: Complexes = np.asarray(np.linalg.inv(gram), dtype=np.complex128) if gram.shape[1] else gram
        projection = values @ conjugate.transpose(0, 2, 1)
        amplitudes = projection @ gram_inverse.transpose(0, 2, 1)
        residual = values - amplitudes @ lines
        prior_cost = 0.0
        if combs.has_mains:
            prior_cost = 0.5 * float(combs.coefficients @ self.prior @ combs.coefficients)
        return _State(
            lines=lines,
            used=used,
            gram_inverse=gram_inverse,
            amplitudes=amplitudes,
            residual=residual,
            prior_cost=prior_cost,
            cost=float(_power(residual).sum()) + prior_cost,
        )

    def normal_equations(self, combs: Combs, state: _State) -> tuple[Floats, Floats, Complexes]:
        """Return gradient and Hessian of the cost, and the columns' responses (n_bands, n_columns, n_unknowns).

        The response to an unknown is what the amplitudes lose for a unit of it, per unit of the comb's own amplitude.
        """
        n_spline, n_rigid = combs.coefficients.size, combs.rigid_hz.size
        n_unknowns, first = n_spline + n_rigid, int(combs.has_mains)
        orders = self.bands.orders.astype(np.float64)
        overlaps = np.zeros((*state.used.shape, n_unknowns), dtype=np.complex128)
        hessian = np.zeros((n_unknowns, n_unknowns))
        gradient = np.zeros(n_unknowns)
        n_families = first + n_rigid
        # What the residual pulls each line's phase by, summed over the channels: band, comb, time.
        summed = state.amplitudes[:, :, :n_families].conj().transpose(0, 2, 1) @ state.residual
        pull = (summed * state.lines[:, :n_families].conj()).imag * orders[:, None, None]
        shared = np.einsum("bcm,bcn->bmn", state.amplitudes.conj(), state.amplitudes)
        if first:
            self._spline_terms(state, shared, orders, overlaps, hessian, gradient, pull, combs)
        weight = 2 * np.pi * orders
        for i in range(n_rigid):
            column, row = first + i, n_spline + i
            moved = state.lines[:, column] * self.offset_s
            overlaps[:, :, row] = 1j * weight[:, None] * np.einsum("bmt,bt->bm", state.lines.conj(), moved)
            gradient[row] = -2 * 2 * np.pi * float((pull[:, column] @ self.offset_s).sum())
            for other in range(i + 1):
                other_moved = state.lines[:, first + other] * self.offset_s
                inner = (weight**2 * shared[:, column, first + other] * (moved.conj() * other_moved).sum(axis=1)).sum()
                hessian[row, n_spline + other] = hessian[n_spline + other, row] = 2 * inner.real
            if first:
                mixed = (orders * weight * shared[:, 0, column])[:, None] * state.lines[:, 0].conj() * moved
                hessian[:n_spline, row] = hessian[row, :n_spline] = 2 * (mixed.sum(axis=0).real @ self.basis)
        responses = np.einsum("bmn,bnu->bmu", state.gram_inverse, overlaps)
        self._project(hessian, overlaps, responses, shared, n_spline, first)
        return gradient, hessian, responses

    def _spline_terms(
        self,
        state: _State,
        shared: Complexes,
        orders: Floats,
        overlaps: Complexes,
        hessian: Floats,
        gradient: Floats,
        pull: Floats,
        combs: Combs,
    ) -> None:
        n_spline = combs.coefficients.size
        for column in range(state.used.shape[1]):
            if column == 0:
                seen = state.used[:, 0, None] * self.basis.sum(axis=0)
            else:
                beat = state.lines[:, column].conj() * state.lines[:, 0]
                seen = beat.real @ self.basis + 1j * (beat.imag @ self.basis)
            overlaps[:, column, :n_spline] = 1j * orders[:, None] * seen
        strength = float((orders**2 * shared[:, 0, 0].real * state.used[:, 0]).sum())
        hessian[:n_spline, :n_spline] = 2 * strength * self.basis_gram + self.prior + self.pin
        gradient[:n_spline] = -2 * (pull[:, 0].sum(axis=0) @ self.basis) + self.prior @ combs.coefficients

    def _project(
        self,
        hessian: Floats,
        overlaps: Complexes,
        responses: Complexes,
        shared: Complexes,
        n_spline: int,
        first: int,
    ) -> None:
        """Take off the Hessian what the amplitudes can absorb."""
        n_rigid = hessian.shape[0] - n_spline
        if first:
            root = np.sqrt(shared[:, 0, 0].real)[:, None, None]
            left = (overlaps[:, :, :n_spline] * root).reshape(-1, n_spline)
            right = (responses[:, :, :n_spline] * root).reshape(-1, n_spline)
            hessian[:n_spline, :n_spline] -= 2 * (left.real.T @ right.real + left.imag.T @ right.imag)
            for i in range(n_rigid):
                taken = (shared[:, 0, first + i, None, None] * overlaps[:, :, :n_spline].conj()).reshape(-1, n_spline)
                lost = 2 * (responses[:, :, n_spline + i].reshape(-1) @ taken).real
                hessian[:n_spline, n_spline + i] -= lost
                hessian[n_spline + i, :n_spline] -= lost
        for i in range(n_rigid):
            for other in range(n_rigid):
                pair = shared[:, first + i, first + other]
                inner = (overlaps[:, :, n_spline + i].conj() * responses[:, :, n_spline + other]).sum(axis=1)
                hessian[n_spline + i, n_spline + other] -= 2 * float((pair * inner).sum().real)
