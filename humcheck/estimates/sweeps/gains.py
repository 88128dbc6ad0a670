"""Complex gains over frequency with their uncertainty, read off the impulse responses of one path."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.sweeps.deconvolution import (
    Complexes,
    Floats,
    ImpulseResponse,
    PathSpectrum,
    SweepLaw,
    impulse_response,
)
from humcheck.estimates.sweeps.steady_lines import LineScan, nulled_kernel, scan_lines
from humcheck.estimates.sweeps.windows import WindowShape, noise_offsets_s, read, window_at

#: Each band of impulse responses is this much wider than the next lower one.
BAND_RATIO = 4.0
LOWEST_BAND_HZ = 40.0
#: The peak is sought this far from where the alignment puts it.
DELAY_SEARCH_S = 0.02
#: Real degrees of freedom of a noise place: two (complex), less what half-overlapping windows share.
FREEDOM_OF_PLACE = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """Complex gain of one channel re the track.

    Attributes
    ----------
    value : numpy.ndarray, shape (n_f,)
        Complex.
    sd : numpy.ndarray, shape (n_f,)
        Standard uncertainty as the root mean square magnitude of the error: ``sd / sqrt(2)`` in each direction of the
        complex plane.
    freedom : numpy.ndarray, shape (n_f,)
        Degrees of freedom of `sd`.
    noise_sd : numpy.ndarray, shape (n_f,)
        What `sd` would be if all of it were even noise: far less where hum sets it.
    """

    value: Complexes
    sd: Floats
    freedom: Floats
    noise_sd: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class PathBands:
    """Impulse responses of one path, the same at several rates.

    Attributes
    ----------
    tops_hz : tuple of float
        Highest frequency of each band, rising.
    responses : tuple of ImpulseResponse
        One for each band.
    law : SweepLaw
        The sweep they were made with.
    delay_s : float
        Where the driven channel's peak stands.
    lines : LineScan
        Steady lines in any of the channels.
    """

    tops_hz: tuple[float, ...]
    responses: tuple[ImpulseResponse, ...]
    law: SweepLaw
    delay_s: float
    lines: LineScan

    def at(self, frequency_hz: float) -> ImpulseResponse:
        """Return the slowest impulse response that is whole at a frequency."""
        return self.responses[int(np.searchsorted(self.tops_hz, frequency_hz))]


def path_bands(path: PathSpectrum, top_hz: float, driven_column: int) -> PathBands:
    """Return the impulse responses of a path up to `top_hz`, and the driven channel's delay."""
    tops_hz = [top_hz]
    while tops_hz[0] > BAND_RATIO * LOWEST_BAND_HZ:
        tops_hz.insert(0, tops_hz[0] / BAND_RATIO)
    responses = tuple(impulse_response(path, top) for top in tops_hz)
    return PathBands(
        tops_hz=tuple(tops_hz),
        responses=responses,
        law=path.law,
        delay_s=_delay_s(responses[-1], driven_column),
        lines=scan_lines(path, top_hz),
    )


def read_gains(bands: PathBands, frequency_hz: Floats, shape: WindowShape) -> list[Gain]:
    """Return the gain of each channel with the uncertainty that the noise around it leaves.

    Parameters
    ----------
    bands : PathBands
        Of n_ch channels.
    frequency_hz : numpy.ndarray, shape (n_f,)
        Within the bands.
    shape : WindowShape
        Length of the windows.
    """
    n_channels = bands.responses[0].samples.shape[0]
    value = np.empty((n_channels, frequency_hz.size), dtype=np.complex128)
    power = np.empty((n_channels, frequency_hz.size))
    noise_power = np.empty((n_channels, frequency_hz.size))
    n_places = np.empty(frequency_hz.size)
    for index, one_hz in enumerate(frequency_hz.tolist()):
        window = window_at(one_hz, shape, bands.law)
        response = bands.at(one_hz)
        kernel, reach = nulled_kernel(one_hz, window, response, bands.lines, bands.law)
        offsets_s = noise_offsets_s(one_hz, window, reach, bands.law)
        gains = read(response, kernel, bands.delay_s + np.concatenate([[0.0], offsets_s]))
        value[:, index] = gains[:, 0]
        power[:, index] = np.mean(np.abs(gains[:, 1:]) ** 2, axis=1)
        noise_power[:, index] = bands.lines.noise_power_at(one_hz) * kernel.noise_gain / response.samples.shape[1]
        n_places[index] = offsets_s.size
    freedom = FREEDOM_OF_PLACE * n_places
    return [
        Gain(value=value[row], sd=np.sqrt(power[row]), freedom=freedom, noise_sd=np.sqrt(noise_power[row]))
        for row in range(n_channels)
    ]


def _delay_s(response: ImpulseResponse, column: int) -> float:
    """Return where the largest sample stands, near delay 0."""
    reach = int(DELAY_SEARCH_S * response.rate_hz)
    near = response.samples[column].take(np.arange(-reach, reach + 1), mode="wrap")
    return (int(np.argmax(np.abs(near))) - reach) / response.rate_hz
