"""One steady tone in a recording that holds little else: where it sounds, how high, and what stands beside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.files import TakeFile
from humcheck.audio.levels import Floats
from humcheck.audio.spectra import full_spectrum
from humcheck.errors import MeasurementError
from humcheck.estimates.tones.fit import ToneFit, fit_tones

LOWEST_HZ, HIGHEST_HZ = 200.0, 2000.0
LEAST_S = 1.0
#: More would not make the level any surer: what moves, moves.
_MOST_S = 20.0
_WINDOW_S = 0.05
_SETTLE_S = 0.2
#: Windows belong to the tone from this share of its usual level on.
_SOUNDING = 0.5
#: What is no tone: less than this share of the power in the strongest channel.
_LEAST_SHARE = 0.8
#: A channel carries the tone where it is within this of the stronger one.
_CARRIES_DB = -20.0
_MAINS_HZ = (50.0, 60.0)
#: A tone this close to a multiple of the mains frequency cannot be told from hum there: grids keep 0.1 % nearly always
#: (EN 50160 allows 1 % in 99.5 % of a year; what is usual is common practice, no source).
_MAINS_SHARE = 0.001
_LEAST_APART_HZ = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyTone:
    """A steady tone.

    Attributes
    ----------
    fit : ToneFit
        Level, frequency and movement.
    start_s, end_s : float
        The stretch that was read, in seconds of the recording.
    carries : numpy.ndarray of bool, shape (n_channels,)
        Which channels hold it.
    rest : numpy.ndarray, shape (n_channels,)
        RMS of all else, as a share of the tone's.
    mains_hz : float or None
        Mains frequency of which the tone is a multiple, 50 or 60; None where it is none.
    hum : numpy.ndarray, shape (n_channels,)
        What hum may add to the tone or take from it, as a share of its amplitude: the largest of the neighbouring
        multiples; zeros where the tone is none.
    """

    fit: ToneFit
    start_s: float
    end_s: float
    carries: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
    rest: Floats
    mains_hz: float | None
    hum: Floats

    @property
    def frequency_hz(self) -> float:
        """Frequency by the recording's nominal clock."""
        return float(self.fit.received_hz[0])

    @property
    def level_dbfs(self) -> Floats:
        """Levels, shape (n_channels,)."""
        return np.asarray(self.fit.level_dbfs[0])


def find_steady_tone(file: TakeFile) -> SteadyTone:
    """Find the tone that a recording holds.

    Parameters
    ----------
    file : TakeFile
        The recording; silence before and after the tone does no harm.

    Raises
    ------
    MeasurementError
        If no steady tone of 200 to 2000 Hz stands out.
    """
    start, stop = _sounding_stretch(file)
    return steady_tone(file.read(start, stop), float(file.rate_hz), start_s=start / file.rate_hz)


def steady_tone(samples: Floats, rate_hz: float, *, start_s: float = 0.0) -> SteadyTone:
    """Measure the one tone in a stretch.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        The tone sounds from end to end.
    rate_hz : float
        Sampling rate.
    start_s : float, optional
        Where the stretch begins in its recording.

    Raises
    ------
    MeasurementError
        If no steady tone of 200 to 2000 Hz stands out, or it is shorter than a second.
    """
    if len(samples) < LEAST_S * rate_hz:
        raise MeasurementError(
            f"the tone sounds for {len(samples) / rate_hz:.1f} s, and at least {LEAST_S:.0f} s is needed"
        )
    total = np.mean(samples**2, axis=0)
    spectrum = full_spectrum(samples, rate_hz)
    strongest = int(np.argmax(total))
    peak_hz = _peak_hz(spectrum.power[:, strongest], spectrum.bin_hz)
    if _share_beside(spectrum.power[:, strongest], spectrum.bin_hz, peak_hz) < _LEAST_SHARE:
        raise MeasurementError("no steady tone stands out in it")
    if not LOWEST_HZ <= peak_hz <= HIGHEST_HZ:
        raise MeasurementError(f"the strongest sound in it is at {peak_hz:.0f} Hz, not a tone of 200 to 2000 Hz")
    fit = fit_tones(samples, rate_hz, peak_hz)
    power = 0.5 * np.maximum(fit.power[0], 0.0)
    carries = power > power.max() * 10.0 ** (_CARRIES_DB / 10.0)
    amplitude = np.sqrt(2.0 * np.maximum(power, 1e-30))
    mains_hz, hum = _hum_beside(spectrum.power, spectrum.bin_hz, float(fit.received_hz[0]), amplitude)
    return SteadyTone(
        fit=fit,
        start_s=start_s,
        end_s=start_s + len(samples) / rate_hz,
        carries=carries,
        rest=np.sqrt(np.maximum(total - power, 0.0) / np.maximum(power, 1e-30)),
        mains_hz=mains_hz,
        hum=hum,
    )


