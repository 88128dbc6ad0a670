"""Seeking the shift between two takes of the same arbitrary material, to about a sample of a low rate.

Several blocks of the one take are sought in the whole of the other; each votes for where it fits. The lag that they
agree on is kept only if no second lag explains them nearly as well.
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
#: Of the blocks that find a place for themselves, this share must find it where the answer is.
LEAST_SUPPORT = 0.5
#: Below this correlation of prewhitened blocks the takes do not hold the same sound.
LEAST_CORRELATION = 0.15
_SEARCH_BLOCKS = 24
_SEARCH_BLOCK_S = 1.0
#: The best of many lags of unlike sound stands at 6 to 7 times the median: from here on a block has found its like.
_CLEAR_OVER_MEDIAN = 10.0
#: A block agrees with an answer at which it fits this nearly as well as at its own best lag.
_AGREES_SHARE = 0.9


@dataclass(frozen=True, slots=True)
class Search:
    """Coarse answer of a search.

    Attributes
    ----------
    offset : float
        Index in the second take of sample 0 of the first.
    slope : float
        Drift, as a fraction.
    peak, runner_up : float
        Agreement of the blocks at the best lag and at the best other one, 0 to 1.
    sharpness : float
        Height of the best lag over the spread of all.
    support : float
        Share of the blocks that find themselves anywhere which find themselves there.
    """

    offset: float
    slope: float
    peak: float
    runner_up: float
    sharpness: float
    support: float


def require_an_answer(found: Search) -> None:
    """Raise `MeasurementError` if the takes hold different sound, or sound that repeats itself."""
    if found.peak < LEAST_CORRELATION or found.sharpness < 6:
        raise MeasurementError(
            f"the takes could not be lined up: they do not seem to hold the same sound (agreement {found.peak:.2f})"
        )
    if found.runner_up > AMBIGUOUS_SHARE * found.peak:
        raise MeasurementError(
            "the takes could not be lined up: the sound repeats itself, and another shift fits "
            f"{found.runner_up / found.peak:.1%} as well as the best"
        )
    if found.support < LEAST_SUPPORT:
        raise MeasurementError(
            "the takes could not be lined up: the sound repeats itself, and most stretches "
            "of it fit another shift better"
        )


def search(first: Floats, second: Floats, rate_hz: float) -> Search:
    """Seek one channel of the first take in one of the second, shapes (n,) and (m,), at the same rate.

    Raises
    ------
    MeasurementError
        If one of them is silent or hardly there.
    """
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


def _agreement(curves: Floats, starts: list[int], n_first: int, factor: float) -> Search:
    """Let the blocks vote on the lag, each within the reach that drift gives it."""
    from scipy.ndimage import maximum_filter1d

    n_lags = curves.shape[1]
    middle = starts[len(starts) // 2]
    votes = np.zeros(n_lags + n_first)
    voters = np.zeros(n_lags + n_first)
    reaches = []
    for curve, start in zip(curves, starts, strict=True):
        reach = 1 + int(np.ceil(LARGEST_DRIFT_PPM * 1e-6 * abs(start - middle)))
        reaches.append(reach)
        shifted = maximum_filter1d(curve, 2 * reach + 1, mode="constant")
        votes[n_first - start : n_first - start + n_lags] += shifted
        voters[n_first - start : n_first - start + n_lags] += 1
    votes /= len(starts)
    peak_at = int(np.argmax(votes))
    apart = 2 * max(reaches) + 8
    # Robust spread of the votes where blocks overlap at all.
    live = votes[votes > 0]
    spread = 1.4826 * float(np.median(np.abs(live - np.median(live)))) + 1e-12
    lag = peak_at - n_first
    offset, slope = _coarse_line(curves, starts, lag, reaches)
    return Search(
        offset=offset * factor,
        slope=slope,
        peak=float(votes[peak_at]),
        runner_up=_runner_up(votes, voters, peak_at, apart),
        sharpness=float((votes[peak_at] - np.median(live)) / spread),
        support=_support(curves, starts, lag, reaches),
    )


def _runner_up(votes: Floats, voters: Floats, peak_at: int, apart: int) -> float:
    """Return the agreement at the best other lag, as if as many blocks had a say there as at the best one."""
    # A lag at which few blocks lie in the other take at all may look good by chance.
    asked = voters >= voters.max() / 2
    others = np.where(asked, votes * voters[peak_at] / np.maximum(voters, 1), votes)
    others[max(0, peak_at - apart) : peak_at + apart + 1] = 0
    return float(others.max())


def _support(curves: Floats, starts: list[int], lag: int, reaches: list[int]) -> float:
    """Return the share of blocks that fit at `lag` about as well as anywhere, of those that fit clearly anywhere.

    Only blocks that lie in the other take at that lag are asked; 1 if there are none.
    """
    clear = agree = 0
    for curve, start, reach in zip(curves, starts, reaches, strict=True):
        centre = start + lag
        if not 0 <= centre < len(curve):
            continue
        best = float(curve.max())
        if best > _CLEAR_OVER_MEDIAN * float(np.median(curve)):
            clear += 1
            agree += float(curve[max(centre - 2 * reach, 0) : centre + 2 * reach + 1].max()) >= _AGREES_SHARE * best
    return agree / clear if clear else 1.0


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
        delays.append(low + peak_of(curve[low:high]) - start)
    if len(places) < 2:
        return float(lag), 0.0
    largest = LARGEST_DRIFT_PPM * 1e-6
    slope = min(max(float(theilslopes(delays, places)[0]), -largest), largest)
    return float(np.median(np.array(delays) - slope * np.array(places))), slope


def peak_of(curve: Floats) -> float:
    """Return the place of the largest value, between samples by a parabola."""
    at = int(np.argmax(curve))
    if not 0 < at < len(curve) - 1:
        return float(at)
    before, top, after = curve[at - 1 : at + 2]
    bend = before - 2 * top + after
    return at + (0.5 * (before - after) / bend if bend < 0 else 0.0)
