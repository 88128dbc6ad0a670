"""Complex gains over frequency with their uncertainty, read off the impulse responses of one path."""

from __future__ import annotations

from collections.abc import Sequence
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
from humcheck.estimates.sweeps.line_nulling import nulled_kernel
from humcheck.estimates.sweeps.steady_lines import LineScan, scan_lines
from humcheck.estimates.sweeps.windows import WindowShape, noise_offsets_s, read, window_at

#: Each band of impulse responses is this much wider than the next lower one.
BAND_RATIO = 4.0
LOWEST_BAND_HZ = 40.0
#: The peak is sought this far from where the alignment puts it.
DELAY_SEARCH_S = 0.02
#: Real degrees of freedom of a noise place: two (complex), less what half-overlapping windows share.
FREEDOM_OF_PLACE = 1.5
#: Scatter between takes is pooled over this many frequencies either way; with windows as wide as the idle channel's
#: they hold about two independent (complex) ones.
POOLED_NEIGHBOURS = 3
FREEDOM_OF_POOLED = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """Complex gain of one channel, re the track or re another channel.

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
        """Return the slowest impulse response that is whole at a frequency, or the fastest there is."""
        return self.responses[min(int(np.searchsorted(self.tops_hz, frequency_hz)), len(self.responses) - 1)]


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


def read_gain(
    bands: PathBands,
    row: int,
    frequency_hz: Floats,
    shape: WindowShape,
    *,
    centre_s: float = 0.0,
    band_ratio: float = 1.0,
) -> Gain:
    """Return the gain of one channel with the uncertainty that the noise around it leaves.

    Parameters
    ----------
    bands : PathBands
        Of the path.
    row : int
        Row of the channel.
    frequency_hz : numpy.ndarray, shape (n_f,)
        Within the bands.
    shape : WindowShape
        Length of the windows.
    centre_s : float, optional
        Delay of the peak.
    band_ratio : float, optional
        How far above the frequency the impulse response must still be whole: slow ones ring longer than short windows.
    """
    value = np.empty(frequency_hz.size, dtype=np.complex128)
    power, noise_power, n_places = (np.empty(frequency_hz.size) for _ in range(3))
    for index, one_hz in enumerate(frequency_hz.tolist()):
        window = window_at(one_hz, shape, bands.law)
        response = bands.at(band_ratio * one_hz)
        kernel, reach = nulled_kernel(one_hz, window, response, row, bands.lines, bands.law)
        offsets_s = noise_offsets_s(one_hz, window, reach, bands.law)
        gains = read(response, row, kernel, centre_s + np.concatenate([[0.0], offsets_s]))
        even = bands.lines.noise_power_at(one_hz, row) * kernel.noise_gain / response.samples.shape[1]
        # A record that is cut short may have no clear place at all.
        power[index] = np.mean(np.abs(gains[1:]) ** 2) if offsets_s.size else even
        value[index], noise_power[index], n_places[index] = gains[0], even, max(offsets_s.size, 1)
    return Gain(value=value, sd=np.sqrt(power), freedom=FREEDOM_OF_PLACE * n_places, noise_sd=np.sqrt(noise_power))


def mean_gain(gains: Sequence[Gain]) -> Gain:
    """Return the mean of the same gain in repeated takes, with the scatter between them.

    Parameters
    ----------
    gains : sequence of Gain
        At least one, over the same n_f frequencies.

    Returns
    -------
    Gain
        Its uncertainty is the scatter of the takes, pooled over a quarter of an octave either way, unless chance made
        that smaller than what the noise within the takes explains.
    """
    count = len(gains)
    if count == 1:
        return gains[0]
    values = np.array([gain.value for gain in gains])
    mean = values.mean(axis=0)
    within = np.mean([gain.sd**2 for gain in gains], axis=0) / count
    scatter = np.sum(np.abs(values - mean) ** 2, axis=0) / (count - 1) / count
    pooled = _pooled(scatter)
    by_scatter = pooled > within
    return Gain(
        value=mean,
        sd=np.sqrt(np.where(by_scatter, pooled, within)),
        freedom=np.where(by_scatter, FREEDOM_OF_POOLED * (count - 1), np.sum([gain.freedom for gain in gains], axis=0)),
        noise_sd=np.sqrt(np.mean([gain.noise_sd**2 for gain in gains], axis=0) / count),
    )


def _pooled(power: Floats) -> Floats:
    """Return the running mean over neighbouring frequencies, shorter at the ends."""
    spread = np.ones(2 * POOLED_NEIGHBOURS + 1)
    near = slice(POOLED_NEIGHBOURS, POOLED_NEIGHBOURS + power.size)
    return np.asarray(np.convolve(power, spread)[near] / np.convolve(np.ones(power.size), spread)[near])


def _delay_s(response: ImpulseResponse, column: int) -> float:
    """Return where the largest sample stands, near delay 0."""
    reach = int(DELAY_SEARCH_S * response.rate_hz)
    near = response.samples[column].take(np.arange(-reach, reach + 1), mode="wrap")
    return (int(np.argmax(np.abs(near))) - reach) / response.rate_hz
