"""Recordings that are broken, or lie: each maker writes one file (or what stands in its place) of a given name."""

from __future__ import annotations

import importlib.util
import os
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

RATE_HZ = 48000
Maker = Callable[[Path], object]


def noise(n_samples: int, n_channels: int = 2) -> np.ndarray:
    return np.random.default_rng(2).normal(0, 0.01, (n_samples, n_channels))


def wav(
    *,
    rate_hz: int = RATE_HZ,
    n_channels: int = 2,
    bits: int = 16,
    code: int = 1,
    stated: int | None = None,
    align: int | None = None,
    body: bytes = b"",
) -> bytes:
    """A WAV file by hand, as IBM's and Microsoft's RIFF specification of 1991 lays it out; any field may lie."""
    align = n_channels * bits // 8 if align is None else align
    stated = len(body) if stated is None else stated
    form = struct.pack("<HHIIHH", code, n_channels, rate_hz, rate_hz * align & 0xFFFFFFFF, align & 0xFFFF, bits)
    head = b"WAVEfmt " + struct.pack("<I", len(form)) + form + b"data" + struct.pack("<I", stated)
    return b"RIFF" + struct.pack("<I", (len(head) + len(body)) & 0xFFFFFFFF) + head + body


def _sound(n_samples: int, n_channels: int = 2) -> bytes:
    return (noise(n_samples, n_channels) * 32767).astype("<i2").tobytes()


def _written(content: bytes) -> Maker:
    return lambda path: path.write_bytes(content)


def _saved(samples: np.ndarray, rate_hz: int = RATE_HZ, **options: str) -> Maker:
    return lambda path: soundfile.write(path, samples, rate_hz, format="WAV", **options)


def _bad_sample(value: float) -> Maker:
    samples = noise(1000)
    samples[500, 1] = value
    return _saved(samples, subtype="FLOAT")


def _cut(file_format: str, share: float, *, broken: bool = False) -> Maker:
    """Return a maker of a compressed file that ends too early, or is damaged in its middle."""

    def make(path: Path) -> None:
        soundfile.write(path, noise(2 * RATE_HZ), RATE_HZ, format=file_format)
        data = bytearray(path.read_bytes())
        if broken:
            middle = slice(len(data) // 3, len(data) // 2)
            data[middle] = np.random.default_rng(5).bytes(middle.stop - middle.start)
        path.write_bytes(data[: round(len(data) * share)])

    return make


def _linked_out(path: Path) -> None:
    path.symlink_to("/etc/hostname" if os.path.exists("/etc/hostname") else "/")


def _circle(path: Path) -> None:
    path.symlink_to(path.name)


def _forbidden(path: Path) -> None:
    path.write_bytes(wav(body=_sound(1000)))
    path.chmod(0)


def _unknown_coding(path: Path) -> None:
    """A Matroska file whose sound is coded by something that nobody knows: found by changing files at random."""
    if importlib.util.find_spec("av") is None:  # then every video file is refused, whatever is in it
        path.write_bytes(b"\x1a\x45\xdf\xa3")
        return
    import av

    with av.open(path, "w", format="matroska") as container:
        stream = container.add_stream("pcm_s16le", rate=RATE_HZ, layout="stereo")
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 2000), "<i2"), format="s16", layout="stereo")
        frame.sample_rate, frame.pts = RATE_HZ, 0
        for packet in [*stream.encode(frame), *stream.encode()]:
            container.mux(packet)
    path.write_bytes(path.read_bytes().replace(b"A_PCM/INT/LIT", b"A_XYZ/INT/LIT"))


def _long_sparse(path: Path) -> None:
    """An hour of silence that takes no room on the disk; the header says as much."""
    size = 3600 * 8000
    path.write_bytes(wav(rate_hz=8000, n_channels=1, bits=8, stated=size))
    os.truncate(path, path.stat().st_size + size)


