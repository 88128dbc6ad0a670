"""All steady lines of a quiet section: mains, picture, line rate, digital links, others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from humcheck.errors import MeasurementError
from humcheck.estimates.lines.assembly import NamedComb, comb_family, lone_families, named_combs, near_combs
from humcheck.estimates.lines.bounds import MAINS_ORDERS, ONE_SIDED_95, comb_bound, line_bound, remainder
from humcheck.estimates.lines.harmonics import NO_LINES, disturbing
from humcheck.estimates.lines.joint import Booleans
from humcheck.estimates.lines.labels import FRAME_HZ, FRAME_PPM, LINE_RATES_HZ, line_rate
from humcheck.estimates.lines.lone_lines import find_lone_lines
from humcheck.estimates.lines.naming import LINES_PER_FIELD
from humcheck.estimates.lines.phases import PhaseLaw, phase_law
from humcheck.estimates.lines.raster_comb import picture_comb, with_half_lines
from humcheck.estimates.lines.result import FamilyEstimate, LineEstimate
from humcheck.estimates.lines.section import FITTED_HARMONICS, NOMINALS_HZ, RegionFit, fit_section
from humcheck.estimates.lines.spectrum import Floats, QuietSpectrum, read_spectrum
from humcheck.results.rows import Family

#: Range about the nominal frequency in which combs that were not found are bounded.
BOUNDED_HZ: dict[Family, tuple[float, float]] = {"mains": (-0.2, 0.2), "field": (-0.4, 0.2)}
WITH_PICTURE = ("field", "mains_or_field")
#: Bins on either side of the line rate in which a picture's harmonic is the line rate itself.
OWN_BINS = 4
#: Bins on either side over which a wandering line must be smeared for a sharp one to be told from it.
SMEARED_BINS = 6.0
#: Standard deviations of a line that is worth being read beside others.
STRONG_SD = 4.0


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
    combs = [comb for region_fit in found.values() for comb in named_combs(region_fit, line_rates_hz)]
    families = _comb_families(spectrum, combs)
    decided_hz = mains_hz or _nominal_of_mains(families, found)
    families, raster_bound = _with_raster(spectrum, _one_mains(families, decided_hz), combs, line_rates_hz)
    taken = near_combs(spectrum, families)
    lone = find_lone_lines(spectrum, _opened(spectrum, taken, families, line_rates_hz))
    steady_hz = np.concatenate([lone.frequency_hz, *(_lines_of_no_law(family) for family in families)])
    steady_hz = disturbing(_laws(combs), steady_hz)
    if steady_hz.size:
        # What stands in a comb's bands and is not the comb's own would be counted as its own.
        families = _one_mains(_comb_families(spectrum, combs, steady_hz), decided_hz)
        families, _ = _with_raster(spectrum, families, combs, line_rates_hz)
    families = [_without_line_rate(family, line_rates_hz, spectrum.bin_hz) for family in families]
    tones = lone_families(lone, line_rates_hz, spectrum.duration_s)
    families = [_with_rate_of_lines(family, tones) for family in families] + tones
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


def _with_rate_of_lines(family: FamilyEstimate, tones: Sequence[FamilyEstimate]) -> FamilyEstimate:
    """Return a family that was found by the line rate with the field rate that follows from it."""
    whistle = [tone for tone in tones if tone.kind == "line_rate"]
    if not (family.from_raster and whistle):
        return family
    line_hz, sd_hz = whistle[0].fundamental_hz, whistle[0].fundamental_sd_hz
    n_lines = min(LINES_PER_FIELD, key=lambda n: abs(line_hz / n - family.fundamental_hz))
    return replace(family, fundamental_hz=line_hz / n_lines, fundamental_sd_hz=sd_hz / n_lines)


def _lines_of_no_law(family: FamilyEstimate) -> Floats:
    """Return a family's strong lines that the laws of combs do not cover: a raster's, and those between harmonics."""
    strong = (family.mean_square > STRONG_SD * family.mean_square_sd).any(axis=1)
    if family.from_raster:
        return np.asarray(family.frequency_hz[strong])
    return np.asarray(family.frequency_hz[strong & (np.array(family.harmonics) == 0)])


def _laws(combs: Sequence[NamedComb]) -> list[PhaseLaw]:
    return [phase_law(comb.fit, column) for comb in combs for column in comb.columns]


def _comb_families(
    spectrum: QuietSpectrum, combs: Sequence[NamedComb], steady_hz: Floats = NO_LINES
) -> list[FamilyEstimate]:
    laws = _laws(combs)
    families, first = [], 0
    for comb in combs:
        own = range(first, first + len(comb.columns))
        families.append(comb_family(spectrum, laws, comb, own, steady_hz))
        first = own.stop
    return families


def _with_raster(
    spectrum: QuietSpectrum, families: list[FamilyEstimate], combs: Sequence[NamedComb], line_rates_hz: Floats
) -> tuple[list[FamilyEstimate], Floats]:
    """Return the families with what the line rate tells of the picture, and the bound of a picture not found."""
    none = np.zeros(spectrum.n_channels)
    if not line_rates_hz.size:
        return families, none
    line_hz = float(line_rates_hz[0])
    if not any(_may_be_raster(family, line_hz, spectrum.duration_s) for family in families):
        picture, bound = picture_comb(spectrum, line_hz, families, _laws(combs))
        return families + ([] if picture is None else [picture]), bound
    others = [family for family in families if family.kind not in WITH_PICTURE]
    whole = [
        with_half_lines(spectrum, family, line_hz, others) if family.kind in WITH_PICTURE else family
        for family in families
    ]
    return whole, none


def _may_be_raster(family: FamilyEstimate, line_hz: float, duration_s: float) -> bool:
    """Whether a family may be the picture of this line rate: its rate is not told from every raster's."""
    off_hz = min(abs(line_hz / n_lines - family.fundamental_hz) for n_lines in LINES_PER_FIELD)
    return family.kind in WITH_PICTURE and off_hz < 1.0 / (FITTED_HARMONICS * duration_s)


