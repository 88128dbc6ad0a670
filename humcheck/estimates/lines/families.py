"""Which combs are there: every set of combs is fitted, and the set with the most evidence wins.

Sets grow one comb at a time from the best smaller ones. A comb that the residual of a smaller set shows no sign of is
not tried, which keeps the usual case cheap.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from humcheck.estimates.lines.bands import Bands
from humcheck.estimates.lines.evidence import comb_significance, log_evidence, safe_log_odds
from humcheck.estimates.lines.joint import Combs, JointFit, fit_combs
from humcheck.estimates.lines.powers import comb_frequencies
from humcheck.estimates.lines.search import (
    FIELD_ABOVE_HZ,
    FIELD_BELOW_HZ,
    MAINS_REACH_HZ,
    best_peaks,
    field_grid,
    mains_path,
    path_phase,
    rigid_scores,
)
from humcheck.estimates.lines.spectrum import Complexes, Floats
from humcheck.estimates.lines.spline import PhaseSpline
from humcheck.estimates.lines.steadiness import steady_lines

#: Wander assumed before the data have told it: large grids show about 20 mHz in 30 s.
USUAL_WANDER_HZ = 0.02
#: Extra log evidence that a comb must bring (1 in 150), and least significance of each comb against stray lines.
LEAST_EVIDENCE = 5.0
LEAST_SIGNIFICANCE = 4.0
#: Least log odds of each comb's lines where changes of stronger lines count as noise: 3000 cells searched on top.
LEAST_ODDS = 13.0
#: Range in which fundamentals are sought.
RANGE_HZ = 2 * MAINS_REACH_HZ
#: Starts tried for a rigid comb.
N_STARTS = 2
#: Combs closer than this many cycles over the record may be one.
CLOSE_CYCLES = 0.5
#: Most rigid combs at once: the picture of this port and that of a neighbour.
MOST_RIGID = 2
#: Excess of a band's residual over noise, in standard deviations of noise, that makes the band count less.
EXCESS_SD = 5.0
#: The same for all bands together, where the fit is tried again from other starts.
TOTAL_SD = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """Bands around the harmonics of one nominal frequency, and what is already known to stand in them.

    Attributes
    ----------
    nominal_hz : float
        50 or 60.
    bands : Bands
        Data.
    spline : PhaseSpline
        Basis of the mains phase.
    fixed_hz : numpy.ndarray, shape (n_bands, n_fixed)
        Other lines, NaN where none.
    with_mains : bool
        Whether a comb with a free phase is sought.
    """

    nominal_hz: float
    bands: Bands
    spline: PhaseSpline
    fixed_hz: Floats
    with_mains: bool

    def combs(self, rigid_hz: Floats) -> Combs:
        """Return unknowns with these rigid combs and no mains."""
        return Combs(
            mains_hz=None,
            coefficients=np.zeros(0),
            wander_hz=USUAL_WANDER_HZ,
            rigid_hz=np.asarray(rigid_hz, dtype=np.float64),
            fixed_hz=self.fixed_hz,
        )

    def fit(self, combs: Combs) -> JointFit:
        """Fit from a start."""
        return fit_combs(self.bands, self.spline, combs)


def best_fit(region: Region) -> JointFit:
    """Return the fit of the set of combs that the data speak for; it may have no comb at all."""
    found = _relabelled(region, _reduced(region, _grown(region)))
    weights = band_weights(found)
    if (weights < 1.0).any():
        region = replace(region, bands=region.bands.reweighted(weights))
        found = _relabelled(region, _reduced(region, _grown(region)))
    return _pruned(region, found)


def band_weights(fit: JointFit) -> Floats:
    """Return the weight of every band and channel, shape (n_bands, n_ch): less where more than noise is left."""
    n_left = fit.bands.time_s.size - fit.used.sum(axis=1)[:, np.newaxis]
    excess = fit.residual_power / np.maximum(n_left, 1)
    return np.where(excess > 1.0 + EXCESS_SD / np.sqrt(n_left), 1.0 / np.sqrt(np.maximum(excess, 1.0)), 1.0)


def evidence(fit: JointFit) -> float:
    """Return ln(Bayes factor) of a fit against noise."""
    return log_evidence(fit, RANGE_HZ)


def significances(fit: JointFit) -> list[float]:
    """Return the significance of every comb of a fit against stray lines."""
    steady = steady_lines(fit)
    return [comb_significance(fit, column, RANGE_HZ, steady[:, :, column]) for column in range(fit.n_families)]


def _grown(region: Region) -> JointFit:
    best = region.fit(region.combs(np.zeros(0)))
    best_evidence = 0.0
    raw = best.residual
    while best.n_families < 1 + MOST_RIGID:
        larger = [fit for fit in _larger(region, best, raw) if min(safe_log_odds(fit)) > LEAST_ODDS]
        if not larger:
            break
        by_evidence = [evidence(fit) for fit in larger]
        top = int(np.argmax(by_evidence))
        if by_evidence[top] < best_evidence + LEAST_EVIDENCE:
            break
        best, best_evidence = larger[top], by_evidence[top]
    return best


def _larger(region: Region, fit: JointFit, raw: Complexes) -> list[JointFit]:
    """Return fits with one comb more than `fit`, each from a start that its residual suggests."""
    left = fit.residual
    rigid_starts = []
    if fit.combs.rigid_hz.size < MOST_RIGID:
        rigid_starts = _rigid_starts(region, left, in_quadrature(fit, left))
    fits = [region.fit(replace(fit.combs, rigid_hz=np.append(fit.combs.rigid_hz, rate_hz))) for rate_hz in rigid_starts]
    if not region.with_mains or (fits and not unexplained(_best(fits))):
        return fits
    if not fit.combs.has_mains and (fit.n_families == 0 or fits or unexplained(fit)):
        if fits and fit.n_families:
            fits.append(_loosened(region, _best(fits)))
        fits.append(region.fit(_with_mains(region, fit.combs, left)))
    elif fit.n_families == 1 and fits:
        # A free phase may have taken the mean of two combs for one: begin with the rigid one.
        for rate_hz in _rigid_starts(region, raw, raw):
            rigid = region.fit(region.combs(np.array([rate_hz])))
            fits.append(region.fit(_with_mains(region, rigid.combs, rigid.residual)))
    return fits


def _best(fits: list[JointFit]) -> JointFit:
    """Return the fit with the most evidence."""
    return max(fits, key=evidence)


def _loosened(region: Region, fit: JointFit, column: int = 0) -> JointFit:
    """Return a fit again with one of its combs free to wander and all others rigid."""
    rates_hz = comb_frequencies(fit)
    start = region.combs(np.delete(rates_hz, column))
    return region.fit(
        replace(start, mains_hz=float(rates_hz[column]), coefficients=np.zeros(region.spline.n_coefficients))
    )


def _relabelled(region: Region, fit: JointFit) -> JointFit:
    """Return the best fit of the same combs, whichever of them wanders: the first one found need not be it."""
    if not region.with_mains or fit.n_families < 2:
        return fit
    wandering = 0 if fit.combs.has_mains else None
    others = [_loosened(region, fit, column) for column in range(fit.n_families) if column != wandering]
    return _best([fit, *others])


def unexplained(fit: JointFit) -> bool:
    """Whether more than noise is left, in some band or in all together."""
    n_left = fit.residual_power.size * fit.bands.time_s.size - fit.residual_power.shape[1] * fit.used.sum()
    excess = float(fit.residual_power.sum()) - n_left
    return excess > TOTAL_SD * np.sqrt(n_left) or bool((band_weights(fit) < 1.0).any())


def _rigid_starts(region: Region, left: Complexes, quadrature: Complexes) -> list[float]:
    """Return the rates of rigid combs that a residual speaks for, by fits of the residual alone.

    Parameters
    ----------
    region : Region
        Where.
    left, quadrature : numpy.ndarray, shape (n_bands, n_ch, n_times)
        The residual, and the same without what changes of the strongest lines' sizes leave in it.
    """
    rates_hz = field_grid(region.nominal_hz, region.bands.spectrum.duration_s, int(region.bands.orders.max()))
    starts: list[float] = []
    for values in (left,) if left is quadrature else (left, quadrature):
        alone = replace(region, bands=replace(region.bands, values=values), fixed_hz=region.fixed_hz[:, :0])
        for peak in best_peaks(rates_hz, rigid_scores(alone.bands, values, rates_hz), N_STARTS):
            fit = alone.fit(alone.combs(np.array([peak])))
            if log_evidence(fit, RANGE_HZ) > 0.0 and in_field_range(region, fit):
                starts.append(float(fit.combs.rigid_hz[0]))
    return _distinct(starts, 0.1 / region.bands.spectrum.duration_s)


def in_quadrature(fit: JointFit, left: Complexes) -> Complexes:
    """Return a residual without what is in phase with each band's strongest line, where changes of its size stand."""
    if not fit.n_families:
        return left
    strongest = (np.abs(fit.amplitudes[:, :, : fit.n_families]) ** 2).sum(axis=1).argmax(axis=1)
    rows = np.arange(left.shape[0])
    line = fit.amplitudes[rows, :, strongest][:, :, np.newaxis] * fit.lines[rows, strongest][:, np.newaxis]
    unit = line / np.maximum(np.abs(line), 1e-300)
    return np.asarray(left - (left * unit.conj()).real * unit)


