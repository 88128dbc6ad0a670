"""The combs of a quiet section: which there are, what they are, and their lines up to the top of the band."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from humcheck.estimates.lines.bands import cut_bands
from humcheck.estimates.lines.comb_lines import (
    FLAT_HZ,
    STANDS_OUT,
    STOP_HZ,
    CombLines,
    Rate,
    band_of_orders,
    read_lines,
    rigid_lines,
    unit_lines,
)
from humcheck.estimates.lines.families import Region, best_fit, evidence
from humcheck.estimates.lines.joint import JointFit, fit_combs
from humcheck.estimates.lines.lone_lines import LINES_PER_FIELD, skirt_bins
from humcheck.estimates.lines.powers import comb_frequencies, line_powers
from humcheck.estimates.lines.result import FamilyEstimate
from humcheck.estimates.lines.spectrum import Floats, QuietSpectrum
from humcheck.estimates.lines.spline import phase_spline
from humcheck.estimates.lines.wander import wander_profile
from humcheck.results.rows import Family

#: Harmonics that the frequencies and the choice of families rest on.
FITTED_HARMONICS = 20
_NOMINALS_HZ = (50.0, 60.0)
#: Field rates of pictures near the mains frequencies: broadcast rasters, and whole numbers of lines at the usual line
#: rates of home computers and consoles (clock arithmetic).
FIELD_RATES_HZ = (
    *(50.0, 50.0801, 49.9201, 50.0363, 49.8765, 50.0070, 49.8472, 49.8608, 49.7015),
    *(59.9401, 60.0, 60.0545, 59.8261, 59.9227, 59.6949, 60.0985, 59.8700),
)
#: Crystals of pictures and recorders together are within this.
CRYSTALS_PPM = 150.0
#: Mains deviate from their nominal frequency by 20 mHz or so (large grids, standard deviation), a recorder's clock
#: by up to 100 ppm: a rigid comb farther from it than this is a picture's.
AT_NOMINAL_HZ = 0.05
#: Two combs whose levels are less certain than this are not told apart.
LEAST_CERTAIN_DB = 3.0
CLEAR_CYCLES = 0.5
#: A walk is rougher than the spline that follows it: errors of the mean frequency of simulated walks of 5 to 20 mHz in
#: 30 s scatter by 1.1 to 1.4 times what the fit states.
WALK_FACTOR = 1.35
#: Distance of the points at which a wandering comb's phase is given; its spline's knots are 0.25 s apart.
PHASE_STEP_S = 0.025


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionCombs:
    """The fits of one section.

    Attributes
    ----------
    fits : mapping of float to JointFit
        By nominal frequency, 50 and 60.
    mains_hz : float
        Nominal mains frequency given or decided for.
    """

    fits: Mapping[float, JointFit]
    mains_hz: float


def fit_section(spectrum: QuietSpectrum, mains_hz: float | None) -> SectionCombs:
    """Fit combs around 50 and 60 Hz; mains are sought in both where the region is not given.

    Both series share every 300 Hz: where both seem to be there they are fitted again without those harmonics, or one
    would be found in the lines of the other.
    """
    fits = {nominal: best_fit(_region(spectrum, nominal, mains_hz)) for nominal in _NOMINALS_HZ}
    strong, weak = sorted(_NOMINALS_HZ, key=lambda nominal: -evidence(fits[nominal]))
    if fits[strong].n_families and fits[weak].n_families:
        apart = {nominal: best_fit(_region(spectrum, nominal, mains_hz, shared=False)) for nominal in _NOMINALS_HZ}
        both = all(fit.n_families for fit in apart.values())
        # One alone keeps the fit with all its harmonics.
        fits = {nominal: apart[nominal] if both or not apart[nominal].n_families else fits[nominal] for nominal in fits}
    wandering = [nominal for nominal in (strong, weak) if fits[nominal].combs.has_mains]
    return SectionCombs(fits=fits, mains_hz=mains_hz or (wandering[0] if wandering else strong))


def _region(spectrum: QuietSpectrum, nominal_hz: float, mains_hz: float | None, *, shared: bool = True) -> Region:
    n_orders = max(1, min(FITTED_HARMONICS, int((spectrum.highest_hz - STOP_HZ) / nominal_hz)))
    orders = np.arange(1, n_orders + 1)
    if not shared:
        orders = orders[(orders * nominal_hz) % 300.0 != 0.0]
    return Region(
        nominal_hz=nominal_hz,
        bands=cut_bands(spectrum, orders, orders * nominal_hz, flat_hz=FLAT_HZ, stop_hz=STOP_HZ),
        spline=phase_spline(spectrum.duration_s),
        fixed_hz=np.zeros((orders.size, 0)),
        with_mains=mains_hz is None or mains_hz == nominal_hz,
    )


def families_of(
    fit: JointFit, nominal_hz: float, *, is_mains_region: bool, line_rates_hz: Floats, others_hz: Floats
) -> list[FamilyEstimate]:
    """Return the families of one fit, each with its lines up to the top of the band.

    Parameters
    ----------
    fit : JointFit
        Of the bands around one nominal frequency.
    nominal_hz : float
        That frequency.
    is_mains_region : bool
        Whether the mains have this frequency.
    line_rates_hz : numpy.ndarray, shape (n,)
        Lines found near the line rates of pictures.
    others_hz : numpy.ndarray, shape (n,)
        Fundamentals of the combs around the other nominal frequency.
    """
    if not fit.n_families:
        return []
    kinds = _kinds(fit, nominal_hz, is_mains_region=is_mains_region, line_rates_hz=line_rates_hz)
    if _not_separable(fit, line_rates_hz):
        return [_mixed_family(fit)]
    if "mains" in kinds and not fit.combs.has_mains:
        # Too quiet a grid to be seen wandering still wanders: its frequency is no surer than that.
        fit = _loosened(fit, kinds.index("mains"))
        kinds = ["mains", *(kind for kind in kinds if kind != "mains")]
    return [_family(fit, column, kind, others_hz) for column, kind in enumerate(kinds)]


def _kinds(fit: JointFit, nominal_hz: float, *, is_mains_region: bool, line_rates_hz: Floats) -> list[Family]:
    """Return what each comb is.

    A comb at the nominal mains frequency that was not seen to wander is a picture's if it is steadier than mains ever
    are. If the bench's picture shows a line rate that does not fit, it is mains; if it fits, either or both.
    """
    frequency_hz = comb_frequencies(fit)
    kinds: list[Family] = ["mains"] if fit.combs.has_mains else []
    for column in range(len(kinds), fit.n_families):
        own_hz = float(frequency_hz[column])
        sd_hz = _fundamental_sd_hz(fit, column)
        is_field = (
            not is_mains_region
            or fit.combs.has_mains
            or abs(own_hz - nominal_hz) > AT_NOMINAL_HZ
            or _too_steady_for_mains(fit)
        )
        # Where the picture has the mains' own frequency, mains may hide in its lines.
        picture_is_there = _is_ratio_of(own_hz, sd_hz, line_rates_hz)
        doubtful = picture_is_there or (_may_be_field(own_hz, sd_hz) and not line_rates_hz.size)
        kinds.append("field" if is_field else "mains_or_field" if doubtful else "mains")
    return kinds


def _may_be_field(frequency_hz: float, sd_hz: float) -> bool:
    """Whether a picture is known to have this field rate, as far as crystals can be off."""
    reach_hz = CRYSTALS_PPM * 1e-6 * frequency_hz + 3 * sd_hz
    return any(abs(frequency_hz - rate_hz) < reach_hz for rate_hz in FIELD_RATES_HZ)


def _is_ratio_of(field_hz: float, sd_hz: float, line_rates_hz: Floats) -> bool:
    """Whether a line rate is an exact multiple of the field rate, as a raster makes it: both share one clock."""
    return any(
        abs(line_hz / n_lines - field_hz) < 3 * sd_hz + 1e-6 * field_hz
        for line_hz in line_rates_hz
        for n_lines in LINES_PER_FIELD
    )


def _too_steady_for_mains(fit: JointFit) -> bool:
    """Whether the least wander that mains show would have been seen in a comb that was fitted as rigid."""
    if fit.n_families != 1 or fit.combs.has_mains:
        return False
    try:
        return wander_profile(_loosened(fit, 0)).mains_excluded
    except np.linalg.LinAlgError:  # too uneven to tell: nothing is excluded
        return False


def _loosened(fit: JointFit, column: int) -> JointFit:
    """Return the fit again with one of its rigid combs free to wander."""
    loose = replace(
        fit.combs,
        mains_hz=float(fit.combs.rigid_hz[column]),
        coefficients=np.zeros(fit.spline.n_coefficients),
        rigid_hz=np.delete(fit.combs.rigid_hz, column),
    )
    return fit_combs(fit.bands, fit.spline, loose)


def _not_separable(fit: JointFit, line_rates_hz: Floats) -> bool:
    """Whether two combs lie so close that only their sum is known.

    Their levels may be uncertain by decibels; and where they turn against each other by less than half a cycle over the
    section, a wrong split may fit as well as the right one unless a line rate fixes the picture's.
    """
    if fit.n_families < 2:
        return False
    frequency_hz = comb_frequencies(fit)
    cycles = np.ptp(frequency_hz) * fit.bands.spectrum.duration_s
    if cycles > 1.0:
        return False
    if cycles < CLEAR_CYCLES and not _is_ratio_of(float(frequency_hz[-1]), 1e-4, line_rates_hz):
        return True
    for column in range(fit.n_families):
        powers = line_powers(fit, column)
        total = powers.mean_square.sum(axis=0)
        sd = np.sqrt(np.maximum(powers.covariance.sum(axis=(1, 2)), 0.0))
        if np.any(sd > total * (10 ** (LEAST_CERTAIN_DB / 10) - 1)):
            return True
    return False


def _family(fit: JointFit, column: int, kind: Family, others_hz: Floats) -> FamilyEstimate:
    powers = line_powers(fit, column)
    sd = np.sqrt(np.maximum(np.einsum("cbb->bc", powers.covariance), 0.0))
    variance = np.maximum(powers.amplitude_variance, 1e-300)
    is_mains = fit.combs.has_mains and column == 0
    rate = Rate(float(comb_frequencies(fit)[column]), _fundamental_sd_hz(fit, column))
    rate, upper = _upper_lines(fit, column, rate, others_hz)
    fitted = CombLines(
        orders=fit.bands.orders,
        amplitude=powers.amplitude,
        mean_square=powers.mean_square,
        sd=sd,
        noise_sd=0.5 * variance,
        detected=np.abs(powers.amplitude) ** 2 / variance > STANDS_OUT,
    )
    upper_variance = 0.0 if upper is None else np.sum(upper.sd**2, axis=0)
    return family_of_lines(
        [fitted] if upper is None else [fitted, upper],
        kind,
        rate,
        wander_hz=_wander_hz(fit) if is_mains else None,
        power_sd=np.sqrt(np.maximum(powers.covariance.sum(axis=(1, 2)), 0.0) + upper_variance),
        phase=_wander_phase(fit, rate.hz) if is_mains else None,
    )


def _wander_phase(fit: JointFit, mean_hz: float) -> Floats:
    """Return the mains phase beside that of its mean frequency, over the section, shape (n_points,)."""
    duration_s = fit.bands.spectrum.duration_s
    time_s = np.linspace(0.0, duration_s, int(np.ceil(duration_s / PHASE_STEP_S)) + 1)
    about_hz = mean_hz if fit.combs.mains_hz is None else fit.combs.mains_hz
    beside = 2 * np.pi * (about_hz - mean_hz) * (time_s - duration_s / 2)
    return np.asarray(beside + fit.spline.basis(time_s) @ fit.combs.coefficients)


def family_of_lines(
    parts: Sequence[CombLines],
    kind: Family,
    rate: Rate,
    *,
    wander_hz: float | None,
    power_sd: Floats,
    halves: bool = False,
    phase: Floats | None = None,
) -> FamilyEstimate:
    """Return a family from its lines, in order."""
    # A second part holds lines halfway between the harmonics, numbered in halves: they have no order of their own.
    orders = np.concatenate(
        [part.orders if index == 0 or not halves else part.orders / 2 for index, part in enumerate(parts)]
    )
    whole = np.where(orders % 1 == 0, orders, 0).astype(np.int64)
    by_order = np.argsort(orders)

    def joined(name: str) -> np.ndarray:
        return np.asarray(np.vstack([getattr(part, name) for part in parts])[by_order])

    return FamilyEstimate(
        kind=kind,
        fundamental_hz=rate.hz,
        fundamental_sd_hz=rate.sd_hz,
        wander_hz=wander_hz,
        harmonics=tuple(int(order) for order in whole[by_order]),
        frequency_hz=orders[by_order] * rate.hz,
        mean_square=joined("mean_square"),
        mean_square_sd=joined("sd"),
        detected=joined("detected"),
        amplitude=joined("amplitude"),
        power=joined("mean_square").sum(axis=0),
        power_sd=power_sd,
        phase=phase,
    )


def _mixed_family(fit: JointFit) -> FamilyEstimate:
    """Return the sum of combs that cannot be told apart, as one family: all that stands in their bands above the noise.

    What a fit makes of them is not used, since it may have split them wrongly.
    """
    frequency_hz = comb_frequencies(fit)
    orders = np.arange(1, int(fit.bands.orders[-1]) + 1)
    centre_hz: Floats = orders.astype(np.float64) * float(frequency_hz.mean())
    bands = cut_bands(fit.bands.spectrum, orders, centre_hz, flat_hz=FLAT_HZ, stop_hz=STOP_HZ)
    gains = bands.line_gains(centre_hz)
    n_times = bands.time_s.size
    power = np.mean(np.abs(bands.values) ** 2, axis=2)
    # Noise has unit variance in every sample; lines of both combs beat, but their mean square stays.
    mean_square = 0.5 * (power - 1) / gains**2
    sd = 0.5 * np.sqrt((2 * np.maximum(power - 1, 0) + 1) / n_times) / gains**2
    return FamilyEstimate(
        kind="mains_or_field",
        fundamental_hz=float(frequency_hz.mean()),
        fundamental_sd_hz=float(np.ptp(frequency_hz)) / 2,
        wander_hz=None,
        harmonics=tuple(int(order) for order in orders),
        frequency_hz=centre_hz,
        mean_square=mean_square,
        mean_square_sd=sd,
        detected=mean_square > 3 * sd,
        amplitude=np.sqrt(np.maximum(2 * mean_square, 0.0)).astype(np.complex128),
        power=mean_square.sum(axis=0),
        power_sd=np.sqrt(np.sum(sd**2, axis=0)),
    )


def _fundamental_sd_hz(fit: JointFit, column: int) -> float:
    covariance = fit.covariance()
    if fit.combs.has_mains and column == 0:
        row = fit.spline.mean_frequency_row()
        n_spline = row.size
        return WALK_FACTOR * float(np.sqrt(max(float(row @ covariance[:n_spline, :n_spline] @ row), 0.0)))
    place = fit.combs.coefficients.size + column - int(fit.combs.has_mains)
    return float(np.sqrt(max(covariance[place, place], 0.0)))


def _wander_hz(fit: JointFit) -> float:
    means = fit.spline.second_mean_rows() @ fit.combs.coefficients
    return float(np.std(means, ddof=1)) if means.size > 1 else 0.0


def _upper_lines(fit: JointFit, column: int, rate: Rate, others_hz: Floats) -> tuple[Rate, CombLines | None]:
    """Read the harmonics that were not fitted along the phase that was found; return a rigid comb's better rate."""
    bands = band_of_orders(fit.bands.spectrum, rate.hz, fit.bands.orders)
    if bands is None:
        return rate, None
    is_mains = fit.combs.has_mains and column == 0
    lines = rigid_lines(bands, rate.hz)
    if is_mains and fit.combs.mains_hz is not None:
        offset_s = bands.time_s - fit.bands.spectrum.duration_s / 2
        phase = 2 * np.pi * fit.combs.mains_hz * offset_s + fit.spline.basis(bands.time_s) @ fit.combs.coefficients
        lines = unit_lines(bands, phase)
    return read_lines(bands, lines, rate, rigid=not is_mains, others_hz=others_hz)


