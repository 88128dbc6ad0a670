"""Reading takes: one open file, read-only, any part of it as float64 ``(n_samples, n_channels)``.

What cannot be used raises `UnusableTake` when the file is opened, with one line that says what is wrong and what to do.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Iterator
from typing import IO, TYPE_CHECKING, NamedTuple

import numpy as np

from humcheck.audio.containers import container_name, decode_container
from humcheck.audio.decoding import (
    BLOCK_SAMPLES,
    USED_CHANNELS,
    decode,
    is_plain,
    library_path,
    read_decoded,
    read_used,
    silent_decoder,
)
from humcheck.audio.levels import Floats
from humcheck.errors import UnusableTake, storable

if TYPE_CHECKING:
    import soundfile

LOWEST_RATE_HZ = 4_000
HIGHEST_RATE_HZ = 768_000
MOST_CHANNELS = 64
#: Samples of a float file beyond this many times full scale (+60 dBFS) are no sound at full scale 1.0.
LARGEST_SAMPLE = 1000.0

#: A stated length from here on means that the file does not know its own.
_UNKNOWN_LENGTH = 1 << 60

_FORMAT_NAMES = {"WAVEX": "WAV", "RF64": "WAV", "W64": "WAV"}
_ENCODING_NAMES = {
    "PCM_S8": "8-bit",
    "PCM_U8": "8-bit",
    "PCM_16": "16-bit",
    "PCM_24": "24-bit",
    "PCM_32": "32-bit",
    "FLOAT": "32-bit float",
    "DOUBLE": "64-bit float",
    "VORBIS": "Vorbis",
    "OPUS": "Opus",
    "MPEG_LAYER_III": "",
    "MPEG_LAYER_II": "layer 2",
    "MPEG_LAYER_I": "layer 1",
}
_CONVERT = "convert it to a WAV file with full scale 1.0"


class Hashed(NamedTuple):
    """The SHA-256 of a file's bytes in hexadecimal, and the file's state when they were read."""

    sha256: str
    state: tuple[int, int, int]


def file_hashed(path: str) -> Hashed:
    """Read a file and return its hash.

    Raises
    ------
    UnusableTake
        If it cannot be read.
    """
    try:
        with open(path, "rb") as file:
            state = _state(os.fstat(file.fileno()))
            return Hashed(hashlib.file_digest(file, "sha256").hexdigest(), state)
    except OSError as error:
        raise _unreadable(path, error) from error


def _state(status: os.stat_result) -> tuple[int, int, int]:
    return status.st_ino, status.st_size, status.st_mtime_ns


class TakeFile:
    """One recording on disk, opened with `open_take`.

    Attributes
    ----------
    path : str
        As it was given.
    rate_hz : int
        Nominal sampling rate.
    n_samples : int
        Samples for each channel that are really there.
    n_channels : int
        Channels used: 1 or 2.
    n_file_channels : int
        Channels in the file.
    sample_format : str
        Such as ``"WAV 24-bit"`` or ``"OGG Vorbis"``.
    notes : tuple of str
        What a user should know about the file, such as channels that are not used.
    """

    __slots__ = (
        "_decoded",
        "_sha256",
        "n_channels",
        "n_file_channels",
        "n_samples",
        "notes",
        "path",
        "rate_hz",
        "sample_format",
    )

    def __init__(
        self,
        *,
        path: str,
        rate_hz: int,
        n_samples: int,
        n_file_channels: int,
        sample_format: str,
        notes: tuple[str, ...] = (),
        decoded: IO[bytes] | None = None,
    ) -> None:
        self.path = path
        self.rate_hz = rate_hz
        self.n_samples = n_samples
        self.n_file_channels = n_file_channels
        self.n_channels = min(n_file_channels, USED_CHANNELS)
        self.sample_format = sample_format
        self.notes = notes
        self._decoded = decoded
        self._sha256: str | None = None

    def __del__(self) -> None:
        decoded = getattr(self, "_decoded", None)
        if decoded is not None:
            decoded.close()

    @property
    def name(self) -> str:
        """File name without its folders, as text."""
        return storable(os.path.basename(self.path))

    @property
    def duration_s(self) -> float:
        """Length in seconds of the take's nominal clock."""
        return self.n_samples / self.rate_hz

    def sha256(self) -> str:
        """Return the SHA-256 of the file's bytes in hexadecimal; read once."""
        if self._sha256 is None:
            self._sha256 = file_hashed(self.path).sha256
        return self._sha256

    def known_as(self, hashed: Hashed) -> None:
        """Take over a hash that was made earlier, unless the file has changed since."""
        try:
            if _state(os.stat(self.path)) == hashed.state:
                self._sha256 = hashed.sha256
        except OSError:
            return  # reading will say what is wrong

    def read(self, start: int = 0, stop: int | None = None) -> Floats:
        """Return samples `start` to `stop`, not included; what lies outside the file reads zero.

        Parameters
        ----------
        start, stop : int, optional
            Sample indices; `start` may be negative, `stop` may lie beyond the end. All by default.

        Returns
        -------
        numpy.ndarray, shape (stop - start, n_channels)

        Raises
        ------
        ValueError
            If `stop` lies before `start`.
        UnusableTake
            If the file is gone or has changed since it was opened.
        """
        stop = self.n_samples if stop is None else stop
        if stop < start:
            raise ValueError(f"stop ({stop}) must not lie before start ({start})")
        first = min(max(start, 0), self.n_samples)
        last = min(max(stop, first), self.n_samples)
        inside = self._read_inside(first, last)
        if first == start and last == stop:
            return inside
        samples = np.zeros((stop - start, self.n_channels))
        if last > first:
            samples[first - start : last - start] = inside
        return samples

    def blocks(
        self, block_samples: int = BLOCK_SAMPLES, start: int = 0, stop: int | None = None
    ) -> Iterator[tuple[int, Floats]]:
        """Yield ``(start_index, samples)`` of the file, or of a part of it, in order; the last may be shorter."""
        if block_samples < 1:
            raise ValueError(f"block_samples must be at least 1, got {block_samples}")
        last = self.n_samples if stop is None else min(stop, self.n_samples)
        for index in range(max(start, 0), last, block_samples):
            yield index, self._read_inside(index, min(index + block_samples, last))

    def _read_inside(self, first: int, last: int) -> Floats:
        if last <= first:
            return np.zeros((0, self.n_channels))
        if self._decoded is not None:
            return read_decoded(self._decoded, first, last, self.n_channels)
        import soundfile

        try:
            with soundfile.SoundFile(library_path(self.path)) as file:
                file.seek(first)
                samples = read_used(file, last - first)
        except (OSError, soundfile.SoundFileError) as error:
            raise _changed(self.path) from error
        if len(samples) != last - first:
            raise _changed(self.path)
        return samples


