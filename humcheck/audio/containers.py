"""The sound of a video file: its first stream of sound, decoded whole. Needs the extra ``video``."""

from __future__ import annotations

import importlib.util
import os
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING, Any

import numpy as np

from humcheck.audio.decoding import USED_CHANNELS
from humcheck.errors import UnusableTake

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Up to this much decoded sound is kept in memory; a longer one goes to a temporary file.
_DECODED_IN_MEMORY_BYTES = 96 << 20
_BEGINNING_BYTES = 1024
_TRANSPORT_PACKET_BYTES = 188
#: Boxes with which files of the MP4 and MOV kind begin.
_FIRST_BOXES = (b"ftyp", b"moov", b"mdat", b"wide")
_LOSSLESS = ("pcm_", "flac", "alac", "wavpack", "mlp", "truehd", "tta")
#: Stamps may lie this far from where the samples before them end, of rounding and of jitter.
_STAMP_JITTER_S = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class ContainerSound:
    """The decoded sound of a video file.

    Attributes
    ----------
    store : file
        float32 samples of the used channels, interleaved; whoever holds it closes it.
    rate_hz, n_channels, n_samples : int
        What the stream holds; `n_channels` counts those that are not used, too.
    sample_format : str
        Such as ``"MKV 24-bit"`` or ``"MP4 AAC"``.
    notes : tuple of str
        What a user should know.
    """

    store: IO[bytes]
    rate_hz: int
    n_channels: int
    n_samples: int
    sample_format: str
    notes: tuple[str, ...] = ()


def container_name(path: str) -> str | None:
    """Return the kind of a video file, known by its first bytes, such as ``"MKV"``; None for any other file."""
    with open(path, "rb") as file:
        start = file.read(_BEGINNING_BYTES)
    packets = start[: 3 * _TRANSPORT_PACKET_BYTES : _TRANSPORT_PACKET_BYTES]
    if start.startswith(b"\x1a\x45\xdf\xa3"):
        return "WEBM" if b"webm" in start[:64] else "MKV"
    if start[4:8] in _FIRST_BOXES:
        return "MOV" if start[4:8] != b"ftyp" or start[8:10] == b"qt" else "MP4"
    if start.startswith(b"RIFF") and start[8:12] == b"AVI ":
        return "AVI"
    if start.startswith(b"\x00\x00\x01\xba"):
        return "MPEG"
    if packets == b"\x47\x47\x47":
        return "MPEG-TS"
    if start.startswith(b"FLV\x01"):
        return "FLV"
    if start.startswith(b"\x30\x26\xb2\x75\x8e\x66\xcf\x11"):
        return "ASF"
    return None


def require_video_library(path: str) -> None:
    """Raise `UnusableTake` if the library that reads video files is not installed."""
    if importlib.util.find_spec("av") is None:
        raise UnusableTake(
            "is a video file, or sound packed like one, which needs the extra 'video' to be read",
            where=path,
            remedy="run: pip install humcheck[video], or save its sound as a WAV file",
        )


def decode_container(path: str, name: str) -> ContainerSound:
    """Decode the first stream of sound of a video file, from its beginning to its end.

    Parameters
    ----------
    path : str
        The file.
    name : str
        Its kind; see `container_name`.

    Raises
    ------
    UnusableTake
        If the library is missing, the file cannot be read, or it holds no sound.
    OSError
        If there is no room for a temporary file.

    Notes
    -----
    Samples are laid one after the other as they were recorded; the container's time stamps, often rounded to
    milliseconds, are not used to move them. Where they say that sound is missing, a note tells.
    """
    require_video_library(path)
    import av

    # A file object: names such as http://... mean nothing to the library then.
    with open(path, "rb") as file:
        try:
            container = av.open(file)
        except (av.FFmpegError, ValueError) as error:
            raise _unreadable(path, error) from error
        with container:
            if not container.streams.audio:
                raise UnusableTake("is a video file without sound", where=path, remedy="record it with its sound")
            stream: Any = container.streams.audio[0]
            if stream.codec_context is None:
                remedy = "copy it again, or save its sound as a WAV file"
                raise UnusableTake("holds sound of a coding that is not known", where=path, remedy=remedy)
            return _decoded(container, name)


