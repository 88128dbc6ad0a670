"""Find the long chirps of markers in samples whose place is not known, by a matched filter in blocks.

Only the low end of each chirp is used (`BAND_HZ`). There a take of any rate carries it, its shape hardly feels a wrong
clock (one wrong by a per cent still leaves a peak), and the result can be taken at a small share of the rate.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.audio.spectra import fast_length
from humcheck.takes.chirps import TRACK_CHANNELS, chirp, chirp_time_s
from humcheck.takes.equalized import EqualizedFile
from humcheck.tracks.sections import TrackChannel

Power = NDArray[np.float32]

#: Part of the chirp that is sought, as it sounds in the take.
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
#: Places looked at for each one that the band's width makes independent.
_OVERSAMPLING = 1.3
#: Power below this is digital silence: nothing is found in it (amplitude about -160 dBFS).
_SILENT = 1e-16


class Candidate(NamedTuple):
    """A place that looks like the low end of a chirp.

    Attributes
    ----------
    channel : str
        Track channel whose chirp it looks like.
    start_index : float
        Take index at which that chirp would start.
    stretch : float
        Take seconds for each track second of the chirp that it looks like.
    likeness : float
        Share of the local energy, 0 to 1, that follows the template.
    """

    channel: TrackChannel
    start_index: float
    stretch: float
    likeness: float


@dataclass(frozen=True, slots=True)
class _Template:
    channel: TrackChannel
    stretch: float
    spectrum: NDArray[np.complex64]
    energy: float
    lead_samples: float
    support_samples: int


class ChirpFinder:
    """Matched filter for the chirps of both channels over blocks of one length.

    Parameters
    ----------
    rate_hz : float
        Rate of the samples.
    n_samples : int
        Length of the block.
    stretches : sequence of float, optional
        Take seconds for each track second; several where the take's stated rate may be wrong.
    """

    def __init__(self, rate_hz: float, n_samples: int, stretches: Sequence[float] = (1.0,)) -> None:
        self.n_samples = n_samples
        self._rate_hz = rate_hz
        self._n_fft = fast_length(n_samples)
        self._band_hz = (BAND_HZ[0], min(BAND_HZ[1], _TOP_SHARE * rate_hz))
        bin_hz = rate_hz / self._n_fft
        self._bins = slice(int(self._band_hz[0] / bin_hz), int(self._band_hz[1] / bin_hz) + 1)
        n_bins = self._bins.stop - self._bins.start
        self._n_out = fast_length(int(_OVERSAMPLING * n_bins))
        frequency_hz = np.arange(self._bins.start, self._bins.stop) * bin_hz
        edges = np.minimum(frequency_hz - self._band_hz[0], self._band_hz[1] - frequency_hz) / _EDGE_HZ
        self._weight = np.sin(0.5 * np.pi * np.clip(edges, 0.0, 1.0)).astype(np.float32) ** 2
        self._templates = [self._template(channel, stretch) for stretch in stretches for channel in TRACK_CHANNELS]
        #: Blocks that overlap by this look at every place.
        self.overlap_samples = max(template.support_samples for template in self._templates)

    def _template(self, channel: TrackChannel, stretch: float) -> _Template:
        # Times in the chirp at which it crosses the edges of the band, as they sound in the take.
        crossings_s = sorted(chirp_time_s(channel, edge_hz * stretch) for edge_hz in self._band_hz)
        lead_s = crossings_s[0] - _RING_S / stretch
        support_s = crossings_s[1] - crossings_s[0] + 2.0 * _RING_S / stretch
        n_support = min(int(np.ceil(support_s * stretch * self._rate_hz)), self._n_fft)
        track_rate_hz = self._rate_hz * stretch
        sound = chirp(channel, lead_s + np.arange(n_support) / track_rate_hz, track_rate_hz)
        spectrum = np.fft.rfft(sound, self._n_fft)[self._bins] * self._weight
        return _Template(
            channel=channel,
            stretch=stretch,
            spectrum=np.conj(spectrum).astype(np.complex64),
            energy=float(np.sum(np.abs(spectrum) ** 2)),
            lead_samples=lead_s * track_rate_hz,
            support_samples=n_support,
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

        sound = np.ascontiguousarray(samples.T, dtype=np.float32)
        spectrum = scipy.fft.rfft(sound, self._n_fft, axis=1)[:, self._bins]
        running = np.cumsum(_power(scipy.fft.ifft(spectrum * self._weight, self._n_out, axis=1)), axis=1, dtype=float)
        step = self._n_fft / self._n_out
        separate = max(int(_SEPARATE_S * self._rate_hz / step), 1)
        candidates = []
        for template in self._templates:
            n_support = max(int(template.support_samples / step), 1)
            n_places = int(len(samples) / step) - n_support
            if n_places < 1:
                continue
            energy = running[:, n_support : n_support + n_places] - running[:, :n_places]
            match = scipy.fft.ifft(spectrum * template.spectrum, self._n_out, axis=1)[:, :n_places]
            # Parseval: the template's energy on the decimated grid.
            norm = np.maximum(template.energy / self._n_out * energy, 1e-30)
            heard = energy > _SILENT * n_support / step**2
            likeness = np.where(heard, _power(match) / norm, 0.0).max(axis=0)
            for place, height in _peaks(likeness, separate):
                start = first_index + place * step - template.lead_samples
                candidates.append(Candidate(template.channel, start, template.stretch, min(height, 1.0)))
        return sorted(candidates, key=lambda candidate: candidate.start_index)


def scan(
    file: TakeFile | EqualizedFile, start: int = 0, stop: int | None = None, stretches: Sequence[float] = (1.0,)
) -> Iterator[Candidate]:
    """Yield candidates from `start` on in order, reading no further than asked for.

    Parameters
    ----------
    file : TakeFile or EqualizedFile
        The take.
    start, stop : int, optional
        Take indices between which to look.
    stretches : sequence of float, optional
        Take seconds for each track second that are looked for.
    """
    stop = file.n_samples if stop is None else min(stop, file.n_samples)
    n_block = min(fast_length(int(_BLOCK_S * file.rate_hz)), max(stop - start, 16))
    finder = ChirpFinder(file.rate_hz, n_block, stretches)
    last_start = dict.fromkeys(((channel, stretch) for channel in TRACK_CHANNELS for stretch in stretches), -np.inf)
    hop = n_block if n_block >= stop - start else n_block - finder.overlap_samples
    for index in range(start, stop, hop):
        for candidate in finder.find(file.read(index, min(index + n_block, stop)), index):
            # The same peak may show at the end of one block and the beginning of the next.
            kind = candidate.channel, candidate.stretch
            if candidate.start_index > last_start[kind] + 0.5 * _SEPARATE_S * file.rate_hz:
                last_start[kind] = candidate.start_index
                yield candidate


def _power(values: NDArray[np.complex64]) -> Power:
    return np.asarray(values.real**2 + values.imag**2)


def _peaks(height: NDArray[np.float64], separate: int) -> Iterator[tuple[float, float]]:
    """Yield place and height of the peaks above the threshold, places refined by a parabola."""
    left = np.flatnonzero(height > THRESHOLD)
    while left.size:
        group = left[left < left[0] + 2 * separate]
        top = int(group[np.argmax(height[group])])
        shift = 0.0
        if 0 < top < len(height) - 1:
            before, at, after = np.sqrt(height[top - 1 : top + 2])
            bend = before - 2.0 * at + after
            shift = float(0.5 * (before - after) / bend) if bend < 0.0 else 0.0
        yield top + shift, float(height[top])
        left = left[left > top + separate]
