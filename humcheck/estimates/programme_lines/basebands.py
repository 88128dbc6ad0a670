"""Narrow bands around the harmonics of a fundamental, for the whole of a recording, cut from one FFT a chunk.

A chunk reaches a little beyond the part that is used of it, and its ends are faded there: bands cut from an unfaded
record ring at both ends. Only the bands are kept, some hundred values a second.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from humcheck.audio.files import TakeFile
from humcheck.audio.levels import Floats
from humcheck.estimates.lines.spectrum import Complexes, fast_length_below, smooth_step

Indices = npt.NDArray[np.int64]

#: Half-widths of a band: full gain up to the first, none beyond the second.
FLAT_HZ, STOP_HZ = 6.0, 9.0
#: IEC 61000-4-7 counts harmonics of mains to the 40th.
MOST_ORDERS = 40
#: Share of the rate up to which bands are cut.
HIGHEST_SHARE = 0.47
CHUNK_S = 30.0
#: What a chunk reaches beyond the part used, and how much of that is faded.
MARGIN_S = 0.5
FADE_S = 0.4
#: At the ends of the recording there is nothing beyond: this share of a chunk is faded, and of that so much left out.
END_SHARE = 0.05
LEFT_OUT = 0.7
#: Channels whose samples have more than this in common are read as their sum and their difference.
COMMON = 0.5
#: A difference below this share of the sum is rounding: both channels hold the same.
SAME = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Basebands:
    """Complex envelopes around the harmonics of one nominal fundamental.

    Attributes
    ----------
    nominal_hz : float
        Fundamental that the bands stand around.
    orders : numpy.ndarray of int, shape (n_orders,)
        Harmonics.
    time_s : numpy.ndarray, shape (n_times,)
        Times of the values, from the start of the recording.
    values : numpy.ndarray, shape (n_orders, n_ch, n_times)
        Envelopes: a line ``A cos(2 pi k nominal_hz t + p)`` reads ``A exp(jp)``.
    rate_hz : float
        Values a second.
    """

    nominal_hz: float
    orders: Indices
    time_s: Floats
    values: Complexes
    rate_hz: float

    @property
    def duration_s(self) -> float:
        """Length of what is used."""
        return float(self.time_s[-1] - self.time_s[0] + 1.0 / self.rate_hz)


def orders_of(nominal_hz: float, rate_hz: float) -> Indices:
    """Return the harmonics that a sampling rate has room for."""
    highest = int((HIGHEST_SHARE * rate_hz - STOP_HZ) / nominal_hz)
    return np.arange(1, max(1, min(MOST_ORDERS, highest)) + 1)


def cut_basebands(file: TakeFile, start: int, stop: int, nominals_hz: Sequence[float]) -> dict[float, list[Basebands]]:
    """Return for each fundamental the bands of a stretch: of the channels as they are, and as they are best searched.

    Parameters
    ----------
    file : TakeFile
        The recording; read a chunk at a time.
    start, stop : int
        The stretch, in samples.
    nominals_hz : sequence of float
        Fundamentals.
    """
    import scipy.fft

    parts: dict[float, list[tuple[Complexes, Floats, float]]] = {nominal_hz: [] for nominal_hz in nominals_hz}
    for first, samples, used in _chunks(file, start, stop):
        values = np.stack([scipy.fft.rfft(channel) for channel in _faded(samples, file.rate_hz)])
        for nominal_hz, found in parts.items():
            centre_hz = np.asarray(orders_of(nominal_hz, file.rate_hz) * nominal_hz, dtype=np.float64)
            found.append(_cut(values, samples.shape[0], file.rate_hz, first / file.rate_hz, centre_hz, used))
    return {nominal_hz: _joined(nominal_hz, file.rate_hz, found) for nominal_hz, found in parts.items()}


def _chunks(file: TakeFile, start: int, stop: int) -> Iterator[tuple[int, Floats, tuple[float, float]]]:
    """Yield first sample, samples, and the span of time that is used of them."""
    rate_hz = file.rate_hz
    n_chunks = max(1, round((stop - start) / rate_hz / CHUNK_S))
    edges = np.linspace(start, stop, n_chunks + 1)
    for low, high in zip(edges[:-1], edges[1:], strict=True):
        first = max(start, int(low - MARGIN_S * rate_hz))
        last = min(stop, int(high + MARGIN_S * rate_hz))
        last = first + fast_length_below(last - first)
        faded_s = _fade_s((last - first) / rate_hz)
        used = (
            max(low / rate_hz, first / rate_hz + LEFT_OUT * faded_s),
            min(high / rate_hz, last / rate_hz - LEFT_OUT * faded_s),
        )
        yield first, file.read(first, last), used


def _fade_s(duration_s: float) -> float:
    return min(FADE_S, END_SHARE * duration_s)


def _faded(samples: Floats, rate_hz: float) -> Floats:
    """Return a copy, (n_ch, n), without its mean and with faded ends."""
    record = np.array(samples.T, dtype=np.float64, order="C")
    record -= record.mean(axis=1, keepdims=True)
    n_fade = max(int(_fade_s(samples.shape[0] / rate_hz) * rate_hz), 1)
    fade = smooth_step(np.arange(n_fade) / n_fade)
    record[:, :n_fade] *= fade
    record[:, -n_fade:] *= fade[::-1]
    return record


def _cut(
    spectrum: Complexes, n_samples: int, rate_hz: float, start_s: float, centre_hz: Floats, used: tuple[float, float]
) -> tuple[Complexes, Floats, float]:
    """Return the envelopes around `centre_hz` in the span used, their times, and their rate."""
    import scipy.fft

    bin_hz = rate_hz / n_samples
    n_times, reach = round((FLAT_HZ + STOP_HZ) / bin_hz), int(STOP_HZ / bin_hz)
    offsets = np.arange(-reach, reach + 1)
    middle = np.round(centre_hz / bin_hz).astype(np.int64)
    bins = middle[:, np.newaxis] + offsets
    inside = (bins > 0) & (bins < spectrum.shape[1])
    slope = (np.abs(offsets) * bin_hz - FLAT_HZ) / (n_times * bin_hz - 2 * FLAT_HZ)
    picked = spectrum[:, np.where(inside, bins, 0)] * (inside * np.cos(np.pi / 2 * smooth_step(slope)))
    folded = np.zeros((*picked.shape[:2], n_times), dtype=np.complex128)
    for first in range(0, offsets.size, n_times):
        folded[:, :, offsets[first : first + n_times] % n_times] += picked[:, :, first : first + n_times]
    values = scipy.fft.ifft(folded, axis=2).transpose(1, 0, 2) * (2.0 * n_times / n_samples)
    time_s = start_s + np.arange(n_times) / (n_times * bin_hz)
    kept = (time_s >= used[0]) & (time_s < used[1])
    # From each chunk's own start and bin to the recording's start and the harmonic itself.
    cut_hz = middle * bin_hz
    turn = np.outer(cut_hz - centre_hz, time_s[kept]) - (cut_hz * start_s)[:, np.newaxis]
    return values[:, :, kept] * np.exp(2j * np.pi * turn)[:, np.newaxis], time_s[kept], n_times * bin_hz


def _joined(nominal_hz: float, rate_hz: float, parts: list[tuple[Complexes, Floats, float]]) -> list[Basebands]:
    values = np.concatenate([part[0] for part in parts], axis=2)
    plain = Basebands(
        nominal_hz=nominal_hz,
        orders=orders_of(nominal_hz, rate_hz),
        time_s=np.concatenate([part[1] for part in parts]),
        values=values,
        rate_hz=parts[0][2],
    )
    return [plain, _sum_and_difference(plain)]


def _sum_and_difference(plain: Basebands) -> Basebands:
    """Return the bands of sum and difference where two channels have much in common: in one of them is less music."""
    values = plain.values
    if values.shape[1] < 2:
        return plain
    power = (np.abs(values) ** 2).sum(axis=2)
    cross = (values[:, 0].conj() * values[:, 1]).sum(axis=1)
    scale = np.maximum(power.sum(axis=1), 1e-300)
    if np.abs((cross / scale).sum()) * 2 < COMMON * len(scale):
        return plain
    mixed = np.stack([values[:, 0] + values[:, 1], values[:, 0] - values[:, 1]], axis=1) / np.sqrt(2)
    rms = np.sqrt((np.abs(mixed) ** 2).mean(axis=(0, 2)))
    return Basebands(
        nominal_hz=plain.nominal_hz,
        orders=plain.orders,
        time_s=plain.time_s,
        values=mixed[:, :1] if rms[1] < SAME * rms[0] else mixed,
        rate_hz=plain.rate_hz,
    )
