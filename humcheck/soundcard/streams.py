"""Streams of a real sound card: one that records, one that plays. Each has a thread of the library's own.

Samples come in as 32-bit floats and go out as 32-bit integers, undithered: these are the two conversions of the library
that change no 24-bit sample, whichever format the card has.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from typing import Any

import numpy as np
import numpy.typing as npt

from humcheck.audio.files import TakeFile
from humcheck.errors import UnusableCall
from humcheck.soundcard.devices import Device
from humcheck.soundcard.library import sound_library
from humcheck.soundcard.session import Block, DeviceGone

_BLOCK_S = 0.05
#: Long buffers: nobody listens, and a busy machine must not lose sound.
_LATENCY_S = 0.3
#: Recorded sound that may wait for a slow disk.
_WAITING_S = 30.0
#: Silence around the track: sound cards swallow or fade in the first moments of what they are given.
PADDING_S = 0.5
_CLOSE_TIMEOUT_S = 3.0
_FULL_SCALE = 2.0**31


class InputStream:
    """Records from a device; made by `open_input`."""

    def __init__(self, library: Any, device: Device, rate_hz: int, n_channels: int) -> None:
        self._library = library
        self._device = device
        self.rate_hz = rate_hz
        self.n_channels = n_channels
        self._blocks: queue.SimpleQueue[Block] = queue.SimpleQueue()
        self._lost = False
        self._stream = library.InputStream(
            device=device.number,
            channels=n_channels,
            samplerate=rate_hz,
            blocksize=round(_BLOCK_S * rate_hz),
            dtype="float32",
            latency=_LATENCY_S,
            dither_off=True,
            callback=self._take,
        )

    def _take(self, samples: npt.NDArray[np.float32], n_samples: int, times: Any, status: Any) -> None:
        self._lost = self._lost or bool(status.input_overflow)
        if self._blocks.qsize() * _BLOCK_S > _WAITING_S:
            self._lost = True
            return
        self._blocks.put(Block(samples.copy(), self._lost))
        self._lost = False

    def start(self) -> None:
        """Begin to record; errors as for `open_input`."""
        try:
            self._stream.start()
        except self._library.PortAudioError as error:
            raise _refused(self._device, "record", error) from error

    def next_block(self, timeout_s: float) -> Block | None:
        """Return the next block, None if none came in time."""
        try:
            return self._blocks.get(timeout=timeout_s)
        except queue.Empty:
            return None

    @property
    def alive(self) -> bool:
        """Whether the device still records."""
        return bool(self._stream.active)

    def close(self) -> None:
        """End recording; a device that is gone may never answer, and is left to itself."""
        _close(self._stream)


class TrackPlayer:
    """Plays a track once, with a little silence before and after it; made by `open_player`."""

    def __init__(self, library: Any, device: Device, track: TakeFile) -> None:
        self.gaps = 0
        self._track = track
        self._library = library
        self._padding = round(PADDING_S * track.rate_hz)
        self._position = -self._padding
        self._all_handed_over = False
        self._ended = threading.Event()
        self._stream = library.OutputStream(
            device=device.number,
            channels=track.n_channels,
            samplerate=track.rate_hz,
            blocksize=round(_BLOCK_S * track.rate_hz),
            dtype="int32",
            latency=_LATENCY_S,
            dither_off=True,
            callback=self._give,
            finished_callback=self._ended.set,
        )

    @property
    def duration_s(self) -> float:
        """Length of the track with its padding."""
        return self._track.duration_s + 2 * PADDING_S

    def _give(self, samples: npt.NDArray[np.int32], n_samples: int, times: Any, status: Any) -> None:
        if status.output_underflow and self._position > -self._padding:
            self.gaps += 1
        # What lies before the track's beginning and beyond its end reads zero.
        played = self._track.read(self._position, self._position + n_samples)
        samples[:] = np.clip(np.rint(played * _FULL_SCALE), -_FULL_SCALE, _FULL_SCALE - 1).astype(np.int32)
        self._position += n_samples
        if self._position >= self._track.n_samples + self._padding:
            self._all_handed_over = True
            raise self._library.CallbackStop

    def start(self) -> None:
        """Begin to play, or raise `DeviceGone`."""
        try:
            self._stream.start()
        except self._library.PortAudioError as error:
            raise DeviceGone(f"the device that plays does not start ({error})") from error

    @property
    def finished(self) -> bool:
        """Whether all was played."""
        return self._all_handed_over and self._ended.is_set()

    @property
    def alive(self) -> bool:
        """Whether it still plays."""
        return not self._ended.is_set() or self._all_handed_over

    def close(self) -> None:
        """End playing at once."""
        _close(self._stream)


def open_input(device: Device, *, rate_hz: int, n_channels: int) -> InputStream:
    """Return the device ready to record.

    Raises
    ------
    UnusableCall
        If it does not take that rate or so many channels, or is in use.
    """
    library = sound_library()
    try:
        return InputStream(library, device, rate_hz, n_channels)
    except (library.PortAudioError, ValueError) as error:
        raise _refused(device, f"record {n_channels} channels at {rate_hz} Hz", error) from error


def open_player(device: Device, track: TakeFile) -> TrackPlayer:
    """Return the device ready to play a track at the track's own rate; errors as for `open_input`."""
    library = sound_library()
    try:
        return TrackPlayer(library, device, track)
    except (library.PortAudioError, ValueError) as error:
        raise _refused(device, f"play {track.n_channels} channels at {track.rate_hz} Hz", error) from error


def _refused(device: Device, what: str, error: Exception) -> UnusableCall:
    return UnusableCall(
        f"device {device.number}, {device.name!r}, does not {what} ({error})",
        remedy="close what else uses it, or choose a rate that it takes, as told by: humcheck record --list",
    )


def _close(stream: Any) -> None:
    def end() -> None:
        with contextlib.suppress(Exception):
            stream.abort(ignore_errors=True)
            stream.close(ignore_errors=True)

    closing = threading.Thread(target=end, daemon=True)
    closing.start()
    closing.join(_CLOSE_TIMEOUT_S)
