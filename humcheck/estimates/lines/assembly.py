"""Families as results, put together from fits and readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from humcheck.estimates.lines.bands import Indices
from humcheck.estimates.lines.clock_walk import WALKS, parts_of, phase_parts, walked_rate
from humcheck.estimates.lines.comb_lines import CERTAIN, CombLines, Rate
from humcheck.estimates.lines.harmonics import NO_LINES, LineReadings, read_harmonics, refined_law, unite
from humcheck.estimates.lines.joint import Booleans, JointFit
from humcheck.estimates.lines.labels import frame_numbers, sidebands
from humcheck.estimates.lines.lone_lines import LoneLines, skirt_bins
from humcheck.estimates.lines.naming import name_combs
from humcheck.estimates.lines.phases import PhaseLaw, phase_law, wander
from humcheck.estimates.lines.powers import joint_power, line_powers
from humcheck.estimates.lines.result import FamilyEstimate
from humcheck.estimates.lines.section import RegionFit
from humcheck.estimates.lines.spectrum import Floats, QuietSpectrum
from humcheck.estimates.lines.swell import read_swell
from humcheck.estimates.lines.wander import wander_profile
from humcheck.results.rows import Family

#: Power over noise of a line that stands out: one in 10000 (exponential distribution).
STANDS_OUT = 9.2
#: Two combs are not told apart where a level is less certain than this, dB, and this many times less than if the other
#: were known.
LEAST_CERTAIN_DB = 0.05
INFLATION = 3.0
#: Walks of mains whose wander was not seen, change in a minute.
MAINS_WALKS_HZ = np.sqrt(2.0) * 10.0 ** np.arange(-4.0, -1.1, 0.25)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NamedComb:
    """One comb, or several that are not told apart.

    Attributes
    ----------
    kind : str
        Family.
    fit : JointFit
        Fit that it is part of, in the channels as they are.
    sought : JointFit
        The same combs in channels whose noise is independent.
    columns : tuple of int
        Its combs there.
    """

    kind: Family
    fit: JointFit
    sought: JointFit
    columns: tuple[int, ...]


def named_combs(found: RegionFit, line_rates_hz: Floats) -> list[NamedComb]:
    """Return the combs of a region with their names; those whose levels are confused become one of unknown kind."""
    kinds = name_combs(found.region, found.sought, line_rates_hz)
    confused = confused_combs(found.fit)
    named = [
        NamedComb(kind=kind, fit=found.fit, sought=found.sought, columns=(column,))
        for column, kind in enumerate(kinds)
        if column not in confused
    ]
    if confused:
        kind: Family = "field" if all(kinds[column] == "field" for column in confused) else "mains_or_field"
        named.append(NamedComb(kind=kind, fit=found.fit, sought=found.sought, columns=confused))
    return named


def confused_combs(fit: JointFit) -> tuple[int, ...]:
    """Return the combs that are not told apart, empty or two or more."""
    doubtful = []
    for column in range(fit.n_families if fit.n_families > 1 else 0):
        powers = line_powers(fit, column)
        total = np.maximum(powers.mean_square.sum(axis=0), 0.0)
        sd = np.sqrt(powers.covariance.sum(axis=(1, 2)))
        alone = np.sqrt(powers.alone_variance.sum(axis=0))
        weak = (sd > INFLATION * alone) & (sd > total * (10 ** (LEAST_CERTAIN_DB / 10) - 1))
        if weak.any():
            doubtful.append(column)
    if len(doubtful) == 1:
        laws = [phase_law(fit, column) for column in range(fit.n_families)]
        others = [column for column in range(fit.n_families) if column != doubtful[0]]
        doubtful.append(min(others, key=lambda column: abs(laws[column].mean_hz - laws[doubtful[0]].mean_hz)))
    return tuple(sorted(doubtful))


def comb_family(
    spectrum: QuietSpectrum,
    laws: Sequence[PhaseLaw],
    comb: NamedComb,
    places: Sequence[int],
    steady_hz: Floats = NO_LINES,
) -> FamilyEstimate:
    """Return the family of one named comb with its lines up to the top of the band.

    Parameters
    ----------
    spectrum : QuietSpectrum
        The section.
    laws : sequence of PhaseLaw
        Phases of all combs of the section.
    comb : NamedComb
        Which.
    places : sequence of int
        Where its combs stand among `laws`.
    steady_hz : numpy.ndarray, optional
        Lines of no comb that may stand in its bands.
    """
    laws = list(laws)
    fitted, covariance = _fitted(comb)
    upper_orders = np.arange(int(fitted.orders[-1]) + 1, int(spectrum.highest_hz / laws[places[0]].mean_hz) + 1)
    upper = unite([read_harmonics(spectrum, laws, place, upper_orders, steady_hz) for place in places])
    strong = upper_orders[(upper.gain > CERTAIN).any(axis=1)]
    if len(places) == 1 and laws[places[0]].spline is None:
        laws[places[0]] = _walked_law(spectrum, laws, places[0], strong, comb)
        upper = read_harmonics(spectrum, laws, places[0], upper_orders, steady_hz) if strong.size else upper
    law = laws[places[0]]
    mean_square = np.concatenate([fitted.mean_square, upper.mean_square])
    orders = np.concatenate([fitted.orders, upper.orders])
    wander_hz, wander_sd_hz, wander_upper_hz = _wander(comb)
    return FamilyEstimate(
        kind=comb.kind,
        fundamental_hz=law.mean_hz,
        fundamental_sd_hz=law.sd_hz,
        wander_hz=wander_hz,
        wander_sd_hz=wander_sd_hz,
        wander_upper_hz=wander_upper_hz,
        harmonics=tuple(int(order) for order in orders),
        sidebands=(0,) * orders.size,
        frequency_hz=orders * law.mean_hz,
        mean_square=mean_square,
        mean_square_sd=np.concatenate([fitted.sd, upper.sd]),
        covariance=covariance,
        detected=np.concatenate([fitted.gain, upper.gain]) > STANDS_OUT,
        amplitude=np.concatenate([fitted.amplitude, upper.amplitude]),
        power=mean_square.sum(axis=0),
        power_sd=np.sqrt(np.maximum(covariance.sum(axis=(1, 2)), 0.0) + (upper.sd**2).sum(axis=0)),
        phase=law.beside_mean(),
        reach_hz=law.reach_hz,
    )


def _walked_law(
    spectrum: QuietSpectrum, laws: Sequence[PhaseLaw], place: int, strong: Indices, comb: NamedComb
) -> PhaseLaw:
    """Return a rigid comb's law with the rate that all its lines tell, and what the clocks' walk leaves open of it."""
    law, fit, column = laws[place], comb.sought, comb.columns[0]
    used = fit.used[:, column]
    turned = fit.residual[used] * fit.lines[used, column].conj()[:, np.newaxis]
    amplitude = fit.amplitudes[used, :, column]
    orders = fit.bands.orders[used].astype(np.float64)
    parts = phase_parts(
        turned + amplitude[:, :, np.newaxis], amplitude, orders, fit.bands.time_s, parts_of(spectrum.duration_s)
    )
    if strong.size:
        refined, upper_parts = refined_law(spectrum, laws, place, strong)
        parts = parts.beside(refined.base_hz - law.base_hz, spectrum.duration_s / 2) + upper_parts
        law = refined
    strengths = WALKS if comb.kind == "field" else np.concatenate([WALKS, MAINS_WALKS_HZ / law.base_hz])
    walked = walked_rate(parts, np.array([law.base_hz]), spectrum.section_s, strengths=strengths)
    return replace(
        law,
        mean_hz=law.base_hz + float(walked.offset_hz[0]),
        sd_hz=float(np.hypot(law.sd_hz, walked.walk_sd_hz[0])),
        scatter=law.scatter + float(walked.scatter[0]),
    )


def _fitted(comb: NamedComb) -> tuple[LineReadings, Floats]:
    """Return the lines that were fitted together, and the covariance of their mean squares, (n_ch, n, n)."""
    orders = comb.fit.bands.orders
    if len(comb.columns) == 1:
        powers = line_powers(comb.fit, comb.columns[0])
        swell = read_swell(comb.fit, comb.columns[0], powers.mean_square)
        mean_square = powers.mean_square * swell.power_factor
        # It swells all lines together.
        common = (mean_square * swell.sd).T
        covariance = powers.covariance + common[:, :, np.newaxis] * common[:, np.newaxis]
        readings = LineReadings(
            orders=orders,
            amplitude=powers.amplitude,
            variance=powers.amplitude_variance,
            mean_square=mean_square,
            sd=np.sqrt(np.maximum(np.einsum("cbb->bc", covariance), 0.0)),
        )
        return readings, covariance
    mean_square, sd = joint_power(comb.fit, list(comb.columns))
    variance = 2.0 * comb.fit.bands.spectrum.line_variance(orders * phase_law(comb.fit, comb.columns[0]).mean_hz).T
    readings = LineReadings(
        orders=orders,
        amplitude=np.sqrt(np.maximum(2 * mean_square, 0.0)).astype(np.complex128),
        variance=variance,
        mean_square=mean_square,
        sd=sd,
    )
    return readings, np.stack([np.diag(channel) for channel in (sd**2).T])


def family_of_lines(parts: Sequence[CombLines], kind: Family, rate: Rate, *, power_sd: Floats) -> FamilyEstimate:
    """Return a rigid family from its lines.

    Parameters
    ----------
    parts : sequence of CombLines
        Its harmonics, and maybe lines halfway between them, numbered in halves, which have no order of their own.
    kind : str
        Family.
    rate : Rate
        Its fundamental.
    power_sd : numpy.ndarray, shape (n_ch,)
        Standard uncertainty of the power of all lines.
    """
    orders = np.concatenate([part.orders if index == 0 else part.orders / 2 for index, part in enumerate(parts)])
    by_order = np.argsort(orders)
    whole = np.where(orders % 1 == 0, orders, 0).astype(np.int64)[by_order]
    mean_square = np.vstack([part.mean_square for part in parts])[by_order]
    return FamilyEstimate(
        kind=kind,
        fundamental_hz=rate.hz,
        fundamental_sd_hz=rate.sd_hz,
        harmonics=tuple(int(order) for order in whole),
        sidebands=(0,) * whole.size,
        frequency_hz=orders[by_order] * rate.hz,
        mean_square=mean_square,
        mean_square_sd=np.vstack([part.sd for part in parts])[by_order],
        covariance=np.zeros((mean_square.shape[1], 0, 0)),
        detected=np.vstack([part.detected for part in parts])[by_order],
        amplitude=np.vstack([part.amplitude for part in parts])[by_order],
        power=mean_square.sum(axis=0),
        power_sd=power_sd,
    )


def _wander(comb: NamedComb) -> tuple[float | None, float | None, float | None]:
    """Return wander, its standard uncertainty, and its bound where none was seen."""
    if not comb.fit.combs.has_mains or comb.columns != (0,) or comb.kind == "field":
        return None, None, None
    profile = wander_profile(comb.fit)
    wander_hz, sd_hz = wander(comb.fit)
    return wander_hz, sd_hz, None if profile.seen else wander_hz + 1.645 * sd_hz


def lone_families(lines: LoneLines, line_rates_hz: Floats, duration_s: float) -> list[FamilyEstimate]:
    """Return line-rate, digital and other lines as families."""
    n_lines = lines.frequency_hz.size
    at_line_rate, number = np.zeros(n_lines, dtype=np.bool_), np.zeros(n_lines, dtype=np.int64)
    for line_hz in line_rates_hz:
        at_line_rate, number = sidebands(lines, float(line_hz), 1.0 / duration_s)
    frames = np.where(at_line_rate, 0, frame_numbers(lines, 0.5 / duration_s))
    ones = np.ones(n_lines, dtype=np.int64)
    families = []
    if at_line_rate.any():
        families.append(_lone_family("line_rate", lines, at_line_rate, ones, number))
    if (frames > 0).any():
        families.append(_lone_family("digital", lines, frames > 0, frames, 0 * ones))
    other = ~at_line_rate & (frames == 0)
    if other.any():
        families.append(_lone_family("other", lines, other, ones, 0 * ones))
    return families


def _lone_family(
    kind: Family, lines: LoneLines, which: Booleans, orders: np.ndarray, numbers: np.ndarray
) -> FamilyEstimate:
    """Return a family of lone lines; sidebands are listed, but the line rate's level is its own line's."""
    own = lines.chosen(which)
    orders, numbers = orders[which], numbers[which]
    counted = numbers == 0
    mean_square, sd = own.mean_square, own.mean_square_sd
    strongest = int(np.where(counted, mean_square.sum(axis=1), -np.inf).argmax())
    return FamilyEstimate(
        kind=kind,
        fundamental_hz=float(own.frequency_hz[strongest] / orders[strongest]),
        fundamental_sd_hz=float(own.sd_hz[strongest] / orders[strongest]),
        harmonics=tuple(int(order) for order in orders),
        sidebands=tuple(int(number) for number in numbers),
        frequency_hz=own.frequency_hz,
        mean_square=mean_square,
        mean_square_sd=sd,
        covariance=np.zeros((mean_square.shape[1], 0, 0)),
        detected=np.abs(own.amplitude) ** 2 / own.variance > STANDS_OUT,
        amplitude=own.amplitude,
        power=mean_square[counted].sum(axis=0),
        power_sd=np.sqrt((sd[counted] ** 2).sum(axis=0)),
    )


def near_combs(spectrum: QuietSpectrum, families: Sequence[FamilyEstimate]) -> Booleans:
    """Return which bins belong to a comb: to its lines, their wander, or their skirts above the noise, (n_bins,)."""
    near = np.zeros(spectrum.hann_power.shape[1], dtype=np.bool_)
    for family in families:
        variance = spectrum.line_variance(family.frequency_hz).T
        over = np.max(2 * family.mean_square / variance, axis=1, initial=1.0)
        reach_hz = skirt_bins(over) * spectrum.bin_hz
        reach_hz = reach_hz + 1.5 * np.array(family.harmonics) * family.reach_hz
        first = np.maximum(np.floor((family.frequency_hz - reach_hz) / spectrum.bin_hz).astype(int), 0)
        last = np.ceil((family.frequency_hz + reach_hz) / spectrum.bin_hz).astype(int)
        for low, high in zip(first, last, strict=True):
            near[low : high + 1] = True
    return near
