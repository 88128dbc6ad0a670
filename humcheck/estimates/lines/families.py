"""Which combs are there: every set of combs is fitted, and the set with the most evidence wins.

Sets grow one comb at a time from the best smaller ones. A comb that the residual of a smaller set shows no sign of is
not tried, which keeps the usual case cheap.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from humcheck.estimates.lines.bands import Bands
from humcheck.estimates.lines.evidence import (
    comb_log_odds,
    comb_significance,
    line_log_factor,
    log_evidence,
    safe_log_odds,
)
from humcheck.estimates.lines.joint import Combs, JointFit, fit_combs
from humcheck.estimates.lines.mirror import line_gains
from humcheck.estimates.lines.powers import comb_frequencies
from humcheck.estimates.lines.search import (
    FIELD_ABOVE_HZ,
    FIELD_BELOW_HZ,
    MAINS_REACH_HZ,
    field_grid,
    mains_path,
    path_phase,
    search_rigid,
)
from humcheck.estimates.lines.spectrum import Complexes, Floats
from humcheck.estimates.lines.spline import PhaseSpline
from humcheck.estimates.lines.steadiness import steady_lines
from humcheck.estimates.lines.wander import wander_profile

#: Wander assumed before the data have told it: large grids show about 20 mHz in 30 s.
USUAL_WANDER_HZ = 0.02
#: Extra log evidence that a comb must bring (1 in 150), and least significance of each comb against stray lines.
LEAST_EVIDENCE = 5.0
LEAST_SIGNIFICANCE = 4.0
#: The same without the strongest line, beside another comb.
LEAST_BESIDE = 2.0
#: Significance by which a comb must exceed another to take its place: two lines' worth.
MUCH_MORE = 15.0
#: Least share of a comb's power over noise in lines that keep their amplitude.
LEAST_STEADY = 0.5
#: Times that bands are weighed by what is left in them.
MOST_WEIGHINGS = 2
#: Least log odds of each comb's lines where changes of stronger lines count as noise: 3000 cells searched on top.
LEAST_ODDS = 13.0
#: Range in which fundamentals are sought.
RANGE_HZ = 2 * MAINS_REACH_HZ
#: Starts tried for a rigid comb.
N_STARTS = 2
#: Combs closer than this many cycles over the record may be one.
CLOSE_CYCLES = 0.5
#: Rigid combs closer than this are one.
FEWEST_CYCLES = 0.2
#: Most rigid combs at once: the picture of this port and that of a neighbour.
MOST_RIGID = 2
#: Samples that are left of each band where only one comb's rate is refined.
FEWEST_TIMES = 64
#: Steps of a fit that is only compared, and of one that only refines a rate; relative gain at which it has settled.
TRIAL_STEPS = 8
REFINING_STEPS = 3
TRIAL_SETTLED = 1e-5
#: A free phase that leaves less than this share of what a rigid comb leaves has found a comb that wanders.
WANDER_SHARE = 0.5
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
        """Fit from a start, to the end."""
        return fit_combs(self.bands, self.spline, combs)

    def tried(self, combs: Combs, most_steps: int = TRIAL_STEPS) -> JointFit:
        """Fit from a start far enough to compare it with others."""
        return fit_combs(self.bands, self.spline, combs, most_steps=most_steps, settled=TRIAL_SETTLED)


def best_fit(region: Region) -> JointFit:
    """Return the fit of the set of combs that the data speak for; it may have no comb at all."""
    found = _relabelled(region, _reduced(region, _grown(region)))
    for _ in range(MOST_WEIGHINGS):
        weights = band_weights(found)
        if not (weights < 1.0).any():
            break
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


def significances(fit: JointFit, *, left_out: int = 0) -> list[float]:
    """Return the significance of every comb of a fit against stray lines."""
    steady = steady_lines(fit)
    return [
        comb_significance(fit, column, RANGE_HZ, steady[:, :, column], left_out=left_out)
        for column in range(fit.n_families)
    ]


def steady_share(fit: JointFit) -> Floats:
    """Return the share of each comb's power over noise that is in steady lines, shape (n_families,)."""
    # Bands that were weighed down for what is left in them count in full here.
    gains = line_gains(fit).together / fit.bands.weight[:, :, np.newaxis] ** 2
    steady = steady_lines(fit)
    return np.asarray((gains * steady).sum(axis=(0, 1)) / np.maximum(gains.sum(axis=(0, 1)), 1e-300))


