"""From sound and frames to what they have in common."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from humcheck.audio.levels import Floats
from humcheck.errors import MeasurementError
from humcheck.estimates.footage.clock import LINE_RATES_HZ, Drawing, read_drawings
from humcheck.estimates.footage.estimate import FootageEstimate
from humcheck.estimates.footage.fields import Frames, counted
from humcheck.estimates.footage.level import Gain, Template, gain_of
from humcheck.estimates.footage.matching import leak_spectrum, pulse_of
from humcheck.estimates.footage.place import Place, place_of
from humcheck.estimates.footage.search import FOUND_P, Fit, heard_as, rows_as, search
from humcheck.estimates.footage.share import QuietStretch, shares_of
from humcheck.estimates.footage.whitening import Moments, weights_of, without_steady

SHORTEST_S = 8.0
LONGEST_S = 60.0
#: Ways of drawing whose line tone is sought.
_MOST_DRAWINGS = 2
#: A line tone is heard from this height over the median on: noise reaches 10 or so among the bins looked at.
_TONE_HEIGHT = 30.0
_BLOCK_S = 1.0
#: What the coding of brightness and the edges of rows may take from a gain, as a share of it: 0.15 dB.
_MODEL_SD = 0.0174
_NORMAL_95 = 1.959963984540054


def find_footage(
    samples: Floats, rate_hz: float, rows: Floats, times_s: Floats, quiet: QuietStretch | None = None
) -> FootageEstimate:
    """Seek the picture in the sound.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_ch)
        Sound of the file, full scale = 1; a minute at most is used.
    rate_hz : float
        Sampling rate.
    rows : numpy.ndarray, shape (n_frames, n_rows)
        Brightness of the rows of each frame, 0-1.
    times_s : numpy.ndarray, shape (n_frames,)
        When each frame was captured, from the first sample.
    quiet : QuietStretch, optional
        Where nothing plays: there it is told what share of the sound follows the picture.

    Raises
    ------
    MeasurementError
        If it is too short, the recording does not reach the line rate, or no line rate can be read.
    """
    samples = samples[: int(LONGEST_S * rate_hz)]
    if len(samples) < SHORTEST_S * rate_hz or len(times_s) < SHORTEST_S:
        raise MeasurementError(f"Sound and picture are too short to be compared: {SHORTEST_S:.0f} s are needed.")
    if rate_hz < 2.1 * max(LINE_RATES_HZ):
        raise MeasurementError("The recording does not reach the picture's line rate, near which it would be heard.")
    sounding = np.flatnonzero(samples.std(axis=0) > 0)
    if not sounding.size:
        raise MeasurementError("The recording is digital silence.")
    # Bins of whole seconds tell brightness that stands still from brightness that changes.
    if float(np.ptp(rows, axis=0).max()) < 1e-6:
        raise MeasurementError("The picture stands still all the time: what follows its changes cannot be told.")
    frames = counted(rows, times_s)
    drawings = _drawings(samples[:, sounding], rate_hz, times_s)
    fit = search(frames, (heard_as(samples[:, sounding], rate_hz, one) for one in drawings[:_MOST_DRAWINGS]))
    place = place_of(fit, frames) if fit.p_value < FOUND_P else None
    return _estimate(fit, place, frames, sounding, samples.shape[1], quiet)


def _drawings(samples: Floats, rate_hz: float, times_s: Floats) -> list[Drawing]:
    moments = Moments.of_rate(rate_hz)
    n_fft = int(scipy.fft.next_fast_len(len(samples), real=True))
    power = np.zeros(n_fft // 2 + 1)
    window = np.hanning(len(samples))
    for channel in samples.T:
        spectra = moments.spectra(channel)
        weighed = moments.sound(spectra * weights_of(spectra), len(channel))
        power += np.abs(scipy.fft.rfft(weighed * window, n_fft)) ** 2
    return read_drawings(power, rate_hz / n_fft, times_s)


@dataclass(slots=True, eq=False, kw_only=True)
class _Levels:
    """By channel: value, low, high, bound and share."""

    value: Floats
    low: Floats
    high: Floats
    bound: Floats
    share: Floats


def _estimate(
    fit: Fit,
    place: Place | None,
    frames: Frames,
    sounding: NDArray[np.intp],
    n_channels: int,
    quiet: QuietStretch | None,
) -> FootageEstimate:
    drawing = fit.heard.drawing
    levels = _Levels(
        value=np.full(n_channels, -np.inf),
        low=np.full(n_channels, -np.inf),
        high=np.full(n_channels, -np.inf),
        bound=np.full(n_channels, -np.inf),
        share=np.zeros(n_channels),
    )
    moments_s = moments_dbfs = np.zeros(0)
    quiet_share = quiet_share_sd = None
    if place is None:
        levels.bound[sounding] = _bounds(fit, frames)
    else:
        template = Template(fit, place)
        gains = [gain_of(channel, template) for channel in fit.heard.sound.T]
        for index, gain in zip(sounding, gains, strict=True):
            _fill(levels, int(index), gain, place)
        if quiet is not None:
            quiet_share, quiet_share_sd = np.zeros(n_channels), np.zeros(n_channels)
            quiet_share[sounding], quiet_share_sd[sounding] = shares_of(fit, place, quiet)
        moments_s, moments_dbfs = _moments(fit, place, max(abs(gain.value) for gain in gains))
    return FootageEstimate(
        found=place is not None,
        p_value=fit.p_value,
        line_tone_found=drawing.tone_height > _TONE_HEIGHT,
        lag_s=np.nan if place is None else place.lag_samples / fit.heard.grid.rate_hz,
        lag_probability=np.nan if place is None else place.probability,
        field_probability=np.nan if place is None else place.field_probability,
        line_rate_hz=drawing.line_rate_hz,
        lines_per_field=drawing.lines_per_field,
        scale=fit.scale if place is None else place.scale,
        weave=fit.weave,
        level_dbfs=levels.value,
        low_dbfs=levels.low,
        high_dbfs=levels.high,
        bound_dbfs=levels.bound,
        share=levels.share,
        quiet_share=quiet_share,
        quiet_share_sd=quiet_share_sd,
        moments_s=moments_s,
        moments_dbfs=moments_dbfs,
    )


def _fill(levels: _Levels, index: int, gain: Gain, place: Place) -> None:
    size = abs(gain.value)
    sd = float(np.hypot(gain.sd, _MODEL_SD * size))
    levels.bound[index] = _dbfs(size + 1.645 * sd)
    if size < 2 * sd:
        return
    # Other places that are still possible would give other gains: the interval covers 97.5 % of them on each side.
    order = np.argsort(place.relative)
    chance = np.cumsum(place.weight[order])
    least = float(place.relative[order][np.searchsorted(chance, 0.025)])
    most = float(place.relative[order][min(int(np.searchsorted(chance, 0.975)), len(order) - 1)])
    levels.value[index] = _dbfs(size)
    levels.low[index] = _dbfs(max(size * min(least, 1.0) - _NORMAL_95 * sd, 0.0))
    levels.high[index] = _dbfs(size * max(most, 1.0) + _NORMAL_95 * sd)
    levels.share[index] = min(size**2 * gain.leak_power / max(gain.band_power, 1e-300), 1.0)


def _bounds(fit: Fit, frames: Frames) -> Floats:
    """Return the level of a leak that would have been found nineteen times in twenty, by channel."""
    grid = fit.heard.grid
    lines = scipy.fft.rfft(rows_as(frames, fit.heard, fit.weave, fit.scale))
    changes = without_steady(lines, grid.n_lines, fit.heard.drawing.lines_per_repeat)
    leak = scipy.fft.irfft(leak_spectrum(changes, grid, fit.heard.pulse), grid.n_samples)
    power = np.abs(Moments.of_rate(grid.rate_hz).spectra(leak)) ** 2
    # The squared match of noise has the mean 1, that of its part in phase 1/2.
    needed = np.sqrt(2 * fit.needed) + 1.645
    return np.array([_dbfs(needed / np.sqrt(max(2 * np.vdot(power, one), 1e-300))) for one in fit.heard.weights])


def _moments(fit: Fit, place: Place, gain: float) -> tuple[Floats, Floats]:
    """Return beginnings of seconds and the level of the leak, 20 Hz to 20 kHz, in each."""
    grid = fit.heard.grid
    pulse = pulse_of(grid, fit.heard.drawing, (20.0, 20000.0))
    spectrum = leak_spectrum(place.lines, grid, pulse)
    turn = np.exp(-2j * np.pi * np.arange(len(spectrum)) * place.shift_samples / grid.n_samples)
    block = round(_BLOCK_S * grid.rate_hz)
    leak = gain * scipy.fft.irfft(spectrum * turn, grid.n_samples)
    blocks = leak[: len(leak) // block * block].reshape(-1, block)
    level = 10 * np.log10(np.maximum(2 * (blocks**2).mean(axis=1), 1e-20))
    return np.asarray(np.arange(len(blocks)) * _BLOCK_S, dtype=np.float64), np.asarray(level, dtype=np.float64)


def _dbfs(gain: float) -> float:
    # A luma sine of full swing has an amplitude of one half.
    return float(20 * np.log10(max(gain, 1e-12) / 2))