def _distinct(values: list[float], least_distance: float) -> list[float]:
    """Return the values without those that lie close to an earlier one."""
    kept: list[float] = []
    for value in values:
        if all(abs(value - other) > least_distance for other in kept):
            kept.append(value)
    return kept


def in_field_range(region: Region, fit: JointFit) -> bool:
    """Whether the last rigid comb of a fit kept within the range of field rates."""
    offset_hz = float(fit.combs.rigid_hz[-1]) - region.nominal_hz
    return -FIELD_BELOW_HZ - 0.01 < offset_hz < FIELD_ABOVE_HZ + 0.01


def _with_mains(region: Region, combs: Combs, left: Complexes) -> Combs:
    """Return `combs` with a mains comb that starts from the best path through the residual."""
    bands = region.bands
    time_s, frequency_hz = mains_path(bands, left, region.nominal_hz)
    mains_hz = float(frequency_hz.mean())
    basis = region.spline.basis(bands.time_s)
    phase = path_phase(time_s, frequency_hz, bands.time_s, mains_hz)
    normal = basis.T @ basis + 1e-3 * region.spline.roughness() + 1e-9 * np.eye(basis.shape[1])
    coefficients = np.asarray(np.linalg.solve(normal, basis.T @ phase), dtype=np.float64)
    coefficients -= region.spline.middle_row() @ coefficients
    return replace(combs, mains_hz=mains_hz, coefficients=coefficients)