def _grown(region: Region) -> JointFit:
    best = region.fit(region.combs(np.zeros(0)))
    best_evidence = 0.0
    first_starts = _rigid_starts(region, best.residual)
    while best.n_families < 1 + MOST_RIGID:
        supported, rejected = [], []
        for fit in _larger(region, best, first_starts):
            if _is_supported(fit):
                supported.append(fit)
                if best.n_families and not unexplained(fit):
                    break
            else:
                rejected.append(fit)
        if not supported:
            return region.fit(_better_single(region, best, rejected).combs)
        chosen = _chosen(supported)
        if evidence(chosen) < best_evidence + LEAST_EVIDENCE:
            break
        best, best_evidence = chosen, evidence(chosen)
    return region.fit(best.combs)


def _better_single(region: Region, best: JointFit, pairs: list[JointFit]) -> JointFit:
    """Return the comb of a rejected pair alone where many more lines speak for it than for the one that was chosen.

    A few strong stray lines may have been taken for a comb; the comb beside them then is the true one.
    """
    if best.n_families != 1:
        return best
    needed = significances(best)[0] + MUCH_MORE
    for pair in pairs:
        by_comb = significances(pair)
        other = int(np.argmin(by_comb))
        if max(by_comb) > needed and pair.n_families == 2:
            best, needed = region.tried(without(region, pair.combs, other)), max(by_comb)
    return best


def _is_supported(fit: JointFit) -> bool:
    """Whether every comb of a fit has lines of its own; beside another comb, more than one of them."""
    if min(safe_log_odds(fit)) < LEAST_ODDS:
        return False
    wanders = fit.combs.has_mains and wander_profile(fit).seen
    if fit.n_families == 1 or (wanders and not unexplained(fit)):
        return True
    if min(significances(fit, left_out=1)) < LEAST_BESIDE:
        return False
    # Rigid combs that hardly turn against each other are one comb whose lines swell or die away.
    cycles = float(np.diff(np.sort(comb_frequencies(fit))).min()) * fit.bands.spectrum.duration_s
    return cycles > FEWEST_CYCLES or wanders


def _chosen(fits: list[JointFit]) -> JointFit:
    """Return the best of fits with equally many combs.

    Where none explains the bands, strong stray lines would decide by evidence alone: the number of lines that agree
    does instead.
    """
    clean = [fit for fit in fits if not unexplained(fit)]
    return _best(clean) if clean else max(fits, key=lambda fit: sum(significances(fit)))


def _larger(region: Region, fit: JointFit, first_starts: list[float]) -> Iterator[JointFit]:
    """Yield fits with one comb more than `fit`, the most promising start first.

    Parameters
    ----------
    region : Region
        Where.
    fit : JointFit
        Fit to grow from.
    first_starts : list of float
        Rates of rigid combs that speak before anything is fitted.
    """
    left = fit.residual
    if fit.n_families == 0:
        yield from _single_combs(region, fit, first_starts)
        return
    rigid_starts = _rigid_starts(region, left) if fit.combs.rigid_hz.size < MOST_RIGID else []
    open_question = bool(rigid_starts) or unexplained(fit)
    if region.with_mains and open_question and fit.n_families == 1:
        yield from _mixed_pairs(region, fit, first_starts)
    for rate_hz in rigid_starts:
        yield region.tried(replace(fit.combs, rigid_hz=np.append(fit.combs.rigid_hz, rate_hz)))
    if region.with_mains and not fit.combs.has_mains and fit.n_families > 1 and open_question:
        yield region.tried(_with_mains(region, fit.combs, left))
    if open_question and fit.combs.rigid_hz.size < MOST_RIGID:
        for rate_hz in _rigid_starts(region, in_quadrature(fit, left)):
            if all(abs(rate_hz - start) > _least_distance(region) for start in rigid_starts):
                yield region.tried(replace(fit.combs, rigid_hz=np.append(fit.combs.rigid_hz, rate_hz)))


def _single_combs(region: Region, nothing: JointFit, starts: list[float]) -> Iterator[JointFit]:
    """Yield fits of one comb: rigid, wandering, and wandering about the rigid one's rate where neither explains all."""
    rigid = [region.tried(region.combs(np.array([rate]))) for rate in starts[:1]]
    yield from rigid
    if not region.with_mains:
        return
    free = region.tried(_with_mains(region, nothing.combs, nothing.residual))
    yield free
    if rigid and unexplained(rigid[0]) and unexplained(free):
        yield region.tried(_about(region, rigid[0], 0))


