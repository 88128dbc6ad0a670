"""Harmonics above those that were fitted, read along the phase that was found, up to the top of the band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from humcheck.estimates.lines.bands import Bands, Indices, cut_bands, disentangled
from humcheck.estimates.lines.clock_walk import PhaseParts, parts_of, phase_parts
from humcheck.estimates.lines.comb_lines import Rate, refined_rate
from humcheck.estimates.lines.joint import Booleans
from humcheck.estimates.lines.phases import PhaseLaw
from humcheck.estimates.lines.spectrum import Complexes, Floats, QuietSpectrum

#: Half-width of a rigid comb's bands (a wandering one's are wider, in proportion to the order): so many bins, within
#: these limits in Hz; they end at twice that.
FLAT_BINS, FLAT_HZ = 30.0, (1.5, 3.0)
#: Mean square phase error at which a line is read in parts, without the phase between them.
LARGEST_SCATTER = 0.1
MOST_PARTS = 64
#: Bands handled at once.
CHUNK = 64
#: Steady lines that are read beside a comb's own in one band, and their least distance from it and each other, bins.
MOST_STEADY = 3
LEAST_DISTANCE = 1.0
NO_LINES: Floats = np.zeros(0)
#: Squared correlation of two combs' lines from which on they are one line: its variance would grow 15 dB.
INSEPARABLE = 0.97


@dataclass(frozen=True, slots=True, kw_only=True)
class LineReadings:
    """Lines of one comb (or of several that are not told apart).

    Attributes
    ----------
    orders : numpy.ndarray, shape (n_lines,)
        Their orders.
    amplitude : numpy.ndarray, shape (n_lines, n_ch)
        Complex amplitudes at the section's middle, full scale 1.0.
    variance : numpy.ndarray, shape (n_lines, n_ch)
        E|error|^2 of the amplitudes.
    mean_square, sd : numpy.ndarray, shape (n_lines, n_ch)
        Unbiased mean square and its standard uncertainty.
    """

    orders: Indices
    amplitude: Complexes
    variance: Floats
    mean_square: Floats
    sd: Floats

    @property
    def gain(self) -> Floats:
        """Power over noise, exponentially distributed with mean 1 where there is no line."""
        return np.asarray(np.abs(self.amplitude) ** 2 / np.maximum(self.variance, 1e-300))


def read_harmonics(
    spectrum: QuietSpectrum, laws: Sequence[PhaseLaw], index: int, orders: Indices, steady_hz: Floats = NO_LINES
) -> LineReadings:
    """Read lines of one comb by least squares beside the lines of all others that share their bands.

    Parameters
    ----------
    spectrum : QuietSpectrum
        The section.
    laws : sequence of PhaseLaw
        Phases of all combs.
    index : int
        The comb whose lines are read.
    orders : numpy.ndarray of int, shape (n_lines,)
        Which.
    steady_hz : numpy.ndarray, optional
        Lines of no comb that may stand in its bands.
    """
    n_ch = spectrum.n_channels
    empty = np.zeros((0, n_ch))
    none = empty.astype(np.complex128)
    parts = [LineReadings(orders=orders[:0], amplitude=none, variance=empty, mean_square=empty, sd=empty)]
    for start in range(0, orders.size, CHUNK):
        parts.append(_read_chunk(spectrum, laws, index, orders[start : start + CHUNK], steady_hz))
    return LineReadings(
        orders=orders,
        amplitude=np.concatenate([part.amplitude for part in parts]),
        variance=np.concatenate([part.variance for part in parts]),
        mean_square=np.concatenate([part.mean_square for part in parts]),
        sd=np.concatenate([part.sd for part in parts]),
    )


def _read_chunk(
    spectrum: QuietSpectrum, laws: Sequence[PhaseLaw], index: int, orders: Indices, steady_hz: Floats
) -> LineReadings:
    own = laws[index]
    bands = _cut(spectrum, own, orders)
    lines, used = _lines(bands, laws, index, steady_hz)
    given_away = _drop_inseparable(lines, used, index, len(laws))
    conjugate = lines.conj()
    gram = conjugate @ lines.transpose(0, 2, 1)
    places = np.arange(gram.shape[1])
    gram[:, places, places] = np.where(used, gram[:, places, places].real * (1 + 1e-9), 1.0)
    inverse = np.linalg.inv(gram)
    projection = bands.values @ conjugate.transpose(0, 2, 1)
    amplitude: Complexes = np.asarray(projection @ inverse.transpose(0, 2, 1), dtype=np.complex128)
    gains = bands.line_gains(orders * own.mean_hz)
    variance = np.broadcast_to(inverse[:, 0, 0].real[:, np.newaxis], gains.shape)
    beside = bands.values - amplitude[:, :, 1:] @ lines[:, 1:]
    power, sd = _powers(beside * conjugate[:, 0][:, np.newaxis], amplitude[:, :, 0], variance, orders, own.scatter)
    power, amplitude = np.where(given_away, 0.0, power), np.where(given_away[:, :, np.newaxis], 0.0, amplitude)
    return LineReadings(
        orders=orders,
        amplitude=amplitude[:, :, 0] / gains,
        variance=variance / gains**2,
        mean_square=0.5 * power / gains**2,
        sd=0.5 * sd / gains**2,
    )


def _drop_inseparable(lines: Complexes, used: Booleans, index: int, n_laws: int) -> Booleans:
    """Drop other combs' lines, in place, that are the own one over again; return where the own belongs to another.

    Two combs of one rate cannot share a line out between them: least squares would give both of them enormous
    amplitudes of opposite sign. The first of the combs gets it, (n_bands, 1).
    """
    given_away = np.zeros((len(lines), 1), dtype=np.bool_)
    n_times = lines.shape[2]
    others = [place for place in range(n_laws) if place != index]
    for column, place in enumerate(others, start=1):
        likeness = np.abs((lines[:, 0].conj() * lines[:, column]).sum(axis=1)) / n_times
        alike = used[:, column] & (likeness**2 > INSEPARABLE)
        lines[alike, column], used[alike, column] = 0.0, False
        if place < index:
            given_away[:, 0] |= alike
    return given_away


def disturbing(laws: Sequence[PhaseLaw], steady_hz: Floats) -> Floats:
    """Return the steady lines that stand in some comb's bands and on no comb's line."""
    disturbs, own = np.zeros(steady_hz.size, dtype=np.bool_), np.zeros(steady_hz.size, dtype=np.bool_)
    for law in laws:
        orders = np.maximum(np.round(steady_hz / law.mean_hz), 1.0)
        distance_hz = np.abs(steady_hz - orders * law.mean_hz)
        own |= distance_hz * law.duration_s < LEAST_DISTANCE
        disturbs |= distance_hz < 2 * _skirt_hz(law.duration_s) + 1.5 * (orders + CHUNK) * law.reach_hz
    return steady_hz[disturbs & ~own]


def _skirt_hz(duration_s: float) -> float:
    return float(np.clip(FLAT_BINS / duration_s, *FLAT_HZ))


def _cut(spectrum: QuietSpectrum, law: PhaseLaw, orders: Indices) -> Bands:
    """Return the bands around some lines of a comb, wide enough for its wander."""
    skirt_hz = _skirt_hz(spectrum.duration_s)
    flat_hz = skirt_hz + 1.5 * float(orders[-1]) * law.reach_hz
    return cut_bands(spectrum, orders, orders * law.mean_hz, flat_hz=flat_hz, stop_hz=flat_hz + skirt_hz)


def _lines(bands: Bands, laws: Sequence[PhaseLaw], index: int, steady_hz: Floats) -> tuple[Complexes, Booleans]:
    """Return unit lines (n_bands, n_lines, n_times), the wanted comb's first, and which of them are in the band."""
    carrier = 2 * np.pi * np.outer(bands.centre_hz, bands.time_s)
    ordered = [laws[index], *(law for place, law in enumerate(laws) if place != index)]
    n_steady = MOST_STEADY if steady_hz.size else 0
    lines = np.zeros((bands.n_bands, len(ordered) + n_steady, bands.time_s.size), dtype=np.complex128)
    used = np.zeros(lines.shape[:2], dtype=np.bool_)
    line_hz = np.full(lines.shape[:2], np.inf)
    for column, law in enumerate(ordered):
        orders = bands.orders if column == 0 else np.round(bands.centre_hz / law.mean_hz).astype(np.int64)
        inside = np.abs(orders * law.mean_hz - bands.centre_hz) < bands.stop_hz
        inside &= orders > 0
        used[:, column] = inside
        line_hz[inside, column] = orders[inside] * law.mean_hz
        if inside.any():
            phase = np.outer(orders[inside], law.at(bands.time_s)) - carrier[inside]
            lines[inside, column] = np.exp(1j * phase)
    _add_steady(bands, lines, used, line_hz, steady_hz, len(ordered))
    return lines, used


