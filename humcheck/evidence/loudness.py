"""How loud an excerpt is made: one raise for a group, a ceiling, a soft start and end."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from humcheck.audio.levels import Floats, amplitude_to_dbfs, db_to_ratio

#: No sample of an excerpt of a quiet section lies above this. Choice: 20 dB below what a player can do at full volume.
CEILING_DBFS = -20.0
#: Programme is listened to as programme: its peaks may come closer to what music has.
PROGRAMME_CEILING_DBFS = -12.0
MOST_RAISE_DB = 60
FADE_IN_S, FADE_OUT_S = 0.8, 0.4
#: Loud moments that are rarer than this do not decide the raise: a click is limited instead.
_BLOCK_S = 0.1
_LOUD_SHARE = 0.9
#: The loudest block of even noise lies about this far above nine tenths of its blocks.
_HEADROOM_DB = 1.0
#: The limiter turns down this long before a peak and as long after it.
_REACH_S = 0.005


def common_raise_db(
    sounds: Sequence[Floats], rate_hz: int, *, ceiling_dbfs: float = CEILING_DBFS, most_db: int = MOST_RAISE_DB
) -> int:
    """Return by how many whole decibels all of a group can be raised so that the loudest reaches the ceiling.

    Parameters
    ----------
    sounds : sequence of numpy.ndarray, shapes (n_samples, n_channels)
        Full scale 1.0; at least one.
    rate_hz : int
        Their sampling rate.
    ceiling_dbfs : float
        Where the peaks of the loudest may come to.
    most_db : int
        The raise is never more than this. It is negative where a sound is above the ceiling as it stands.
    """
    loudest_dbfs = max(_usual_peak_dbfs(samples, rate_hz) for samples in sounds)
    return min(most_db, int(np.floor(ceiling_dbfs - _HEADROOM_DB - loudest_dbfs)))


def _usual_peak_dbfs(samples: Floats, rate_hz: int) -> float:
    """Return the peak that nine tenths of the blocks stay below."""
    block = max(1, int(_BLOCK_S * rate_hz))
    size = _size(samples)
    usable = size[: max(len(size) // block, 1) * block]
    peaks = usable.reshape(-1, block).max(axis=1) if len(usable) >= block else size
    return amplitude_to_dbfs(float(np.quantile(peaks, _LOUD_SHARE)) if len(peaks) else 0.0)


def _size(samples: Floats) -> Floats:
    """Return the larger magnitude of the channels, shape (n_samples,); a reduction over two columns takes ten times."""
    size = np.abs(samples[:, 0])
    for column in samples.T[1:]:
        np.maximum(size, np.abs(column), out=size)
    return size


def made_louder(
    samples: Floats, rate_hz: int, gain_db: float, *, ceiling_dbfs: float = CEILING_DBFS
) -> tuple[Floats, bool]:
    """Return a sound raised, limited, and faded at both ends.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        Full scale 1.0.
    rate_hz : int
        Sampling rate.
    gain_db : float
        The raise.
    ceiling_dbfs : float
        No sample comes out above this.

    Returns
    -------
    louder : numpy.ndarray, shape (n_samples, n_channels)
    limited : bool
        Whether peaks were turned down.
    """
    raised = samples * db_to_ratio(gain_db)
    ceiling = db_to_ratio(ceiling_dbfs)
    peak = _size(raised)
    limited = bool(peak.size and peak.max() > ceiling)
    if limited:
        raised = raised * _turned_down(peak, ceiling, max(1, int(_REACH_S * rate_hz)))[:, np.newaxis]
    return raised * _fades(len(raised), rate_hz)[:, np.newaxis], limited


def _turned_down(peak: Floats, ceiling: float, reach: int) -> Floats:
    """Return the gain of each sample: the least that any peak within reach needs, smoothed without ever exceeding it.

    The smoothing averages over the reach values that all allow the peak in their middle.
    """
    from scipy.ndimage import minimum_filter1d

    needed = np.minimum(1.0, ceiling / np.maximum(peak, 1e-30))
    lowest = minimum_filter1d(needed, 2 * reach + 1, mode="nearest")
    padded = np.pad(lowest, reach, mode="edge")
    window = np.hanning(2 * reach + 3)[1:-1]
    return np.asarray(np.convolve(padded, window / window.sum(), mode="valid"))


def _fades(n_samples: int, rate_hz: int) -> Floats:
    """Return the gain of a slow start from nothing and a shorter end, shape (n_samples,)."""
    gain = np.ones(n_samples)
    for length_s, at_end in ((FADE_IN_S, False), (FADE_OUT_S, True)):
        length = min(int(length_s * rate_hz), n_samples // 3)
        rise = 0.5 - 0.5 * np.cos(np.pi * np.arange(length) / max(length, 1))
        place = slice(n_samples - length, None) if at_end else slice(0, length)
        gain[place] = rise[::-1] if at_end else rise
    return gain