def _sounding_stretch(file: TakeFile) -> tuple[int, int]:
    """Return the middle of the longest stretch that sounds at about one level."""
    n_window = max(int(_WINDOW_S * file.rate_hz), 1)
    levels = [np.zeros(0)]
    for _, block in file.blocks(n_window << 8):
        whole = block[: len(block) // n_window * n_window].reshape(-1, n_window, block.shape[1])
        levels.append(np.sqrt(np.mean(whole**2, axis=1)).max(axis=1))
    level = np.concatenate(levels)
    if not level.size or level.max() == 0.0:
        raise MeasurementError("nothing sounds in it")
    # Half of the loudest windows lie above this: clicks while plugging are few.
    usual = float(np.median(level[level > 0.1 * np.quantile(level, 0.98)]))
    edges = np.diff(np.concatenate([[0], level > _SOUNDING * usual, [0]]).astype(np.int8))
    starts, stops = np.flatnonzero(edges > 0), np.flatnonzero(edges < 0)
    longest = int(np.argmax(stops - starts))
    settle = int(_SETTLE_S * file.rate_hz)
    start, stop = int(starts[longest]) * n_window + settle, int(stops[longest]) * n_window - settle
    spare = max((stop - start - int(_MOST_S * file.rate_hz)) // 2, 0)
    return start + spare, max(stop - spare, start + spare)


def _peak_hz(power: Floats, bin_hz: float) -> float:
    """Return the frequency of the strongest line, to a small share of a bin (a parabola through decibels)."""
    first = max(int(20.0 / bin_hz), 1)
    top = first + int(np.argmax(power[first:-1]))
    before, at, after = np.log(np.maximum(power[top - 1 : top + 2], 1e-300))
    bend = before - 2.0 * at + after
    return float((top + (0.5 * (before - after) / bend if bend < 0.0 else 0.0)) * bin_hz)


def _share_beside(power: Floats, bin_hz: float, peak_hz: float) -> float:
    """Return the share of the power that lies at the peak, 0.5 % to either side."""
    reach = max(0.005 * peak_hz, 4.0 * bin_hz)
    bins = slice(max(int((peak_hz - reach) / bin_hz), 0), int((peak_hz + reach) / bin_hz) + 1)
    return float(power[bins].sum() / max(float(power.sum()), 1e-300))


def _hum_beside(power: Floats, bin_hz: float, tone_hz: float, amplitude: Floats) -> tuple[float | None, Floats]:
    """Return the mains frequency of which the tone is a multiple, and how strong the multiples beside it are."""
    for mains_hz in _MAINS_HZ:
        order = round(tone_hz / mains_hz)
        if abs(tone_hz - order * mains_hz) > max(_MAINS_SHARE * tone_hz, _LEAST_APART_HZ):
            continue
        lines = []
        for away in (-2, -1, 1, 2):
            centre_hz = (order + away) * mains_hz
            reach = max(_MAINS_SHARE * centre_hz, 3.0 * bin_hz)
            bins = slice(max(int((centre_hz - reach) / bin_hz), 0), int((centre_hz + reach) / bin_hz) + 1)
            lines.append(np.sqrt(2.0 * power[bins].sum(axis=0)))
        return mains_hz, np.max(lines, axis=0) / amplitude
    return None, np.zeros(power.shape[1])
