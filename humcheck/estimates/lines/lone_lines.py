"""Steady lines of no comb: the picture's line rate, frame noise of digital links, and tones of unknown origin."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.lines.result import FamilyEstimate
from humcheck.estimates.lines.spectrum import Floats, QuietSpectrum
from humcheck.results.rows import Family

#: Line rates of pictures, with room for clocks.
LINE_RATES_HZ = (15_500.0, 15_800.0)
#: Lines per field of the usual rasters, and sidebands that are looked for on either side of the line rate.
LINES_PER_FIELD = (262.0, 262.5, 263.0, 312.0, 312.5, 313.0)
MOST_SIDEBANDS = 12
#: Frames of digital links come at 1 kHz and 8 kHz; clocks are within 200 ppm.
FRAME_HZ = 1000.0
FRAME_PPM = 200.0
#: Power over noise of a bin that is a line; one false line in some hundred sections of a million bins.
STANDS_OUT = 22.0
#: Bins of a Hann line on either side of its peak.
HALF_WIDTH = 3
MOST_LINES = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class LoneLines:
    """Lines that stand out, in order of frequency.

    Attributes
    ----------
    frequency_hz : numpy.ndarray, shape (n_lines,)
    mean_square, sd : numpy.ndarray, shape (n_lines, n_ch)
    detected : numpy.ndarray of bool, shape (n_lines, n_ch)
    """

    frequency_hz: Floats
    mean_square: Floats
    sd: Floats
    detected: np.ndarray


def find_lone_lines(spectrum: QuietSpectrum, taken: np.ndarray) -> LoneLines:
    """Return the lines that stand out of the Hann spectrum.

    Parameters
    ----------
    spectrum : QuietSpectrum
        The section.
    taken : numpy.ndarray of bool, shape (n_bins,)
        Bins that belong to combs already.
    """
    n_bins = spectrum.hann_power.shape[1]
    frequency_hz = np.arange(n_bins) * spectrum.bin_hz
    floor = spectrum.noise.variance(np.maximum(frequency_hz, spectrum.bin_hz))
    around = np.maximum(floor, _local_floor(spectrum.hann_power))
    over = np.where(taken, 0.0, spectrum.hann_power / around).max(axis=0)
    over[(frequency_hz < 20.0) | (frequency_hz > spectrum.highest_hz)] = 0.0
    peaks = _peaks(over)
    return LoneLines(
        frequency_hz=_centroids(spectrum.hann_power.sum(axis=0), peaks) * spectrum.bin_hz,
        **_powers(spectrum, floor, peaks),
    )


def _local_floor(power: Floats, n_bins: int = 32) -> Floats:
    """Return the noise or skirt around each bin: the median of its block or of a neighbouring one, whichever is more.

    Lines that wander have skirts far above the noise; only what stands out of them is a line of its own.
    """
    n_blocks = power.shape[1] // n_bins
    if n_blocks < 3:
        return np.zeros_like(power)
    median = np.median(power[:, : n_blocks * n_bins].reshape(power.shape[0], n_blocks, n_bins), axis=2) / np.log(2)
    padded = np.pad(median, ((0, 0), (1, 1)), mode="edge")
    widest = np.maximum(np.maximum(padded[:, :-2], padded[:, 2:]), median)
    rows = np.minimum(np.arange(power.shape[1]) // n_bins, n_blocks - 1)
    return np.asarray(widest[:, rows])


def skirt_bins(over_noise: float) -> float:
    """Return how many bins beside a line its side lobes stand above the noise (Hann: power falls with m^-6)."""
    return max(6.0, 1.5 * float(max(over_noise, 1.0) ** (1 / 6)))


def _peaks(over: Floats) -> np.ndarray:
    """Return the bins of separate peaks that stand out, the highest of each neighbourhood, at most 200."""
    candidates = np.flatnonzero(over > STANDS_OUT)
    kept: list[int] = []
    blocked = np.zeros(over.size, dtype=np.bool_)
    for place in candidates[np.argsort(-over[candidates])]:
        if not blocked[place] and len(kept) < MOST_LINES:
            kept.append(int(place))
            reach = int(np.ceil(skirt_bins(float(over[place])))) + HALF_WIDTH
            blocked[max(0, place - reach) : place + reach + 1] = True
    return np.array(sorted(kept), dtype=np.int64)


def _centroids(power: Floats, peaks: np.ndarray) -> Floats:
    offsets = np.arange(-2, 3)
    around = power[np.clip(peaks[:, np.newaxis] + offsets, 0, power.size - 1)]
    return np.asarray(peaks + (around * offsets).sum(axis=1) / np.maximum(around.sum(axis=1), 1e-300))


def _powers(spectrum: QuietSpectrum, floor: Floats, peaks: np.ndarray) -> dict[str, np.ndarray]:
    """Return the unbiased mean square of each line: the sum over its main lobe less the noise there.

    A sine of amplitude A gives the Hann bins together A^2 n / 4; white noise of variance s2 gives s2 in each.
    """
    offsets = np.arange(-HALF_WIDTH, HALF_WIDTH + 1)
    places = np.clip(peaks[:, np.newaxis] + offsets, 0, spectrum.hann_power.shape[1] - 1)
    total = spectrum.hann_power[:, places].sum(axis=2).T
    noise = floor[:, peaks].T
    n = spectrum.n_samples
    net = total - offsets.size * noise
    # Neighbouring Hann bins share noise: 1.5 bins count as one.
    sd = np.sqrt(2 * 1.5 * np.maximum(net, 0) * noise + 1.5 * offsets.size * noise**2)
    return {"mean_square": 2 * net / n, "sd": 2 * sd / n, "detected": net > 3.0 * sd}


def lone_families(lines: LoneLines, line_rates_hz: Floats, duration_s: float) -> list[FamilyEstimate]:
    """Return line-rate, digital and other lines as families.

    The line rate's own line comes first in its family and alone makes its level; sidebands at multiples of a field rate
    are listed with it.
    """
    frequency_hz = lines.frequency_hz
    at_line_rate = np.zeros(frequency_hz.size, dtype=np.bool_)
    for line_hz in line_rates_hz:
        at_line_rate |= _is_sideband(frequency_hz, float(line_hz), 3 / duration_s)
    frame = np.round(frequency_hz / FRAME_HZ)
    off_hz = np.abs(frequency_hz - frame * FRAME_HZ)
    digital = (frame >= 1) & (off_hz < FRAME_PPM * 1e-6 * frequency_hz + 1 / duration_s) & ~at_line_rate
    kinds: list[tuple[Family, np.ndarray]] = [
        ("line_rate", at_line_rate),
        ("digital", digital),
        ("other", ~(at_line_rate | digital)),
    ]
    return [_family(lines, kind, chosen, duration_s) for kind, chosen in kinds if chosen.any()]


def _is_sideband(frequency_hz: Floats, line_hz: float, reach_hz: float) -> np.ndarray:
    """Return which lines are the line rate, or lie beside it by a few fields of some usual raster."""
    near = np.abs(frequency_hz - line_hz) <= reach_hz
    for n_lines in LINES_PER_FIELD:
        field_hz = line_hz / n_lines
        order = np.round((frequency_hz - line_hz) / field_hz)
        near |= (np.abs(order) <= MOST_SIDEBANDS) & (np.abs(frequency_hz - line_hz - order * field_hz) <= reach_hz)
    return near


def _family(lines: LoneLines, kind: Family, chosen: np.ndarray, duration_s: float) -> FamilyEstimate:
    mean_square, sd = lines.mean_square[chosen], lines.sd[chosen]
    frequency_hz = lines.frequency_hz[chosen]
    strongest = int(np.argmax(mean_square.sum(axis=1)))
    ratio = mean_square[strongest].max() / max(float(sd[strongest].max()), 1e-300)
    return FamilyEstimate(
        kind=kind,
        fundamental_hz=float(frequency_hz[strongest]),
        # Frequency of a Hann line from its power: close to the bound sqrt(6) / (pi T sqrt(2 SNR)) times 1.7.
        fundamental_sd_hz=float(1.7 * np.sqrt(3.0) / (np.pi * duration_s * max(ratio, 1.0))),
        wander_hz=None,
        harmonics=tuple(1 for _ in range(int(chosen.sum()))),
        frequency_hz=frequency_hz,
        mean_square=mean_square,
        mean_square_sd=sd,
        detected=lines.detected[chosen],
        amplitude=np.sqrt(np.maximum(2 * mean_square, 0.0)).astype(np.complex128),
        power=mean_square[strongest] if kind == "line_rate" else mean_square.sum(axis=0),
        power_sd=sd[strongest] if kind == "line_rate" else np.sqrt(np.sum(sd**2, axis=0)),
    )
