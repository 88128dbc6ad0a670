"""The picture's comb found from its line rate: where the low harmonics drown, the lines beside the line rate remain.

A raster's field rate is its line rate over a whole or half number of lines, so once the line rate is known only a few
field rates are left to try, and all lines of each can be added up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from humcheck.estimates.lines.assembly import family_of_lines
from humcheck.estimates.lines.comb_lines import (
    STANDS_OUT,
    CombLines,
    Rate,
    band_of_orders,
    read_lines,
    rigid_lines,
)
from humcheck.estimates.lines.harmonics import LineReadings, read_harmonics
from humcheck.estimates.lines.naming import LINES_PER_FIELD
from humcheck.estimates.lines.phases import PhaseLaw, rigid_law
from humcheck.estimates.lines.result import FamilyEstimate
from humcheck.estimates.lines.spectrum import Floats, QuietSpectrum

#: Orders on either side of the line rate that rasters are compared by.
BESIDE = 60
#: Standard deviations by which a comb's power must stand out; six rasters in a million sections would do so by chance.
LEAST_SD = 6.0
#: Power over noise of another comb's line that hides what is near it, and how near.
STRONG = 1000.0
SKIRT_HZ = 4.0
#: Cycles over the section by which lines that are read together turn against each other at least.
LEAST_CYCLES = 1.5
_ONE_SIDED_95 = 1.6448536269514722


def picture_comb(
    spectrum: QuietSpectrum, line_rate_hz: float, others: Sequence[FamilyEstimate], laws: Sequence[PhaseLaw]
) -> tuple[FamilyEstimate | None, Floats]:
    """Return the picture's family if the lines of a raster stand out, and the bound of what they may be otherwise.

    Parameters
    ----------
    spectrum : QuietSpectrum
        The section.
    line_rate_hz : float
        The picture's line rate.
    others : sequence of FamilyEstimate
        The combs that were found.
    laws : sequence of PhaseLaw
        Their phases.

    Returns
    -------
    family : FamilyEstimate or None
        None where no raster's lines stand out.
    bound : numpy.ndarray, shape (n_ch,)
        One-sided 95 % bound of the mean square of the most likely raster's lines.
    """
    scores = {n: _score(*_raster(spectrum, line_rate_hz, n, others)) for n in LINES_PER_FIELD}
    n_lines = max(scores, key=lambda candidate: scores[candidate])
    rate, _ = _read(spectrum, line_rate_hz, n_lines, others)
    orders = np.arange(1, int(spectrum.highest_hz / rate.hz) + 1)
    # Beside the other combs' lines all is read that turns against them by more than a cycle.
    parallel = _hidden(orders, rate.hz, spectrum, others, LEAST_CYCLES / spectrum.duration_s)
    orders = orders[(orders != n_lines) & ~parallel]
    law = rigid_law(rate.hz, rate.sd_hz, spectrum.duration_s)
    lines = read_harmonics(spectrum, [law, *laws], 0, orders)
    parts = [as_comb_lines(lines), *half_lines(spectrum, rate, n_lines, others)]
    power = np.sum([part.mean_square.sum(axis=0) for part in parts], axis=0)
    sd = np.sqrt(np.sum([np.sum(part.sd**2, axis=0) for part in parts], axis=0))
    bound = np.maximum(power, 0.0) + _ONE_SIDED_95 * sd
    if scores[n_lines] < LEAST_SD:
        return None, bound
    return replace(family_of_lines(parts, "field", rate, power_sd=sd), from_raster=True), bound


def _raster(
    spectrum: QuietSpectrum, line_rate_hz: float, n_lines: float, others: Sequence[FamilyEstimate]
) -> list[CombLines]:
    """Return the lines of one raster beside its line rate, an interlaced one's between the harmonics too."""
    rate, lines = _read(spectrum, line_rate_hz, n_lines, others)
    return [lines, *half_lines(spectrum, rate, n_lines, others, beside=BESIDE)]


def as_comb_lines(lines: LineReadings) -> CombLines:
    """Return readings beside other combs as a comb's lines."""
    return CombLines(
        orders=lines.orders,
        amplitude=lines.amplitude,
        mean_square=lines.mean_square,
        sd=lines.sd,
        noise_sd=0.5 * lines.variance,
        detected=lines.gain > STANDS_OUT,
    )


