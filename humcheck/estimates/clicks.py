"""Clicks and thumps in a recording of steady noise: how many, when, how strong.

Made for takes in which nothing plays while a plug is moved or a box is switched over. A click is a stretch whose steps
from sample to sample are far larger than the usual ones; hum and hiss have no such stretches.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats

WINDOW_S = 0.005
#: Largest step of a window over the usual one. Of Gaussian noise the largest of 240 is at some 2.9 standard deviations;
#: 2.2 times that, 6.4, is passed once in ten billion samples (normal distribution).
STANDS_OUT = 2.2
#: Clicks closer than this are one.
APART_S = 0.05
#: The usual step is taken over this long, since hum and gain may change meanwhile.
_AROUND_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Clicks:
    """Clicks of one channel.

    Attributes
    ----------
    times_s : numpy.ndarray, shape (n_clicks,)
        When each begins.
    peaks : numpy.ndarray, shape (n_clicks,)
        Largest distance from the usual course about each, full scale = 1.
    duration_s : float
        Length of what was listened to.
    least : float
        Largest step from sample to sample that would not have counted, in the median window.
    """

    times_s: Floats
    peaks: Floats
    duration_s: float
    least: float

    @property
    def per_minute(self) -> float:
        """Clicks a minute."""
        return 60.0 * self.times_s.size / self.duration_s


def find_clicks(blocks: Iterable[tuple[int, Floats]], rate_hz: float) -> list[Clicks]:
    """Find the clicks in each channel of a recording.

    Parameters
    ----------
    blocks : iterable of (int, numpy.ndarray of shape (n, n_ch))
        The recording from its beginning; only two numbers are kept of each 5 ms.
    rate_hz : float
        Sampling rate.

    Returns
    -------
    list of Clicks
        One for each channel; empty for a recording shorter than a second.
    """
    size = max(round(WINDOW_S * rate_hz), 2)
    steps, extremes = _windows(blocks, size)
    if len(steps) * size < rate_hz:
        return []
    return [_of_channel(steps[:, channel], extremes[:, channel], size / rate_hz) for channel in range(steps.shape[1])]


def _windows(blocks: Iterable[tuple[int, Floats]], size: int) -> tuple[Floats, Floats]:
    """Return the largest step and the extremes of each window, shapes (n, n_ch) and (n, n_ch, 2)."""
    steps: list[Floats] = []
    extremes: list[Floats] = []
    kept: Floats | None = None
    for _, samples in blocks:
        kept = samples if kept is None else np.concatenate([kept, samples])
        number = (len(kept) - 1) // size
        if number < 1:
            continue
        whole = kept[: number * size].reshape(number, size, -1)
        step = np.abs(np.diff(kept[: number * size + 1], axis=0)).reshape(number, size, -1)
        steps.append(step.max(axis=1))
        extremes.append(np.stack([whole.min(axis=1), whole.max(axis=1)], axis=2))
        kept = kept[number * size :]
    if not steps:
        return np.zeros((0, 1)), np.zeros((0, 1, 2))
    return np.concatenate(steps), np.concatenate(extremes)


def _of_channel(steps: Floats, extremes: Floats, window_s: float) -> Clicks:
    from scipy.ndimage import median_filter

    usual = median_filter(steps, size=min(2 * int(_AROUND_S / window_s / 2) + 1, len(steps)), mode="nearest")
    loud = np.flatnonzero(steps > STANDS_OUT * np.maximum(usual, 1e-9))
    gaps = np.flatnonzero(np.diff(loud) * window_s > APART_S) + 1
    groups = np.split(loud, gaps) if loud.size else []
    middle = np.median(extremes.mean(axis=1))
    peaks = [float(np.abs(extremes[group[0] : group[-1] + 2] - middle).max()) for group in groups]
    return Clicks(
        times_s=np.array([group[0] * window_s for group in groups]),
        peaks=np.array(peaks),
        duration_s=len(steps) * window_s,
        least=STANDS_OUT * float(np.median(usual)),
    )
