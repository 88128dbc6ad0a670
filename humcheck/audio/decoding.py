"""Samples out of an open sound file: read in place where that is exact, decoded from the beginning where it is not."""

from __future__ import annotations

import contextlib
import io
import os
import sys
import tempfile
from collections.abc import Iterator
from typing import IO, TYPE_CHECKING, Any, cast

import numpy as np

from humcheck.audio.levels import Floats

if TYPE_CHECKING:
    import soundfile

#: Only the first two channels of a file with more are used.
USED_CHANNELS = 2

BLOCK_SAMPLES = 1 << 17
#: Up to this much of a compressed file is kept decoded in memory; a longer one goes to a temporary file.
_DECODED_IN_MEMORY_BYTES = 96 << 20
_DECODED_AT_ONCE = 1 << 12
_SILENT_BEGINNINGS = (b"RIFF", b"RF64", b"FORM", b"fLaC", b"OggS", b"caff")
_SEARCHED_FOR_DATA = 1 << 16


def library_path(path: str) -> str | bytes:
    """Return a path as the library takes it: names that are no text must be given as bytes."""
    return path if os.name == "nt" else os.fsencode(path)


def is_plain(file: soundfile.SoundFile) -> bool:
    """Return whether the samples can be sought exactly and the stated length is true."""
    import soundfile

    if not (file.subtype.startswith("PCM_") or file.subtype in ("FLOAT", "DOUBLE", "ULAW", "ALAW")):
        return False
    if file.frames < 1:
        return False
    if file.format != "FLAC":
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
    try:
        with soundfile.SoundFile(_finished_wav(path) or library_path(path)) as file:
            # After each read soundfile seeks to where the file stands already, which MP3 files do not survive: all
            # that follows is silence. A file that cannot be sought is left alone.
            file._info.seekable = 0
            block = np.empty((_DECODED_AT_ONCE, file.channels), dtype=np.float32)
            n_read = len(block)
            while n_read == len(block):
                try:
                    n_read = len(file.read(out=block))
                except soundfile.SoundFileError:
                    break  # damaged from here on: what came before is used
                store.write(np.ascontiguousarray(block[:n_read, :USED_CHANNELS]).tobytes())
                n_samples += n_read
    except BaseException:
        store.close()
        raise
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


@contextlib.contextmanager
def silent_decoder(path: str) -> Iterator[None]:
    """Keep a decoder of MP3 from writing to standard error behind Python's back.

    Only for files that do not begin like one of the formats that are read without it.
    """
    with open(path, "rb") as file:
        if file.read(4) in _SILENT_BEGINNINGS:
            yield
            return
    try:
        sys.stderr.flush()
        kept = os.dup(2)
    except (OSError, AttributeError):  # no standard error at all
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def _finished_wav(path: str) -> IO[bytes] | None:
    """Return a WAV file whose recorder never came to write its lengths, as if it had; None for any other file."""
    with open(path, "rb") as file:
        start = file.read(_SEARCHED_FOR_DATA)
        size = file.seek(0, os.SEEK_END)
    chunk = start.find(b"data\0\0\0\0")
    if not (start.startswith(b"RIFF") and start[8:12] == b"WAVE" and chunk > 0 and size > chunk + 8):
        return None
    header = bytearray(start[: chunk + 8])
    header[4:8] = min(size - 8, 0xFFFFFFFF).to_bytes(4, "little")
    header[chunk + 4 : chunk + 8] = min(size - chunk - 8, 0xFFFFFFFF).to_bytes(4, "little")
    return cast(IO[bytes], io.BufferedReader(_WithHeader(path, bytes(header))))


class _WithHeader(io.RawIOBase):
    """A file, read-only, with other bytes at its beginning."""

    def __init__(self, path: str, header: bytes) -> None:
        self._file = open(path, "rb", buffering=0)  # noqa: SIM115
        self._header = header

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()

    def readinto(self, buffer: Any) -> int:
        place = self._file.tell()
        n_read = int(self._file.readinto(buffer) or 0)
        patch = self._header[place : place + n_read]
        buffer[: len(patch)] = patch
        return n_read

    def close(self) -> None:
        self._file.close()
        super().close()