def _add_steady(bands: Bands, lines: Complexes, used: Booleans, line_hz: Floats, steady_hz: Floats, first: int) -> None:
    """Add the steady lines that stand in the bands and are no comb's, in place, the nearest ones."""
    offset_s = bands.time_s - bands.spectrum.duration_s / 2
    least_hz = LEAST_DISTANCE / bands.spectrum.duration_s
    for row, centre_hz in enumerate(bands.centre_hz if steady_hz.size else ()):
        near_hz = steady_hz[np.abs(steady_hz - centre_hz) < bands.stop_hz]
        near_hz = near_hz[np.argsort(np.abs(near_hz - centre_hz), kind="stable")]
        column = first
        for steady in near_hz:
            if column < lines.shape[1] and np.abs(line_hz[row] - steady).min() > least_hz:
                carried = 2 * np.pi * (steady * offset_s - centre_hz * bands.time_s)
                lines[row, column] = np.exp(1j * carried)
                used[row, column], line_hz[row, column] = True, steady
                column += 1


def _powers(
    turned: Complexes, amplitude: Complexes, variance: Floats, orders: Indices, scatter: float
) -> tuple[Floats, Floats]:
    """Return |c|^2 without noise and its standard deviation, whitened, both (n_bands, n_ch).

    A high order of a phase that is not known well is smeared; it is read in parts whose powers are averaged.
    """
    power = np.abs(amplitude) ** 2 - variance
    sd = np.sqrt(2 * np.maximum(power, 0.0) * variance + variance**2)
    smeared = orders.astype(np.float64) ** 2 * scatter
    for row in np.flatnonzero(smeared > LARGEST_SCATTER):
        n_parts = int(min(np.ceil(smeared[row] / LARGEST_SCATTER) + 1, MOST_PARTS, turned.shape[2]))
        edges = np.linspace(0, turned.shape[2], n_parts + 1).astype(int)
        lengths = np.diff(edges)
        sums = np.add.reduceat(turned[row], edges[:-1], axis=1)
        share = lengths / lengths.sum()
        in_parts = (np.abs(sums / lengths) ** 2 - 1.0 / lengths) @ share
        noise = np.sqrt((share**2 / lengths**2).sum())
        power[row] = in_parts
        sd[row] = np.sqrt(2 * np.maximum(in_parts, 0.0) * variance[row] + noise**2)
    return power, sd