def _reduced(region: Region, fit: JointFit) -> JointFit:
    """Take combs away again that the others explain: growing one by one can leave a fit in a poor place."""
    while fit.n_families > 1:
        frequency_hz = np.sort(comb_frequencies(fit))
        close = np.diff(frequency_hz).min() * fit.bands.spectrum.duration_s < CLOSE_CYCLES
        if fit.n_families < 3 and not close:
            return fit
        smaller = [region.fit(without(region, fit.combs, column)) for column in range(fit.n_families)]
        best = max(smaller, key=evidence)
        if evidence(best) < evidence(fit) - LEAST_EVIDENCE:
            return fit
        fit = best
    return fit


def without(region: Region, combs: Combs, column: int) -> Combs:
    """Return the unknowns without one comb."""
    first = int(combs.has_mains)
    if first and column == 0:
        return region.combs(combs.rigid_hz)
    return replace(combs, rigid_hz=np.delete(combs.rigid_hz, column - first))


def _pruned(region: Region, fit: JointFit) -> JointFit:
    """Drop combs that stray lines explain as well."""
    while fit.n_families:
        by_comb = significances(fit)
        worst = int(np.argmin(by_comb))
        if by_comb[worst] > LEAST_SIGNIFICANCE:
            return fit
        fit = region.fit(without(region, fit.combs, worst))
    return fit
