"""Samples out of an open sound file: read in place where that is exact, decoded from the beginning where it is not."""

from __future__ import annotations

import tempfile
from typing import IO, TYPE_CHECKING

import numpy as np

from humcheck.audio.levels import Floats

if TYPE_CHECKING:
    import soundfile

#: Only the first two channels of a file with more are used.
USED_CHANNELS = 2

BLOCK_SAMPLES = 1 << 17
#: Up to this much of a compressed file is kept decoded in memory; a longer one goes to a temporary file.
_DECODED_IN_MEMORY_BYTES = 96 << 20
#: Small, because what lies before a damaged place in the same block is lost.
_DECODED_AT_ONCE = 1 << 13


def is_plain(file: soundfile.SoundFile) -> bool:
    """Return whether the samples can be sought exactly and the stated length is true."""
    import soundfile

    if not (file.subtype.startswith("PCM_") or file.subtype in ("FLOAT", "DOUBLE", "ULAW", "ALAW")):
        return False
    if file.format != "FLAC" or file.frames < 1:
        return True
    # A FLAC file that was cut off still states its full length.
    try:
        file.seek(file.frames - 1)
        whole = len(file.read(2, always_2d=True)) == 1
    except soundfile.SoundFileError:
        whole = False
    return whole


def decode(path: str) -> tuple[IO[bytes], int]:
    """Decode everything from the beginning; return it as raw float32 of the used channels, and its length.

    Raises
    ------
    OSError
        If there is no room for a temporary file.
    """
    import soundfile

    n_samples = 0
    # float32 is what the decoders themselves deliver, and holds 24-bit samples exactly. The take closes it.
    store: IO[bytes] = tempfile.SpooledTemporaryFile(max_size=_DECODED_IN_MEMORY_BYTES)  # noqa: SIM115
    with soundfile.SoundFile(path) as fresh:
        while True:
            try:
                block = fresh.read(_DECODED_AT_ONCE, dtype="float32", always_2d=True)
            except soundfile.SoundFileError:
                break  # damaged from here on: what came before is used
            if not len(block):
                break
            store.write(np.ascontiguousarray(block[:, :USED_CHANNELS]).tobytes())
            n_samples += len(block)
    return store, n_samples


def read_decoded(store: IO[bytes], first: int, last: int, n_channels: int) -> Floats:
    """Return samples `first` to `last`, not included, of what `decode` stored."""
    frame_bytes = 4 * n_channels
    store.seek(first * frame_bytes)
    raw = store.read((last - first) * frame_bytes)
    return np.frombuffer(raw, dtype=np.float32).reshape(-1, n_channels).astype(np.float64)


def read_used(file: soundfile.SoundFile, n_samples: int) -> Floats:
    """Read from where the file stands; of a file with many channels only so much at once as keeps memory small."""
    if file.channels <= USED_CHANNELS:
        return np.asarray(file.read(n_samples, dtype="float64", always_2d=True))
    parts = [np.zeros((0, USED_CHANNELS))]
    while n_samples > 0:
        part = file.read(min(n_samples, BLOCK_SAMPLES), dtype="float64", always_2d=True)
        if not len(part):
            break
        parts.append(part[:, :USED_CHANNELS].copy())
        n_samples -= len(part)
    return np.concatenate(parts)
