"""Takes that are computed where they are read: a track by its formulas at warped times, plus noise.

For trials by the hundred: nothing but the few stretches that the alignment reads is ever made. The noise at a sample
is always the same, whichever stretch it is read in.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from humcheck.tracks.markers import BIT_S, CODE_OFFSET_S, N_BITS, SLOT_OFFSET_S
from humcheck.tracks.sections import Layout
from humcheck.tracks.waveforms import bit_chirp, marker_chirp, section_waveform

_NOISE_CHUNK = 1 << 14
#: RMS of a marker chirp: -6 dBFS.
CHIRP_RMS = 10.0 ** (-6.0 / 20.0) / np.sqrt(2.0)


@dataclass(slots=True)
class LazyTake:
    """A take with the reading side of a `TakeFile`.

    `wander` maps take seconds to samples by which the take runs late; `losses` are (take index, count) pairs.
    """

    layout: Layout
    rate_hz: int = 48000
    offset_samples: float = 1000.25
    drift_ppm: float = 0.0
    snr_db: float | None = None
    seed: int = 0
    gains: np.ndarray = field(default_factory=lambda: np.eye(2))
    losses: tuple[tuple[int, int], ...] = ()
    wander: object = None
    tail_s: float = 1.0
    n_samples: int = 0
    n_channels: int = 2
    name: str = "lazy.wav"
    notes: tuple[str, ...] = ()
    _chunks: dict = field(default_factory=dict)

    def __post_init__(self):
        lost = sum(count for _, count in self.losses)
        length_s = self.layout.duration_s * (1.0 + self.drift_ppm * 1e-6) + self.tail_s
        self.n_samples = self.n_samples or int(self.offset_samples + length_s * self.rate_hz) - lost
        self.n_channels = len(self.gains)

    @property
    def noise_rms(self):
        return 0.0 if self.snr_db is None else CHIRP_RMS * 10.0 ** (-self.snr_db / 20.0)

    def track_time_s(self, index):
        unbroken = np.asarray(index, dtype=float).copy()
        foreign = np.zeros(len(unbroken), dtype=bool)
        for place, count in reversed(self.losses):
            foreign |= (unbroken >= place) & (unbroken < place + max(-count, 0))
            unbroken = np.where(unbroken >= place, np.maximum(unbroken + count, place), unbroken)
        if self.wander is not None:
            unbroken = unbroken - self.wander(unbroken / self.rate_hz)
        return (unbroken - self.offset_samples) / (self.rate_hz * (1.0 + self.drift_ppm * 1e-6)), foreign

    def read(self, start=0, stop=None):
        stop = self.n_samples if stop is None else stop
        samples = np.zeros((stop - start, self.n_channels))
        first, last = min(max(start, 0), self.n_samples), max(min(stop, self.n_samples), 0)
        if last > first:
            time_s, foreign = self.track_time_s(np.arange(first, last))
            sound = self._sound(time_s) @ np.asarray(self.gains).T
            sound[foreign] = 0.0
            samples[first - start : last - start] = sound + self._noise(first, last)
        return samples

    def blocks(self, block_samples=1 << 17, start=0, stop=None):
        for index in range(start, self.n_samples if stop is None else stop, block_samples):
            yield index, self.read(index, min(index + block_samples, self.n_samples))

    def _sound(self, time_s):
        """The track by its formulas, each section's only where it sounds; markers without their 36 separate bits."""
        sound = np.zeros((len(time_s), 2))
        for section in self.layout.sections:
            first, last = np.searchsorted(time_s, [section.start_s, section.end_s])
            if last > first:
                for column, channel in enumerate(("left", "right")):
                    if section.drives(channel):
                        sound[first:last, column] = self._section(section, channel, time_s[first:last])
        return sound

    def _section(self, section, channel, time_s):
        if section.kind != "marker":
            return section_waveform(section, time_s, channel, self.rate_hz)
        start_s = section.start_s + SLOT_OFFSET_S[channel]
        sound = marker_chirp(channel, time_s - start_s, self.rate_hz)
        code_s = time_s - start_s - CODE_OFFSET_S
        bit = np.floor(code_s / BIT_S).astype(int)
        coded = np.flatnonzero((bit >= 0) & (bit < N_BITS))
        if coded.size:
            sign = 2.0 * np.array(section.marker_bits)[bit[coded]] - 1.0
            sound[coded] += sign * bit_chirp(channel, code_s[coded] - bit[coded] * BIT_S, self.rate_hz)
        return sound

    def _noise(self, first, last):
        if self.snr_db is None:
            return 0.0
        chunks = range(first // _NOISE_CHUNK, (last - 1) // _NOISE_CHUNK + 1)
        noise = np.concatenate([self._chunk(chunk) for chunk in chunks])
        begin = first - chunks[0] * _NOISE_CHUNK
        return self.noise_rms * noise[begin : begin + last - first]

    def _chunk(self, chunk):
        if chunk not in self._chunks:
            generator = np.random.default_rng([self.seed, chunk])
            self._chunks[chunk] = generator.standard_normal((_NOISE_CHUNK, self.n_channels))
        return self._chunks[chunk]


def walk(seed, walk_ppm, duration_s, rate_hz=48000):
    """Return a wander: the rate walks at random by `walk_ppm` (RMS) in a minute."""
    from scipy.interpolate import CubicSpline

    time_s = np.arange(-5.0, duration_s + 15.0, 0.1)
    steps = np.random.default_rng([seed, 99]).standard_normal(len(time_s)) * walk_ppm * 1e-6 * np.sqrt(0.1 / 60.0)
    return CubicSpline(time_s, np.cumsum(np.cumsum(steps)) * 0.1 * rate_hz)