def _decoded(container: Any, name: str) -> ContainerSound:
    stream = container.streams.audio[0]
    sample_format = _format_name(stream, name)
    store: IO[bytes] = tempfile.SpooledTemporaryFile(max_size=_DECODED_IN_MEMORY_BYTES)  # noqa: SIM115
    rate_hz, n_channels = int(stream.rate or 0), int(stream.channels or 0)
    n_samples, expected_s, lost_s, damaged = 0, None, 0.0, False
    try:
        for frame in _frames(container, stream):
            if frame is None:
                damaged = True
                break
            if frame.sample_rate != rate_hz or len(frame.layout.channels) != n_channels:
                damaged = True  # another format from here on: no clock goes through both
                break
            if frame.time is not None:
                ahead_s = 0.0 if expected_s is None else frame.time - expected_s
                if abs(ahead_s) > _STAMP_JITTER_S:
                    lost_s += abs(ahead_s)
                    expected_s = None
                expected_s = (frame.time if expected_s is None else expected_s) + frame.samples / rate_hz
            store.write(interleaved(frame)[:, :USED_CHANNELS].tobytes())
            n_samples += frame.samples
    except BaseException:
        store.close()
        raise
    return ContainerSound(
        store=store,
        rate_hz=rate_hz,
        n_channels=n_channels,
        n_samples=n_samples,
        sample_format=sample_format,
        notes=tuple(_notes(container, n_channels, lost_s, damaged)),
    )


def _frames(container: Any, stream: Any) -> Iterator[Any]:
    """Yield the frames of a stream; None, and no more, where it is damaged."""
    import av

    try:
        yield from container.decode(stream)
    except (av.FFmpegError, ValueError):
        yield None


def interleaved(frame: Any) -> NDArray[np.float32]:
    """Return the samples of a decoded frame, shape (n_samples, n_channels), full scale = 1."""
    raw = frame.to_ndarray()
    n_channels = len(frame.layout.channels)
    samples = raw.T if frame.format.is_planar else raw.reshape(-1, n_channels)
    if samples.dtype == np.uint8:
        samples = (samples.astype(np.float32) - 128) / 128
    elif np.issubdtype(samples.dtype, np.integer):
        samples = samples * 2.0 ** (1 - 8 * samples.dtype.itemsize)
    return np.ascontiguousarray(samples, dtype=np.float32)


def _format_name(stream: Any, name: str) -> str:
    codec = str(stream.codec_context.name)
    if codec.startswith("pcm_"):
        digits = "".join(character for character in codec.split("_")[1] if character.isdigit())
        if codec in ("pcm_dvd", "pcm_bluray"):
            digits = str(stream.codec_context.format.bits)
        return f"{name} {digits}-bit{' float' if codec.startswith('pcm_f') else ''}"
    return f"{name} {codec.removesuffix('float').upper()}"


def _notes(container: Any, n_channels: int, lost_s: float, damaged: bool) -> Iterator[str]:
    if len(container.streams.audio) > 1:
        yield f"The file has {len(container.streams.audio)} sound tracks; only the first is used."
    if n_channels > USED_CHANNELS:
        yield f"The file has {n_channels} channels; only the first two are used."
    if lost_s:
        yield (
            f"The file's time stamps jump by {lost_s:.2f} s in all: sound may be missing there. What is there is used."
        )
    if damaged:
        yield "The sound is damaged, or changes its format, before the file's end. What comes before that is used."
    codec = str(container.streams.audio[0].codec_context.name)
    if not codec.startswith(_LOSSLESS):
        yield (
            "The sound was compressed with loss: hiss, whistles and anything weak may differ from what was recorded. "
            "Record with uncompressed (PCM) or FLAC sound."
        )


def _unreadable(path: str, error: Exception) -> UnusableTake:
    reason = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return UnusableTake(
        f"is a video file that cannot be read ({reason})",
        where=os.fspath(path),
        remedy="copy it again, or save its sound as a WAV file",
    )
