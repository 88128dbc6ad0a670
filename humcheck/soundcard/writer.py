"""A take on its way to the disk, block by block: 24-bit WAV, bounded memory, complete wherever it ends."""

from __future__ import annotations

import contextlib
import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from humcheck.audio.writing import MARK

if TYPE_CHECKING:
    import soundfile

BYTES_A_SAMPLE = 3
#: The lengths in a WAV file are 32-bit numbers; some bytes are left for its head and comment.
MOST_BYTES = 2**32 - 2**16
_FULL_SCALE = 2**23
_FREE_ENOUGH_BYTES = 2**20


class DiskFull(Exception):
    """No more can be written; what was written before is whole. The message says why, as a clause."""


class TakeWriter:
    """Writes the blocks of one take; a context manager, on leaving which the file is complete.

    Parameters
    ----------
    path : path
        An ordinary file that may be written, usually a temporary one.
    rate_hz : int
        Sampling rate.
    n_channels : int
        1 or 2.
    most_bytes : int
        Of samples, at which the file is full.
    """

    def __init__(
        self, path: str | os.PathLike[str], *, rate_hz: int, n_channels: int, most_bytes: int = MOST_BYTES
    ) -> None:
        import soundfile

        self._path = Path(path)
        self._error = soundfile.LibsndfileError
        self._room = most_bytes // (BYTES_A_SAMPLE * n_channels)
        self._file: soundfile.SoundFile = soundfile.SoundFile(
            path, "w", samplerate=rate_hz, channels=n_channels, subtype="PCM_24", format="WAV"
        )
        self._file.comment = f"{MARK}."

    def __enter__(self) -> TakeWriter:
        return self

    def __exit__(self, *failure: object) -> None:
        # The head is written over in place here, which works on a full disk too.
        with contextlib.suppress(self._error):
            self._file.close()
        # A disk may refuse only now; asked for again, it keeps quiet about what it refused before.
        with contextlib.suppress(OSError), open(self._path, "rb+") as file:
            os.fsync(file.fileno())

    def write(self, samples: npt.NDArray[np.float32]) -> None:
        """Write one block, shape (n_samples, n_channels), full scale 1.0; rounded, clipped where it does not fit.

        Raises
        ------
        DiskFull
            If the block could not be written, or not all of it.
        """
        if len(samples) > self._room:
            raise DiskFull("a WAV file can hold no more")
        steps = np.clip(np.rint(samples * np.float64(_FULL_SCALE)), -_FULL_SCALE, _FULL_SCALE - 1)
        try:
            self._file.write(steps.astype(np.int32) << 8)
        except (self._error, AssertionError) as error:  # the library asserts that all was written
            full = shutil.disk_usage(self._path.parent).free < _FREE_ENOUGH_BYTES
            raise DiskFull("the disk is full" if full else "the disk takes no more") from error
        self._room -= len(samples)

    def n_samples_on_disk(self) -> int:
        """Return how many samples of each channel the complete file holds; to be asked after closing."""
        import soundfile

        return int(soundfile.info(str(self._path)).frames)


def space_for(path: str | os.PathLike[str], duration_s: float, rate_hz: int, n_channels: int) -> tuple[int, int]:
    """Return the bytes that a take needs, and those that are free where it will lie."""
    needed = round(duration_s * rate_hz) * n_channels * BYTES_A_SAMPLE
    return needed, shutil.disk_usage(Path(path).resolve().parent).free
