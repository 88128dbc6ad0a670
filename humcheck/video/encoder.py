"""Still pictures and sound into a video file: interlaced MPEG-2 with uncompressed sound, as disc players want it.

References
----------
.. [1] ITU-R BT.601: 720 dots of 576 or 480 lines, black at 16 and white at 235.
.. [2] ITU-T H.262 / ISO 13818-2: MPEG-2 video; main profile at main level carries 720 x 576 at 25 frames a second.
.. [3] ISO 13818-1: program stream, whose padding packets (stream 0xBE) players skip.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import Floats
from humcheck.errors import UnusableCall

Luma = npt.NDArray[np.uint8]

WIDTH = 720
_BLACK, _WHITE = 16, 235
#: Disc players take 9.8 Mbit/s in all; the sound of 16 bits needs 1.5 of it.
_BIT_RATE, _MOST_BIT_RATE, _BUFFER_BITS = 5_000_000, 7_500_000, 1_835_008
_PACK_BYTES, _PACK_HEADER_BYTES = 2048, 14


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldFormat:
    """A standard of interlaced video.

    Attributes
    ----------
    frame_rate : Fraction
        Frames a second, each of two fields.
    n_lines : int
        Lines of a frame.
    """

    frame_rate: Fraction
    n_lines: int


FIELDS_50 = FieldFormat(frame_rate=Fraction(25), n_lines=576)
FIELDS_59_94 = FieldFormat(frame_rate=Fraction(30000, 1001), n_lines=480)


@dataclass(frozen=True, slots=True, kw_only=True)
class FileForm:
    """How a kind of video file is written.

    Attributes
    ----------
    container, sound : str
        The library's names of the container and of the sound's coding.
    bits : int
        Word length of the sound.
    """

    container: str
    sound: str
    bits: int


#: By the ending of the file's name. All sound is uncompressed.
FORMS = {
    ".mkv": FileForm(container="matroska", sound="pcm_s24le", bits=24),
    ".mov": FileForm(container="mov", sound="pcm_s24le", bits=24),
    ".avi": FileForm(container="avi", sound="pcm_s16le", bits=16),
    ".mpg": FileForm(container="dvd", sound="pcm_dvd", bits=16),
    ".vob": FileForm(container="dvd", sound="pcm_dvd", bits=16),
}


def require_encoder(path: object) -> None:
    """Raise `UnusableCall` if the library that writes video files is not installed."""
    import importlib.util

    if importlib.util.find_spec("av") is None:
        raise UnusableCall(
            "a video file needs the extra 'video' to be written", where=path, remedy="run: pip install humcheck[video]"
        )


def encode(
    path: str,
    form: FileForm,
    fields: FieldFormat,
    pictures: Iterable[Luma],
    sound: Iterable[Floats],
    rate_hz: int,
    comment: str,
) -> None:
    """Write a video file; picture and sound begin together.

    Parameters
    ----------
    path : str
        Where to; a file of that name is replaced.
    form : FileForm
        One of `FORMS`.
    fields : FieldFormat
        `FIELDS_50` or `FIELDS_59_94`.
    pictures : iterable of numpy.ndarray of uint8, shape (n_lines,)
        Brightness of each line, 0-255, one array a frame.
    sound : iterable of numpy.ndarray, shape (n, 2)
        Blocks, full scale = 1, on the steps of the word length.
    rate_hz : int
        Sampling rate.
    comment : str
        Stored in the file.

    Raises
    ------
    OSError
        If the disk refuses, or the library does.
    """
    import av

    with av.open(path, "w", format=form.container) as container:
        container.metadata["comment"] = comment
        video = _video_stream(container, fields)
        audio: Any = container.add_stream(form.sound, rate=rate_hz)
        audio.layout = "stereo"
        audio.format = "s32" if form.bits == 24 else "s16"
        for packet in _interleaved(_video_packets(video, fields, pictures), _sound_packets(audio, sound, rate_hz)):
            container.mux(packet)
    if form.container == "dvd":
        _append_comment(path, comment)


def _video_stream(container: Any, fields: FieldFormat) -> Any:
    options = {
        "flags": "+ildct+ilme",  # interlaced: transform and motion by fields
        "maxrate": str(_MOST_BIT_RATE),
        "bufsize": str(_BUFFER_BITS),
        "bf": "0",
        "qmin": "1",
    }
    stream = container.add_stream("mpeg2video", rate=fields.frame_rate, options=options)
    stream.width, stream.height, stream.pix_fmt = WIDTH, fields.n_lines, "yuv420p"
    stream.bit_rate = _BIT_RATE
    stream.gop_size = 15 if fields.n_lines == 576 else 18  # the longest that discs allow
    context = stream.codec_context
    # 720 dots of 4:3, as discs define it.
    context.sample_aspect_ratio = Fraction(4, 3) * Fraction(fields.n_lines, WIDTH)
    context.time_base = 1 / fields.frame_rate
    return stream


def _video_packets(stream: Any, fields: FieldFormat, pictures: Iterable[Luma]) -> Iterator[Any]:
    shown: Luma | None = None
    for index, picture in enumerate(pictures):
        if shown is None or not np.array_equal(picture, shown):
            shown = picture
        frame = _video_frame(shown, fields)
        frame.pts = index
        frame.time_base = 1 / fields.frame_rate
        yield from stream.encode(frame)
    yield from stream.encode(None)


def _video_frame(picture: Luma, fields: FieldFormat) -> Any:
    import av

    frame = av.VideoFrame(WIDTH, fields.n_lines, "yuv420p")
    level = np.rint(_BLACK + picture.astype(np.float64) * (_WHITE - _BLACK) / 255).astype(np.uint8)
    luma, *colours = frame.planes
    luma.update(np.repeat(level[:, np.newaxis], luma.line_size, axis=1).tobytes())
    for plane in colours:
        plane.update(bytes([128]) * plane.buffer_size)
    return frame


def _sound_packets(stream: Any, blocks: Iterable[Floats], rate_hz: int) -> Iterator[Any]:
    import av

    wide = stream.format.name == "s32"
    n_written = 0
    for block in blocks:
        # Of 24 bits the library takes the upper ones of 32.
        steps = np.rint(block * 2.0**23).astype(np.int32) << 8 if wide else np.rint(block * 2.0**15).astype(np.int16)
        for start in range(0, len(steps), _SOUND_FRAME):
            part = np.ascontiguousarray(steps[start : start + _SOUND_FRAME]).reshape(1, -1)
            frame = av.AudioFrame.from_ndarray(part, format=stream.format.name, layout="stereo")
            frame.sample_rate, frame.pts, frame.time_base = rate_hz, n_written, Fraction(1, rate_hz)
            n_written += part.size // 2
            yield from stream.encode(frame)
    yield from stream.encode(None)


_SOUND_FRAME = 1920


def _interleaved(*streams: Iterator[Any]) -> Iterator[Any]:
    """Yield packets of all streams in the order of their times, so that nobody has to hold a long file."""
    import heapq

    def stamped(order: int, packets: Iterator[Any]) -> Iterator[tuple[Fraction, int, Any]]:
        for packet in packets:
            yield Fraction(packet.dts or 0) * packet.time_base, order, packet

    ordered = (stamped(order, packets) for order, packets in enumerate(streams))
    for _, _, packet in heapq.merge(*ordered, key=lambda item: item[:2]):
        yield packet


def _append_comment(path: str, comment: str) -> None:
    """Add a pack of padding that holds the comment: program streams have no other place for one."""
    with open(path, "rb+") as file:
        size = file.seek(0, 2)
        file.seek(size - _PACK_BYTES)
        header = file.read(_PACK_HEADER_BYTES)
        text = comment.encode("utf-8")
        room = _PACK_BYTES - _PACK_HEADER_BYTES - 6
        if size % _PACK_BYTES or header[:4] != b"\x00\x00\x01\xba" or len(text) > room:
            raise OSError("the comment does not fit the program stream")
        file.seek(size)
        file.write(header + b"\x00\x00\x01\xbe" + room.to_bytes(2, "big") + text.ljust(room, b"\xff"))
