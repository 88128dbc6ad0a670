"""Lining up two takes of the same arbitrary material: music, speech, game sound.

Nothing is known of the material but that both takes hold it. Several blocks of the direct take are sought in the whole
of the other one; the lag that they agree on is kept only if no second lag explains them nearly as well. Then delays of
many short blocks give the drift of the clocks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.audio.spectra import fast_length
from humcheck.errors import MeasurementError

#: Clocks of consumer devices differ by less than this (two at +-50 ppm each, with a wide margin).
LARGEST_DRIFT_PPM = 500.0
SEARCH_RATE_HZ = 6000.0
#: A second lag that explains the takes this nearly as well as the best makes the answer ambiguous.
AMBIGUOUS_SHARE = 0.9
#: Below this correlation of prewhitened blocks the takes do not hold the same sound.
LEAST_CORRELATION = 0.15
_SEARCH_BLOCKS = 24
_SEARCH_BLOCK_S = 1.0


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
        If the takes do not hold the same sound, or several lags fit about equally well.
    """
    channel = int(np.argmax(np.mean(first**2, axis=0)))
    left = first[:, channel]
    straight = second[:, min(channel, second.shape[1] - 1)]
    best = _search(left, straight, rate_hz)
    swapped = False
    if first.shape[1] == 2 and second.shape[1] == 2:
        crossed = _search(left, second[:, 1 - channel], rate_hz)
        swapped = crossed.peak > 1.1 * best.peak
        best = crossed if swapped else best
    _require_an_answer(best)
    chosen = second[:, 1 - channel] if swapped else straight
    line = _line_through_blocks(left, chosen, best, rate_hz)
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
class _Search:
    """Coarse answer: offset in samples, slope (drift as a fraction), agreement of the best lag and of the next."""

    offset: float
    slope: float
    peak: float
    runner_up: float
    sharpness: float


def _require_an_answer(search: _Search) -> None:
    if search.peak < LEAST_CORRELATION or search.sharpness < 6:
        raise MeasurementError(
            f"the takes could not be lined up: they do not seem to hold the same sound (agreement {search.peak:.2f})"
        )
    if search.runner_up > AMBIGUOUS_SHARE * search.peak:
        raise MeasurementError(
            "the takes could not be lined up: the sound repeats itself, and another shift fits "
            f"{search.runner_up / search.peak:.1%} as well as the best"
        )