#: What no command can use: each is refused.
UNUSABLE: dict[str, Maker] = {
    "missing": lambda path: None,
    "a folder": lambda path: path.mkdir(),
    "empty": lambda path: path.touch(),
    "text": _written(b"This is not sound.\n" * 100),
    "random bytes": _written(np.random.default_rng(3).bytes(100_000)),
    "zeros": _written(bytes(100_000)),
    "cut in its header": _written(wav(body=_sound(1000))[:30]),
    "a header and no more": _written(wav()),
    "0 Hz": _written(wav(rate_hz=0, body=_sound(1000))),
    "4 GHz": _written(wav(rate_hz=0xFFFFFFFF, body=_sound(1000))),
    "0 channels": _written(wav(n_channels=0, body=_sound(1000))),
    "65535 channels": _written(wav(n_channels=65535, body=_sound(1000))),
    "0 bits": _written(wav(bits=0, body=_sound(1000))),
    "a code of no kind": _written(wav(code=0x4242, body=_sound(1000))),
    "not a number": _bad_sample(np.nan),
    "infinite": _bad_sample(np.inf),
    "far over full scale": _bad_sample(1e30),
    "1000 Hz": _saved(noise(1000), 1000),
    "a link to no recording": _linked_out,
    "a link to itself": _circle,
    "a pipe": lambda path: os.mkfifo(path),
    "a device": lambda path: path.symlink_to("/dev/zero"),
    "the beginning of an MP4 file": _written(struct.pack(">I", 24) + b"ftypisom" + bytes(12) + b"\xff" * 2000),
    "the beginning of an MKV file": _written(b"\x1a\x45\xdf\xa3" + np.random.default_rng(4).bytes(5000)),
    "the beginning of an AVI file": _written(b"RIFF\xff\xff\xff\xffAVI LIST" + bytes(3000)),
    "an MPEG stream of nothing": _written(b"\x00\x00\x01\xba" + bytes(3000)),
    "sound of an unknown coding": _unknown_coding,
    "an OGG file cut early": _cut("OGG", 0.02),
    "a FLAC file cut early": _cut("FLAC", 0.001),
}

#: What may be measured as far as it goes, or refused: every figure that is missing has its reason then.
DOUBTFUL: dict[str, Maker] = {
    "1 sample": _saved(noise(1)),
    "100 samples": _saved(noise(100)),
    "a tenth of a second": _saved(noise(4800)),
    "three seconds of zeros": _saved(np.zeros((3 * RATE_HZ, 2))),
    "three seconds of full scale": _saved(np.ones((3 * RATE_HZ, 2)), subtype="PCM_24"),
    "768 kHz": _saved(noise(100_000), 768_000),
    "64 channels": _saved(noise(30_000, 64)),
    "8-bit": _saved(noise(3 * RATE_HZ), subtype="PCM_U8"),
    "ten hours claimed": _written(wav(stated=0x7FFFFFF0, body=_sound(RATE_HZ))),
    "a length of zero stated": _written(wav(stated=0, body=_sound(RATE_HZ))),
    "an odd length": _written(wav(body=_sound(RATE_HZ) + b"\x01")),
    "a block of the wrong size": _written(wav(align=3, body=_sound(RATE_HZ))),
    "tiny floats": _saved(np.full((2 * RATE_HZ, 2), 1e-42), subtype="FLOAT"),
    "a FLAC file cut in the middle": _cut("FLAC", 0.5),
    "a FLAC file damaged in the middle": _cut("FLAC", 1.0, broken=True),
    "an OGG file damaged in the middle": _cut("OGG", 1.0, broken=True),
    "an MP3 file damaged in the middle": _cut("MP3", 1.0, broken=True),
}

#: Nobody but the owner may read it; the super-user can.
FORBIDDEN: Maker = _forbidden
#: Costs time: an hour of nothing.
LONG: dict[str, Maker] = {"an hour of nothing": _long_sparse}