def open_take(path: str | os.PathLike[str]) -> TakeFile:
    """Open a recording for reading.

    Parameters
    ----------
    path : path
        WAV, FLAC, AIFF, OGG or MP3 file, or whatever else libsndfile reads; with the extra ``video`` a video file,
        whose first stream of sound is taken.

    Raises
    ------
    UnusableTake
        If it is missing, a folder, empty, no audio file, has no samples, a rate outside 4-768 kHz, more than
        64 channels, or samples that are not numbers.

    Notes
    -----
    Compressed files are decoded once from their beginning to their end, because seeking in them is not exact to the
    sample and the length that they state need not be true.
    """
    import soundfile

    name = os.fspath(path)
    _require_file(name)
    kind = container_name(name)
    if kind is not None:
        return _of_container(name, kind)
    try:
        with silent_decoder(name), soundfile.SoundFile(library_path(name)) as file:
            return _described(name, file)
    except soundfile.SoundFileError as error:
        raise UnusableTake(
            "is not an audio file that can be read", where=name, remedy="give a WAV, FLAC, AIFF, OGG or MP3 file"
        ) from error
    except TypeError as error:
        # The library asks for rate and channels by this error when the name ends in .raw.
        raise UnusableTake(
            "has no header that says its rate and channels", where=name, remedy="convert it to a WAV file"
        ) from error


def _require_file(path: str) -> None:
    try:
        status = os.stat(path)
    except FileNotFoundError as error:
        raise UnusableTake("there is no such file", where=path, remedy="check the name") from error
    except (OSError, ValueError) as error:
        raise _unreadable(path, error) from error
    if stat.S_ISDIR(status.st_mode):
        raise UnusableTake("is a folder, not a recording", where=path, remedy="give the file inside it")
    if not stat.S_ISREG(status.st_mode):
        raise UnusableTake("is not a regular file", where=path, remedy="save the recording as a file first")
    if status.st_size == 0:
        raise UnusableTake("is empty", where=path, remedy="record it again, or copy it again")
    try:
        with open(path, "rb") as file:
            file.read(1)
    except OSError as error:
        raise _unreadable(path, error) from error


