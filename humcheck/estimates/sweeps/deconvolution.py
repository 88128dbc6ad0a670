"""From a recorded sweep to the spectrum of the path's impulse response.

The sweep is synthesised at the take's own sample times, so that the take is never resampled: whatever its clock does is
in the divisor. The sound is divided by the sweep in the frequency domain; distortion of order N then comes before the
linear response by ``L ln N``, where windows keep it out.

References
----------
.. [1] A. Farina, AES preprint 5093 (2000) and AES 122nd Convention (2007): exponential sweep, deconvolution.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.spectra import fast_length
from humcheck.tracks.envelopes import edge
from humcheck.tracks.sections import Section, TrackChannel
from humcheck.tracks.waveforms import section_waveform, sweep_time_constant_s

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

#: Division is exact where the sweep's spectrum is less than this far under its 1/sqrt(f) law: about 2 Hz to 23 kHz.
SPECTRUM_FLOOR_DB = -40.0
#: Where the path's usual gain is taken from.
MIDDLE_HZ = (500.0, 2000.0)
TINY = 1e-300
#: The ratio of two channels begins between these frequencies.
RATIO_FROM_HZ = (3.0, 6.0)
#: The ends of the record are faded, lest hum and a DC offset splatter where they are cut.
EDGE_FADE_S = 0.15


class SectionSound(Protocol):
    """What is needed of a sweep's stretch of a take: its samples, and the track time of each."""

    @property
    def samples(self) -> Floats:
        """Full scale = 1, shape (n, n_ch), columns as in `channels`."""
        ...

    @property
    def channels(self) -> tuple[str, ...]:
        """Track channels of the columns, or ``("mono",)``."""
        ...

    @property
    def rate_hz(self) -> float:
        """Nominal sampling rate of the take."""
        ...

    @property
    def section(self) -> Section:
        """The section of the layout."""
        ...

    def track_time_s(self) -> Floats:
        """Return the track time of each sample, shape (n,)."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepLaw:
    """When the sweep passes through which frequency.

    Attributes
    ----------
    time_constant_s : float
        L of the law ``f(t) = f_1 exp(t / L)``.
    low_hz, high_hz : float
        First and last instantaneous frequency.
    first_s, last_s : float
        Start and end of the record, counted from the start of the sweep, inwards to a whole millisecond.
    """

    time_constant_s: float
    low_hz: float
    high_hz: float
    first_s: float
    last_s: float

    def passing_s(self, frequency_hz: float) -> float:
        """Return the time from the start of the sweep at which it passes through `frequency_hz`."""
        return self.time_constant_s * math.log(frequency_hz / self.low_hz)

    def advance_s(self, order: int) -> float:
        """Return how long before the linear response the distortion of one order stands: ``L ln N`` [1]_."""
        return self.time_constant_s * math.log(order)


@dataclass(frozen=True, slots=True, kw_only=True)
class PathSpectrum:
    """Recorded sound over sweep: the Fourier transform of the impulse response from the track to each channel.

    Attributes
    ----------
    spectrum : numpy.ndarray, shape (n_ch, n_bins)
        Complex gain at multiples of `bin_hz`.
    bin_hz : float
        In hertz of the track's clock.
    n_samples : int
        Length of the transform at the take's rate.
    law : SweepLaw
        The sweep it was made with.
    """

    spectrum: Complexes
    bin_hz: float
    n_samples: int
    law: SweepLaw


@dataclass(frozen=True, slots=True, kw_only=True)
class ImpulseResponse:
    """Impulse response below some frequency, at a rate just high enough for it; circular, delay 0 at index 0.

    Attributes
    ----------
    samples : numpy.ndarray, shape (n_ch, n)
        Scaled so that its discrete Fourier sum is the path's gain.
    rate_hz : float
        In samples per second of the track's clock.
    """

    samples: Floats
    rate_hz: float


def path_spectrum(sound: SectionSound, driven: TrackChannel) -> PathSpectrum:
    """Divide a recorded sweep by the sweep itself.

    Parameters
    ----------
    sound : SectionSound
        The sweep's section of a take, with the silence around it.
    driven : str
        The track channel that the sweep is in.

    Returns
    -------
    PathSpectrum
        One row for each channel of `sound`.
    """
    section = sound.section
    time_s = sound.track_time_s()
    sweep = section_waveform(section, time_s, driven, sound.rate_hz)
    law = _law(section, time_s)
    n_samples = fast_length(len(time_s))
    # The mean step is what a spectrum can know of the clock; what it does within the sweep is in the divisor.
    step_s = (time_s[-1] - time_s[0]) / (len(time_s) - 1)
    # To twelve places, so that both sweeps of a take with a steady clock come out the same.
    bin_hz = round(1.0 / (n_samples * step_s), 12)
    recorded = _transform(_edges_faded(sound.samples, law, section.duration_s, step_s), n_samples)
    divisor = _transform(sweep[np.newaxis], n_samples)[0]
    floor = _floor(section, law, bin_hz, divisor.size, step_s)
    recorded *= np.conj(divisor) / np.maximum(np.abs(divisor) ** 2, floor)
    return PathSpectrum(spectrum=recorded, bin_hz=bin_hz, n_samples=n_samples, law=law)


def idle_re_driven(path: PathSpectrum, driven_row: int) -> PathSpectrum:
    """Return the same path with the idle channel divided by the driven one.

    What crosses over by stray capacitance or shared resistance is then over in microseconds: all that rings on in both
    channels, such as the tails of coupling capacitors, has gone.

    Parameters
    ----------
    path : PathSpectrum
        Of two channels; of one, it is returned as it is.
    driven_row : int
        Row of the driven channel, which stays as it is.
    """
    if len(path.spectrum) == 1:
        return path
    driven = path.spectrum[driven_row]
    power = driven.real**2 + driven.imag**2
    middle = slice(int(MIDDLE_HZ[0] / path.bin_hz), int(MIDDLE_HZ[1] / path.bin_hz))
    floor = float(np.median(power[middle])) * 10.0 ** (SPECTRUM_FLOOR_DB / 10.0)
    rows = np.empty_like(path.spectrum)
    rows[driven_row] = driven
    rows[1 - driven_row] = path.spectrum[1 - driven_row] * np.conj(driven) / np.maximum(power, max(floor, TINY))
    # Below the sweep there is only noise over noise.
    n_low = int(RATIO_FROM_HZ[1] / path.bin_hz)
    low_hz = path.bin_hz * np.arange(n_low, dtype=np.float64)
    rows[1 - driven_row, :n_low] *= edge((low_hz - RATIO_FROM_HZ[0]) / (RATIO_FROM_HZ[1] - RATIO_FROM_HZ[0]))
    return PathSpectrum(spectrum=rows, bin_hz=path.bin_hz, n_samples=path.n_samples, law=path.law)


def impulse_response(path: PathSpectrum, top_hz: float) -> ImpulseResponse:
    """Return the impulse response with everything up to `top_hz` whole, at a low rate where that is enough.

    Parameters
    ----------
    path : PathSpectrum
        Of n_ch channels.
    top_hz : float
        Above it the spectrum is faded out over most of an octave, where there is room.
    """
    import scipy.fft

    n_bins = path.spectrum.shape[1]
    stop = int(2.0 * top_hz / path.bin_hz) + 2
    if stop >= n_bins:
        whole = scipy.fft.irfft(path.spectrum, path.n_samples, axis=1)
        return ImpulseResponse(samples=whole, rate_hz=path.n_samples * path.bin_hz)
    length = fast_length(2 * stop)
    part = path.spectrum[:, :stop].copy()
    fading = np.linspace(0.0, np.pi / 2, stop - int(0.75 * stop))
    part[:, int(0.75 * stop) :] *= np.cos(fading) ** 2
    return ImpulseResponse(samples=scipy.fft.irfft(part, length, axis=1), rate_hz=length * path.bin_hz)


def _law(section: Section, time_s: Floats) -> SweepLaw:
    low_hz, high_hz = section.frequencies_hz
    return SweepLaw(
        time_constant_s=sweep_time_constant_s(section),
        low_hz=low_hz,
        high_hz=high_hz,
        first_s=math.ceil((time_s[0] - section.start_s) * 1000.0) / 1000.0,
        last_s=math.floor((time_s[-1] - section.start_s) * 1000.0) / 1000.0,
    )


def _transform(samples: Floats, n_samples: int) -> Complexes:
    """Return the spectra of rows."""
    import scipy.fft

    return np.asarray(scipy.fft.rfft(samples, n_samples, axis=1))


def _edges_faded(samples: Floats, law: SweepLaw, duration_s: float, step_s: float) -> Floats:
    """Return channels as rows, without their mean, faded at both ends of the record in the silence around the sweep."""
    faded = np.ascontiguousarray(samples.T) - samples.mean(axis=0)[:, np.newaxis]
    before_s = max(min(EDGE_FADE_S, -law.first_s), 0.0)
    after_s = max(min(EDGE_FADE_S, law.last_s - duration_s), 0.0)
    for seconds, ends in ((before_s, faded), (after_s, faded[:, ::-1])):
        n_edge = int(seconds / step_s)
        ends[:, :n_edge] *= np.sin(np.linspace(0.0, np.pi / 2, n_edge)) ** 2
    return np.asarray(faded)


def _floor(section: Section, law: SweepLaw, bin_hz: float, n_bins: int, step_s: float) -> Floats:
    """Return the least divisor, per bin: under the sweep's own power spectrum, ``A^2 L / (4 f)`` [1]_."""
    frequency_hz = bin_hz * np.arange(n_bins)
    frequency_hz[0] = 0.5 * bin_hz
    own = (section.amplitudes[0] / step_s) ** 2 * law.time_constant_s / (4.0 * frequency_hz)
    return np.asarray(own * 10.0 ** (SPECTRUM_FLOOR_DB / 10.0))
