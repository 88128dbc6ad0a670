"""Coded rows in a quiet section: searched for, followed, and read as a coupling from picture to sound."""

from __future__ import annotations

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.errors import MeasurementError
from humcheck.estimates.lines import LineEstimate
from humcheck.estimates.rows.basebands import RasterLines, follow_lines
from humcheck.estimates.rows.coupling import fit_coupling
from humcheck.estimates.rows.curve import CouplingFit, terms
from humcheck.estimates.rows.rasters import RASTERS, Raster, harmonics, pattern, usual_ways
from humcheck.estimates.rows.result import RowsEstimate
from humcheck.estimates.rows.search import Match, line_orders, search, usual_windows
from humcheck.estimates.rows.spectrum import PADDING, RowsSpectrum, rows_spectrum

#: A section without a picture is said to hold one this often.
FALSE_ALARMS = 1e-3
#: Places at which a section of 1 s is compared with the code, as far as they are independent; more in a longer one.
#: Noise and hum without a picture behave as with 2e5 to 4e5 of them (1300 trials); the rest is a margin.
PLACES_PER_S = 1e6
#: Reach about a line rate that was seen, in parts per million.
HINT_REACH_PPM = 3.0
#: Band in which it is said what share follows the picture (definition of `picture_correlation`).
BAND_HZ = (100.0, 8000.0)
#: Another picture's lines match the code a little, too; of its own lines the code explains nearly all.
MOST_UNEXPLAINED = 0.5
#: What the grid of rates and delays loses at most of a match's amplitude.
GRID_LOSS = 1.12
_ONE_SIDED_95 = 1.6448536269514722


def find_rows(
    samples: Floats, rate_hz: float, lines: LineEstimate | None = None, *, everywhere: bool = True
) -> RowsEstimate:
    """Find the coded rows in a section in which nothing plays, and measure how the picture gets into the sound.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_ch)
        Full scale = 1.0.
    rate_hz : float
        Sampling rate.
    lines : LineEstimate, optional
        Steady lines of the same section: a line rate seen tells where to look first, and mains do not count as sound
        that could follow the picture.
    everywhere : bool
        Whether to look at all usual line rates (within 300 ppm) where the rows are not found at the one that was seen.

    Returns
    -------
    RowsEstimate
        Found at one false alarm in a thousand sections, else bounds.

    Raises
    ------
    MeasurementError
        If the section is shorter than 2 s, a channel is digital silence, samples are not finite, or the lines are
        those of another picture.
    """
    spectrum = rows_spectrum(samples, rate_hz)
    windows = _hinted(lines)
    match = search(spectrum, windows) if windows else None
    if everywhere and (match is None or _p_value(match, spectrum) > FALSE_ALARMS):
        further = search(spectrum, usual_windows(RASTERS))
        match = max((one for one in (match, further) if one is not None), key=lambda one: one.strength)
    if match is None:
        match = Match(raster=RASTERS[0], shown=usual_ways(RASTERS[0])[0], line_rate_hz=0, delay=0, strength=0)
    p_value = _p_value(match, spectrum)
    band_power = _band_power(spectrum, lines)
    levels, shares = _bounds(spectrum, match.strength, band_power)
    none = np.zeros(len(spectrum.values))
    if p_value > FALSE_ALARMS:
        return RowsEstimate(
            p_value=p_value, level_bound=levels, power_share=none, power_share_sd=none, power_share_bound=shares
        )
    followed = follow_lines(spectrum, match)
    coupling = fit_coupling(followed)
    if coupling.unexplained > MOST_UNEXPLAINED:
        raise MeasurementError(
            "What stands at the picture's lines in the sound is not the coded rows: another picture was on the screen."
        )
    share, share_sd = _share(followed, coupling, band_power)
    return RowsEstimate(
        p_value=p_value,
        raster=match.raster,
        shown=match.shown,
        line_rate_hz=followed.line_rate_hz,
        line_rate_sd_hz=followed.line_rate_sd_hz,
        lines=followed,
        coupling=coupling,
        level_bound=levels,
        power_share=share,
        power_share_sd=share_sd,
        power_share_bound=shares,
    )


