"""One tapered spectrum of a quiet section: everything about lines is read from it.

The record is cut to the nearest length at which the FFT is fast (less than a percent is lost) and its ends are faded
by short smooth flanks. The flanks keep strong lines from leaking into the bands of weak ones, and the fit divides
them out again. A Hann-windowed spectrum, which the noise is read from, follows from the same FFT by a convolution of
three bins, because nothing was padded.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from humcheck.errors import MeasurementError
from humcheck.estimates.lines.noise import NoiseFloor, hann_windowed, read_noise_floor

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
AnyFloats = npt.NDArray[np.floating[Any]]

#: Families are summed up to here (definition of the hum and buzz levels).
HIGHEST_HZ = 20_000.0
#: Length of the faded flanks, in seconds, and the largest share of the record that one flank may take.
FLANK_S = 0.7
FLANK_SHARE = 0.125
#: Shortest record from which lines 50 Hz apart can be read next to noise.
SHORTEST_S = 0.8
#: Share of the Nyquist frequency up to which a recorder's filter is trusted.
USABLE_SHARE = 0.98
#: Mean square of a Hann window.
HANN_POWER = 0.375
#: Bins handled at once.
PART = 1 << 15
#: Distance at which the noise floor is read off its curve.
FLOOR_STEP_HZ = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietSpectrum:
    """Spectrum and noise floor of one quiet section.

    Attributes
    ----------
    rate_hz : float
        Sampling rate.
    n_samples : int
        Samples used, from the section's start.
    section_s : float
        Length of the whole section.
    flank_s : float
        Length of each faded flank.
    values : numpy.ndarray, shape (n_ch, n_bins)
        One-sided FFT of the faded record, bin distance `bin_hz`, only up to the highest frequency used.
    hann_power : numpy.ndarray, shape (n_ch, n_bins)
        Power of the Hann-windowed record, scaled so that white noise of variance s2 reads s2 in every bin.
    noise : NoiseFloor
        The same without the lines.
    floor : numpy.ndarray, shape (n_ch, n_bins)
        The noise floor at every bin.
    """

    rate_hz: float
    n_samples: int
    section_s: float
    flank_s: float
    values: Complexes
    hann_power: Floats
    noise: NoiseFloor
    floor: Floats

    @property
    def duration_s(self) -> float:
        """Length of the record used, in seconds."""
        return self.n_samples / self.rate_hz

    @property
    def bin_hz(self) -> float:
        """Distance of the bins, in Hz."""
        return self.rate_hz / self.n_samples

    @property
    def n_channels(self) -> int:
        """Number of channels."""
        return int(self.values.shape[0])

    @property
    def highest_hz(self) -> float:
        """Highest frequency at which lines are looked for."""
        return min(HIGHEST_HZ, USABLE_SHARE * self.rate_hz / 2)

    def flank_gain(self, time_s: AnyFloats) -> Floats:
        """Return the gain of the flanks at times from the section's start, shape as `time_s`."""
        edge = np.minimum(time_s, self.duration_s - time_s)
        return smooth_step(edge / self.flank_s)

    def line_variance(self, frequency_hz: AnyFloats) -> Floats:
        """Return the variance E|c|^2 of the complex amplitude of a lone line, shape (n_ch, n_lines).

        A real line A cos(2 pi f t + p) has the complex amplitude A exp(jp); one real part has half this variance,
        which gives the Cramer-Rao bound 2 s2 / n for A.
        """
        return self.noise.variance(frequency_hz) * (4.0 / self.n_samples)


