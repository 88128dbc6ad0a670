"""Hum, buzz and whistles under a sweep, found in the divided spectrum.

Division by the sweep is a linear filter: a steady line stays a steady line, all along the impulse response, while the
response itself stands at its peak. So a line can be found where the response is not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humcheck.estimates.sweeps.deconvolution import Floats, PathSpectrum

#: A line stands this far above the median of its neighbourhood (power); noise alone does so once in 10**12 bins.
LINE_POWER_RATIO = 40.0
NEIGHBOURHOOD_BINS = 512
LOWEST_LINE_HZ = 12.0
MOST_LINES = 400
#: Lines closer than this count as one; a wandering line is that broad at most.
APART_HZ = 3.0
#: Power of far bins re near ones: the sum of squares of (-1/2, 1, -1/2).
DIFFERENCE_GAIN = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class LineScan:
    """Steady lines of a divided spectrum, and the noise between them.

    Attributes
    ----------
    line_bins : numpy.ndarray of int, shape (n_lines,)
        Frequencies of lines in any channel, in bins of the divided spectrum, strongest first.
    bin_hz : float
        Width of a bin, in hertz of the track's clock.
    line_power : numpy.ndarray, shape (n_ch, n_lines)
        Squared magnitude of the bin that a line would fill if it fell on one.
    noise_power : numpy.ndarray, shape (n_ch, n_blocks)
        Mean square magnitude of a bin in each block of `NEIGHBOURHOOD_BINS`, lines left out.
    """

    line_bins: NDArray[np.intp]
    bin_hz: float
    line_power: Floats
    noise_power: Floats

    def noise_power_at(self, frequency_hz: float, row: int) -> float:
        """Return the mean square magnitude of a bin of one channel's noise around a frequency."""
        block = min(int(frequency_hz / (NEIGHBOURHOOD_BINS * self.bin_hz)), self.noise_power.shape[1] - 1)
        return float(self.noise_power[row, block])


def scan_lines(path: PathSpectrum, top_hz: float) -> LineScan:
    """Find the steady lines in any channel.

    Parameters
    ----------
    path : PathSpectrum
        With silence enough around the sweep that its impulse response is short re the record.
    top_hz : float
        Highest frequency of interest.
    """
    n_blocks = int(top_hz / path.bin_hz) // NEIGHBOURHOOD_BINS
    part = path.spectrum[:, : n_blocks * NEIGHBOURHOOD_BINS + 2]
    # Differences of neighbouring bins are a Hann window over delay that is zero at delay 0, where the response is.
    far = part[:, 1:-1] - 0.5 * (part[:, :-2] + part[:, 2:])
    power = far.real**2 + far.imag**2
    blocks = power.reshape(len(far), n_blocks, NEIGHBOURHOOD_BINS)
    # Every other bin is enough for these.
    quarter = NEIGHBOURHOOD_BINS // 8
    ordered = np.partition(blocks[:, :, ::2], (quarter, 2 * quarter), axis=2)
    quartile, median = ordered[:, :, quarter], ordered[:, :, 2 * quarter]
    ratio = (blocks / np.where(median > 0.0, median, np.inf)[:, :, np.newaxis]).reshape(power.shape).max(axis=0)
    first = int(LOWEST_LINE_HZ / path.bin_hz)
    peaks = first + np.flatnonzero(ratio[first:] > LINE_POWER_RATIO)
    half = int(APART_HZ / path.bin_hz)
    peaks = _local_maxima(ratio, peaks, half)
    line_power = [power[:, max(peak - half, 0) : peak + half + 1].sum(axis=1) for peak in peaks]
    return LineScan(
        line_bins=peaks + 1,
        bin_hz=path.bin_hz,
        line_power=np.array(line_power).reshape(-1, len(far)).T / DIFFERENCE_GAIN,
        noise_power=quartile / (np.log(4.0 / 3.0) * DIFFERENCE_GAIN),
    )


def _local_maxima(ratio: Floats, peaks: NDArray[np.intp], half: int) -> NDArray[np.intp]:
    """Return the peaks that nothing within `half` bins exceeds, strongest first: skirts of a line are no lines."""
    alone = [peak for peak in peaks.tolist() if ratio[peak] >= ratio[max(peak - half, 0) : peak + half + 1].max()]
    kept = np.array(alone, dtype=np.intp)
    return kept[np.argsort(-ratio[kept])][:MOST_LINES]
