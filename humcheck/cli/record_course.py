"""The course of ``humcheck record``: devices opened, cautions said, the take recorded and put in its place."""

from __future__ import annotations

import argparse
import contextlib
import signal
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TextIO

from humcheck.audio.files import TakeFile, open_take
from humcheck.audio.writing import write_by
from humcheck.cli.record_screen import screen
from humcheck.cli.record_words import before
from humcheck.errors import UnusableCall, UnusableTake
from humcheck.soundcard import (
    LevelMeter,
    Recorded,
    TakeWriter,
    choose_input,
    choose_output,
    list_devices,
    open_input,
    open_player,
    quiet_library,
    run_session,
    space_for,
)
from humcheck.soundcard.streams import InputStream, TrackPlayer

_COUNTDOWN_S = 3


@dataclass(frozen=True, slots=True)
class RecordedTake:
    """What was recorded, and what the meter saw of it."""

    recorded: Recorded
    meter: LevelMeter
    rate_hz: int
    n_channels: int


def record_take(arguments: argparse.Namespace) -> RecordedTake:
    """Record into the file that the user named, as its options say.

    Raises
    ------
    HumcheckError
        If nothing could be recorded; no file is written then.
    """
    track = None if arguments.play is None else open_take(arguments.play)
    with quiet_library() as terminal, _open_streams(arguments, track) as (source, player):
        meter = LevelMeter(source.rate_hz, source.n_channels)
        _require_space(arguments, source, player)
        print(before(source, player, until_stopped=arguments.seconds is None), flush=True)
        if player is not None and terminal.isatty():
            _count_down(terminal)
        recorded = _record(arguments, source, player, meter, terminal)
    return RecordedTake(recorded, meter, source.rate_hz, source.n_channels)


@contextlib.contextmanager
def _open_streams(
    arguments: argparse.Namespace, track: TakeFile | None
) -> Iterator[tuple[InputStream, TrackPlayer | None]]:
    devices = list_devices()
    device = choose_input(devices, arguments.device)
    output = None if track is None else choose_output(devices, arguments.play_device or arguments.device)
    n_channels = arguments.channels or min(2, device.n_inputs)
    rate_hz = arguments.rate or (device.rate_hz if track is None else track.rate_hz)
    try:
        source = open_input(device, rate_hz=rate_hz, n_channels=n_channels)
    except UnusableCall:
        if arguments.rate is not None or rate_hz == device.rate_hz:
            raise
        source = open_input(device, rate_hz=device.rate_hz, n_channels=n_channels)
    with contextlib.closing(source):
        if track is None or output is None:
            yield source, None
            return
        with contextlib.closing(open_player(output, track)) as player:
            yield source, player


def _require_space(arguments: argparse.Namespace, source: InputStream, player: TrackPlayer | None) -> None:
    duration_s = arguments.seconds if player is None else player.duration_s
    if duration_s is None:
        return
    needed, free = space_for(arguments.take, duration_s, source.rate_hz, source.n_channels)
    if free < needed:
        raise UnusableCall(
            f"the take needs {needed / 1e6:.0f} MB, and {free / 1e6:.0f} MB are free there",
            where=arguments.take,
            remedy="make room, or choose another disk",
        )


def _count_down(terminal: TextIO) -> None:
    for left_s in range(_COUNTDOWN_S, 0, -1):
        print(f"\rbegins in {left_s} s; Ctrl-C stops", end="", file=terminal, flush=True)
        time.sleep(1.0)
    print("\r" + " " * 40 + "\r", end="", file=terminal, flush=True)


def _record(
    arguments: argparse.Namespace,
    source: InputStream,
    player: TrackPlayer | None,
    meter: LevelMeter,
    terminal: TextIO,
) -> Recorded:
    outcome: list[Recorded] = []

    def write(temporary: str) -> None:
        writer = TakeWriter(temporary, rate_hz=source.rate_hz, n_channels=source.n_channels)
        with writer, screen(terminal) as show:
            recorded = run_session(
                source, writer, meter, player=player, seconds=arguments.seconds, stop=stop, show=show
            )
        # Of the block that a full disk broke off, a part is there.
        recorded = replace(recorded, n_samples=writer.n_samples_on_disk())
        if recorded.n_samples == 0:
            reason = recorded.ending.reason or "it was stopped at once"
            remedy = "connect the device and try again"
            raise UnusableTake(f"nothing was recorded: {reason}", where=arguments.take, remedy=remedy)
        outcome.append(recorded)

    with _stop_signals() as stop:
        write_by(arguments.take, write, force=arguments.force)
    return outcome[0]


@contextlib.contextmanager
def _stop_signals() -> Iterator[Callable[[], bool]]:
    """Turn Ctrl-C, and being told to end, into a wish that the recording asks for between two blocks."""
    wished = threading.Event()
    # Not every system knows the signal of a terminal that was closed.
    numbers = {signal.SIGINT, signal.SIGTERM, getattr(signal, "SIGHUP", signal.SIGTERM)}
    kept = {number: signal.signal(number, lambda *_: wished.set()) for number in numbers}
    try:
        yield wished.is_set
    finally:
        for number, handler in kept.items():
            signal.signal(number, handler)
