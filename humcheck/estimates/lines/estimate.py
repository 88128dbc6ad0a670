"""All steady lines of a quiet section: mains, picture, line rate, digital links, others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from humcheck.errors import MeasurementError
from humcheck.estimates.lines.assembly import comb_family, lone_families, named_combs, near_combs
from humcheck.estimates.lines.bounds import MAINS_ORDERS, ONE_SIDED_95, comb_bound, line_bound, remainder
from humcheck.estimates.lines.joint import Booleans
from humcheck.estimates.lines.labels import LINE_RATES_HZ, line_rate
from humcheck.estimates.lines.lone_lines import find_lone_lines
from humcheck.estimates.lines.phases import PhaseLaw, phase_law
from humcheck.estimates.lines.raster_comb import picture_comb, with_half_lines
from humcheck.estimates.lines.result import FamilyEstimate, LineEstimate
from humcheck.estimates.lines.section import NOMINALS_HZ, RegionFit, fit_section
from humcheck.estimates.lines.spectrum import Floats, QuietSpectrum, read_spectrum
from humcheck.results.rows import Family

#: Range about the nominal frequency in which combs that were not found are bounded.
BOUNDED_HZ: dict[Family, tuple[float, float]] = {"mains": (-0.2, 0.2), "field": (-0.4, 0.2)}
WITH_PICTURE = ("field", "mains_or_field")
#: Bins on either side of the line rate in which a picture's harmonic is the line rate itself.
OWN_BINS = 4


def fit_lines(samples: Floats, rate_hz: float, *, mains_hz: float | None = None) -> LineEstimate:
    """Find and measure the steady lines in a section in which nothing plays.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        Full scale 1.0; one or two channels.
    rate_hz : float
        Sampling rate in Hz.
    mains_hz : float, optional
        Nominal mains frequency, 50 or 60; decided from the lines where it is not given.

    Returns
    -------
    LineEstimate
        With standard uncertainties, and bounds for families that were not found.

    Raises
    ------
    MeasurementError
        If the section is shorter than 0.8 s, holds samples that are not finite, or if what plays in it cannot be told
        from hum.
    """
    try:
        return _estimated(read_spectrum(samples, rate_hz), mains_hz)
    except np.linalg.LinAlgError as error:
        reason = "What plays in the section is too unsteady for hum and buzz to be told from it."
        raise MeasurementError(reason) from error


def _estimated(spectrum: QuietSpectrum, mains_hz: float | None) -> LineEstimate:
    found = fit_section(spectrum, mains_hz)
    line_rates_hz = _line_rates(spectrum)
    families = _comb_families(spectrum, found, line_rates_hz)
    decided_hz = mains_hz or _nominal_of_mains(families, found)
    families, raster_bound = _with_raster(spectrum, _one_mains(families, decided_hz), line_rates_hz)
    taken = near_combs(spectrum, families)
    families = [_without_line_rate(family, line_rates_hz, spectrum.bin_hz) for family in families]
    lone = find_lone_lines(spectrum, _open_around(taken, line_rates_hz, spectrum.bin_hz))
    families += lone_families(lone, line_rates_hz, spectrum.duration_s)
    bounds = _bounds(spectrum, families, taken, mains_hz)
    if "field" in bounds:
        bounds["field"] = np.maximum(bounds["field"], raster_bound)
    return LineEstimate(
        families=tuple(families),
        bounds=bounds,
        nominal_hz=decided_hz,
        highest_hz=spectrum.highest_hz,
        duration_s=spectrum.duration_s,
    )


def _comb_families(
    spectrum: QuietSpectrum, found: dict[float, RegionFit], line_rates_hz: Floats
) -> list[FamilyEstimate]:
    combs = [comb for region_fit in found.values() for comb in named_combs(region_fit, line_rates_hz)]
    laws: list[PhaseLaw] = []
    places: list[range] = []
    for comb in combs:
        places.append(range(len(laws), len(laws) + len(comb.columns)))
        laws += [phase_law(comb.fit, column) for column in comb.columns]
    return [comb_family(spectrum, laws, comb, own) for comb, own in zip(combs, places, strict=True)]


def _with_raster(
    spectrum: QuietSpectrum, families: list[FamilyEstimate], line_rates_hz: Floats
) -> tuple[list[FamilyEstimate], Floats]:
    """Return the families with what the line rate tells of the picture, and the bound of a picture not found."""
    none = np.zeros(spectrum.n_channels)
    if not line_rates_hz.size:
        return families, none
    line_hz = float(line_rates_hz[0])
    if not any(family.kind in WITH_PICTURE for family in families):
        picture, bound = picture_comb(spectrum, line_hz, families)
        return families + ([] if picture is None else [picture]), bound
    others = [family for family in families if family.kind not in WITH_PICTURE]
    whole = [
        with_half_lines(spectrum, family, line_hz, others) if family.kind in WITH_PICTURE else family
        for family in families
    ]
    return whole, none


def _line_rates(spectrum: QuietSpectrum) -> Floats:
    """Return the strongest line near the line rates of pictures, if one stands out, shape (0,) or (1,)."""
    if spectrum.highest_hz < LINE_RATES_HZ[1]:
        return np.zeros(0)
    nothing_taken = np.zeros(spectrum.hann_power.shape[1], dtype=np.bool_)
    return line_rate(find_lone_lines(spectrum, nothing_taken, *LINE_RATES_HZ))


def _open_around(taken: Booleans, line_rates_hz: Floats, bin_hz: float) -> Booleans:
    """Return the bins that combs have taken, the line rate's own left open."""
    opened = taken.copy()
    for line_hz in line_rates_hz:
        middle = round(line_hz / bin_hz)
        opened[max(middle - OWN_BINS, 0) : middle + OWN_BINS + 1] = False
    return opened


