"""All steady lines of a quiet section: mains, picture, line rate, digital links, others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from humcheck.errors import MeasurementError
from humcheck.estimates.lines.combs_of_section import comb_bound, families_of, fit_section, near_combs
from humcheck.estimates.lines.joint import JointFit
from humcheck.estimates.lines.lone_lines import LINE_RATES_HZ, LoneLines, find_lone_lines, lone_families
from humcheck.estimates.lines.powers import comb_frequencies
from humcheck.estimates.lines.raster_comb import picture_comb, with_half_lines
from humcheck.estimates.lines.result import FamilyEstimate, LineEstimate
from humcheck.estimates.lines.spectrum import Floats, QuietSpectrum, read_spectrum
from humcheck.results.rows import Family

#: Bins of the Hann spectrum on either side of a comb's line that are the line's own.
_OWN_BINS = 4
#: Standard deviations of noise that a search over rates may find in noise alone.
_SEARCH_SD = 5.0
_WITH_PICTURE = ("field", "mains_or_field")
_COMBS: tuple[Family, ...] = ("mains", "field")
#: Where combs that were not found are bounded, about the nominal frequency.
_REACH_HZ: dict[Family, float] = {"mains": 0.1, "field": 0.4}


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
        If the section is shorter than 0.8 s, or what plays in it cannot be told from hum.
    """
    try:
        return _estimated(read_spectrum(samples, rate_hz), mains_hz)
    except np.linalg.LinAlgError as error:
        raise MeasurementError(
            "What plays in the section is too unsteady for hum and buzz to be told from it."
        ) from error


def _estimated(spectrum: QuietSpectrum, mains_hz: float | None) -> LineEstimate:
    combs = fit_section(spectrum, mains_hz)
    whistles_hz = _line_rates(spectrum)
    families: list[FamilyEstimate] = []
    for nominal_hz, fit in combs.fits.items():
        others_hz = [comb_frequencies(other) for other in combs.fits.values() if other is not fit]
        families += families_of(
            fit,
            nominal_hz,
            is_mains_region=nominal_hz == combs.mains_hz,
            line_rates_hz=whistles_hz,
            others_hz=np.concatenate(others_hz),
        )
    raster_bound = None
    if whistles_hz.size and not any(family.kind in _WITH_PICTURE for family in families):
        picture, raster_bound = picture_comb(spectrum, float(whistles_hz[0]), families)
        families += [] if picture is None else [picture]
    elif whistles_hz.size:
        others = [family for family in families if family.kind not in _WITH_PICTURE]
        families = [
            with_half_lines(spectrum, family, float(whistles_hz[0]), others) if family.kind in _WITH_PICTURE else family
            for family in families
        ]
    lone = _lone_lines(spectrum, families, whistles_hz)
    families = [_without_line_rate(family, whistles_hz, spectrum.bin_hz) for family in families]
    families += lone_families(lone, whistles_hz, spectrum.duration_s)
    bounds = _bounds(spectrum, families, combs.fits[combs.mains_hz], combs.mains_hz)
    if raster_bound is not None and "field" in bounds:
        bounds["field"] = np.maximum(bounds["field"], raster_bound)
    return LineEstimate(
        families=tuple(families),
        bounds=bounds,
        nominal_hz=combs.mains_hz,
        highest_hz=spectrum.highest_hz,
        duration_s=spectrum.duration_s,
    )


def _lone_lines(spectrum: QuietSpectrum, combs: Sequence[FamilyEstimate], line_rates_hz: Floats) -> LoneLines:
    """Return the lines that belong to no comb; the line rate itself is always one."""
    frequency_hz: Floats = np.arange(spectrum.hann_power.shape[1], dtype=np.float64) * spectrum.bin_hz
    taken = near_combs(frequency_hz, combs, spectrum)
    for line_hz in line_rates_hz:
        taken &= np.abs(frequency_hz - line_hz) > _OWN_BINS * spectrum.bin_hz
    return find_lone_lines(spectrum, taken)


