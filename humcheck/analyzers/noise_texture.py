"""The texture of noise: steady noise looks the same in every moment; what a machine removes leaves holes in time.

Noise is cut into short frames and narrow bins. In natural noise the power of one bin over time is exponentially
distributed, whatever the spectrum: a share ``1 - 2**-HOLE`` of its moments lies below `HOLE` times its median, and the
level of the loudest tenth of moments lies 13.4 dB above that of the softest tenth. A lossy coder or a noise suppressor
that leaves out what it thinks unheard makes many more holes, and levels that move. A click makes neither, and a steady
line has no holes at all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats

#: Edges of the bands, in Hz: about a third of an octave, clear of hum below and of the edges of most codecs above.
BAND_EDGES_HZ = (
    *(560.0, 900.0, 1400.0, 2000.0, 2800.0, 4000.0, 5600.0),
    *(8000.0, 10000.0, 12500.0, 14500.0, 16500.0, 19000.0),
)
#: A moment is a hole where a bin holds less than this times its median.
HOLE = 0.02
#: Holes of natural noise: the median of an exponential distribution of mean 1 is ln 2.
NATURAL_HOLES = 1.0 - 2.0**-HOLE
#: Quantiles of an exponential distribution of mean 1: -ln(1 - share).
NATURAL_SPREAD_DB = float(10.0 * np.log10(np.log(0.1) / np.log(0.9)))
NATURAL_CREST_DB = float(10.0 * np.log10(np.log(0.03) / np.log(0.5)))
_FRAME_S = 1024 / 48000
_TOP_SHARE = 0.45
_FEWEST_FRAMES = 40
_FEWEST_BINS = 5
#: A line reaches three bins far in these frames (Blackman window), and counts from about a third of the noise on.
_REACH_BINS = 3
_LINES_RATIO = 1.35
#: All bins together move where their median over so many goes up and down by 4 dB (that of natural noise: by 3 dB
#: between its softest and loudest hundredth of moments), and are so slow about it.
_FEWEST_MOVING = 100
_MOVES = 2.5
_CHANGES_FRAMES = 2
#: Median over mean of an exponential distribution.
_MEDIAN_SHARE = float(np.log(2.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseTexture:
    """Noise between the lines of a stretch of sound, by band and channel, shapes (n_bands, n_channels).

    Attributes
    ----------
    centre_hz : numpy.ndarray, shape (n_bands,)
        Middles of the bands.
    density : numpy.ndarray
        Median power of a bin, as mean square per bin of one frame: lines and moments of another level do not count.
    holes : numpy.ndarray
        Share of holes, median over the bins of a band that hold no lines; `NATURAL_HOLES` in natural noise, and 0, as
        the next two, where too few bins are free of lines.
    spread_db : numpy.ndarray
        From the softest to the loudest tenth of moments, median over the bins of a band; `NATURAL_SPREAD_DB` in natural
        noise.
    crest_db : numpy.ndarray
        From the median to the loudest three hundredths of moments, in the same way; `NATURAL_CREST_DB`.
    n_bins : int
        Bins from 0 to half the rate: white noise has `n_bins` times the density as its mean square.
    """

    centre_hz: Floats
    density: Floats
    holes: Floats
    spread_db: Floats
    crest_db: Floats
    n_bins: int

    @property
    def is_readable(self) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Whether enough bins of a band are free of lines, shape (n_bands, n_channels)."""
        return np.asarray(self.spread_db > 0.0)


def noise_texture(samples: Floats, rate_hz: float) -> NoiseTexture | None:
    """Return the texture of a stretch of steady sound; None where it is too short to tell.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        Silence, or a steady tone.
    rate_hz : float
        Sampling rate.
    """
    length = 2 * round(0.5 * _FRAME_S * rate_hz)
    if len(samples) < (_FEWEST_FRAMES + 1) * length // 2:
        return None
    edges = [edge for edge in BAND_EDGES_HZ if edge <= _TOP_SHARE * rate_hz]
    channels = [_channel_texture(samples[:, channel], rate_hz, length, edges) for channel in range(samples.shape[1])]
    density, holes, spread_db, crest_db = np.array(channels).transpose(1, 2, 0)
    return NoiseTexture(
        centre_hz=np.sqrt(np.array(edges[1:]) * np.array(edges[:-1])),
        density=density,
        holes=holes,
        spread_db=spread_db,
        crest_db=crest_db,
        n_bins=length // 2,
    )


