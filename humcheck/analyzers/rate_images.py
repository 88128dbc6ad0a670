"""Images of a tone that a poor conversion of the sampling rate leaves, mirrored at multiples of the other rate.

A converter that only draws straight lines from sample to sample (or a curve through four of them) passes on the images
of the sound around each multiple of the rate it came from. The images of one tone come in pairs, twice its frequency
apart, which no hum and no picture makes.

References
----------
.. [1] Sampling theorem: sound of rate R repeats its spectrum at every multiple of R; drawing straight lines turns the
   image at ``k R + f`` down by ``(f / (k R + f))**2`` only.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.errors import MeasurementError
from humcheck.estimates.tones.take_tones import SETTLE_S, TONE_HZ
from humcheck.results.rows import Fault
from humcheck.takes.take import Take

_RATES_HZ = (8000, 11025, 16000, 22050, 32000, 44100, 48000, 88200, 96000)
_MULTIPLES = (1, 2, 3)
#: Clocks of the source and of the recorder may differ by so much.
_CLOCKS_PPM = 350.0
#: Both images stand so far above the noise round about, and are alike.
_ABOVE_NOISE = 10.0**2.2
_ALIKE_DB = 3.0
_APART_BINS = 1.5
_GOES_ON = 0.1
_CLEAR_BINS = 4
_NOISE_BINS = 60
_HIGHEST_ORDER = 400


@dataclass(frozen=True, slots=True)
class Images:
    """A pair of images: the rate they come from, where they stand, and how far below the tone."""

    rate_hz: int
    low_hz: float
    high_hz: float
    below_db: float


def rate_image_faults(take: Take) -> list[Fault]:
    """Return the fault of sound that was converted from another rate, and badly: code ``resampled``."""
    if take.layout is None or not take.layout.has_section("level"):
        return []
    section = take.layout.section("level")
    try:
        audio = take.section("level", before_s=-section.fade_in_s - SETTLE_S, after_s=-section.fade_out_s - 0.02)
    except MeasurementError:
        return []
    tone_hz = TONE_HZ * audio.rate_hz / float(audio.clock.local_rate_hz(section.start_s + 0.5 * section.duration_s))
    found = strongest_images(audio.samples, float(audio.rate_hz), tone_hz)
    if found is None:
        return []
    start_s = audio.start_index / audio.rate_hz
    return [
        Fault(
            code="resampled",
            start_s=start_s,
            end_s=start_s + len(audio.samples) / audio.rate_hz,
            sentence=f"The loud tone from {start_s:.1f} s on has images at {found.low_hz:.0f} and {found.high_hz:.0f} "
            f"Hz, {found.below_db:.0f} dB softer: the system converts the sound from {found.rate_hz} Hz, and badly. "
            "Set player, system and recorder to one rate and record again.",
            spoils=["thd_n", "imd_difference", "other_lines_level"],
        )
    ]


def strongest_images(samples: Floats, rate_hz: float, tone_hz: float) -> Images | None:
    """Return the strongest pair of images of a tone, None where there are none.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        The tone, steady.
    rate_hz, tone_hz : float
        Sampling rate, and the tone's frequency as received.
    """
    import scipy.fft

    window = np.blackman(len(samples))
    n_fft = scipy.fft.next_fast_len(len(samples), real=True)
    spectrum = scipy.fft.rfft(samples * window[:, None], n_fft, axis=0)
    power = np.sum(spectrum.real**2 + spectrum.imag**2, axis=1)
    bin_hz = rate_hz / n_fft
    own = round(tone_hz / bin_hz)
    tone_power = float(power[max(own - 3, 0) : own + 4].max())
    # The tone's own harmonics, folded ones too, are no images.
    for order in range(_HIGHEST_ORDER + 1):
        place = round(_folded(order * tone_hz, rate_hz) / bin_hz)
        power[max(place - _CLEAR_BINS, 0) : place + _CLEAR_BINS + 1] = 0.0
    pairs = list(_pairs(power, rate_hz, tone_hz, bin_hz))
    if not pairs:
        return None
    image_power, other_hz, low_hz, high_hz = max(pairs)
    return Images(other_hz, low_hz, high_hz, 10.0 * float(np.log10(tone_power / image_power)))


def _pairs(power: Floats, rate_hz: float, tone_hz: float, bin_hz: float) -> Iterator[tuple[float, int, float, float]]:
    """Yield power, rate and frequencies of each pair that stands out of the noise."""
    for other_hz in _RATES_HZ:
        if other_hz == rate_hz:
            continue
        for multiple in _MULTIPLES:
            around_hz = multiple * other_hz
            below, above = (_folded(around_hz + sign * tone_hz, rate_hz) for sign in (-1.0, 1.0))
            if abs(abs(below - above) - 2.0 * tone_hz) > 1.0:
                continue  # folded one over the other
            reach_hz = _CLOCKS_PPM * 1e-6 * around_hz + 2.0 * bin_hz
            first, second = _peak(power, below, reach_hz, bin_hz), _peak(power, above, reach_hz, bin_hz)
            if first is None or second is None:
                continue
            apart = abs(abs(first[0] - second[0]) * bin_hz - 2.0 * tone_hz) / bin_hz
            if apart <= _APART_BINS and abs(10.0 * np.log10(first[1] / second[1])) <= _ALIKE_DB:
                if _goes_on(power, around_hz, tone_hz, rate_hz, bin_hz, min(first[1], second[1])):
                    continue
                low_hz, high_hz = sorted((first[0] * bin_hz, second[0] * bin_hz))
                yield min(first[1], second[1]), other_hz, low_hz, high_hz


def _goes_on(
    power: Floats, around_hz: float, tone_hz: float, rate_hz: float, bin_hz: float, image_power: float
) -> bool:
    """Return whether lines go on at the same distance: those of distortion beside hum do, images of one tone do not."""
    reach_hz = _CLOCKS_PPM * 1e-6 * around_hz + 2.0 * bin_hz
    further = (_peak(power, _folded(around_hz + sign * tone_hz, rate_hz), reach_hz, bin_hz) for sign in (-3.0, 3.0))
    return any(peak is not None and peak[1] > _GOES_ON * image_power for peak in further)


def _peak(power: Floats, near_hz: float, reach_hz: float, bin_hz: float) -> tuple[int, float] | None:
    """Return bin and power of the strongest line near a frequency, None where it does not stand out of the noise."""
    first, last = int((near_hz - reach_hz) / bin_hz), int((near_hz + reach_hz) / bin_hz) + 2
    if first < _NOISE_BINS or last > len(power) - _NOISE_BINS:
        return None
    place = first + int(np.argmax(power[first:last]))
    around = power[first - _NOISE_BINS : last + _NOISE_BINS]
    around = around[around > 0.0]
    if not around.size or power[place] < _ABOVE_NOISE * np.median(around):
        return None
    return place, float(power[place])


def _folded(frequency_hz: float, rate_hz: float) -> float:
    """Return where a frequency stands after sampling."""
    inside = frequency_hz % rate_hz
    return min(inside, rate_hz - inside)
