"""What a comb is: mains, a picture's field, or undecided.

Two things speak: where the frequency lies, and whether it wanders. A picture's rate is rigid and lies at known places;
mains wander and lie around the nominal frequency. A comb at the nominal frequency is called a picture's only where a
wander of 1 mHz would have been seen, or where it is an exact ratio of the line rate. What stays open is said to be so.
"""

from __future__ import annotations

import numpy as np

from humcheck.estimates.lines.families import Region, loosened
from humcheck.estimates.lines.joint import JointFit
from humcheck.estimates.lines.phases import comb_sd_hz
from humcheck.estimates.lines.powers import comb_frequencies
from humcheck.estimates.lines.spectrum import Floats
from humcheck.estimates.lines.wander import MAINS_WANDER_HZ, WanderProfile, wander_profile
from humcheck.results.rows import Family

#: Field rates of pictures: broadcast rasters, and whole numbers of lines at the usual line rates of home computers
#: and consoles (clock arithmetic).
FIELD_RATES_HZ = np.array(
    [50.0, 50.0801, 49.9201, 50.0363, 49.8765, 50.0070, 49.8472, 49.8608, 49.7015]
    + [59.9401, 60.0, 60.0545, 59.8261, 59.9227, 59.6949, 60.0985, 59.8700]
)
#: Lines per field (or half a frame) of the usual rasters.
LINES_PER_FIELD = (262.0, 262.5, 263.0, 312.0, 312.5, 313.0)
#: Standard deviation of a picture's and a recorder's crystals together.
CRYSTALS_PPM = 70.0
#: Share of pictures whose rate is none of these, spread over the whole range of field rates.
UNKNOWN_RATES = 0.3
FIELD_RANGE_HZ = 0.6
#: Spread of mains frequency: share, standard deviation in Hz. 50 Hz: the continent, islands; 60 Hz: large grids. The
#: last one stands for small grids and generators. (From memory of published statistics.)
MAINS_SPREAD = {50.0: ((0.45, 0.02), (0.45, 0.065), (0.1, 0.2)), 60.0: ((0.95, 0.02), (0.05, 0.1))}
#: Distance from the nominal frequency within which the rule of 1 mHz holds.
AT_NOMINAL_HZ = {50.0: 0.15, 60.0: 0.05}
#: Odds at which a name is given.
DECIDED = float(np.log(20.0))
#: Largest wander over 30 s that mains are expected to show.
LARGEST_WANDER_HZ = 0.064


def name_combs(region: Region, fit: JointFit, line_rates_hz: Floats) -> list[Family]:
    """Return what each comb of a fit is.

    Parameters
    ----------
    region : Region
        Where it was fitted; mains are only named where they were sought.
    fit : JointFit
        Its fit.
    line_rates_hz : numpy.ndarray, shape (n,)
        Lines found near the line rates of pictures.
    """
    rates_hz = comb_frequencies(fit)
    odds = np.full(fit.n_families, -np.inf)
    steady = np.ones(fit.n_families, dtype=np.bool_)
    # Beside a comb that was seen to wander the others are rigid: loosened, they would take its wander for their own.
    wanders = fit.combs.has_mains and wander_profile(fit).seen
    for column in range(1 if wanders else fit.n_families):
        sd_hz = comb_sd_hz(fit, column)
        at_nominal = abs(float(rates_hz[column]) - region.nominal_hz) < AT_NOMINAL_HZ[region.nominal_hz]
        is_picture = is_exact_ratio(float(rates_hz[column]), sd_hz, line_rates_hz)
        if not region.with_mains or (is_picture and not at_nominal):
            continue
        profile = _profile(region, fit, column)
        steady[column] = profile.mains_excluded or not at_nominal
        if is_picture and not profile.seen:
            # A picture is there; mains of the same frequency may hide in it unless their wander would have been seen.
            odds[column] = -np.inf if steady[column] else 0.0
            continue
        odds[column] = prior_log_odds(float(rates_hz[column]), region.nominal_hz) + _wander_log_odds(profile)
    return _decided(odds, steady)


def _decided(odds: Floats, steady: np.ndarray) -> list[Family]:
    """Name combs by their log odds of being mains: there are one mains at most."""
    named: list[Family] = ["field"] * odds.size
    if not odds.size:
        return named
    best = int(odds.argmax())
    # Where a picture is there already, a second one at the mains' own place is less likely than the mains.
    pictures = int(((odds < -DECIDED) & steady).sum())
    if odds[best] + (DECIDED if pictures else 0.0) > DECIDED:
        named[best] = "mains"
        return named
    for column in range(odds.size):
        if not (odds[column] < -DECIDED and steady[column]):
            named[column] = "mains_or_field"
    return named


def prior_log_odds(frequency_hz: float, nominal_hz: float) -> float:
    """Return ln of how likely mains have this frequency over how likely a picture has it."""
    spread = MAINS_SPREAD[nominal_hz]
    mains = sum(share * _normal(frequency_hz - nominal_hz, sd_hz) for share, sd_hz in spread)
    rates_hz = FIELD_RATES_HZ[np.abs(FIELD_RATES_HZ - nominal_hz) < 1.0]
    known = np.mean([_normal(frequency_hz - rate_hz, CRYSTALS_PPM * 1e-6 * rate_hz) for rate_hz in rates_hz])
    field = (1.0 - UNKNOWN_RATES) * known + UNKNOWN_RATES / FIELD_RANGE_HZ
    return float(np.log(max(mains, 1e-300)) - np.log(field))


def is_exact_ratio(frequency_hz: float, sd_hz: float, line_rates_hz: Floats) -> bool:
    """Whether a line rate is an exact multiple of a field rate, as a raster makes it: both share one clock."""
    return any(
        abs(line_hz / n_lines - frequency_hz) < 3 * sd_hz + 1e-7 * frequency_hz
        for line_hz in line_rates_hz
        for n_lines in LINES_PER_FIELD
    )


def _normal(offset_hz: float, sd_hz: float) -> float:
    return float(np.exp(-0.5 * (offset_hz / sd_hz) ** 2) / (sd_hz * np.sqrt(2 * np.pi)))


def _profile(region: Region, fit: JointFit, column: int) -> WanderProfile:
    if fit.combs.has_mains and column == 0:
        return wander_profile(fit)
    return wander_profile(loosened(region, fit, column))


def _wander_log_odds(profile: WanderProfile) -> float:
    """Return ln of the likelihood of a wander that mains have, each decade alike, over that of none."""
    usual = (profile.wander_hz > 0.99 * MAINS_WANDER_HZ) & (profile.wander_hz < LARGEST_WANDER_HZ)
    likely = profile.log_likelihood[usual]
    return float(np.logaddexp.reduce(likely) - np.log(likely.size) - profile.log_likelihood[0])
