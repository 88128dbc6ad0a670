"""The ear: threshold of hearing, auditory filters, and what noise masks.

The ear is taken as a transmission whose loss at each frequency is the threshold of hearing, followed by a bank of
auditory filters, each with a floor of its own. A tone is heard in noise where, behind some filter, its power exceeds a
fixed share of the noise's (the power spectrum model of masking). Filters are those at low levels; tones in neighbouring
filters do not help each other, and nothing is said of sounds that come and go.

References
----------
.. [1] ISO 226:2023, table 1: threshold of hearing in a free field (read in public transcriptions).
.. [2] ISO 389-7:2019: the same for a diffuse field, and above 12.5 kHz (public transcription; 14 kHz from memory).
.. [3] B. R. Glasberg, B. C. J. Moore, Hearing Research 47 (1990) 103: equivalent rectangular bandwidths.
.. [4] R. D. Patterson et al., JASA 72 (1982) 1788: the rounded-exponential filter (from memory).
.. [5] ISO/IEC 11172-3, annex D, model 1: masking index of noise, -2.025 - 0.175 z dB re the critical band's noise.
.. [6] E. Zwicker, E. Terhardt, JASA 68 (1980) 1523: critical-band rate, and (from memory) critical bandwidth.
"""

from __future__ import annotations

import numpy as np

from humcheck.audio.hearing.listening import Field
from humcheck.audio.levels import Floats

LOWEST_HZ = 20.0
#: Above it nobody is taken to hear.
HIGHEST_HZ = 18_000.0

# [1] free field, [2] diffuse field. 14 kHz from memory; diffuse at 14 and 18 kHz: free plus the difference at 16 kHz.
_THRESHOLD_HZ = (
    20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150,
    4000, 5000, 6300, 8000, 10000, 12500, 14000, 16000, 18000,
)  # fmt: skip
_THRESHOLD_DB: dict[Field, tuple[float, ...]] = {
    "free": (
        78.1, 68.7, 59.5, 51.1, 44.0, 37.5, 31.5, 26.5, 22.1, 17.9, 14.4, 11.4, 8.6, 6.2, 4.4, 3.0, 2.2, 2.4, 3.5, 1.7,
        -1.3, -4.2, -6.0, -5.4, -1.5, 6.0, 12.6, 13.9, 12.3, 18.4, 40.2, 70.4,
    ),
    "diffuse": (
        78.1, 68.7, 59.5, 51.1, 44.0, 37.5, 31.5, 26.5, 22.1, 17.9, 14.4, 11.4, 8.4, 5.8, 3.8, 2.1, 1.0, 0.8, 1.9, 0.5,
        -1.5, -3.1, -4.0, -3.8, -1.8, 2.5, 6.8, 8.4, 14.4, 21.9, 43.7, 73.9,
    ),
}  # fmt: skip

#: Spacing of the filters' centres on the ERB-number scale: a tone between two of them loses less than 0.03 dB.
_STEP = 0.05
#: A noise is noticed in another where it makes it 1 dB louder (handbook rule, from memory): 10 lg(10**0.1 - 1).
NOISE_IN_NOISE_DB = float(10 * np.log10(10**0.1 - 1))


def threshold_db_spl(frequency_hz: Floats, field: Field = "free") -> Floats:
    """Return the threshold of hearing of pure tones in dB SPL, for both ears of young people who hear well.

    Parameters
    ----------
    frequency_hz : numpy.ndarray, shape (n,)
        In Hz; between the table's frequencies the threshold runs straight over the logarithm of frequency.
    field : str
        ``"free"`` or ``"diffuse"``.
    """
    place = np.log(np.asarray(frequency_hz, dtype=np.float64))
    return np.asarray(np.interp(place, np.log(_THRESHOLD_HZ), _THRESHOLD_DB[field]))


def erb_hz(frequency_hz: Floats) -> Floats:
    """Return the equivalent rectangular bandwidth of the auditory filter at a frequency, in Hz ([3], eq. 3)."""
    return np.asarray(24.7 * (4.37 * np.asarray(frequency_hz) / 1000 + 1))


def erb_number(frequency_hz: Floats) -> Floats:
    """Return the place of a frequency in numbers of equivalent rectangular bandwidths ([3], eq. 4)."""
    return np.asarray(21.4 * np.log10(4.37 * np.asarray(frequency_hz) / 1000 + 1))


def bark(frequency_hz: Floats) -> Floats:
    """Return the critical-band rate in Bark ([6])."""
    khz = np.asarray(frequency_hz, dtype=np.float64) / 1000
    return np.asarray(13 * np.arctan(0.76 * khz) + 3.5 * np.arctan((khz / 7.5) ** 2))


def critical_bandwidth_hz(frequency_hz: Floats) -> Floats:
    """Return the critical bandwidth in Hz ([6])."""
    khz = np.asarray(frequency_hz, dtype=np.float64) / 1000
    return np.asarray(25 + 75 * (1 + 1.4 * khz**2) ** 0.69)


def tone_in_noise_db(frequency_hz: Floats) -> Floats:
    """Return how much a tone that is just heard exceeds the noise behind the auditory filter, in dB.

    [5] counts the noise in a critical band; the filters here pass the narrower equivalent rectangular bandwidth.
    """
    in_critical_band = -2.025 - 0.175 * bark(frequency_hz)
    return np.asarray(in_critical_band + 10 * np.log10(critical_bandwidth_hz(frequency_hz) / erb_hz(frequency_hz)))


def filter_centres_hz() -> Floats:
    """Return the centres of the auditory filters, shape (n_filters,)."""
    first, last = erb_number(np.array([LOWEST_HZ, HIGHEST_HZ]))
    numbers = np.arange(first, last + _STEP / 2, _STEP)
    return np.asarray(1000 / 4.37 * (10 ** (numbers / 21.4) - 1))


def filter_weights(centre_hz: Floats, frequency_hz: Floats) -> Floats:
    """Return the power gain of each auditory filter at each frequency, 1 at its centre.

    Parameters
    ----------
    centre_hz : numpy.ndarray, shape (n_filters,)
        Centres of the filters.
    frequency_hz : numpy.ndarray, shape (n,)
        Frequencies.

    Returns
    -------
    numpy.ndarray, shape (n_filters, n)
        ``(1 + p g) exp(-p g)``, g the distance over the centre, ``p = 4 centre / ERB`` ([4]): symmetrical, as at low
        levels.
    """
    slope = 4.0 / erb_hz(centre_hz)
    reach = slope[:, None] * np.abs(np.asarray(frequency_hz)[None, :] - np.asarray(centre_hz)[:, None])
    return np.asarray((1.0 + reach) * np.exp(-reach))