def refined_law(
    spectrum: QuietSpectrum, laws: Sequence[PhaseLaw], index: int, orders: Indices
) -> tuple[PhaseLaw, PhaseParts]:
    """Return a rigid comb's phase law with the rate that its strong upper lines tell, and their phase in parts.

    The lines near a picture's line rate are often its strongest and hundreds of times as sensitive as the fundamental.
    """
    own = laws[index]
    bands = disentangled(_cut(spectrum, own, orders))
    lines, _ = _lines(bands, laws, index, NO_LINES)
    turned = bands.values * lines[:, 0].conj()[:, np.newaxis]
    offset_s = bands.time_s - spectrum.duration_s / 2
    rate, error_hz = refined_rate(Rate(own.mean_hz, own.sd_hz), orders, turned, offset_s)
    turned = turned * np.exp(-2j * np.pi * error_hz * np.outer(orders, offset_s))[:, np.newaxis]
    n_parts = parts_of(spectrum.duration_s)
    parts = phase_parts(turned, turned.mean(axis=2), orders.astype(np.float64), bands.time_s, n_parts)
    scatter = own.scatter * (rate.sd_hz / own.sd_hz) ** 2
    return replace(own, base_hz=rate.hz, mean_hz=rate.hz, sd_hz=rate.sd_hz, scatter=scatter), parts


def unite(readings: Sequence[LineReadings]) -> LineReadings:
    """Return the lines of combs that are not told apart as one: powers are summed."""
    return LineReadings(
        orders=readings[0].orders,
        amplitude=np.sqrt(np.maximum(2 * sum(reading.mean_square for reading in readings), 0.0)).astype(np.complex128),
        variance=np.asarray(sum(reading.variance for reading in readings)),
        mean_square=np.asarray(sum(reading.mean_square for reading in readings)),
        sd=np.sqrt(sum(reading.sd**2 for reading in readings)),
    )
