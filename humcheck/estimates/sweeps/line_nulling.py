"""Readings that are blind to steady lines: a window's kernel, less what lines fitted around it have inside.

What a line adds inside a window can be told from what it does on both sides of it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from humcheck.estimates.sweeps.deconvolution import Complexes, Floats, ImpulseResponse, SweepLaw
from humcheck.estimates.sweeps.phasors import Phasors, Reals
from humcheck.estimates.sweeps.steady_lines import LineScan
from humcheck.estimates.sweeps.windows import Kernel, Window, window_kernel
from humcheck.tracks.envelopes import edge

Bins = NDArray[np.intp]

#: How far beyond the window lines are fitted, on its early and on its late side: in window lengths, at least enough to
#: tell lines 50 Hz apart, at most as long as mains keeps still.
EARLY_REACH_LENGTHS, LATE_REACH_LENGTHS = 4.0, 6.0
SHORTEST_REACH_S = 0.1
LONGEST_EARLY_REACH_S, LONGEST_LATE_REACH_S = 0.35, 0.6
#: The fit fades in and out over this share of its reach: what rings on at the lowest frequencies must not enter.
EDGE_SHARE = 0.3
#: A wave that turns so often within an edge adds up to less than 1e-12 of the weights under it: the edge's fifth
#: derivative is its first that jumps.
ALONE_CYCLES = 100.0
#: Of so few lines the fit's rows are written out.
FEW_LINES = 8
#: Lines that would add less than this share of the noise's power to a reading are left in it.
HARMLESS_SHARE = 0.02
#: No line is heard through a window from further off than so many reciprocal lengths: -120 dB.
FARTHEST_WIDTHS = 40.0
#: Amplitude and phase of a line run linearly along the fit: enough for 20 mHz of mains wander in half a minute.
POWERS = (0, 1)


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
    bins = _lines_that_matter(plain, response, row, lines)
    if bins.size == 0:
        return plain, window
    reach = _reach(frequency_hz, window, law)
    local = np.arange(-int(reach.early_s * rate_hz), int(reach.late_s * rate_hz) + 1)
    bin_turns = lines.bin_hz / rate_hz
    share = _fit_weights(local / rate_hz, window, reach)
    scale = 1.0 / float(np.abs(local).max())
    if bins.size <= FEW_LINES:
        lines_inside = _few_lines(bins, bin_turns, plain, local, share)
    else:
        alone_turns = ALONE_CYCLES / (_edge_s(window, reach) * rate_hz)
        normal = _normal_matrix(bins, bin_turns, local, share, scale, alone_turns)
        taken_off = _solved(normal, _inside(bins, bin_turns, plain, scale))
        lines_inside = _lines_at(taken_off, bins, bin_turns, local, scale)
    weights = -share * lines_inside
    weights[plain.local[0] - local[0] : plain.local[-1] - local[0] + 1] += plain.weights
    return Kernel(local=local, weights=weights, frequency_hz=frequency_hz), reach


def _lines_that_matter(plain: Kernel, response: ImpulseResponse, row: int, lines: LineScan) -> Bins:
    """Return the bins of the lines that a plain kernel would hear."""
    length_s = plain.local.size / response.rate_hz
    lines_hz = lines.bin_hz * lines.line_bins
    near = np.flatnonzero(np.abs(lines_hz - plain.frequency_hz) < FARTHEST_WIDTHS / length_s)
    if near.size == 0:
        return lines.line_bins[near]
    real, imag = Phasors(lines_hz[near] / response.rate_hz, plain.local).sums(_parts(plain.weights))
    # A real line has an image at its negative frequency.
    seen = np.abs(real + 1j * imag) + np.abs(real - 1j * imag)
    line_gain = seen**2 / response.samples.shape[1]
    noise = lines.noise_power_at(plain.frequency_hz, row) * plain.noise_gain
    matters = lines.line_power[row, near] * line_gain > HARMLESS_SHARE * noise
    return np.asarray(lines.line_bins[near[matters]])


def _reach(frequency_hz: float, window: Window, law: SweepLaw) -> Window:
    length_s = window.length_s
    early_s = window.early_s + min(max(EARLY_REACH_LENGTHS * length_s, SHORTEST_REACH_S), LONGEST_EARLY_REACH_S)
    late_s = window.late_s + min(max(LATE_REACH_LENGTHS * length_s, SHORTEST_REACH_S), LONGEST_LATE_REACH_S)
    if frequency_hz > 2.0 * law.low_hz:
        early_s = max(min(early_s, 0.9 * law.advance_s(2)), window.early_s)
    return Window(early_s=early_s, late_s=late_s)


def _few_lines(bins: Bins, bin_turns: float, plain: Kernel, local: Bins, share: Floats) -> Complexes:
    """Return what the fit makes of the lines inside a plain kernel, as the sum of its rows, all written out."""
    waves = Phasors(bin_turns * bins, local).rows()
    relative = local / float(np.abs(local).max())
    rows = np.concatenate([part * relative**power for power in POWERS for part in (waves.real, waves.imag)])
    first = plain.local[0] - local[0]
    inside = rows[:, first : first + plain.local.size] @ plain.weights.view(np.float64).reshape(-1, 2)
    taken_off = _solved((rows * share) @ rows.T, inside)
    return np.ascontiguousarray((taken_off.T @ rows).T).view(np.complex128)[:, 0]


def _solved(normal: Reals, inside: Floats) -> Reals:
    # A trace of damping, for lines that are too close to be told apart.
    normal[np.diag_indices_from(normal)] *= 1.0 + 1e-9
    return np.asarray(np.linalg.solve(normal, inside))


# The fit's rows are cosine and sine of every line, times powers of time: (power, cosine or sine, line). Of many lines
# they are not written out: products of two are waves at the sum and at the difference of their frequencies, and lines
# that lie on bins have few different ones.


def _normal_matrix(
    bins: Bins, bin_turns: float, local: Bins, share: Floats, scale: float, alone_turns: float
) -> Floats:
    """Return the weighted products of all rows with each other, shape (n_rows, n_rows).

    Waves from `alone_turns` on, in turns a sample, add up to nothing under the soft weights.
    """
    apart = np.concatenate([bins[:, np.newaxis] - bins, bins[:, np.newaxis] + bins])
    different, place = np.unique(np.abs(apart), return_inverse=True)
    turns = different * bin_turns
    slow = np.abs(turns - np.rint(turns)) < alone_turns  # a whole turn a sample is none
    moments = np.stack([share * (scale * local) ** power for power in range(2 * POWERS[-1] + 1)])
    sums = np.zeros((len(moments), different.size), dtype=np.complex128)
    sums[:, slow] = Phasors(turns[slow], local).sums(moments)
    sums = sums[:, place.reshape(apart.shape)]
    difference, added = sums[:, : bins.size], sums[:, bins.size :]
    sine = np.where(apart[: bins.size] < 0, -1.0, 1.0) * difference.imag
    # cos a cos b, cos a sin b, sin a cos b, sin a sin b, by the usual identities
    products = 0.5 * np.array(
        [
            [difference.real + added.real, added.imag - sine],
            [added.imag + sine, difference.real - added.real],
        ]
    )
    n_rows = 2 * bins.size
    blocks = products.transpose(2, 0, 3, 1, 4).reshape(-1, n_rows, n_rows)
    return np.block([[blocks[first + second] for second in POWERS] for first in POWERS])


def _inside(bins: Bins, bin_turns: float, plain: Kernel, scale: float) -> Floats:
    """Return what a plain kernel makes of each row: real and imaginary part, shape (n_rows, 2)."""
    parts = _parts(plain.weights)
    moments = np.concatenate([parts * (scale * plain.local) ** power for power in POWERS])
    sums = Phasors(bin_turns * bins, plain.local).sums(moments).reshape(len(POWERS), 2, bins.size)
    return np.stack([sums.real, sums.imag], axis=1).transpose(0, 1, 3, 2).reshape(-1, 2)


def _lines_at(amplitudes: Reals, bins: Bins, bin_turns: float, local: Bins, scale: float) -> Complexes:
    """Return the sum of all rows, each with its complex amplitude, given as two columns; shape (n,)."""
    both = (amplitudes[:, 0] + 1j * amplitudes[:, 1]).reshape(len(POWERS), 2, bins.size)
    # c cos + s sin for complex c and s: half of (c - js) turns one way, half of (c + js) the other.
    halves = 0.5 * np.stack([both[:, 0] - 1j * both[:, 1], np.conj(both[:, 0] + 1j * both[:, 1])], axis=1)
    rows = np.asarray(halves.reshape(-1, bins.size), dtype=np.complex128)
    waves = Phasors(bin_turns * bins, local).waves(rows).reshape(len(POWERS), 2, -1)
    turned = waves[:, 0] + np.conj(waves[:, 1])
    return np.asarray(sum(turned[index] * (scale * local) ** power for index, power in enumerate(POWERS)))


def _parts(values: Complexes) -> Floats:
    """Return real and imaginary parts as rows."""
    return np.stack([values.real, values.imag])


def _edge_s(window: Window, reach: Window) -> float:
    """Return the length of the shortest edge of the fit."""
    rooms_s = (reach.early_s - window.early_s, reach.late_s - window.late_s)
    return EDGE_SHARE * min(room_s for room_s in rooms_s if room_s > 0.0)


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