def _channel_texture(sound: Floats, rate_hz: float, length: int, edges: list[float]) -> Floats:
    """Return density, holes, spread and crest of each band, shape (4, n_bands)."""
    top_bin = int(edges[-1] * length / rate_hz) + 1
    power = _frames(sound, length)[:, :top_bin]
    frequency_hz = np.arange(power.shape[1]) * rate_hz / length
    is_noise = _free_of_lines(sound, length, power.shape[1])
    power = _in_one_state(power, is_noise & (frequency_hz >= edges[0]))
    soft, middle, loud, top = _quantiles(power, (0.1, 0.5, 0.9, 0.97))
    holes = np.mean(power < HOLE * middle, axis=0)
    spread_db, crest_db = (_ratio_db(loud, soft), _ratio_db(top, middle))
    bands: list[list[float]] = []
    for low_hz, high_hz in zip(edges, edges[1:], strict=False):
        inside = (frequency_hz >= low_hz) & (frequency_hz < high_hz)
        density = float(np.median(middle[inside])) / _MEDIAN_SHARE
        chosen = inside & is_noise
        if chosen.sum() < _FEWEST_BINS:
            bands.append([density, 0.0, 0.0, 0.0])
        else:
            bands.append([density, *(float(np.median(one[chosen])) for one in (holes, spread_db, crest_db))])
    return np.array(bands).T


def _in_one_state(power: Floats, is_noise: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> Floats:
    """Return the frames, of noise that all at once gets softer or louder those of the longer state alone.

    A gate that closes within the stretch moves all bins together; what a coder or a suppressor leaves out comes and
    goes bin by bin, and hardly moves their median.
    """
    if is_noise.sum() < _FEWEST_MOVING:
        return power
    noise = power[:, is_noise]
    level = np.median(noise / np.maximum(np.median(noise, axis=0), 1e-30), axis=1)
    low, high = np.quantile(level, (0.01, 0.99))
    if high <= _MOVES * low:
        return power
    is_loud = level > np.sqrt(max(low, 1e-30) * high)
    kept = is_loud if 2 * is_loud.sum() > is_loud.size else ~is_loud
    # Frames overlap, and a change takes a moment.
    kept = np.convolve(~kept, np.ones(2 * _CHANGES_FRAMES + 1), "same") < 0.5
    return power[kept] if kept.sum() >= _FEWEST_FRAMES else power


def _free_of_lines(sound: Floats, length: int, n_bins: int) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Return for each bin whether lines hold little of the power in and around it.

    Two lines in one bin beat, as those of a picture do: that makes holes, too. In the spectrum of the whole stretch,
    noise has a mean of the power that is ``1 / ln 2`` times its median; lines raise the mean alone.
    """
    import scipy.fft

    fine = len(sound) // length
    n_whole = fine * length
    spectrum = scipy.fft.rfft(sound[:n_whole] * np.hanning(n_whole))
    power = spectrum.real**2 + spectrum.imag**2
    # Fine bins by the coarse bin that they lie in: from half a bin below its middle on.
    padded = np.concatenate([np.zeros(fine // 2), power, np.zeros(n_bins * fine)])[: n_bins * fine]
    blocks = padded.reshape(n_bins, fine)
    around = np.ones(2 * _REACH_BINS + 1)
    mean = np.convolve(blocks.mean(axis=1), around, "same")
    median = np.convolve(np.median(blocks, axis=1), around, "same") / _MEDIAN_SHARE
    return np.asarray(mean < _LINES_RATIO * median)


def _quantiles(power: Floats, shares: tuple[float, ...]) -> Floats:
    """Return quantiles over the frames, (n_shares, n_bins); a tenth of the time of `numpy.quantile`."""
    ordered = np.sort(np.ascontiguousarray(power.T, dtype=np.float32), axis=1)
    place = np.array(shares) * (ordered.shape[1] - 1)
    below = place.astype(np.intp)
    part = place - below
    above = np.minimum(below + 1, ordered.shape[1] - 1)
    return np.asarray((ordered[:, below] * (1.0 - part) + ordered[:, above] * part).T, dtype=np.float64)


def _ratio_db(power: Floats, reference: Floats) -> Floats:
    ratio_db: Floats = 10.0 * np.log10(np.maximum(power, 1e-30) / np.maximum(reference, 1e-30))
    return ratio_db


def _frames(sound: Floats, length: int) -> Floats:
    """Return the power of each bin in each frame, shape (n_frames, n_bins); frames overlap by half."""
    import scipy.fft

    window = np.blackman(length)
    framed = np.lib.stride_tricks.sliding_window_view(sound, length)[:: length // 2]
    values = scipy.fft.rfft(framed * window, axis=1)
    power: Floats = (values.real**2 + values.imag**2) * (2.0 / (length * np.sum(window**2)))
    return power