def _search(first: Floats, second: Floats, rate_hz: float) -> _Search:
    low, high, factor = _for_search(first, second, rate_hz)
    # Short against the drift of the clocks: 1 s at 300 ppm smears 0.3 ms. Many blocks together tell repetitions apart.
    length = int(min(len(low) // 2, len(high) // 2, max(256, _SEARCH_BLOCK_S * rate_hz / factor)))
    if length < 64 or not low.any() or not high.any():
        raise MeasurementError("the takes could not be lined up: one of them is too short or silent")
    starts = _block_starts(low, length)
    curves = _correlations([low[start : start + length] for start in starts], high)
    return _agreement(curves, starts, len(low), factor)


def _for_search(first: Floats, second: Floats, rate_hz: float) -> tuple[Floats, Floats, float]:
    """Return both takes at a low rate, differenced and prewhitened alike, and the factor between the rates."""
    from humcheck.audio.resampling import resample

    factor = 1.0
    if rate_hz > 1.3 * SEARCH_RATE_HZ:
        factor = rate_hz / SEARCH_RATE_HZ
        first, second = (resample(x[:, None], rate_hz, SEARCH_RATE_HZ)[:, 0] for x in (first, second))
    # Differences, not a recursive high-pass: its start-up from rest would correlate at lag zero.
    first, second = np.diff(first), np.diff(second)
    whitening = _whitening_filter(first)
    return _filtered(first, whitening), _filtered(second, whitening), factor


def _whitening_filter(samples: Floats, n_taps: int = 257) -> Floats:
    """Return a symmetric FIR that flattens the long-term spectrum of `samples`, down to 40 dB below its peak."""
    import scipy.fft

    size = 1024
    usable = len(samples) // size * size
    frames = samples[:usable].reshape(-1, size) if usable else samples[None, :]
    power = np.mean(np.abs(scipy.fft.rfft(frames * np.hanning(frames.shape[1]), 1024, axis=1)) ** 2, axis=0)
    kernel = np.hanning(11)
    smooth = np.convolve(np.pad(power, 5, mode="reflect"), kernel / kernel.sum(), mode="valid")
    response = 1 / np.sqrt(smooth + 1e-4 * smooth.max() + 1e-300)
    impulse: Floats = np.roll(scipy.fft.irfft(response, 1024), n_taps // 2)[:n_taps] * np.hanning(n_taps)
    return impulse


def _filtered(samples: Floats, taps: Floats) -> Floats:
    """Return `samples` filtered, the symmetric filter's delay removed."""
    import scipy.fft

    size = fast_length(len(samples) + len(taps))
    product = scipy.fft.rfft(samples, size) * scipy.fft.rfft(taps, size)
    half = len(taps) // 2
    filtered: Floats = scipy.fft.irfft(product, size)[half : half + len(samples)]
    return filtered


def _block_starts(samples: Floats, length: int) -> list[int]:
    """Return where the loudest block of each of several equal parts begins."""
    running = np.concatenate([[0.0], np.cumsum(samples**2)])
    n_parts = max(1, min(_SEARCH_BLOCKS, len(samples) // length))
    edges = np.linspace(0, len(samples) - length + 1, n_parts + 1).astype(int)
    energies = running[length:] - running[:-length]
    return [int(low + np.argmax(energies[low:high])) for low, high in zip(edges, edges[1:], strict=False) if high > low]


def _correlations(blocks: list[Floats], samples: Floats) -> Floats:
    """Return the normalised correlation of each block with every stretch of `samples`, signs dropped.

    Shape (n_blocks, n_lags); all blocks are of one length.
    """
    import scipy.fft

    length = len(blocks[0])
    size = fast_length(len(samples) + length)
    spectrum = scipy.fft.rfft(samples, size)
    running = np.concatenate([[0.0], np.cumsum(samples**2)])
    energy = running[length:] - running[:-length]
    scale = np.sqrt(np.maximum(energy, 1e-6 * energy.max() + 1e-300))
    curves = np.empty((len(blocks), len(energy)))
    for curve, block in zip(curves, blocks, strict=True):
        raw = scipy.fft.irfft(spectrum * np.conj(scipy.fft.rfft(block, size)), size)[: len(energy)]
        curve[:] = np.abs(raw) / (scale * np.sqrt(np.sum(block**2)) + 1e-300)
    return curves


def _agreement(curves: Floats, starts: list[int], n_first: int, factor: float) -> _Search:
    """Let the blocks vote on the lag, each within the reach that drift gives it."""
    from scipy.ndimage import maximum_filter1d

    n_lags = curves.shape[1]
    middle = starts[len(starts) // 2]
    votes = np.zeros(n_lags + n_first)
    reaches = []
    for curve, start in zip(curves, starts, strict=True):
        reach = 1 + int(np.ceil(LARGEST_DRIFT_PPM * 1e-6 * abs(start - middle)))
        reaches.append(reach)
        shifted = maximum_filter1d(curve, 2 * reach + 1, mode="constant")
        votes[n_first - start : n_first - start + n_lags] += shifted
    votes /= len(starts)
    peak_at = int(np.argmax(votes))
    apart = 2 * max(reaches) + 8
    others = votes.copy()
    others[max(0, peak_at - apart) : peak_at + apart + 1] = 0
    # Robust spread of the votes where blocks overlap at all.
    live = votes[votes > 0]
    spread = 1.4826 * float(np.median(np.abs(live - np.median(live)))) + 1e-12
    lag = peak_at - n_first
    offset, slope = _coarse_line(curves, starts, lag, reaches)
    return _Search(
        offset=offset * factor,
        slope=slope,
        peak=float(votes[peak_at]),
        runner_up=float(others.max()),
        sharpness=float((votes[peak_at] - np.median(live)) / spread),
    )


def _coarse_line(curves: Floats, starts: list[int], lag: int, reaches: list[int]) -> tuple[float, float]:
    """Return offset and slope of the blocks' own peaks near the lag that they agreed on."""
    from scipy.stats import theilslopes

    places, delays = [], []
    for curve, start, reach in zip(curves, starts, reaches, strict=True):
        centre = start + lag
        low, high = max(centre - 2 * reach, 0), min(centre + 2 * reach + 1, len(curve))
        if high - low < 3:
            continue
        places.append(float(start))
        delays.append(low + _peak_of(curve[low:high]) - start)
    if len(places) < 2:
        return float(lag), 0.0
    largest = LARGEST_DRIFT_PPM * 1e-6
    slope = min(max(float(theilslopes(delays, places)[0]), -largest), largest)
    return float(np.median(np.array(delays) - slope * np.array(places))), slope


def _peak_of(curve: Floats) -> float:
    """Return the place of the largest value, between samples by a parabola."""
    at = int(np.argmax(curve))
    if not 0 < at < len(curve) - 1:
        return float(at)
    before, top, after = curve[at - 1 : at + 2]
    bend = before - 2 * top + after
    return at + (0.5 * (before - after) / bend if bend < 0 else 0.0)


@dataclass(frozen=True, slots=True)
class _Line:
    offset: float
    offset_sd: float
    slope: float
    slope_sd: float


def _line_through_blocks(first: Floats, second: Floats, coarse: _Search, rate_hz: float) -> _Line:
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
    half a turn would need a larger delay than is left here.
    """
    import scipy.fft

    window = np.hanning(len(first))
    one, other = scipy.fft.rfft(first * window), scipy.fft.rfft(second * window)
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
    delay = _peak_of(near) - reach
    sign = np.sign(np.sum((cross * np.exp(1j * omega * delay)).real)) or 1.0
    weights = magnitude * omega**2
    for _ in range(4):
        phase = np.angle(sign * cross * np.exp(1j * omega * delay))
        delay -= float(np.sum(magnitude * omega * phase) / np.sum(weights))
    phase = np.angle(sign * cross * np.exp(1j * omega * delay))
    variance = float(np.sum((magnitude * omega * phase) ** 2) / np.sum(weights) ** 2)
    return delay, 1 / max(variance, 1e-16)
