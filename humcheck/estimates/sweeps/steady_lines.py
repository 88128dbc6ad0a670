"""Hum, buzz and whistles under a sweep: found in the divided spectrum, and kept out of readings.

Division by the sweep is a linear filter: a steady line stays a steady line, all along the impulse response, while the
response itself stands at its peak. So a line can be found where the response is not, and what it adds inside a window
can be told from what it does on both sides of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humcheck.estimates.sweeps.deconvolution import Floats, ImpulseResponse, PathSpectrum, SweepLaw
from humcheck.estimates.sweeps.windows import Kernel, Window, turning, window_kernel
from humcheck.tracks.envelopes import edge

#: A line stands this far above the median of its neighbourhood (power); noise alone does so once in 10**12 bins.
LINE_POWER_RATIO = 40.0
NEIGHBOURHOOD_BINS = 512
LOWEST_LINE_HZ = 12.0
MOST_LINES = 400
#: Lines closer than this count as one; a wandering line is that broad at most.
APART_HZ = 3.0
#: Power of far bins re near ones: the sum of squares of (-1/2, 1, -1/2).
DIFFERENCE_GAIN = 1.5

#: How far beyond the window lines are fitted, on its early and on its late side: in window lengths, at least enough to
#: tell lines 50 Hz apart, at most as long as mains keeps still.
EARLY_REACH_LENGTHS, LATE_REACH_LENGTHS = 4.0, 6.0
SHORTEST_REACH_S = 0.1
LONGEST_EARLY_REACH_S, LONGEST_LATE_REACH_S = 0.35, 0.6
#: The fit fades in and out over this share of its reach: what rings on at the lowest frequencies must not enter.
EDGE_SHARE = 0.3
#: Lines that would add less than this share of the noise's power to a reading are left in it.
HARMLESS_SHARE = 0.02
#: No line is heard through a window from further off than so many reciprocal lengths: -120 dB.
FARTHEST_WIDTHS = 40.0
#: Amplitude and phase of a line run linearly along the fit: enough for 20 mHz of mains wander in half a minute.
POWERS = (0, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class LineScan:
    """Steady lines of a divided spectrum, and the noise between them.

    Attributes
    ----------
    lines_hz : numpy.ndarray, shape (n_lines,)
        Frequencies of lines in any channel, in hertz of the track's clock, strongest first.
    line_power : numpy.ndarray, shape (n_ch, n_lines)
        Squared magnitude of the bin that a line would fill if it fell on one.
    block_hz : float
        Width of the blocks of `noise_power`.
    noise_power : numpy.ndarray, shape (n_ch, n_blocks)
        Mean square magnitude of a bin, lines left out.
    """

    lines_hz: Floats
    line_power: Floats
    block_hz: float
    noise_power: Floats

    def noise_power_at(self, frequency_hz: float, row: int) -> float:
        """Return the mean square magnitude of a bin of one channel's noise around a frequency."""
        block = min(int(frequency_hz / self.block_hz), self.noise_power.shape[1] - 1)
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
        lines_hz=path.bin_hz * (np.array(peaks, dtype=np.float64) + 1.0),
        line_power=np.array(line_power).reshape(-1, len(far)).T / DIFFERENCE_GAIN,
        block_hz=NEIGHBOURHOOD_BINS * path.bin_hz,
        noise_power=quartile / (np.log(4.0 / 3.0) * DIFFERENCE_GAIN),
    )


