"""Brightness of each row of each frame of a video file, and when each frame was captured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.errors import MeasurementError

#: Columns at either side that are left out: black edges, and the curtains of overscan.
_SIDE_SHARE = 0.05
#: Rows kept: twice those of a field at most.
MOST_ROWS = 576


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Brightness:
    """What the frames show.

    Attributes
    ----------
    rows : numpy.ndarray, shape (n_frames, n_rows)
        Mean brightness of each row, 0 black to 1 white, as coded.
    times_s : numpy.ndarray, shape (n_frames,)
        Time stamps, in seconds from the first sample of the sound.
    """

    rows: Floats
    times_s: Floats


def read_brightness(path: str, *, longest_s: float) -> Brightness:
    """Read the first stream of pictures of a video file.

    Parameters
    ----------
    path : str
        The file.
    longest_s : float
        Frames after that are not read.

    Raises
    ------
    MeasurementError
        If it holds no pictures, or they cannot be decoded.
    """
    import av

    rows, times_s = [], []
    try:
        with open(path, "rb") as file, av.open(file, "r") as container:
            if not container.streams.video:
                raise MeasurementError("The file holds no pictures.")
            stream: Any = container.streams.video[0]
            stream.thread_type = "AUTO"
            first_s = _start_s(container)
            for frame in container.decode(stream):
                if frame.time is None:
                    continue
                if frame.time - first_s > longest_s:
                    break
                rows.append(_row_means(frame))
                times_s.append(frame.time - first_s)
    except (av.FFmpegError, ValueError) as error:
        if len(rows) < 2:
            raise MeasurementError("The file's pictures cannot be decoded.") from error
    if len(rows) < 2 or len({row.size for row in rows}) != 1:
        raise MeasurementError("The file holds no moving picture of one size.")
    order = np.argsort(times_s, kind="stable")
    return Brightness(rows=np.array(rows)[order], times_s=np.array(times_s)[order])


def _start_s(container: Any) -> float:
    """Return the time stamp of the first sample of sound."""
    if not container.streams.audio:
        return 0.0
    stream = container.streams.audio[0]
    return float(stream.start_time * stream.time_base) if stream.start_time is not None else 0.0


def _row_means(frame: Any) -> Floats:
    wanted = min(frame.height, MOST_ROWS)
    grey = frame.reformat(format="gray").to_ndarray()
    side = int(_SIDE_SHARE * grey.shape[1])
    means = grey[:, side : grey.shape[1] - side].mean(axis=1) / 255.0
    if wanted == grey.shape[0]:
        return np.asarray(means)
    # Scaled up by the capture: each kept row is the mean of those that it covers.
    edges = np.linspace(0, means.size, wanted + 1)
    summed = np.interp(edges, np.arange(means.size + 1), np.concatenate([[0.0], np.cumsum(means)]))
    return np.asarray(np.diff(summed) / np.diff(edges))
