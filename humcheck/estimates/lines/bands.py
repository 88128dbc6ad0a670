"""Complex baseband of the narrow bands around the harmonics, whitened, in which the combs are fitted.

A band is cut bin by bin out of the spectrum with flanks whose squares add up to one when the band is folded to its
sampling rate, so that white noise stays white. The noise floor is divided out, so that noise has unit variance in every
sample of every band. The record's own flanks are divided out too; where they are nearly zero the samples are left
out. (A rectangular cut of an unfaded record rings at both ends, and strong lines' ringing reads as false families.)
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from humcheck.estimates.lines.spectrum import AnyFloats, Complexes, Floats, QuietSpectrum, smooth_step

Indices = npt.NDArray[np.int64]

#: Gain of the record's flanks below which baseband samples are left out.
LEAST_FLANK = 0.3
#: Ratio of the noise's largest to its smallest amplitude within a band up to which it does not matter to the flanks.
MOST_UNEVEN = 1.03
#: Share of noise power that two channels must have in common to be disentangled first, and share at which they are one.
COMMON_NOISE = 0.02
SAME_NOISE = 0.998


@dataclass(frozen=True, slots=True, kw_only=True)
class Bands:
    """Baseband signals of several bands.

    Attributes
    ----------
    orders : numpy.ndarray of int, shape (n_bands,)
        Harmonic that each band is meant for.
    centre_hz : numpy.ndarray, shape (n_bands,)
        Frequency at which each band's baseband is zero.
    time_s : numpy.ndarray, shape (n_times,)
        Times of the samples, from the section's start.
    values : numpy.ndarray, shape (n_bands, n_ch, n_times)
        Baseband samples; noise has unit variance E|z|^2.
    weight : numpy.ndarray, shape (n_bands, n_ch)
        Factor on the values of each band, below one where more than noise is in it.
    flat_hz, stop_hz : float
        Half-widths: full gain up to the first, none beyond the second.
    spectrum : QuietSpectrum
        Where they were cut from.
    """

    orders: Indices
    centre_hz: Floats
    time_s: Floats
    values: Complexes
    weight: Floats
    flat_hz: float
    stop_hz: float
    spectrum: QuietSpectrum

    @property
    def n_bands(self) -> int:
        """Number of bands."""
        return int(self.values.shape[0])

    def line_gains(self, frequency_hz: AnyFloats) -> Floats:
        """Return what the bands make of the complex amplitude of one line in each, shape (n_bands, n_ch)."""
        cut = band_gain(frequency_hz - self.centre_hz, self.flat_hz, self.stop_hz)
        variance = _sample_variance(self.spectrum, frequency_hz, self.rate_hz)
        return np.asarray((cut / np.sqrt(variance)).T * self.weight)

    @property
    def rate_hz(self) -> float:
        """Sampling rate of the baseband."""
        return round((self.flat_hz + self.stop_hz) * self.spectrum.duration_s) / self.spectrum.duration_s

    def reweighted(self, factor: Floats) -> Bands:
        """Return the bands with each band and channel multiplied by a factor, shape (n_bands, n_ch)."""
        return replace(self, values=self.values * factor[:, :, np.newaxis], weight=self.weight * factor)

    def around(self, rate_hz: float, n_joined: int) -> Bands:
        """Return the bands about the multiples of a rate at a lower sampling rate, `n_joined` samples made one.

        Only for lines within a fraction of that rate of the multiples; noise keeps its unit variance.
        """
        n_kept = self.time_s.size // n_joined
        time_s = self.time_s[: n_kept * n_joined]
        multiples_hz = self.orders.astype(np.float64) * rate_hz
        turns = np.outer(multiples_hz - self.centre_hz, time_s)
        turned = self.values[:, :, : time_s.size] * np.exp(-2j * np.pi * turns)[:, np.newaxis]
        return replace(
            self,
            centre_hz=multiples_hz,
            time_s=time_s.reshape(n_kept, n_joined).mean(axis=1),
            values=turned.reshape(*turned.shape[:2], n_kept, n_joined).sum(axis=3) / np.sqrt(n_joined),
        )


def cut_bands(
    spectrum: QuietSpectrum, orders: Indices, centre_hz: AnyFloats, *, flat_hz: float, stop_hz: float
) -> Bands:
    """Cut bands around `centre_hz`, shape (n_bands,), out of the spectrum.

    Bands that reach below zero or beyond the spectrum are cut there; the missing bins read zero.
    """
    bin_hz = spectrum.bin_hz
    n_times = round((flat_hz + stop_hz) / bin_hz)
    reach = int(stop_hz / bin_hz)
    offsets = np.arange(-reach, reach + 1)
    middle = np.round(centre_hz / bin_hz).astype(int)
    bins = middle[:, np.newaxis] + offsets
    inside = (bins > 0) & (bins < spectrum.values.shape[1])
    bins = np.where(inside, bins, 0)
    shape = inside * band_gain(offsets * bin_hz, flat_hz, n_times * bin_hz - flat_hz)
    noise = np.sqrt(spectrum.floor[:, bins] * (4.0 * n_times / spectrum.n_samples))
    cut = shape / noise
    values = _folded(spectrum.values[:, bins] * cut, offsets, n_times) * (2.0 * n_times / spectrum.n_samples)
    # The band shapes the record's flanks too; what it makes of them is divided out, not the flanks as they were.
    if _is_even(noise) and inside.all():
        cut, noise = shape[np.newaxis, :1], np.ones((1, 1, offsets.size))
    flank = _folded(_flank_bins(spectrum, n_times, offsets) * cut, offsets, n_times) * noise[:, :, reach, np.newaxis]
    time_s = np.arange(n_times) / (n_times * bin_hz)
    kept = spectrum.flank_gain(time_s) > LEAST_FLANK
    return Bands(
        orders=np.asarray(orders),
        centre_hz=middle * bin_hz,
        time_s=time_s[kept],
        values=np.ascontiguousarray((values[:, :, kept] / flank[:, :, kept]).transpose(1, 0, 2)),
        weight=np.ones((bins.shape[0], values.shape[0])),
        flat_hz=flat_hz,
        stop_hz=n_times * bin_hz - flat_hz,
        spectrum=spectrum,
    )


def disentangled(bands: Bands) -> Bands:
    """Return bands whose channels have independent noise: two channels that share noise are not two witnesses."""
    mixing = mixing_matrix(bands.spectrum.noise.cross)
    if mixing is None:
        return bands
    values = np.einsum("mc,bct->bmt", mixing, bands.values)
    return replace(bands, values=values, weight=np.ones(values.shape[:2]))


def mixing_matrix(cross: complex) -> Complexes | None:
    """Return the matrix that whitens two channels, (1 or 2, 2), or None where they hardly share noise.

    Parameters
    ----------
    cross : complex
        Mean of the conjugate of the first channel's whitened noise times the second's.
    """
    share = abs(cross)
    if share**2 < COMMON_NOISE:
        return None
    turn = cross.conjugate() / share
    rows = [np.array([1.0, turn]) / np.sqrt(2 * (1 + share))]
    if share < SAME_NOISE:
        rows.append(np.array([1.0, -turn]) / np.sqrt(2 * (1 - share)))
    return np.asarray(np.stack(rows), dtype=np.complex128)


def band_gain(offset_hz: AnyFloats, flat_hz: float, stop_hz: float) -> Floats:
    """Return the gain of a band at offsets from its centre; the squares of two folded flanks add up to one."""
    share = np.clip((np.abs(offset_hz) - flat_hz) / (stop_hz - flat_hz), 0.0, 1.0)
    return np.cos(np.pi / 2 * smooth_step(share))


def _is_even(noise: Floats) -> bool:
    """Whether the noise in every band is so even that all bands do the same to the record's flanks."""
    return bool((noise.max(axis=2) < MOST_UNEVEN * noise.min(axis=2)).all())