def _mixed_pairs(region: Region, fit: JointFit, starts: list[float]) -> Iterator[JointFit]:
    """Yield fits of one wandering and one rigid comb that begin with the rigid one.

    A free phase may have taken the mean of two combs for one. It has not where it explains much more than a rigid comb.
    """
    for rate_hz in starts:
        rigid = region.tried(region.combs(np.array([rate_hz])))
        if fit.combs.has_mains and fit.cost < WANDER_SHARE * rigid.cost:
            continue
        yield region.tried(_with_mains(region, rigid.combs, rigid.residual))


def _best(fits: list[JointFit]) -> JointFit:
    """Return the fit with the most evidence."""
    return max(fits, key=evidence)


def _relabelled(region: Region, fit: JointFit) -> JointFit:
    """Return the best fit of the same combs, whichever of them wanders: the first one found need not be it."""
    if fit.combs.has_mains and not unexplained(fit) and wander_profile(fit).seen:
        return fit
    tried = [region.tried(region.combs(comb_frequencies(fit)))] if fit.combs.has_mains else []
    for column in range(int(fit.combs.has_mains), fit.n_families if region.with_mains else 0):
        tried.append(loosened(region, fit, column))
    best = _best([fit, *tried])
    return fit if best is fit else region.fit(best.combs)


def loosened(region: Region, fit: JointFit, column: int) -> JointFit:
    """Return a fit again with one of its combs free to wander and all others rigid.

    Where the fit leaves something, its frequency may be far off at times: then its path is sought anew.
    """
    rates_hz = comb_frequencies(fit)
    rigid = region.combs(np.delete(rates_hz, column))
    if unexplained(fit):
        others = region.tried(rigid)
        return region.tried(_with_mains(region, others.combs, others.residual))
    return region.tried(_about(region, fit, column))


def _about(region: Region, fit: JointFit, column: int) -> Combs:
    """Return unknowns in which one comb may wander about its rate and all others are rigid."""
    rates_hz = comb_frequencies(fit)
    rigid = region.combs(np.delete(rates_hz, column))
    loose = np.zeros(region.spline.n_coefficients)
    return replace(rigid, mains_hz=float(rates_hz[column]), coefficients=loose)


def unexplained(fit: JointFit) -> bool:
    """Whether more than noise is left, in some band or in all together."""
    n_left = fit.residual_power.size * fit.bands.time_s.size - fit.residual_power.shape[1] * fit.used.sum()
    excess = float(fit.residual_power.sum()) - n_left
    return excess > TOTAL_SD * np.sqrt(n_left) or bool((band_weights(fit) < 1.0).any())


def _rigid_starts(region: Region, left: Complexes) -> list[float]:
    """Return the rates of rigid combs that a residual speaks for, best first, by fits of the residual alone."""
    rates_hz = field_grid(region.nominal_hz, region.bands.spectrum.duration_s, int(region.bands.orders.max()))
    alone = replace(region, bands=replace(region.bands, values=left), fixed_hz=region.fixed_hz[:, :0])
    found = search_rigid(alone.bands, left, rates_hz)
    n_joined = max(1, left.shape[2] // FEWEST_TIMES)
    fits = []
    for place in found.peaks(N_STARTS):
        if comb_log_odds(line_log_factor(found.gains[place]).ravel()) > LEAST_EVIDENCE:
            near = replace(alone, bands=alone.bands.around(float(rates_hz[place]), n_joined))
            fit = near.tried(near.combs(rates_hz[[place]]), REFINING_STEPS)
            if log_evidence(fit, RANGE_HZ) > 0.0 and in_field_range(region, fit):
                fits.append(fit)
    fits.sort(key=evidence, reverse=True)
    return _distinct([float(fit.combs.rigid_hz[0]) for fit in fits], _least_distance(region))


def _least_distance(region: Region) -> float:
    """Return the distance at which two starts of a rigid comb differ, in Hz."""
    return 0.1 / region.bands.spectrum.duration_s


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
    """Drop combs that stray lines explain as well, and combs of lines that do not keep their amplitude."""
    while fit.n_families:
        by_comb = np.where(steady_share(fit) < LEAST_STEADY, -np.inf, significances(fit))
        worst = int(np.argmin(by_comb))
        if by_comb[worst] > LEAST_SIGNIFICANCE:
            return fit
        fit = region.fit(without(region, fit.combs, worst))
    return fit