def _hinted(lines: LineEstimate | None) -> list[tuple[Raster, float, float]]:
    """Return every raster about the line rates that were seen."""
    seen = [] if lines is None else [family.fundamental_hz for family in lines.of_kind("line_rate")]
    reach = 1e-6 * HINT_REACH_PPM
    return [(raster, rate_hz * (1 - reach), rate_hz * (1 + reach)) for rate_hz in seen for raster in RASTERS]


def _p_value(match: Match, spectrum: RowsSpectrum) -> float:
    return min(1.0, match.chance * PLACES_PER_S * max(10.0, spectrum.duration_s))


def _band_power(spectrum: RowsSpectrum, lines: LineEstimate | None) -> Floats:
    """Return the mean square in the band without the mains, shape (n_ch,)."""
    plain = spectrum.values[:, ::PADDING]
    first, last = (round(edge * spectrum.duration_s) for edge in BAND_HZ)
    window = spectrum.window.astype(np.float64)
    scale = window.sum() ** 2 / (2 * window.size * (window**2).sum())
    power = scale * (np.abs(plain[:, first:last].astype(np.complex128)) ** 2).sum(axis=1)
    floor = 0.01 * power
    for kind in ("mains", "mains_or_field"):
        for family in () if lines is None else lines.of_kind(kind):
            inside = (family.frequency_hz >= BAND_HZ[0]) & (family.frequency_hz <= BAND_HZ[1])
            power = power - family.mean_square[inside].sum(axis=0)
    return np.asarray(np.maximum(power, floor))


def _share(lines: RasterLines, coupling: CouplingFit, band_power: Floats) -> tuple[Floats, Floats]:
    inside = (lines.frequency_hz >= BAND_HZ[0]) & (lines.frequency_hz <= BAND_HZ[1])
    basis = (terms(coupling.powers, lines.frequency_hz, coupling.corner) * lines.expected())[:, inside]
    shares, sds = [], []
    for factors, covariance, power in zip(coupling.factors, coupling.covariance, band_power, strict=True):
        gram = 0.5 * np.real(basis @ np.conj(basis).T)
        own = float(factors @ gram @ factors)
        gradient = 2 * gram @ factors
        own_sd = float(np.sqrt(max(0.0, gradient @ covariance @ gradient)))
        whole = max(float(power), own)
        shares.append(own / whole)
        sds.append(own_sd / whole)
    return np.array(shares), np.array(sds)


def _bounds(spectrum: RowsSpectrum, strength: float, band_power: Floats) -> tuple[Floats, Floats]:
    """Return the largest gains at 1 kHz (shared ground, capacitance) and share that may have gone unseen.

    A leak matches at its own place at least; the search's best match is no weaker than that.
    """
    unseen = (np.sqrt(2 * max(strength, 0.0)) + _ONE_SIDED_95) * GRID_LOSS
    levels = np.zeros((2, len(spectrum.values)))
    shares = np.zeros(len(spectrum.values))
    for raster in RASTERS:
        order = line_orders(raster, raster.line_rate_hz, spectrum.highest_hz)
        frequency_hz: Floats = order.astype(np.float64) * (raster.line_rate_hz / raster.n_lines)
        variance = spectrum.noise_variance(frequency_hz)
        inside = (frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])
        for shown in usual_ways(raster):
            expected = harmonics(raster, pattern(raster, shown), order)
            for index in (0, 1):
                shape = np.abs(terms((index,), frequency_hz)[0] * expected) ** 2
                largest = unseen / np.sqrt(2 * (shape / variance).sum(axis=1))
                at_1k = float(np.abs(terms((index,), np.array([1000.0]))[0, 0]))
                levels[index] = np.maximum(levels[index], largest * at_1k)
                shares = np.maximum(shares, largest**2 * 0.5 * shape[inside].sum() / band_power)
    return levels, np.minimum(shares, 1.0)
