"""Lining up two takes of the same arbitrary material: music, speech, game sound.

Nothing is known of the material but that both takes hold it. A search finds the shift roughly; then delays of many
short blocks give it finely, and the drift of the clocks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.errors import MeasurementError
from humcheck.takes.programme_search import Search, peak_of, require_an_answer, search

#: A shift less sure than this, in samples, lines nothing up: steady sound, with little in it that happens once.
LARGEST_OFFSET_SD = 1.0
#: Phases of unlike sound, turned to fit as well as they can, agree by about 0.2 even in a short block.
_LEAST_COHERENCE = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgrammeAlignment:
    """Where and how fast the material of one take runs in the other.

    Attributes
    ----------
    offset_samples, offset_sd_samples : float
        Index in the second take of sample 0 of the first, and its standard uncertainty.
    drift_ppm, drift_sd_ppm : float
        Samples of the second take per sample of the first, minus 1, in ppm.
    correlation : float
        Agreement of the best lag, 0 to 1.
    runner_up : float
        Agreement of the best other lag.
    swapped : bool
        Whether left and right of the second take are exchanged.
    """

    offset_samples: float
    offset_sd_samples: float
    drift_ppm: float
    drift_sd_ppm: float
    correlation: float
    runner_up: float
    swapped: bool

    def index_of(self, first_index: Floats) -> Floats:
        """Return the (fractional) index in the second take for indices of the first."""
        return self.offset_samples + np.asarray(first_index) * (1 + self.drift_ppm * 1e-6)


def align_programme(first: Floats, second: Floats, rate_hz: float) -> ProgrammeAlignment:
    """Align two takes of the same material.

    Parameters
    ----------
    first, second : numpy.ndarray, shapes (n, n_channels) and (m, n_channels)
        The direct take and the one through the device, at the same rate.
    rate_hz : float
        Sampling rate.

    Raises
    ------
    MeasurementError
        If the takes do not hold the same sound, several lags fit about equally well, or none is sharp.
    """
    channel = int(np.argmax(np.mean(first**2, axis=0)))
    left = first[:, channel]
    straight = second[:, min(channel, second.shape[1] - 1)]
    best = search(left, straight, rate_hz)
    swapped = False
    if first.shape[1] == 2 and second.shape[1] == 2:
        crossed = search(left, second[:, 1 - channel], rate_hz)
        swapped = crossed.peak > 1.1 * best.peak
        best = crossed if swapped else best
    require_an_answer(best)
    chosen = second[:, 1 - channel] if swapped else straight
    line = _line_through_blocks(left, chosen, best, rate_hz)
    if line.offset_sd > LARGEST_OFFSET_SD:
        raise MeasurementError(
            "the takes could not be lined up: the sound is too steady, the shift is uncertain "
            f"by {line.offset_sd:.1f} samples"
        )
    return ProgrammeAlignment(
        offset_samples=line.offset,
        offset_sd_samples=line.offset_sd,
        drift_ppm=line.slope * 1e6,
        drift_sd_ppm=line.slope_sd * 1e6,
        correlation=best.peak,
        runner_up=best.runner_up,
        swapped=swapped,
    )


@dataclass(frozen=True, slots=True)
class _Line:
    offset: float
    offset_sd: float
    slope: float
    slope_sd: float


def _line_through_blocks(first: Floats, second: Floats, coarse: Search, rate_hz: float) -> _Line:
    """Return the line through the delays of many short blocks, the second take warped onto the first in between."""
    from humcheck.audio.warping import on_other_clock

    offset, slope = coarse.offset, coarse.slope
    line = _Line(offset, 1.0, slope, 1e-6)
    for _ in range(3):
        start, warped = on_other_clock(second, offset, slope, len(first))
        line = _fit_delays(first[start : start + len(warped)], warped, rate_hz)
        # A delay measured on the first take's clock at index start + n, on top of the map used so far.
        offset += (line.offset - line.slope * start) * (1 + slope)
        slope += line.slope * (1 + slope)
    return _Line(offset, line.offset_sd, slope, line.slope_sd)


def _fit_delays(first: Floats, second: Floats, rate_hz: float) -> _Line:
    length = int(min(len(first), max(64, rate_hz)))
    starts = np.arange(0, len(first) - length + 1, max(1, length // 2))
    measured = [_block_delay(first[s : s + length], second[s : s + length]) for s in starts]
    delays = np.array([delay for delay, _ in measured])
    weights = np.array([weight for _, weight in measured])
    centres: Floats = starts.astype(np.float64) + length / 2
    good = weights > 0
    if not good.any():
        raise MeasurementError("the takes could not be lined up: no stretch is common to both")
    for _ in range(3):
        offset, slope, offset_sd, slope_sd = _weighted_line(centres[good], delays[good], weights[good])
        residual = delays - offset - slope * centres
        spread = 1.4826 * float(np.median(np.abs(residual[good]))) + 1e-9
        good = (weights > 0) & np.less(np.abs(residual), 6 * spread)
    return _Line(offset, offset_sd, slope, slope_sd)


def _weighted_line(x: Floats, y: Floats, weights: Floats) -> tuple[float, float, float, float]:
    if len(x) < 3:
        mean = float(np.average(y, weights=weights))
        return mean, float(1 / np.sqrt(weights.sum())), 0.0, float(1 / (np.sqrt(weights.sum()) * max(x.max(), 1)))
    matrix = np.stack([np.ones_like(x), x], axis=1)
    normal = matrix.T @ (weights[:, None] * matrix)
    solution = np.linalg.solve(normal, matrix.T @ (weights * y))
    residual = y - matrix @ solution
    # Scatter about the line, not the weights' own claim: blocks overlap and material is no noise.
    scale = float(np.sum(weights * residual**2) / max(len(x) - 2, 1))
    sd = np.sqrt(np.diag(np.linalg.inv(normal)) * max(scale, 1e-30))
    return float(solution[0]), float(solution[1]), float(sd[0]), float(sd[1])


def _block_delay(first: Floats, second: Floats) -> tuple[float, float]:
    """Return the delay of `second` behind `first` in samples (well below one) and its weight, 1 over variance.

    The slope of the cross-spectrum's phase, each bin weighted by its own coherent power; bins whose phase lies beyond
    half a turn would need a larger delay than is left here. A block in which the takes have nothing in common has no
    weight: its scatter would pass for precision, since phases wrap.
    """
    import scipy.fft

    window = np.hanning(len(first))
    # Without the mean: the window spreads an offset over the first bins, where it would hold the delay at zero.
    one, other = (scipy.fft.rfft((x - np.average(x, weights=window)) * window) for x in (first, second))
    cross = np.conj(one) * other
    omega = 2 * np.pi * np.arange(len(cross)) / len(first)
    usable = slice(1, len(cross) - 1)
    cross, omega = cross[usable], omega[usable]
    magnitude = np.abs(cross)
    total = float(magnitude.sum())
    if total <= 0:
        return 0.0, 0.0
    # Start from the peak of the whitened cross-correlation, so that phases need no unwrapping.
    centred = scipy.fft.irfft(np.concatenate([[0], cross / (magnitude + 1e-3 * magnitude.max()), [0]]), len(first))
    reach = min(64, len(first) // 4)
    near = np.concatenate([np.abs(centred[-reach:]), np.abs(centred[: reach + 1])])
    delay = peak_of(near) - reach
    sign = np.sign(np.sum((cross * np.exp(1j * omega * delay)).real)) or 1.0
    weights = magnitude * omega**2
    for _ in range(4):
        phase = np.angle(sign * cross * np.exp(1j * omega * delay))
        delay -= float(np.sum(magnitude * omega * phase) / np.sum(weights))
    phase = np.angle(sign * cross * np.exp(1j * omega * delay))
    if np.average(np.cos(phase), weights=magnitude * omega) < _LEAST_COHERENCE:
        return delay, 0.0
    variance = float(np.sum((magnitude * omega * phase) ** 2) / np.sum(weights) ** 2)
    return delay, 1 / max(variance, 1e-16)