def _described(path: str, file: soundfile.SoundFile) -> TakeFile:
    """Check an open file and describe it, decoding it where that is the only way to know what is in it."""
    rate_hz, n_channels = int(file.samplerate), int(file.channels)
    _require_usual(path, rate_hz, n_channels)
    decoded: IO[bytes] | None = None
    n_samples = int(file.frames)
    if not is_plain(file):
        try:
            decoded, n_samples = decode(path)
        except OSError as error:
            raise _no_room(path, error) from error
    _require_samples(path, n_samples, decoded)
    take = TakeFile(
        path=path,
        rate_hz=rate_hz,
        n_samples=n_samples,
        n_file_channels=n_channels,
        sample_format=_sample_format(file),
        notes=_notes(file, n_samples),
        decoded=decoded,
    )
    if file.subtype in ("FLOAT", "DOUBLE"):
        _require_sound(take)
    return take


def _of_container(path: str, kind: str) -> TakeFile:
    """Open the sound of a video file."""
    try:
        sound = decode_container(path, kind)
    except OSError as error:
        raise _no_room(path, error) from error
    try:
        _require_usual(path, sound.rate_hz, sound.n_channels)
    except UnusableTake:
        sound.store.close()
        raise
    _require_samples(path, sound.n_samples, sound.store)
    take = TakeFile(
        path=path,
        rate_hz=sound.rate_hz,
        n_samples=sound.n_samples,
        n_file_channels=sound.n_channels,
        sample_format=sound.sample_format,
        notes=sound.notes,
        decoded=sound.store,
    )
    _require_sound(take)
    return take


def _require_usual(path: str, rate_hz: int, n_channels: int) -> None:
    if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        raise UnusableTake(
            f"has a sampling rate of {rate_hz} Hz",
            where=path,
            remedy=f"record at {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz, best at 48000",
        )
    if n_channels > MOST_CHANNELS:
        raise UnusableTake(f"has {n_channels} channels", where=path, remedy="save the two that matter as a stereo file")


def _require_samples(path: str, n_samples: int, decoded: IO[bytes] | None) -> None:
    if n_samples < 1:
        if decoded is not None:
            decoded.close()
        raise UnusableTake("holds no samples", where=path, remedy="record it again")


def _no_room(path: str, error: OSError) -> UnusableTake:
    remedy = "free some space for temporary files"
    return UnusableTake(f"cannot be decoded ({_reason(error)})", where=path, remedy=remedy)


def _require_sound(take: TakeFile) -> None:
    """Raise if a float file holds samples that are no numbers, or far outside full scale."""
    for start, block in take.blocks():
        bad = ~(np.abs(block) <= LARGEST_SAMPLE)
        if bad.any():
            index, channel = (int(place) for place in np.argwhere(bad)[0])
            value = float(block[index, channel])
            what = f"{value:.3g} times full scale" if np.isfinite(value) else f"not a number ({value})"
            place = f"sample {start + index} ({(start + index) / take.rate_hz:.3f} s) of channel {channel + 1}"
            raise UnusableTake(f"{place} is {what}", where=take.path, remedy=f"record it again, or {_CONVERT}")


def _sample_format(file: soundfile.SoundFile) -> str:
    container = _FORMAT_NAMES.get(file.format, file.format)
    encoding = _ENCODING_NAMES.get(file.subtype, file.subtype.replace("_", " "))
    if container == "MPEG":
        container = "MP3" if file.subtype == "MPEG_LAYER_III" else "MPEG"
    return f"{container} {encoding}".strip()


def _notes(file: soundfile.SoundFile, n_samples: int) -> tuple[str, ...]:
    notes = []
    if file.channels > USED_CHANNELS:
        notes.append(f"The file has {file.channels} channels; only the first two are used.")
    # The library's log of the header: a data chunk whose stated size is not what the file holds.
    cut_off = re.search(r"^\s*(data|SSND)\s*:.*should be", str(file.extra_info), flags=re.MULTILINE)
    if cut_off or n_samples > file.frames or (file.format == "FLAC" and n_samples < file.frames < _UNKNOWN_LENGTH):
        notes.append(
            "The header does not state the true length: the file may have been cut off. What is there is used."
        )
    return tuple(notes)


def _unreadable(path: str, error: Exception) -> UnusableTake:
    return UnusableTake(f"cannot be opened ({_reason(error)})", where=path, remedy="check the name and your rights")


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)


def _changed(path: str) -> UnusableTake:
    return UnusableTake(
        "cannot be read any more, or has changed since it was opened", where=path, remedy="leave it alone and run again"
    )