def read_spectrum(samples: Floats, rate_hz: float, *, highest_hz: float = HIGHEST_HZ) -> QuietSpectrum:
    """Compute spectrum and noise floor of a quiet section.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        Quiet section, full scale 1.0.
    rate_hz : float
        Sampling rate in Hz.
    highest_hz : float, optional
        Where to stop.

    Raises
    ------
    MeasurementError
        Where the section is shorter than 0.8 s or holds values that are not finite.
    """
    import scipy.fft

    if samples.ndim != 2:
        raise ValueError(f"samples must be (n_samples, n_channels), got shape {samples.shape}")
    n_samples = fast_length_below(samples.shape[0])
    if samples.shape[0] < SHORTEST_S * rate_hz:
        raise MeasurementError(
            f"the quiet section is {samples.shape[0] / rate_hz:.2f} s long, {SHORTEST_S} s are needed"
        )
    flank_s = min(FLANK_S, FLANK_SHARE * n_samples / rate_hz)
    bin_hz = rate_hz / n_samples
    n_bins = min(n_samples // 2, int((highest_hz + 500.0) / bin_hz))
    values = np.empty((samples.shape[1], n_bins), dtype=np.complex128)
    hann_power = np.zeros(values.shape)
    # One channel after the other: both at once take twice as long, they fall out of the cache.
    for channel, row, power in zip(samples[:n_samples].T, values, hann_power, strict=True):
        spectrum = scipy.fft.rfft(_faded(channel, max(int(flank_s * rate_hz), 1)), overwrite_x=True)
        row[:] = spectrum[:n_bins]
        _read_hann_power(spectrum[: n_bins + 1], power)
        power /= HANN_POWER * n_samples
    if not np.isfinite(hann_power).all():
        raise MeasurementError("the quiet section holds samples that are not finite numbers")
    noise = read_noise_floor(hann_power, values, bin_hz)
    return QuietSpectrum(
        rate_hz=float(rate_hz),
        n_samples=n_samples,
        section_s=samples.shape[0] / rate_hz,
        flank_s=flank_s,
        values=values,
        hann_power=hann_power,
        noise=noise,
        floor=_floor_of_bins(noise, n_bins, bin_hz),
    )


def _read_hann_power(values: Complexes, power: Floats) -> None:
    """Put the power of the Hann-windowed record into `power`, in parts that stay in the cache."""
    for start in range(1, power.size, PART):
        stop = min(start + PART, power.size)
        hann = hann_windowed(values[start - 1 : stop + 1])
        power[start:stop] = hann.real**2 + hann.imag**2


def _floor_of_bins(noise: NoiseFloor, n_bins: int, bin_hz: float) -> Floats:
    """Return the noise floor at every bin; what is closer than FLOOR_STEP_HZ shares one value."""
    step = max(int(FLOOR_STEP_HZ / bin_hz), 1)
    coarse = noise.variance((np.arange(0, n_bins, step) + (step - 1) / 2) * bin_hz)
    return np.asarray(np.repeat(coarse, step, axis=1)[:, :n_bins])


def smooth_step(share: AnyFloats) -> Floats:
    """Return a step from 0 to 1 whose first three derivatives vanish at both ends.

    The leakage of a faded line falls with the fifth power of the distance; a cosine flank's third power lets
    hum 60 dB above the noise be heard in the neighbouring harmonic's band.
    """
    x = np.clip(share, 0.0, 1.0)
    return np.asarray(x**4 * (35.0 - 84.0 * x + 70.0 * x**2 - 20.0 * x**3))


def fast_length_below(n_samples: int) -> int:
    """Return the largest length at or below `n_samples` at which a real FFT is fast: a product of 2s, 3s and 5s."""
    largest, fives = 1, 1
    while fives <= n_samples:
        length = fives
        while length <= n_samples:
            largest = max(largest, length << ((n_samples // length).bit_length() - 1))
            length *= 3
        fives *= 5
    return largest


def _faded(channel: npt.NDArray[Any], flank: int) -> Floats:
    """Return a copy, shape (n,), without its mean and with flanks at both ends."""
    record = np.array(channel, dtype=np.float64, order="C")
    record -= record.mean()
    fade = smooth_step(np.arange(flank) / flank)
    record[:flank] *= fade
    record[:-flank:-1] *= fade[1:]  # the record's end is one sample after its last one
    return record
