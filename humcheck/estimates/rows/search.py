"""The search for coded rows: which raster, at which rate, and where it begins.

For every rate on a fine grid the spectrum is read at the raster's lines, multiplied by the code's conjugate lines, and
transformed into a match over the delay. A match is the squared sum over the sum of squares, so that lines of other
origin, whose phases do not fit, raise no alarm: without a leak it exceeds x with the probability exp(-x) at most.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import Floats
from humcheck.estimates.rows.rasters import Raster, Shown, harmonics, pattern, scaled_ways, usual_ways
from humcheck.estimates.rows.spectrum import LOWEST_HZ, Complexes, RowsSpectrum

#: Rates are sought so far from the nominal line rate, in parts per million.
REACH_PPM = 300.0
#: Steps of the rate, as cycles of the highest line over the whole section.
STEP_CYCLES = 0.5
#: Rates at which every scale of the picture is tried: those at which most of all lines stand out.
N_PROMISING = 12
#: Slopes of the coupling, as powers of frequency, that the lines are weighted for.
USUAL_SLOPE = 0.5
SLOPES = (0.0, 0.5, 1.0)
#: By how much stronger a scaled picture must match than a usual one.
WORTH_SCALING = 3.0
_CHUNK = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """How well one raster, rate and way of showing the code fits.

    Attributes
    ----------
    raster, shown : Raster, Shown
        What was tried.
    line_rate_hz : float
        In the take's clock.
    delay : float
        When the first line begins to repeat in the middle of the section, as a share of the repeat's period.
    strength : float
        See the module; summed over independent channels.
    n_channels : int
        How many channels were summed.
    """

    raster: Raster
    shown: Shown
    line_rate_hz: float
    delay: float
    strength: float
    n_channels: int = 1

    @property
    def chance(self) -> float:
        """Probability that noise alone matches so well at one place."""
        tail = 1.0 if self.n_channels == 1 else 1.0 + self.strength
        return float(np.exp(-self.strength) * tail)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Lines:
    """The lines of one raster at a run of rates."""

    raster: Raster
    order: npt.NDArray[np.int64]
    frequency_hz: Floats
    weight: Floats
    rates_hz: Floats
    values: Complexes


def search(spectrum: RowsSpectrum, windows: Iterable[tuple[Raster, float, float]]) -> Match | None:
    """Return the best match.

    Parameters
    ----------
    spectrum : RowsSpectrum
        The section.
    windows : iterable of (Raster, float, float)
        Each raster with the lowest and highest line rate at which it is sought.
    """
    best: Match | None = None
    for raster, low_hz, high_hz in windows:
        lines = _read(spectrum, raster, low_hz, high_hz)
        promising = _promising(lines)
        of_raster = [_best(lines, shown, USUAL_SLOPE) for shown in usual_ways(raster)]
        few = _Lines(
            raster=raster,
            order=lines.order,
            frequency_hz=lines.frequency_hz,
            weight=lines.weight,
            rates_hz=lines.rates_hz[promising],
            values=np.ascontiguousarray(lines.values[:, promising]),
        )
        of_raster += [_best(few, shown, slope) for shown in usual_ways(raster) for slope in SLOPES]
        scaled = [_best(few, shown, slope) for shown in scaled_ways(raster) for slope in (SLOPES[0], SLOPES[-1])]
        # Few pictures are scaled: one that is must fit clearly better.
        of_raster += [replace(match, strength=match.strength - WORTH_SCALING) for match in scaled]
        best = max((match for match in (best, *of_raster) if match is not None), key=lambda match: match.strength)
    return best


def usual_windows(rasters: Sequence[Raster]) -> list[tuple[Raster, float, float]]:
    """Return every raster with the line rates around its nominal one."""
    reach = 1e-6 * REACH_PPM
    return [(raster, raster.line_rate_hz * (1 - reach), raster.line_rate_hz * (1 + reach)) for raster in rasters]


def line_orders(raster: Raster, line_rate_hz: float, highest_hz: float) -> npt.NDArray[np.int64]:
    """Return the multiples of the repeat rate that are used: all but those of the line rate, which every screen has."""
    order = np.arange(1, int(highest_hz * raster.n_lines / line_rate_hz) + 1)
    used = (order % raster.n_lines != 0) & (order * line_rate_hz / raster.n_lines >= LOWEST_HZ)
    return np.asarray(order[used])


def _read(spectrum: RowsSpectrum, raster: Raster, low_hz: float, high_hz: float) -> _Lines:
    step = STEP_CYCLES / (spectrum.duration_s * spectrum.highest_hz)
    n_rates = int(np.log(high_hz / low_hz) / step) + 2
    rates_hz = np.geomspace(low_hz, high_hz, n_rates)
    order = line_orders(raster, high_hz, spectrum.highest_hz)
    frequency_hz: Floats = order.astype(np.float64) * (raster.line_rate_hz / raster.n_lines)
    place = np.rint(np.multiply.outer(rates_hz, order / (raster.n_lines * spectrum.bin_hz))).astype(np.int32)
    variance = spectrum.noise_variance(frequency_hz).mean(axis=0)
    return _Lines(
        raster=raster,
        order=order,
        frequency_hz=frequency_hz,
        weight=1 / np.sqrt(variance),
        rates_hz=rates_hz,
        values=np.stack([channel[place] for channel in spectrum.white]),
    )


def _promising(lines: _Lines) -> npt.NDArray[np.intp]:
    """Return the rates at which most power stands in all lines, whatever their phases."""
    if lines.rates_hz.size <= N_PROMISING:
        return np.arange(lines.rates_hz.size)
    power = (lines.values.real**2 + lines.values.imag**2).sum(axis=0)
    envelope = np.sinc(lines.order * lines.raster.active_share / lines.raster.n_lines) ** 2
    scores = []
    for slope in (0.0, 1.0):
        weight = envelope * (lines.weight * lines.frequency_hz**slope) ** 2
        scores.append(power @ (weight / weight.sum()).astype(np.float32))
    chosen = [np.argsort(score)[-N_PROMISING // 2 :] for score in scores]
    return np.unique(np.concatenate(chosen))


def _best(lines: _Lines, shown: Shown, slope: float) -> Match:
    """Return the best rate and delay for one way of showing the code."""
    from scipy import fft

    expected = harmonics(lines.raster, pattern(lines.raster, shown), lines.order)
    filter_ = np.conj(expected) * lines.weight * lines.frequency_hz**slope
    filter_ = (filter_ / np.sqrt(np.mean(np.abs(filter_) ** 2))).astype(np.complex64)
    n_delays = fft.next_fast_len(int(1.7 * lines.order[-1]))
    weight = (filter_.real**2 + filter_.imag**2).astype(np.float32)
    best = (-1.0, 0, 0)
    for start in range(0, lines.rates_hz.size, _CHUNK):
        values = lines.values[:, start : start + _CHUNK]
        scale = 1 / np.sqrt((values.real**2 + values.imag**2) @ weight)
        filled = np.zeros((*values.shape[:2], n_delays), dtype=np.complex64)
        filled[:, :, lines.order] = values * filter_ * scale[:, :, np.newaxis]
        sums = fft.ifft(filled, axis=2, overwrite_x=True, norm="forward").view(np.float32)
        np.multiply(sums, sums, out=sums)
        power = sums.sum(axis=0) if len(sums) > 1 else sums[0]
        power = power[:, 0::2] + power[:, 1::2]
        place = int(np.argmax(power))
        if power.flat[place] > best[0]:
            best = (float(power.flat[place]), start + place // n_delays, place % n_delays)
    strength, rate, delay = best
    return Match(
        raster=lines.raster,
        shown=shown,
        line_rate_hz=float(lines.rates_hz[rate]),
        delay=delay / n_delays,
        strength=strength,
        n_channels=lines.values.shape[0],
    )