def _nominal_of_mains(families: Sequence[FamilyEstimate], found: dict[float, RegionFit]) -> float:
    """Return the nominal frequency of the mains found, or else of the stronger comb."""
    for kind in ("mains", "mains_or_field", "field"):
        for family in families:
            if family.kind == kind:
                return min(NOMINALS_HZ, key=lambda nominal_hz: abs(nominal_hz - family.fundamental_hz))
    return next(iter(found))


def _one_mains(families: list[FamilyEstimate], nominal_hz: float) -> list[FamilyEstimate]:
    """Where mains of one nominal frequency are certain, what is undecided around the other one is a picture."""
    if not any(family.kind == "mains" for family in families):
        return families
    return [
        replace(family, kind="field")
        if family.kind == "mains_or_field" and abs(family.fundamental_hz - nominal_hz) > 1.0
        else family
        for family in families
    ]


def _without_line_rate(family: FamilyEstimate, line_rates_hz: Floats, bin_hz: float) -> FamilyEstimate:
    """Return a picture's family without the harmonic that is the line rate itself: that is the whistle."""
    if family.kind not in WITH_PICTURE or not line_rates_hz.size:
        return family
    keep = np.abs(family.frequency_hz - line_rates_hz[0]) > OWN_BINS * bin_hz
    if keep.all():
        return family
    return replace(
        family,
        harmonics=tuple(order for order, kept in zip(family.harmonics, keep, strict=True) if kept),
        sidebands=tuple(np.array(family.sidebands)[keep].tolist()),
        frequency_hz=family.frequency_hz[keep],
        mean_square=family.mean_square[keep],
        mean_square_sd=family.mean_square_sd[keep],
        detected=family.detected[keep],
        amplitude=family.amplitude[keep],
        power=family.power - family.mean_square[~keep].sum(axis=0),
        power_sd=np.sqrt(np.maximum(family.power_sd**2 - (family.mean_square_sd[~keep] ** 2).sum(axis=0), 0.0)),
    )


def _bounds(
    spectrum: QuietSpectrum, families: Sequence[FamilyEstimate], taken: Booleans, mains_hz: float | None
) -> dict[Family, Floats]:
    """Return the bounds of mains, field and line rate where they were not found."""
    bounds: dict[Family, Floats] = {}
    left = remainder(spectrum, taken)
    kinds = {family.kind for family in families}
    undecided = [family for family in families if family.kind == "mains_or_field"]
    for kind, (below_hz, above_hz) in BOUNDED_HZ.items():
        if kind in kinds:
            continue
        nominals_hz = NOMINALS_HZ if mains_hz is None or kind == "field" else (mains_hz,)
        bounds[kind] = np.zeros(spectrum.n_channels)
        for nominal_hz in nominals_hz:
            orders = MAINS_ORDERS if kind == "mains" else None
            bound = comb_bound(left, nominal_hz + below_hz, nominal_hz + above_hz, most_orders=orders)
            bounds[kind] = np.maximum(bounds[kind], bound)
        for family in undecided:
            # Each alone is at most the sum.
            bounds[kind] = np.maximum(bounds[kind], family.power + ONE_SIDED_95 * family.power_sd)
    if "line_rate" not in kinds and spectrum.highest_hz >= LINE_RATES_HZ[1]:
        bounds["line_rate"] = line_bound(left, *LINE_RATES_HZ)
    return bounds