def nulled_kernel(
    frequency_hz: float, window: Window, response: ImpulseResponse, row: int, lines: LineScan, law: SweepLaw
) -> tuple[Kernel, Window]:
    """Return a window's kernel that is blind to steady lines.

    The lines are fitted by least squares on both sides of the window, and what they have inside it is taken off; as all
    of that is linear, it is folded into the weights.

    Parameters
    ----------
    frequency_hz : float
        Frequency to read.
    window : Window
        The window around its place.
    response : ImpulseResponse
        What is to be read.
    row : int
        Row of the channel to be read.
    lines : LineScan
        Of the same path.
    law : SweepLaw
        The sweep; the fit keeps off its second-order distortion.

    Returns
    -------
    kernel : Kernel
        The plain one if no line matters.
    reach : Window
        How far the kernel's weights extend.
    """
    rate_hz = response.rate_hz
    plain = window_kernel(frequency_hz, window, rate_hz)
    near_hz = _lines_that_matter(plain, response, row, lines)
    if near_hz.size == 0:
        return plain, window
    reach = _reach(frequency_hz, window, law)
    local = np.arange(-int(reach.early_s * rate_hz), int(reach.late_s * rate_hz) + 1)
    weights = np.zeros(local.size, dtype=np.complex128)
    inside = slice(plain.local[0] - local[0], plain.local[-1] - local[0] + 1)
    weights[inside] = plain.weights
    basis = _line_basis(near_hz, local, rate_hz)
    fitted = basis * _fit_weights(local / rate_hz, window, reach)
    normal = fitted @ basis.T
    # A trace of damping, for lines that are too close to be told apart.
    normal[np.diag_indices_from(normal)] *= 1.0 + 1e-9
    taken_off = np.linalg.solve(normal, basis[:, inside] @ plain.weights.view(np.float64).reshape(-1, 2))
    weights -= (taken_off.T @ fitted).T.copy().view(np.complex128)[:, 0]
    return Kernel(local=local, weights=weights, frequency_hz=frequency_hz), reach


def _local_maxima(ratio: Floats, peaks: NDArray[np.intp], half: int) -> NDArray[np.intp]:
    """Return the peaks that nothing within `half` bins exceeds, strongest first: skirts of a line are no lines."""
    alone = [peak for peak in peaks.tolist() if ratio[peak] >= ratio[max(peak - half, 0) : peak + half + 1].max()]
    kept = np.array(alone, dtype=np.intp)
    return kept[np.argsort(-ratio[kept])][:MOST_LINES]


def _lines_that_matter(plain: Kernel, response: ImpulseResponse, row: int, lines: LineScan) -> Floats:
    length_s = plain.local.size / response.rate_hz
    near = np.flatnonzero(np.abs(lines.lines_hz - plain.frequency_hz) < FARTHEST_WIDTHS / length_s)
    near_hz = lines.lines_hz[near]
    if near.size == 0:
        return near_hz
    waves = turning(near_hz, plain.local, response.rate_hz)
    # A real line has an image at its negative frequency.
    seen = np.abs(waves @ plain.weights) + np.abs(waves @ np.conj(plain.weights))
    line_gain = seen**2 / response.samples.shape[1]
    noise = lines.noise_power_at(plain.frequency_hz, row) * plain.noise_gain
    return np.asarray(near_hz[lines.line_power[row, near] * line_gain > HARMLESS_SHARE * noise])


def _reach(frequency_hz: float, window: Window, law: SweepLaw) -> Window:
    length_s = window.length_s
    early_s = window.early_s + min(max(EARLY_REACH_LENGTHS * length_s, SHORTEST_REACH_S), LONGEST_EARLY_REACH_S)
    late_s = window.late_s + min(max(LATE_REACH_LENGTHS * length_s, SHORTEST_REACH_S), LONGEST_LATE_REACH_S)
    if frequency_hz > 2.0 * law.low_hz:
        early_s = max(min(early_s, 0.9 * law.advance_s(2)), window.early_s)
    return Window(early_s=early_s, late_s=late_s)


def _line_basis(lines_hz: Floats, local: NDArray[np.intp], rate_hz: float) -> Floats:
    """Return cosine and sine of every line, times powers of time; one row each, shape (n_lines * 2 * n_powers, n)."""
    waves = turning(lines_hz, local, rate_hz)
    relative = local / float(np.abs(local).max())
    basis = np.empty((len(POWERS), 2, lines_hz.size, local.size))
    for power, rows in zip(POWERS, basis, strict=True):
        np.multiply(waves.real, relative**power, out=rows[0])
        np.multiply(waves.imag, relative**power, out=rows[1])
    return basis.reshape(-1, local.size)


def _fit_weights(time_s: Floats, window: Window, reach: Window) -> Floats:
    """Return the weights of the fit: zero inside the window, soft at all ends."""
    weights = np.zeros(time_s.size)
    first, last = np.searchsorted(time_s, [-window.early_s, window.late_s])
    weights[:first] = _soft(-window.early_s - time_s[:first], reach.early_s - window.early_s)
    weights[last:] = _soft(time_s[last:] - window.late_s, reach.late_s - window.late_s)
    return weights


def _soft(beyond_s: Floats, room_s: float) -> Floats:
    if room_s <= 0.0:
        return np.zeros(beyond_s.size)
    return edge(np.minimum(beyond_s, room_s - beyond_s) / (EDGE_SHARE * room_s))
