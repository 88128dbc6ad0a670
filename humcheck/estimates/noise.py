"""Noise of a quiet section: everything in it, and the hiss that is left without the lines.

All spectral readings come from one spectrum, taken with a window whose side lobes lie so far down that strong hum does
not reach the hiss between its lines; the quasi-peak reading is taken in time, as the meter of BS.468-4 does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from humcheck.audio.bands import band_edges_hz, third_octave_centres_hz
from humcheck.audio.levels import Floats
from humcheck.audio.quasi_peak import quasi_peak_means
from humcheck.audio.spectra import BandReading, PowerSpectrum, welch_spectrum
from humcheck.audio.weighting import a_weighting_db, ccir_rms_weighting_db
from humcheck.errors import MeasurementError
from humcheck.estimates.line_removal import noise_without_lines

LOW_EDGE_HZ = 20.0
HIGH_EDGE_HZ = 20_000.0
SHORTEST_S = 1.0

_SEGMENT_S = 2.0
#: Segments that a short stretch is cut into at least, before their overlap.
_FEWEST_SEGMENTS = 3.0
#: A third octave is read only where it is this many main lobes of the window wide.
_BAND_TO_LOBE = 1.4
#: Wander of a line, in its own standard deviations, that still counts as the line.
_WANDER_SD = 3.0
#: Half seconds of the quasi-peak meter's means that are averaged before their scatter is taken.
_MEANS_IN_BATCH = 2


class LineFamily(Protocol):
    """What is needed of a family of lines: see the estimate of lines."""

    @property
    def fundamental_hz(self) -> float:
        """Frequency of the fundamental."""

    @property
    def wander_hz(self) -> float | None:
        """Standard deviation of its frequency."""

    @property
    def harmonics(self) -> Sequence[int]:
        """Orders of its lines."""

    @property
    def detected(self) -> Any:
        """Which of them were found, shape (n_harmonics, n_channels)."""


class Lines(Protocol):
    """What is needed of an estimate of lines."""

    @property
    def families(self) -> Sequence[LineFamily]:
        """All families found."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseEstimate:
    """Noise of one stretch; channels in the samples' order, and after two channels their power mean as a third.

    Attributes
    ----------
    from_hz, to_hz : float
        Band of every reading but the quasi-peak one: 20 Hz to 20 kHz, or to half the rate.
    total, total_a, total_ccir_rms : BandReading
        Everything: flat, A-weighted, AES17's CCIR-RMS.
    quasi_peak : BandReading
        Square of the RMS-calibrated reading of BS.468-4.
    hiss, hiss_a : BandReading or None
        Without the lines; None where the lines were not given.
    band_hz : numpy.ndarray, shape (n_bands,)
        Midbands of the third octaves.
    bands, hiss_bands : tuple of BandReading
        Everything, and what is left without the lines, in each third octave.
    silent : numpy.ndarray of bool, shape (n_channels,)
        Channels that hold nothing but one constant value: digital silence.
    """

    from_hz: float
    to_hz: float
    total: BandReading
    total_a: BandReading
    total_ccir_rms: BandReading
    quasi_peak: BandReading
    hiss: BandReading | None
    hiss_a: BandReading | None
    band_hz: Floats
    bands: tuple[BandReading, ...]
    hiss_bands: tuple[BandReading, ...]
    silent: np.ndarray[tuple[int], np.dtype[np.bool_]]


