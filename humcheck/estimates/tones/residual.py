"""What is left of a section once its tones are taken out: the noise that they are measured against."""

from __future__ import annotations

import numpy as np

from humcheck.audio.power_spectrum import BandReading, PowerSpectrum, Weighting
from humcheck.estimates.tones.blocks import BlockGrid, Complexes, Floats

#: Noise density is read beside a tone, on both sides, between these distances.
NEAR_HZ = 3.0
FAR_HZ = 60.0
_LEAST_HZ = 15.0
#: Median over mean of a power with two degrees of freedom.
_MEDIAN_OF_MEAN = float(np.log(2.0))


def density_in_blocks(grid: BlockGrid, hann_sums: Complexes, amplitude: Complexes) -> Floats:
    """Return the noise density beside tones, mean square per Hz, shape (n_tones, n_channels).

    Parameters
    ----------
    grid : BlockGrid
        The blocks.
    hann_sums : numpy.ndarray, shape (n_tones, n_channels, n_blocks)
        Each block's sum against each tone, with a Hann window in each block.
    amplitude : numpy.ndarray, shape (n_tones, n_channels)
        The tones' complex amplitudes.

    Notes
    -----
    With the tone taken off, the sums hold the noise within 75 Hz of it, folded to the block rate. The median over
    their spectrum is used: the few bins that hold hum, or a level that moves, do not count.
    """
    n_blocks = len(grid.centre_index)
    spread = np.sin(np.pi * (np.arange(n_blocks) + 0.5) / n_blocks) ** 2
    rest = hann_sums - 0.5 * amplitude[:, :, None] * (grid.weight @ grid.hann)
    power = np.abs(np.fft.fft(rest * spread, axis=2)) ** 2
    block_s = len(grid.offset) / grid.rate_hz
    offset_hz = np.abs(np.fft.fftfreq(n_blocks, block_s))
    beside = offset_hz > min(max(NEAR_HZ, 3.0 / (n_blocks * block_s)), 0.5 * float(offset_hz.max()))
    gain = 0.5 * grid.rate_hz * float(spread**2 @ (grid.weight**2 @ grid.hann**2))
    return np.asarray(np.median(power[:, :, beside], axis=2) / (_MEDIAN_OF_MEAN * gain))


def density_beside(spectrum: PowerSpectrum, frequency_hz: Floats) -> Floats:
    """Return the noise density beside each frequency, mean square per Hz, shape (n_frequencies, n_channels).

    The median over the neighbourhood: hum lines that stand there do not count.
    """
    return np.array([_beside(spectrum, float(frequency)) for frequency in frequency_hz])


def density_between(spectrum: PowerSpectrum, low_hz: float, high_hz: float) -> Floats:
    """Return the median noise density of a band, mean square per Hz, shape (n_channels,): single lines do not count."""
    first, last = np.searchsorted(spectrum.frequency_hz, [low_hz, high_hz])
    if first == last:
        return np.zeros(spectrum.power.shape[1])
    return np.asarray(np.median(spectrum.power[first:last], axis=0) / (_MEDIAN_OF_MEAN * spectrum.bin_hz))


def _beside(spectrum: PowerSpectrum, frequency_hz: float) -> Floats:
    near_hz = _near_hz(spectrum)
    first = max(int((frequency_hz - FAR_HZ - near_hz) / spectrum.bin_hz), int(_LEAST_HZ / spectrum.bin_hz), 0)
    last = min(int((frequency_hz + FAR_HZ + near_hz) / spectrum.bin_hz), len(spectrum.frequency_hz) - 2)
    bins = np.arange(first, last + 1)
    bins = bins[np.abs(spectrum.frequency_hz[bins] - frequency_hz) > near_hz]
    if len(bins) == 0:
        return np.zeros(spectrum.power.shape[1])
    return np.asarray(np.median(spectrum.power[bins], axis=0) / (_MEDIAN_OF_MEAN * spectrum.bin_hz))


def power_without(
    spectrum: PowerSpectrum,
    frequency_hz: float,
    band_hz: tuple[float, float],
    weighting_db: Weighting | None = None,
) -> tuple[Floats, Floats]:
    """Return the residual's mean square in a band and its standard uncertainty, each of shape (n_channels,).

    Parameters
    ----------
    spectrum : PowerSpectrum
        Of the residual.
    frequency_hz : float
        Where the tone was: within a few hertz of it the noise density from beside it stands in, so that a level or a
        clock that moves a little during the section does not count as noise.
    band_hz : tuple of float
        Edges in Hz.
    weighting_db : callable, optional
        Gain in dB at frequencies in Hz.
    """
    near_hz = _near_hz(spectrum)
    gap = (frequency_hz - near_hz, frequency_hz + near_hz)
    below = spectrum.reading(band_hz[0], gap[0], weighting_db)
    above = spectrum.reading(gap[1], band_hz[1], weighting_db)
    filled = density_beside(spectrum, np.array([frequency_hz]))[0] * (gap[1] - gap[0])
    if weighting_db is not None:
        filled = filled * 10.0 ** (weighting_db(np.array([frequency_hz]))[0] / 10.0)
    return below.power + above.power + filled, np.hypot(_widened(below), _widened(above))


def _near_hz(spectrum: PowerSpectrum) -> float:
    return max(NEAR_HZ, 1.5 * spectrum.main_lobe_hz)


def _widened(reading: BandReading) -> Floats:
    """Return the uncertainty, larger for few degrees of freedom, so that 1.96 of it are 95 % (Student's t)."""
    if not np.isfinite(reading.freedom):
        return reading.sd
    from scipy.special import ndtri, stdtrit

    return np.asarray(reading.sd * float(stdtrit(reading.freedom, 0.975) / ndtri(0.975)))
