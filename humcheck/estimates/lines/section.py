"""The combs of a quiet section around 50 and around 60 Hz, and channels that share their noise."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from humcheck.estimates.lines.bands import Bands, cut_bands, disentangled
from humcheck.estimates.lines.families import Region, best_fit
from humcheck.estimates.lines.joint import JointFit, fit_combs
from humcheck.estimates.lines.phases import phase_law
from humcheck.estimates.lines.powers import line_powers
from humcheck.estimates.lines.search import MAINS_REACH_HZ, search_rigid
from humcheck.estimates.lines.spectrum import Floats, QuietSpectrum
from humcheck.estimates.lines.spline import phase_spline

#: Nominal mains frequencies of the world, about which field rates lie too.
NOMINALS_HZ = (50.0, 60.0)
#: Harmonics that frequencies and the choice of families rest on.
FITTED_HARMONICS = 20
FLAT_HZ, STOP_HZ = 12.0, 18.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionFit:
    """Combs around one nominal frequency.

    Attributes
    ----------
    region : Region
        Bands in which the combs were sought; channels may be mixed there.
    sought : JointFit
        Fit in those bands.
    fit : JointFit
        The same combs in the channels as they are, from which levels are read.
    """

    region: Region
    sought: JointFit
    fit: JointFit


def fit_section(spectrum: QuietSpectrum, mains_hz: float | None) -> dict[float, RegionFit]:
    """Find and fit the combs around 50 and 60 Hz.

    Both series share every 300 Hz. The stronger one is fitted first and its lines are taken out of the other's bands;
    then it is fitted again without the other's.

    Parameters
    ----------
    spectrum : QuietSpectrum
        The section.
    mains_hz : float or None
        Nominal mains frequency where the user gave it: mains are sought around that one only.
    """
    bands = {nominal_hz: _cut(spectrum, nominal_hz) for nominal_hz in NOMINALS_HZ}
    first, second = sorted(NOMINALS_HZ, key=lambda nominal_hz: -_rough_score(bands[nominal_hz], nominal_hz))
    found = {first: _fit_region(bands[first], first, mains_hz)}
    left = _without(bands[second], found[first].fit)
    mains_elsewhere = mains_hz or (first if found[first].fit.combs.has_mains else None)
    found[second] = _fit_region(left, second, mains_elsewhere)
    if found[first].fit.n_families and found[second].fit.n_families:
        found[first] = _again(_without(bands[first], found[second].fit), found[first])
        found[second] = _again(_without(bands[second], found[first].fit), found[second])
    return found


def _cut(spectrum: QuietSpectrum, nominal_hz: float) -> Bands:
    n_orders = max(1, min(FITTED_HARMONICS, int((spectrum.highest_hz - STOP_HZ) / nominal_hz)))
    orders = np.arange(1, n_orders + 1)
    return cut_bands(spectrum, orders, orders * nominal_hz, flat_hz=FLAT_HZ, stop_hz=STOP_HZ)


def _rough_score(bands: Bands, nominal_hz: float) -> float:
    rates_hz = nominal_hz + np.arange(-MAINS_REACH_HZ, MAINS_REACH_HZ, 0.005)
    return float(search_rigid(bands, bands.values, rates_hz).score.max())


def _fit_region(bands: Bands, nominal_hz: float, mains_hz: float | None) -> RegionFit:
    region = Region(
        nominal_hz=nominal_hz,
        bands=disentangled(bands),
        spline=phase_spline(bands.spectrum.duration_s),
        fixed_hz=np.zeros((bands.n_bands, 0)),
        with_mains=mains_hz is None or mains_hz == nominal_hz,
    )
    sought = best_fit(region)
    return RegionFit(region=region, sought=sought, fit=_in_channels(bands, sought))


def _again(bands: Bands, earlier: RegionFit) -> RegionFit:
    """Fit the same combs again in bands from which more has been taken out."""
    region = replace(earlier.region, bands=disentangled(bands))
    sought = region.fit(earlier.sought.combs)
    return RegionFit(region=region, sought=sought, fit=_in_channels(bands, sought))


def _in_channels(bands: Bands, sought: JointFit) -> JointFit:
    """Return a fit's combs read in the channels as they are, each band weighted by what is left in it."""
    fit = fit_combs(bands, sought.spline, sought.combs, most_steps=0)
    n_left = bands.time_s.size - fit.used.sum(axis=1)[:, np.newaxis]
    excess = fit.residual_power / np.maximum(n_left, 1)
    uneven = excess > 1.0 + 5.0 / np.sqrt(n_left)
    if uneven.any():
        weight = np.where(uneven, 1.0 / np.sqrt(np.maximum(excess, 1.0)), 1.0)
        fit = fit_combs(bands.reweighted(weight), sought.spline, sought.combs, most_steps=0)
    return replace(fit, hessian=sought.hessian)


def _without(bands: Bands, fit: JointFit) -> Bands:
    """Return bands without the lines of the combs of another region."""
    values = bands.values.copy()
    for column in range(fit.n_families):
        law, powers = phase_law(fit, column), line_powers(fit, column)
        orders = np.round(bands.centre_hz / law.mean_hz).astype(np.int64)
        near = np.abs(orders * law.mean_hz - bands.centre_hz) < bands.stop_hz
        for band in map(int, np.flatnonzero(near & np.isin(orders, fit.bands.orders))):
            order = int(orders[band])
            amplitude = powers.amplitude[int(np.flatnonzero(fit.bands.orders == order)[0])]
            gains = bands.line_gains(_filled(bands.centre_hz, band, order * law.mean_hz))[band]
            phase = order * law.at(bands.time_s) - 2 * np.pi * bands.centre_hz[band] * bands.time_s
            values[band] -= (amplitude * gains)[:, np.newaxis] * np.exp(1j * phase)
    return replace(bands, values=values)


def _filled(frequency_hz: Floats, place: int, value_hz: float) -> Floats:
    filled = frequency_hz.copy()
    filled[place] = value_hz
    return filled
