"""What share of a quiet stretch's energy follows the picture, in the band where hum and buzz are heard."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft

from humcheck.audio.levels import Floats
from humcheck.estimates.footage.matching import leak_spectrum, pulse_of
from humcheck.estimates.footage.place import Place
from humcheck.estimates.footage.search import Fit

#: Band in which it is said what share follows the picture (definition of `picture_correlation`).
BAND_HZ = (100.0, 8000.0)
#: The way that the picture takes need not be the same at all frequencies: each part has a gain of its own.
_EDGES_HZ = (100.0, 300.0, 1000.0, 3000.0, 8000.0)
#: Half width of what is left out about each multiple of the mains.
_MAINS_HZ = 1.5
_SMOOTH_BINS = 201


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietStretch:
    """Samples of the sound in which nothing plays, and the mains frequency that is heard there, if any."""

    start: int
    stop: int
    mains_hz: float | None = None


def shares_of(fit: Fit, place: Place, quiet: QuietStretch) -> tuple[Floats, Floats]:
    """Return share and standard uncertainty of each channel of the fit, shape (n_ch,) each."""
    grid = fit.heard.grid
    spectrum = leak_spectrum(place.lines, grid, pulse_of(grid, fit.heard.drawing, BAND_HZ))
    turn = np.exp(-2j * np.pi * np.arange(len(spectrum)) * place.shift_samples / grid.n_samples)
    leak = scipy.fft.irfft(spectrum * turn, grid.n_samples)
    part = slice(max(quiet.start, 0), min(quiet.stop, grid.n_samples))
    shares = [_share(channel[part], leak[part], grid.rate_hz, quiet.mains_hz) for channel in fit.heard.sound.T]
    return np.array([share for share, _ in shares]), np.array([sd for _, sd in shares])


def _share(channel: Floats, leak: Floats, rate_hz: float, mains_hz: float | None) -> tuple[float, float]:
    from scipy.ndimage import uniform_filter1d

    n_fft = int(scipy.fft.next_fast_len(len(channel), real=True))
    window = np.hanning(len(channel))
    heard, expected = (scipy.fft.rfft(one * window, n_fft) for one in (channel, leak))
    frequency_hz = np.arange(len(heard)) * (rate_hz / n_fft)
    used = np.ones(len(heard), dtype=bool)
    if mains_hz is not None:
        used = np.abs(frequency_hz - np.rint(frequency_hz / mains_hz) * mains_hz) > _MAINS_HZ
    power = heard.real**2 + heard.imag**2
    count = np.maximum(uniform_filter1d(used.astype(float), _SMOOTH_BINS), 1e-3)
    noise = uniform_filter1d(power * used, _SMOOTH_BINS) / count
    of_leak = expected.real**2 + expected.imag**2
    follows = variance = total = 0.0
    for low, high in zip(_EDGES_HZ[:-1], _EDGES_HZ[1:], strict=True):
        inside = used & (frequency_hz >= low) & (frequency_hz < high)
        weight = 1.0 / np.maximum(noise[inside], 1e-300)
        energy = max(float((of_leak[inside] * weight).sum()), 1e-300)
        gain = complex((np.conj(expected[inside]) * heard[inside] * weight).sum()) / energy
        # Neighbouring bins of a Hann window and of padding say nearly the same: 35/18 as many are needed.
        noise_of_gain = 35 / 18 * n_fft / len(channel) / energy
        own = float(of_leak[inside].sum())
        follows += max(abs(gain) ** 2 - noise_of_gain, 0.0) * own
        variance += (2 * abs(gain) ** 2 * noise_of_gain + noise_of_gain**2) * own**2
        total += float(power[inside].sum())
    return min(follows / max(total, 1e-300), 1.0), float(np.sqrt(variance) / max(total, 1e-300))
