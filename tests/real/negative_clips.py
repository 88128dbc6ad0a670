"""Clips of the open recordings that hold no mains hum: drums, synthesisers, loops, animals, voices, noise.

How it is known: the voices and the noise by the published description of the recordings; of all the others fewer than
four harmonics of 50 or 60 Hz agree on one fundamental when they are counted line by line (`agreeing_lines`), in the
whole clip and in its second half, where most have died away. The test repeats that count for every clip. (Recordings
that hold hum have five and more. Two of the packages' recordings, of which four agree, are in neither list.)
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from humcheck.audio.files import open_take
from tests.real.open_data import MUSIC, SOUNDS, open_data_file

#: Speech: seconds from and to; Debian packages codec2-examples and alsa-utils.
SPEECH = (
    *(("hts.raw", 4.0 * part, 4.0 * part + 4.0) for part in range(6)),
    *(("vk5qi.raw", 4.0 * part, 4.0 * part + 4.0) for part in range(3)),
)
VOICES = ("Front_Center", "Front_Left", "Front_Right", "Rear_Center", "Rear_Left", "Rear_Right", "Side_Left", "Noise")


@dataclass(frozen=True)
class Clip:
    """A stretch of a recording; all of it where no end is given."""

    package: str
    name: str
    from_s: float = 0.0
    to_s: float | None = None
    counted: bool = True

    def __str__(self) -> str:
        return self.name if self.to_s is None else f"{self.name} {self.from_s:.0f}-{self.to_s:.0f} s"


NEGATIVE_CLIPS = (
    *(Clip("sonic-pi-samples", f"{name}.flac") for name in MUSIC),
    *(Clip("tuxpaint-stamps-default", f"{name}.ogg") for name in SOUNDS),
    *(Clip("codec2-examples", name, first, last, counted=False) for name, first, last in SPEECH),
    *(Clip("alsa-utils", f"{name}.wav", counted=False) for name in VOICES),
)


def clip_file(clip: Clip, folder: Path):
    """Return the clip as an open take; a part of a file is written to `folder` first."""
    path = open_data_file(clip.package, clip.name)
    if path.suffix != ".raw":
        return open_take(path)
    rate_hz = 8000
    samples = np.fromfile(path, dtype="<i2")[int(clip.from_s * rate_hz) : int(clip.to_s * rate_hz)]
    written = folder / "clip.wav"
    soundfile.write(written, samples, rate_hz)
    return open_take(written)