def _line_rates(spectrum: QuietSpectrum) -> Floats:
    """Return the strongest line near the line rates of pictures, if one stands out, shape (0,) or (1,)."""
    if spectrum.highest_hz < LINE_RATES_HZ[1]:
        return np.zeros(0)
    nothing_taken = np.zeros(spectrum.hann_power.shape[1], dtype=np.bool_)
    return line_rate(find_lone_lines(spectrum, nothing_taken, *LINE_RATES_HZ))


def _opened(
    spectrum: QuietSpectrum, taken: Booleans, families: Sequence[FamilyEstimate], line_rates_hz: Floats
) -> Booleans:
    """Return the bins that combs have taken, but those of the line rate, and of frame noise that is told from combs.

    Every 1 kHz is a harmonic of 50 Hz; frame noise beside it is sharp and apart from it, or stands in what its wander
    has smeared.
    """
    opened = taken.copy()
    for line_hz in line_rates_hz:
        middle = round(line_hz / spectrum.bin_hz)
        opened[max(middle - OWN_BINS, 0) : middle + OWN_BINS + 1] = False
    combs = [family for family in families if family.kind in ("mains", *WITH_PICTURE)]
    for frame_hz in np.arange(FRAME_HZ, spectrum.highest_hz, FRAME_HZ):
        reach = FRAME_PPM * 1e-6 * frame_hz / spectrum.bin_hz
        bins = np.arange(int(frame_hz / spectrum.bin_hz - reach), int(frame_hz / spectrum.bin_hz + reach) + 2)
        bins = bins[bins < opened.size]
        free = np.ones(bins.size, dtype=np.bool_)
        for family in combs:
            order = max(round(frame_hz / family.fundamental_hz), 1)
            smeared = order * family.reach_hz / spectrum.bin_hz
            apart = np.abs(bins - order * family.fundamental_hz / spectrum.bin_hz) > smeared + OWN_BINS
            free &= apart | (smeared > SMEARED_BINS)
        opened[bins[free]] = False
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