def with_half_lines(
    spectrum: QuietSpectrum, family: FamilyEstimate, line_rate_hz: float, others: Sequence[FamilyEstimate]
) -> FamilyEstimate:
    """Return an interlaced picture's family with its lines between the harmonics; any other family as it is."""
    n_lines = line_rate_hz / family.fundamental_hz
    nearest = min(LINES_PER_FIELD, key=lambda n: abs(n - n_lines))
    if nearest % 1 == 0 or abs(n_lines - nearest) > 0.01:
        return family
    rate = Rate(family.fundamental_hz, family.fundamental_sd_hz)
    (between,) = half_lines(spectrum, rate, nearest, others)
    return replace(
        family,
        harmonics=(*family.harmonics, *(0 for _ in between.orders)),
        sidebands=(*family.sidebands, *(0 for _ in between.orders)),
        frequency_hz=np.concatenate([family.frequency_hz, between.orders / 2 * rate.hz]),
        mean_square=np.vstack([family.mean_square, between.mean_square]),
        mean_square_sd=np.vstack([family.mean_square_sd, between.sd]),
        detected=np.vstack([family.detected, between.detected]),
        amplitude=np.vstack([family.amplitude, between.amplitude]),
        power=family.power + between.mean_square.sum(axis=0),
        power_sd=np.sqrt(family.power_sd**2 + np.sum(between.sd**2, axis=0)),
    )


def half_lines(
    spectrum: QuietSpectrum,
    rate: Rate,
    n_lines: float,
    others: Sequence[FamilyEstimate],
    beside: int | None = None,
) -> list[CombLines]:
    """Return the lines halfway between the harmonics of an interlaced picture's field rate, but the line rate's own.

    Two fields make a frame with a whole number of lines: the sidebands of its line rate stand at odd multiples of half
    the field rate.
    """
    if n_lines % 1 == 0:
        return []
    frame = Rate(rate.hz / 2, rate.sd_hz / 2)
    orders = np.arange(1, int(spectrum.highest_hz / frame.hz) + 1)
    unwanted = (orders % 2 == 0) | (orders == round(2 * n_lines)) | _hidden(orders, frame.hz, spectrum, others)
    if beside is not None:
        unwanted |= np.abs(orders - 2 * n_lines) > 2 * beside
    left_out = orders[unwanted]
    bands = band_of_orders(spectrum, frame.hz, left_out)
    if bands is None:
        return []
    _, lines = read_lines(bands, rigid_lines(bands, frame.hz), frame, rigid=False, others_hz=_fundamentals(others))
    return [lines]


def _fundamentals(families: Sequence[FamilyEstimate]) -> Floats:
    return np.array([family.fundamental_hz for family in families])


def _hidden(
    orders: np.ndarray,
    rate_hz: float,
    spectrum: QuietSpectrum,
    others: Sequence[FamilyEstimate],
    reach_hz: float = SKIRT_HZ,
) -> np.ndarray:
    """Return which lines stand in the skirts of another comb's strong lines: nothing can be told of them."""
    hidden = np.zeros(orders.size, dtype=np.bool_)
    for family in others:
        noise = 0.5 * spectrum.line_variance(family.frequency_hz).T
        strong_hz = family.frequency_hz[(family.mean_square > STRONG * noise).any(axis=1)]
        if strong_hz.size:
            distance_hz = np.abs(orders[:, np.newaxis] * rate_hz - strong_hz).min(axis=1)
            hidden |= distance_hz < reach_hz
    return hidden


def _score(*parts: CombLines) -> float:
    """Return by how many standard deviations of noise alone the lines' power stands out, best channel."""
    power = np.sum([part.mean_square.sum(axis=0) for part in parts], axis=0)
    noise_sd = np.sqrt(np.sum([np.sum(part.noise_sd**2, axis=0) for part in parts], axis=0))
    return float(np.max(power / noise_sd, initial=0.0))


def _read(
    spectrum: QuietSpectrum, line_rate_hz: float, n_lines: float, others: Sequence[FamilyEstimate]
) -> tuple[Rate, CombLines]:
    """Read one raster's lines beside the line rate, its own left out."""
    # A line's frequency is good to a fraction of a bin; the field rate, hundreds of times lower, to that much less.
    rate = Rate(line_rate_hz / n_lines, 0.05 / spectrum.duration_s / n_lines)
    orders = np.arange(1, int(spectrum.highest_hz / rate.hz) + 1)
    unwanted = (orders == n_lines) | _hidden(orders, rate.hz, spectrum, others)
    unwanted |= np.abs(orders - n_lines) > BESIDE
    left_out = orders[unwanted]
    bands = band_of_orders(spectrum, rate.hz, left_out)
    if bands is None:
        raise ValueError(f"line_rate_hz ({line_rate_hz}) leaves no line below {spectrum.highest_hz} Hz")
    return read_lines(bands, rigid_lines(bands, rate.hz), rate, rigid=True, others_hz=_fundamentals(others))