def _line_rates(spectrum: QuietSpectrum) -> Floats:
    """Return the strongest line near the line rates of pictures, if one stands out, shape (0,) or (1,)."""
    if spectrum.highest_hz < LINE_RATES_HZ[1]:
        return np.zeros(0)
    found = find_lone_lines(spectrum, np.zeros(spectrum.hann_power.shape[1], dtype=np.bool_))
    inside = (found.frequency_hz > LINE_RATES_HZ[0]) & (found.frequency_hz < LINE_RATES_HZ[1])
    if not inside.any():
        return np.zeros(0)
    power = np.where(inside, found.mean_square.sum(axis=1), -np.inf)
    return found.frequency_hz[[int(np.argmax(power))]]


def _without_line_rate(family: FamilyEstimate, line_rates_hz: Floats, bin_hz: float) -> FamilyEstimate:
    """Return a picture's family without the harmonic that is the line rate itself: that is the whistle."""
    if family.kind not in _WITH_PICTURE or not line_rates_hz.size:
        return family
    keep = np.abs(family.frequency_hz - line_rates_hz[0]) > _OWN_BINS * bin_hz
    if keep.all():
        return family
    return replace(
        family,
        harmonics=tuple(order for order, kept in zip(family.harmonics, keep, strict=True) if kept),
        frequency_hz=family.frequency_hz[keep],
        mean_square=family.mean_square[keep],
        mean_square_sd=family.mean_square_sd[keep],
        detected=family.detected[keep],
        amplitude=family.amplitude[keep],
        power=family.power - family.mean_square[~keep].sum(axis=0),
        power_sd=np.sqrt(np.maximum(family.power_sd**2 - np.sum(family.mean_square_sd[~keep] ** 2, axis=0), 0.0)),
    )


def _bounds(
    spectrum: QuietSpectrum, families: Sequence[FamilyEstimate], fit: JointFit, nominal_hz: float
) -> dict[Family, Floats]:
    found = {family.kind for family in families}
    bounds: dict[Family, Floats] = {}
    mixed = [family for family in families if family.kind == "mains_or_field"]
    if mixed:
        # Each alone is at most the sum.
        total = mixed[0].power + 1.645 * mixed[0].power_sd
        bounds |= {kind: total for kind in _COMBS if kind not in found}
    else:
        for kind in _COMBS:
            if kind not in found and fit.n_families == 0:
                bounds[kind] = comb_bound(fit, nominal_hz, _REACH_HZ[kind])
            elif kind not in found:
                bounds[kind] = _bound_beside(families, spectrum)
    if "line_rate" not in found and spectrum.highest_hz >= LINE_RATES_HZ[1]:
        bounds["line_rate"] = _lone_bound(spectrum, LINE_RATES_HZ)
    return bounds


def _bound_beside(families: Sequence[FamilyEstimate], spectrum: QuietSpectrum) -> Floats:
    """Return the bound of a comb that was not found beside one that was: what noise would hide in all its lines."""
    orders = np.arange(1, int(spectrum.highest_hz / families[0].fundamental_hz) + 1)
    variance = 0.5 * spectrum.line_variance(orders * families[0].fundamental_hz)
    return np.asarray(_SEARCH_SD * np.sqrt(np.sum(variance**2, axis=1)))


def _lone_bound(spectrum: QuietSpectrum, band_hz: tuple[float, float]) -> Floats:
    """Return the bound of one line anywhere in a band: the highest bin, read as a line on top of its noise."""
    low, high = (int(edge / spectrum.bin_hz) for edge in band_hz)
    # A line's peak bin holds two thirds of its Hann power, A^2 n / 6.
    return np.asarray(2 * 1.5 * spectrum.hann_power[:, low:high].max(axis=1) / spectrum.n_samples)
