"""The course of a recording, apart from all hardware: source of blocks -> writer and meter, and when to play.

The phases are ``lead`` (recording, the track not yet playing), ``track``, ``tail`` (the track has ended), or, where
nothing is played, ``alone``. They change by the sound that was recorded, not by the clock on the wall: some sound
systems hand over the first block late.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
import numpy.typing as npt

from humcheck.soundcard.meter import LevelMeter
from humcheck.soundcard.writer import DiskFull

Phase = Literal["lead", "track", "tail", "alone"]
EndingKind = Literal["done", "stopped", "input-gone", "player-gone", "disk-full"]

LEAD_S, TAIL_S = 1.0, 1.5
_POLL_S = 0.1
#: No block for this long, and the device is gone; the first one may take longer.
GONE_AFTER_S, FIRST_BLOCK_S = 3.0, 10.0
#: A track that is not over this long after it should be is stuck.
_OVERDUE_S = 10.0


class DeviceGone(Exception):
    """A device that does not do, in the middle of a recording, what it promised; the message is a clause."""


@dataclass(frozen=True, slots=True)
class Block:
    """Samples, shape (n_samples, n_channels), full scale 1.0; `lost_before` if sound was lost just before them."""

    samples: npt.NDArray[np.float32]
    lost_before: bool = False


class Source(Protocol):
    """What is recorded from. Blocks that the sound system dropped are marked at the next one."""

    rate_hz: int
    n_channels: int

    def start(self) -> None:
        """Begin to record."""

    def next_block(self, timeout_s: float) -> Block | None:
        """Return the next block, None if none came in time."""

    @property
    def alive(self) -> bool:
        """Whether blocks may still come."""


class Player(Protocol):
    """What plays the track once; `gaps` counts how often it fell silent for want of data."""

    gaps: int

    @property
    def duration_s(self) -> float:
        """How long it plays."""

    def start(self) -> None:
        """Begin to play, or raise `DeviceGone`."""

    @property
    def finished(self) -> bool:
        """Whether all was played."""

    @property
    def alive(self) -> bool:
        """Whether it still plays."""


class Writer(Protocol):
    """What the blocks are written to."""

    def write(self, samples: npt.NDArray[np.float32]) -> None:
        """Write one block, or raise `DiskFull`."""


@dataclass(frozen=True, slots=True)
class Ending:
    """How a recording came to its end; `reason` is a clause where it was none of the user's wishes."""

    kind: EndingKind
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """What is to be shown: the phase, and how many seconds were recorded and are left (None: until stopped)."""

    phase: Phase
    recorded_s: float
    left_s: float | None
    meter: LevelMeter
    n_lost: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """What was recorded: its length, how often sound was lost, how often the playing stopped, and how it ended."""

    n_samples: int
    n_lost: int
    n_gaps: int
    ending: Ending


def run_session(
    source: Source,
    writer: Writer,
    meter: LevelMeter,
    *,
    player: Player | None = None,
    seconds: float | None = None,
    stop: Callable[[], bool] = lambda: False,
    show: Callable[[Progress], None] = lambda progress: None,
    clock: Callable[[], float] = time.monotonic,
) -> Recorded:
    """Record until the track is over, the time is up, the user stops, or something fails.

    Parameters
    ----------
    source, writer, meter
        Where blocks come from and go to.
    player : Player, optional
        Started after a second of recording; a second and a half after its end the recording ends.
    seconds : float, optional
        Length of a recording alone; without it and a player, until `stop` says so.
    stop : callable
        Asked several times a second.
    show : callable
        Called with each block.
    clock : callable
        Seconds that only tell whether a device keeps silent for too long.
    """
    session = _Session(source, writer, meter, player, seconds)
    source.start()
    last_s = clock()
    ending: Ending | None = None
    while ending is None:
        if stop():
            ending = Ending("stopped")
            break
        block = source.next_block(_POLL_S)
        if block is None:
            ending = session.without_block(clock() - last_s)
            continue
        last_s = clock()
        ending = session.take(block)
        show(session.progress())
    return session.recorded(ending)


class _Session:
    """The state between two blocks."""

    def __init__(
        self, source: Source, writer: Writer, meter: LevelMeter, player: Player | None, seconds: float | None
    ) -> None:
        self._source, self._writer, self._meter, self._player = source, writer, meter, player
        self._rate_hz = source.rate_hz
        self._n_wanted = None if seconds is None else round(seconds * self._rate_hz)
        self._phase: Phase = "alone" if player is None else "lead"
        self._n_samples = self._n_lost = 0
        self._phase_start = 0

    def take(self, block: Block) -> Ending | None:
        """Write and meter a block, then see what follows from it."""
        samples = block.samples
        if self._n_wanted is not None:
            samples = samples[: self._n_wanted - self._n_samples]
        # What was lost before the first sample is no part of the take.
        self._n_lost += block.lost_before and self._n_samples > 0
        try:
            self._writer.write(samples)
        except DiskFull as error:
            return Ending("disk-full", str(error))
        self._n_samples += len(samples)
        self._meter.feed(samples)
        return self._next_phase()

    def _next_phase(self) -> Ending | None:
        in_phase_s = self._in_phase_s
        if self._player is None:
            return Ending("done") if self._n_samples == self._n_wanted else None
        if self._phase == "lead" and in_phase_s >= LEAD_S:
            return self._start_track(self._player)
        if self._phase == "track":
            if self._player.finished:
                self._enter("tail")
            elif not self._player.alive:
                return Ending("player-gone", "the device that plays is gone")
            elif in_phase_s > self._player.duration_s + _OVERDUE_S:
                return Ending("player-gone", "the device that plays is stuck")
        elif self._phase == "tail" and in_phase_s >= TAIL_S:
            return Ending("done")
        return None

    def _start_track(self, player: Player) -> Ending | None:
        self._meter.hold_floor()
        self._enter("track")
        try:
            player.start()
        except DeviceGone as error:
            return Ending("player-gone", str(error))
        return None

    def _enter(self, phase: Phase) -> None:
        self._phase, self._phase_start = phase, self._n_samples

    @property
    def _in_phase_s(self) -> float:
        return (self._n_samples - self._phase_start) / self._rate_hz

    def without_block(self, waited_s: float) -> Ending | None:
        """Return that the device is gone once that is certain."""
        if not self._source.alive:
            return Ending("input-gone", "the device that records is gone")
        if waited_s > (GONE_AFTER_S if self._n_samples else FIRST_BLOCK_S):
            return Ending("input-gone", f"no sound has come from the device that records for {waited_s:.0f} s")
        return None

    def progress(self) -> Progress:
        """Return what is to be shown now."""
        return Progress(
            phase=self._phase,
            recorded_s=self._n_samples / self._rate_hz,
            left_s=self._left_s(),
            meter=self._meter,
            n_lost=self._n_lost,
        )

    def _left_s(self) -> float | None:
        if self._player is None:
            return None if self._n_wanted is None else (self._n_wanted - self._n_samples) / self._rate_hz
        after_s = {"lead": LEAD_S + self._player.duration_s + TAIL_S, "track": self._player.duration_s + TAIL_S}
        return max(0.0, after_s.get(self._phase, TAIL_S) - self._in_phase_s)

    def recorded(self, ending: Ending) -> Recorded:
        """Return what has come of it."""
        gaps = 0 if self._player is None else self._player.gaps
        return Recorded(n_samples=self._n_samples, n_lost=self._n_lost, n_gaps=gaps, ending=ending)
