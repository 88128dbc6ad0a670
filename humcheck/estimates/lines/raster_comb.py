"""The picture's comb found from its line rate: where the low harmonics drown, the lines beside the line rate remain."""

from __future__ import annotations

import numpy as np

from humcheck.estimates.lines.comb_lines import Rate, band_of_orders, read_lines, rigid_lines
from humcheck.estimates.lines.combs_of_section import family_of_lines
from humcheck.estimates.lines.lone_lines import LINES_PER_FIELD, LoneLines
from humcheck.estimates.lines.result import FamilyEstimate
from humcheck.estimates.lines.spectrum import Floats, QuietSpectrum

#: Lines that must fit a raster, and their share of those that no other family explains.
FEWEST_LINES = 8
LEAST_SHARE = 0.6


def picture_comb(
    spectrum: QuietSpectrum, lone: LoneLines, line_rate_hz: float, others_hz: Floats
) -> FamilyEstimate | None:
    """Return the picture's family if lone lines fit a raster of the line rate, else None.

    Parameters
    ----------
    spectrum : QuietSpectrum
        The section.
    lone : LoneLines
        Lines that no comb explains.
    line_rate_hz : float
        The picture's line rate.
    others_hz : numpy.ndarray, shape (n,)
        Fundamentals of the combs that were found.
    """
    frequency_hz = lone.frequency_hz[np.abs(lone.frequency_hz - line_rate_hz) > 1.0]
    if frequency_hz.size < FEWEST_LINES:
        return None
    reach_hz = 2 / spectrum.duration_s
    fits = {n_lines: _n_fitting(frequency_hz, line_rate_hz / n_lines, reach_hz) for n_lines in LINES_PER_FIELD}
    n_lines = max(fits, key=lambda candidate: fits[candidate])
    if fits[n_lines] < max(FEWEST_LINES, LEAST_SHARE * frequency_hz.size):
        return None
    # A line's frequency is good to a fraction of a bin; the field rate, hundreds of times lower, to that much less.
    rate = Rate(line_rate_hz / n_lines, 0.2 / spectrum.duration_s / n_lines)
    bands = band_of_orders(spectrum, rate.hz, np.zeros(0, dtype=np.int64))
    if bands is None:
        return None
    rate, lines = read_lines(bands, rigid_lines(bands, rate.hz), rate, rigid=True, others_hz=others_hz)
    power_sd = np.sqrt(np.sum(lines.sd**2, axis=0))
    return family_of_lines([lines], "field", rate, wander_hz=None, power_sd=power_sd)


def _n_fitting(frequency_hz: Floats, rate_hz: float, reach_hz: float) -> int:
    order = np.round(frequency_hz / rate_hz)
    return int(np.sum(np.abs(frequency_hz - order * rate_hz) <= reach_hz))