def comb_bound(fit: JointFit, nominal_hz: float, reach_hz: float) -> Floats:
    """Return the one-sided 95 % bound of the mean square of a comb that was not found, shape (n_ch,).

    The largest unbiased sum over all combs within `reach_hz` of the nominal frequency, and 1.645 standard deviations.
    """
    bands = fit.bands
    step_hz = 1 / (2 * bands.orders[-1] * bands.spectrum.duration_s)
    offsets_hz = np.arange(-reach_hz, reach_hz + step_hz / 2, step_hz)
    time_s = bands.time_s - bands.spectrum.duration_s / 2
    n_times = time_s.size
    total = np.zeros((offsets_hz.size, bands.spectrum.n_channels))
    noise = np.zeros(bands.spectrum.n_channels)
    for band, order in enumerate(bands.orders):
        turns = np.exp(-2j * np.pi * np.outer(order * offsets_hz + order * nominal_hz - bands.centre_hz[band], time_s))
        amplitude = turns @ bands.values[band].T / n_times
        gains = bands.line_gains(bands.orders * nominal_hz)[band]
        total += 0.5 * (np.abs(amplitude) ** 2 - 1 / n_times) / gains**2
        noise += (0.5 / n_times / gains**2) ** 2
    return np.asarray(np.maximum(total.max(axis=0), 0.0) + 1.645 * np.sqrt(noise))


def near_combs(frequency_hz: Floats, combs: Sequence[FamilyEstimate], spectrum: QuietSpectrum) -> np.ndarray:
    """Return which frequencies belong to a comb: to one of its lines, its wander, or its skirts above the noise."""
    near = np.zeros(np.shape(frequency_hz), dtype=np.bool_)
    for comb in combs:
        variance = spectrum.line_variance(comb.frequency_hz).T
        loudest = float(np.max(4 * comb.mean_square / variance, initial=1.0))
        order = np.maximum(np.round(frequency_hz / comb.fundamental_hz), 1)
        reach = skirt_bins(loudest) * spectrum.bin_hz + 4 * order * (comb.wander_hz or 0.0)
        near |= np.abs(frequency_hz - order * comb.fundamental_hz) <= reach
        if 0 in comb.harmonics:  # an interlaced picture's lines between the harmonics
            between = np.maximum(np.round(frequency_hz / comb.fundamental_hz - 0.5), 0) + 0.5
            near |= np.abs(frequency_hz - between * comb.fundamental_hz) <= reach
    return near
