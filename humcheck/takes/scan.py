"""Find the long chirps of markers in samples whose place is not known, by a matched filter in blocks.

Only the low end of each chirp is used (`BAND_HZ`). There a take of any rate carries it, its shape hardly feels a wrong
clock (a part in a hundred still leaves a peak), and the result can be taken at a small share of the rate.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.audio.spectra import fast_length
from humcheck.takes.chirps import TRACK_CHANNELS, chirp, chirp_time_s
from humcheck.tracks.markers import CHIRP_S
from humcheck.tracks.sections import TrackChannel

#: Part of the chirp that is sought.
BAND_HZ = (300.0, 3600.0)
_EDGE_HZ = 250.0
#: The same, at most, as a share of the sampling rate.
_TOP_SHARE = 0.42
#: Ringing of the band's edges, on either side of the time in which the chirp crosses the band.
_RING_S = 0.006
#: Share of the energy that must follow the template. Noise in about 150 complex dimensions exceeds this once in
#: (1 - 0.16)**-150 = 2e11 places.
THRESHOLD = 0.16
_BLOCK_S = 1.3
#: Peaks closer than this are one.
_SEPARATE_S = 0.02
#: Energy below this is digital silence: nothing is found in it (amplitude about -200 dBFS).
_SILENT = 1e-20


class Candidate(NamedTuple):
    """A place that looks like the low end of a chirp.

    Attributes
    ----------
    channel : str
        Track channel whose chirp it looks like.
    start_index : float
        Take index at which that chirp would start.
    likeness : float
        Share of the local energy, 0 to 1, that follows the template.
    """

    channel: TrackChannel
    start_index: float
    likeness: float


@dataclass(frozen=True, slots=True)
class _Template:
    channel: TrackChannel
    spectrum: NDArray[np.complex64]
    energy: float
    lead_samples: float


class ChirpFinder:
    """Matched filter for both chirps over blocks of one length.

    Parameters
    ----------
    rate_hz : float
        Rate of the samples.
    n_samples : int
        Length of the block.
    stretch : float, optional
        Take seconds for each track second, where that is not near 1.
    """

    def __init__(self, rate_hz: float, n_samples: int, stretch: float = 1.0) -> None:
        self.n_samples = n_samples
        self._rate_hz = rate_hz
        self._n_fft = fast_length(n_samples)
        low_hz, high_hz = (edge / stretch for edge in BAND_HZ)
        high_hz = min(high_hz, _TOP_SHARE * rate_hz)
        bin_hz = rate_hz / self._n_fft
        self._bins = slice(int(low_hz / bin_hz), int(high_hz / bin_hz) + 1)
        n_bins = self._bins.stop - self._bins.start
        self._n_out = fast_length(2 * n_bins)
        frequency_hz = np.arange(self._bins.start, self._bins.stop) * bin_hz
        edges = np.minimum(frequency_hz - low_hz, high_hz - frequency_hz) / _EDGE_HZ
        self._weight = np.sin(0.5 * np.pi * np.clip(edges, 0.0, 1.0)) ** 2
        crossing = [chirp_time_s("left", edge) for edge in (low_hz * stretch, high_hz * stretch)]
        self._support_s = (crossing[1] - crossing[0] + 2.0 * _RING_S) * stretch
        self._templates = [self._template(channel, high_hz, stretch) for channel in TRACK_CHANNELS]
        self.support_samples = int(np.ceil(self._support_s * rate_hz))
        #: Blocks must overlap by this so that every place is looked at once.
        self.hop_samples = max(n_samples - self.support_samples, 1)

    def _template(self, channel: TrackChannel, high_hz: float, stretch: float) -> _Template:
        first_hz = BAND_HZ[0] if channel == "left" else high_hz * stretch
        lead_s = (chirp_time_s(channel, first_hz) - _RING_S) * stretch
        n_support = min(int(np.ceil(self._support_s * self._rate_hz)), self._n_fft)
        time_s = lead_s / stretch + np.arange(n_support) / (self._rate_hz * stretch)
        spectrum = np.fft.rfft(chirp(channel, time_s, self._rate_hz * stretch), self._n_fft)[self._bins] * self._weight
        return _Template(
            channel,
            np.conj(spectrum).astype(np.complex64),
            float(np.sum(np.abs(spectrum) ** 2)),
            lead_s * self._rate_hz,
        )

    def find(self, samples: NDArray[np.float64], first_index: int) -> list[Candidate]:
        """Return the candidates in a block, in order of their place.

        Parameters
        ----------
        samples : numpy.ndarray, shape (n, n_channels)
            At most the block's length.
        first_index : int
            Take index of the first sample.
        """
        import scipy.fft

        spectrum = scipy.fft.rfft(samples.T.astype(np.float32), self._n_fft, axis=1)[:, self._bins]
        band = scipy.fft.ifft(spectrum * self._weight.astype(np.float32), self._n_out, axis=1)
        step = self._n_fft / self._n_out
        n_support = max(int(self._support_s * self._rate_hz / step), 1)
        n_places = int(len(samples) / step) - n_support
        if n_places < 1:
            return []
        energy = _moving_sum(np.abs(band.astype(np.complex128)) ** 2, n_support)[:, :n_places]
        candidates = []
        for template in self._templates:
            match = scipy.fft.ifft(spectrum * template.spectrum, self._n_out, axis=1)[:, :n_places]
            # Parseval: the template's energy on the decimated grid.
            norm = template.energy / self._n_out * energy
            power = np.abs(match.astype(np.complex128)) ** 2
            likeness = np.where(energy > _SILENT, power / np.maximum(norm, _SILENT * _SILENT), 0.0).max(axis=0)
            for place, height in _peaks(likeness, max(int(_SEPARATE_S * self._rate_hz / step), 1)):
                start = first_index + place * step - template.lead_samples
                candidates.append(Candidate(template.channel, start, min(height, 1.0)))
        return sorted(candidates, key=lambda candidate: candidate.start_index)


def scan(file: TakeFile, start: int = 0, stop: int | None = None, stretch: float = 1.0) -> Iterator[Candidate]:
    """Yield candidates from `start` on in order, reading no further than asked for.

    Parameters
    ----------
    file : TakeFile
        The take.
    start, stop : int, optional
        Take indices between which to look.
    stretch : float, optional
        Take seconds for each track second.
    """
    stop = file.n_samples if stop is None else min(stop, file.n_samples)
    finder = ChirpFinder(file.rate_hz, min(fast_length(int(_BLOCK_S * file.rate_hz)), max(stop - start, 16)), stretch)
    last_start = -np.inf
    for index in range(start, stop, finder.hop_samples):
        for candidate in finder.find(file.read(index, min(index + finder.n_samples, stop)), index):
            # The same peak may show at the end of one block and the beginning of the next.
            if candidate.start_index > last_start + 0.5 * _SEPARATE_S * file.rate_hz:
                yield candidate
                last_start = candidate.start_index


def longest_chirp_samples(rate_hz: float, stretch: float = 1.0) -> int:
    """Return the length of a chirp in samples."""
    return int(np.ceil(CHIRP_S * stretch * rate_hz))


def _moving_sum(values: NDArray[np.float64], n_terms: int) -> NDArray[np.float64]:
    total = np.cumsum(values, axis=1)
    summed = total.copy()
    summed[:, n_terms:] -= total[:, :-n_terms]
    # Sum over the n_terms places from each place on, not up to it.
    return np.roll(summed, -(n_terms - 1), axis=1)


def _peaks(height: NDArray[np.float64], separate: int) -> Iterator[tuple[float, float]]:
    """Yield place and height of the peaks above the threshold, places refined by a parabola."""
    left = np.flatnonzero(height > THRESHOLD)
    while left.size:
        end = left[0] + 2 * separate
        group = left[left < end]
        top = int(group[np.argmax(height[group])])
        shift = 0.0
        if 0 < top < len(height) - 1:
            before, at, after = np.sqrt(height[top - 1 : top + 2])
            bend = before - 2.0 * at + after
            shift = float(0.5 * (before - after) / bend) if bend < 0.0 else 0.0
        yield top + shift, float(height[top])
        left = left[left > top + separate]