def measure_noise(samples: Floats, rate_hz: float, lines: Lines | None = None) -> NoiseEstimate:
    """Measure the noise of a quiet stretch.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        Quiet stretch, full scale = 1.0.
    rate_hz : float
        Sampling rate in Hz.
    lines : estimate of lines, optional
        Families found in the same samples; their detected lines are kept out of the hiss.

    Raises
    ------
    MeasurementError
        If the stretch is shorter than 1 s.
    """
    duration_s = len(samples) / rate_hz
    if duration_s < SHORTEST_S:
        raise MeasurementError(
            f"The quiet stretch lasts {duration_s:.2f} s; at least {SHORTEST_S:.0f} s is needed for its noise."
        )
    segment_s = min(_SEGMENT_S, duration_s / _FEWEST_SEGMENTS)
    spectrum = welch_spectrum(samples, rate_hz, segment_s=segment_s, window_name="steep")
    hiss = None if lines is None else noise_without_lines(spectrum, *_places(lines))
    if samples.shape[1] > 1:
        spectrum = spectrum.with_mean()
        hiss = None if hiss is None else hiss.with_mean()
    to_hz = min(HIGH_EDGE_HZ, rate_hz / 2.0)
    centres_hz = _resolved_centres_hz(spectrum, to_hz)
    return NoiseEstimate(
        from_hz=LOW_EDGE_HZ,
        to_hz=to_hz,
        total=spectrum.reading(LOW_EDGE_HZ, to_hz),
        total_a=spectrum.reading(LOW_EDGE_HZ, to_hz, a_weighting_db),
        total_ccir_rms=spectrum.reading(LOW_EDGE_HZ, to_hz, ccir_rms_weighting_db),
        quasi_peak=_quasi_peak(samples, rate_hz),
        hiss=None if hiss is None else hiss.reading(LOW_EDGE_HZ, to_hz),
        hiss_a=None if hiss is None else hiss.reading(LOW_EDGE_HZ, to_hz, a_weighting_db),
        band_hz=centres_hz,
        bands=_third_octaves(spectrum, centres_hz),
        hiss_bands=() if hiss is None else _third_octaves(hiss, centres_hz),
        silent=np.array([_is_constant(channel) for channel in samples.T]),
    )


def _places(lines: Lines) -> tuple[Floats, Floats]:
    """Return frequencies and reach of wander of all lines that were found in any channel."""
    frequencies: list[Floats] = [np.zeros(0)]
    widths: list[Floats] = [np.zeros(0)]
    for family in lines.families:
        found = np.asarray(family.detected, dtype=bool).reshape(len(family.harmonics), -1).any(axis=1)
        # An estimate may know the frequency of each line; else they are the fundamental's multiples.
        known_hz = getattr(family, "frequency_hz", None)
        orders = np.asarray(family.harmonics, dtype=np.float64)
        line_hz = orders * family.fundamental_hz if known_hz is None else np.asarray(known_hz)
        orders = line_hz[found] / family.fundamental_hz
        frequencies.append(line_hz[found])
        widths.append(orders * _WANDER_SD * (family.wander_hz or 0.0))
    return np.concatenate(frequencies), np.concatenate(widths)


def _resolved_centres_hz(spectrum: PowerSpectrum, to_hz: float) -> Floats:
    """Return the third octaves that lie whole below half the rate and that the window resolves."""
    centres = third_octave_centres_hz(LOW_EDGE_HZ, HIGH_EDGE_HZ)
    lower, upper = band_edges_hz(centres)
    # 20 kHz belongs to the last band, which reaches beyond; it is left out where the rate cuts into it.
    whole = upper <= max(spectrum.frequency_hz[-1], to_hz)
    return np.asarray(centres[whole & (upper - lower >= _BAND_TO_LOBE * spectrum.main_lobe_hz)])


def _third_octaves(spectrum: PowerSpectrum, centres_hz: Floats) -> tuple[BandReading, ...]:
    edges = zip(*band_edges_hz(centres_hz), strict=True)
    return tuple(spectrum.reading(float(low), float(high)) for low, high in edges)


def _is_constant(channel: Floats) -> bool:
    # The first millisecond or so settles it for all but silence.
    return not np.any(channel[:100] != channel[0]) and not np.any(channel != channel[0])


def _quasi_peak(samples: Floats, rate_hz: float) -> BandReading:
    means = quasi_peak_means(samples, rate_hz)
    n_batches = len(means) // _MEANS_IN_BATCH
    readings = means.mean(axis=0)
    power = readings**2
    if samples.shape[1] > 1:
        power = np.append(power, power.mean())
    if n_batches < 2:
        # Too short to show its scatter: a quarter of the reading, which the meter's ballistics never exceed on noise.
        return BandReading(power=power, sd=power / 4.0, freedom=float("inf"))
    batches = means[: n_batches * _MEANS_IN_BATCH].reshape(n_batches, _MEANS_IN_BATCH, -1).mean(axis=1)
    # The square of the mean, not the mean of squares, to first order: each batch's part in the final power.
    parts = 2.0 * readings * batches
    if samples.shape[1] > 1:
        parts = np.concatenate([parts, parts.mean(axis=1, keepdims=True)], axis=1)
    sd = parts.std(axis=0, ddof=1) / np.sqrt(n_batches)
    return BandReading(power=power, sd=sd, freedom=float(n_batches - 1))
