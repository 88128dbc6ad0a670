"""Harmonic and intermodulation distortion, and everything but the tone, from the tracks' tone sections.

References
----------
.. [1] AES17-2015: THD+N is the RMS of what is left without the tone over the RMS of the total, 20 Hz-20 kHz; dynamic
   range is full scale over the weighted residual of a 997 Hz tone at -60 dBFS.
.. [2] SMPTE RP 120: 60 Hz and 7 kHz, amplitudes 4:1, sidebands re the 7 kHz tone.
.. [3] IEC 60268-3: difference-frequency distortion, products re the arithmetic sum of both amplitudes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.spectra import welch_spectrum
from humcheck.audio.weighting import a_weighting_db, ccir_rms_weighting_db
from humcheck.errors import MeasurementError
from humcheck.estimates.tones.blocks import Floats, synthesise
from humcheck.estimates.tones.fit import ToneFit, follow_tones
from humcheck.estimates.tones.lock import Lock, TrackTime
from humcheck.estimates.tones.products import Products, measure_products
from humcheck.estimates.tones.residual import power_without

HARMONICS = tuple((order,) for order in range(2, 11))
#: Second- and third-order sidebands of 7 kHz at multiples of 60 Hz.
SMPTE_SIDEBANDS = ((-1, 1), (1, 1), (-2, 1), (2, 1))
#: 1 kHz (second order), 18 and 21 kHz (third order).
DIFFERENCE_PRODUCTS = ((-1, 1), (2, -1), (-1, 2))
BAND_HZ = (20.0, 20000.0)
#: Short enough for many segments: their scatter tells how far steady hum, and noise that comes and goes, are certain.
_SEGMENT_S = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Residual:
    """Power of a section with its tone taken out.

    Attributes
    ----------
    flat, ccir, a_weighted : numpy.ndarray, shape (n_channels,)
        Mean square in the band: unweighted, by AES17's CCIR-RMS curve (0 dB at 2 kHz), A-weighted.
    flat_sd, ccir_sd, a_weighted_sd : numpy.ndarray, shape (n_channels,)
        Their standard uncertainties.
    band_hz : tuple of float
        The band: 20 Hz-20 kHz, or less where the rate ends it.
    """

    flat: Floats
    flat_sd: Floats
    ccir: Floats
    ccir_sd: Floats
    a_weighted: Floats
    a_weighted_sd: Floats
    band_hz: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToneDistortion:
    """One tone, its harmonics 2-10 as shares of it, and what is left without it."""

    tone: ToneFit
    harmonics: Products
    residual: Residual


@dataclass(frozen=True, slots=True, kw_only=True)
class PairDistortion:
    """Two tones and their intermodulation products, as shares of the reference amplitude.

    Attributes
    ----------
    tones : ToneFit
        Both tones.
    products : Products
        SMPTE: re the upper tone. Difference frequency: re the sum of both amplitudes.
    """

    tones: ToneFit
    products: Products


def tone_distortion(
    samples: Floats, rate_hz: float, frequency_hz: float, *, track_time: TrackTime | None = None
) -> ToneDistortion:
    """Measure one tone, its harmonics and what is left; parameters as for `fit_tones`."""
    tone, lock, steady = follow_tones(samples, rate_hz, frequency_hz, track_time=track_time)
    rest = _without_tones(samples[steady], lock)
    reference = np.abs(tone.amplitude[0])
    harmonics = measure_products(rest, lock, tone, HARMONICS, reference)
    return ToneDistortion(tone=tone, harmonics=harmonics, residual=residual_of(rest, rate_hz, frequency_hz))


def smpte_distortion(
    samples: Floats, rate_hz: float, frequency_hz: tuple[float, float], *, track_time: TrackTime | None = None
) -> PairDistortion:
    """Measure the sidebands that a low tone leaves around a high one; parameters as for `fit_tones`."""
    tones, lock, steady = follow_tones(samples, rate_hz, frequency_hz, track_time=track_time)
    rest = _without_tones(samples[steady], lock)
    products = measure_products(rest, lock, tones, SMPTE_SIDEBANDS, np.abs(tones.amplitude[1]))
    return PairDistortion(tones=tones, products=products)


def difference_distortion(
    samples: Floats,
    rate_hz: float,
    frequency_hz: tuple[float, float],
    *,
    track_time: TrackTime | None = None,
    background: Floats | None = None,
) -> PairDistortion:
    """Measure the products at the difference of two high tones and beside them.

    Parameters
    ----------
    samples, rate_hz, frequency_hz, track_time
        As for `fit_tones`.
    background : numpy.ndarray, shape (n_samples, n_channels), optional
        As long as `samples` and without these products: steady lines of the bench at their places are read there.

    Raises
    ------
    MeasurementError
        If the rate has no room for the tones.
    """
    if max(frequency_hz) >= 0.5 * rate_hz:
        raise MeasurementError(f"A recording at {rate_hz:.0f} Hz does not reach up to {max(frequency_hz):.0f} Hz.")
    tones, lock, steady = follow_tones(samples, rate_hz, frequency_hz, track_time=track_time)
    rest = _without_tones(samples[steady], lock)
    still = None if background is None or len(background) != len(samples) else background[steady]
    reference = np.abs(tones.amplitude).sum(axis=0)
    products = measure_products(rest, lock, tones, DIFFERENCE_PRODUCTS, reference, still)
    return PairDistortion(tones=tones, products=products)


def residual_of(rest: Floats, rate_hz: float, frequency_hz: float) -> Residual:
    """Return the weighted powers of a section whose tone at `frequency_hz` has been taken out."""
    spectrum = welch_spectrum(rest, rate_hz, segment_s=_SEGMENT_S)
    band_hz = (BAND_HZ[0], min(BAND_HZ[1], 0.5 * rate_hz))
    flat, flat_sd = power_without(spectrum, frequency_hz, band_hz)
    ccir, ccir_sd = power_without(spectrum, frequency_hz, band_hz, ccir_rms_weighting_db)
    a_weighted, a_weighted_sd = power_without(spectrum, frequency_hz, band_hz, a_weighting_db)
    return Residual(
        flat=flat,
        flat_sd=flat_sd,
        ccir=ccir,
        ccir_sd=ccir_sd,
        a_weighted=a_weighted,
        a_weighted_sd=a_weighted_sd,
        band_hz=band_hz,
    )


def _without_tones(samples: Floats, lock: Lock) -> Floats:
    return samples - synthesise(lock.grid, lock.path, lock.frequency_hz, lock.amplitude)
