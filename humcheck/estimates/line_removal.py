"""Noise without its lines: the bins that lines reach are filled with the noise beside them.

The spectrum must come from a window whose side lobes are far down (``"steep"``), or strong hum stands between the
lines too.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import Floats
from humcheck.audio.power_spectrum import PowerSpectrum
from humcheck.errors import MeasurementError

Mask = npt.NDArray[np.bool_]

#: The most that a line may take away on each side, as a share of the distance to the next line.
_LARGEST_SHARE = 0.35
#: A ring beside a line that stands this many standard deviations above the next one still belongs to the line.
_SKIRT_SD = 4.0
_WIDENED = 1.5
_FEWEST_NEIGHBOURS = 8


def noise_without_lines(
    spectrum: PowerSpectrum, lines_hz: Floats, half_widths_hz: Floats | float = 0.0
) -> PowerSpectrum:
    """Return the spectrum with the bins of given lines filled from their neighbours.

    Parameters
    ----------
    spectrum : PowerSpectrum
        Of everything, from the ``"steep"`` window.
    lines_hz : numpy.ndarray, shape (n_lines,)
        Frequencies of the lines.
    half_widths_hz : float or numpy.ndarray, shape (n_lines,)
        How far each line wanders to either side; the window's own main lobe is added. Lines whose skirts reach
        farther, because they are not steady, are found by the ring around them and widened.

    Returns
    -------
    PowerSpectrum
        The batches are filled alike, so that their scatter counts what the filling adds to the uncertainty.

    Raises
    ------
    MeasurementError
        If the lines leave no bin between them.
    """
    lines = np.asarray(lines_hz, dtype=np.float64)
    inside = (lines > 0.0) & (lines < spectrum.frequency_hz[-1])
    lines, order = lines[inside], np.argsort(lines[inside])
    widths = np.broadcast_to(np.asarray(half_widths_hz, dtype=np.float64), inside.shape)[inside][order]
    lines = lines[order]
    if not len(lines):
        return spectrum
    mask = _mask(spectrum, lines, _with_skirts(spectrum, lines, widths + spectrum.main_lobe_hz))
    if mask.all():
        raise MeasurementError("The lines stand so close that no noise can be seen between them.")
    stack = np.concatenate([spectrum.power[None], spectrum.batches])
    flat = np.ascontiguousarray(stack.transpose(1, 0, 2)).reshape(len(mask), -1)
    filled = _filled(flat, mask).reshape(len(mask), len(stack), -1).transpose(1, 0, 2)
    return replace(spectrum, power=np.ascontiguousarray(filled[0]), batches=filled[1:])


def _mask(spectrum: PowerSpectrum, lines: Floats, widths: Floats) -> Mask:
    first, last = _bins(spectrum, lines - widths), _bins(spectrum, lines + widths)
    edges = np.zeros(len(spectrum.frequency_hz) + 1, dtype=np.int64)
    np.add.at(edges, first, 1)
    np.add.at(edges, last + 1, -1)
    return np.asarray(np.cumsum(edges)[:-1] > 0)


def _bins(spectrum: PowerSpectrum, frequency_hz: Floats) -> npt.NDArray[np.int64]:
    nearest = np.rint(frequency_hz / spectrum.bin_hz).astype(np.int64)
    return np.clip(nearest, 0, len(spectrum.frequency_hz) - 1)


def _with_skirts(spectrum: PowerSpectrum, lines: Floats, widths: Floats) -> Floats:
    """Widen what each line takes until the ring around it holds no more than the ring around that."""
    gaps = np.diff(lines, prepend=-np.inf, append=np.inf)
    # Lines that stand in each other's main lobe are one line for this purpose.
    gaps = np.where(gaps < 2.0 * spectrum.main_lobe_hz, np.inf, gaps)
    largest = np.maximum(_LARGEST_SHARE * np.minimum(gaps[:-1], gaps[1:]), widths)
    for _ in range(6):
        mask = _mask(spectrum, lines, widths)
        free = spectrum.power * ~mask[:, None]
        sums = np.concatenate([np.zeros((1, free.shape[1])), np.cumsum(free, axis=0)])
        counts = np.concatenate([[0], np.cumsum(~mask)])
        wider = np.minimum(widths * _WIDENED, largest)
        near, n_near = _ring(spectrum, lines, widths, wider, sums, counts)
        beyond, n_beyond = _ring(spectrum, lines, wider, 2.0 * wider, sums, counts)
        usable = (n_near > 0) & (n_beyond > 0) & (wider > widths)
        spread = np.sqrt((1.0 / np.maximum(n_near, 1) + 1.0 / np.maximum(n_beyond, 1)) / spectrum.n_averages)
        skirt = usable & np.any(near > beyond * (1.0 + _SKIRT_SD * spread[:, None]), axis=1)
        if not skirt.any():
            break
        widths = np.where(skirt, wider, widths)
    return widths


def _ring(
    spectrum: PowerSpectrum,
    lines: Floats,
    inner: Floats,
    outer: Floats,
    sums: Floats,
    counts: npt.NDArray[np.int64],
) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Return mean power, (n_lines, n_channels), and number of the free bins between two distances on both sides."""
    n_bins = len(spectrum.frequency_hz)
    total, number = np.zeros((len(lines), sums.shape[1])), np.zeros(len(lines), dtype=np.int64)
    for low, high in ((lines - outer, lines - inner), (lines + inner, lines + outer)):
        first, last = _bins(spectrum, low), np.minimum(_bins(spectrum, high) + 1, n_bins)
        total += sums[last] - sums[first]
        number += counts[last] - counts[first]
    return total / np.maximum(number, 1)[:, None], number


def _filled(values: Floats, mask: Mask) -> Floats:
    """Fill masked rows of (n_bins, n_columns) by a line between the means of as many free rows on either side."""
    free = np.flatnonzero(~mask)
    sums = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values[free], axis=0)])
    places = np.concatenate([[0.0], np.cumsum(free, dtype=np.float64)])
    steps = np.diff(mask.astype(np.int8), prepend=0, append=0)
    filled = values.copy()
    for start, stop in zip(np.flatnonzero(steps == 1), np.flatnonzero(steps == -1), strict=True):
        here = int(np.searchsorted(free, start))
        reach = max(int(stop - start), _FEWEST_NEIGHBOURS)
        below, above = max(here - reach, 0), min(here + reach, len(free))
        left, right = _means(sums, places, below, here), _means(sums, places, here, above)
        if left is None or right is None:
            only = left or right
            filled[start:stop] = 0.0 if only is None else only[1]
            continue
        share = (np.arange(start, stop) - left[0]) / (right[0] - left[0])
        filled[start:stop] = left[1] + share[:, None] * (right[1] - left[1])
    return filled


def _means(sums: Floats, places: Floats, first: int, last: int) -> tuple[float, Floats] | None:
    if last <= first:
        return None
    count = last - first
    return float(places[last] - places[first]) / count, (sums[last] - sums[first]) / count