def _folded(picked: Complexes, offsets: Indices, n_times: int) -> Complexes:
    """Return the time signal of bins around each band's centre, shape (n_ch, n_bands, n_times)."""
    import scipy.fft

    folded = np.zeros((*picked.shape[:2], n_times), dtype=np.complex128)
    for start in range(0, offsets.size, n_times):
        folded[:, :, offsets[start : start + n_times] % n_times] += picked[:, :, start : start + n_times]
    return np.asarray(scipy.fft.ifft(folded, axis=2))


def _flank_bins(spectrum: QuietSpectrum, n_times: int, offsets: Indices) -> Complexes:
    """Return the spectrum of the record's flanks at bins around zero, scaled so that a plateau of 1 stays 1."""
    import scipy.fft

    fine = 16 * n_times
    flank = spectrum.flank_gain(np.arange(fine) * (spectrum.duration_s / fine))
    return np.asarray(scipy.fft.fft(flank)[offsets]) / 16


def _sample_variance(spectrum: QuietSpectrum, frequency_hz: AnyFloats, band_rate_hz: float) -> Floats:
    """Return the variance E|z|^2 of the unwhitened baseband samples, shape (n_ch, n_frequencies)."""
    return spectrum.line_variance(frequency_hz) * (band_rate_hz * spectrum.duration_s)
