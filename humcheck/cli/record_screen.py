"""The level meter on the terminal while a take is recorded; nothing where there is no terminal."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from humcheck.soundcard import Progress

#: Below anything that 24 bits can hold.
SILENT_DBFS = -150.0

_LOWEST_DBFS = -72.0
_BAR_CELLS = 36
_EVERY_S = 0.1


@contextlib.contextmanager
def screen(terminal: TextIO) -> Iterator[Callable[[Progress], None]]:
    """Yield what shows the progress; it goes away when the recording is over."""
    if not terminal.isatty():
        yield lambda progress: None
        return
    from rich.console import Console
    from rich.live import Live
    from rich.text import Text

    shown_s = 0.0
    console = Console(file=terminal)
    live = Live(console=console, auto_refresh=False, transient=True, redirect_stdout=False, redirect_stderr=False)

    def show(progress: Progress) -> None:
        nonlocal shown_s
        if time.monotonic() - shown_s < _EVERY_S:
            return
        shown_s = time.monotonic()
        # A terminal that was closed must not cost the take.
        with contextlib.suppress(OSError):
            # Never markup: what stands here is text.
            live.update(Text("\n".join(meter_lines(progress))), refresh=True)

    with contextlib.suppress(OSError):
        live.start()
    try:
        yield show
    finally:
        with contextlib.suppress(OSError):
            live.stop()


def meter_lines(progress: Progress) -> list[str]:
    """Return the lines of the meter: where the recording is, a bar for each channel, and what to do."""
    meter = progress.meter
    names = ("left ", "right") if len(meter.now_dbfs) == 2 else ("level",)
    lines = [_where(progress)]
    for name, now, held in zip(names, meter.now_dbfs, meter.held_dbfs, strict=True):
        lines.append(f"{name} {_bar(float(now), float(held))} {_reading(now)}, held {_reading(held)}")
    return [*lines, *_warnings(progress)]


def _where(progress: Progress) -> str:
    so_far = f"{progress.recorded_s:.1f} s recorded"
    if progress.left_s is None:
        return f"{so_far}; Ctrl-C ends it"
    what = {"lead": "the track is about to start", "track": "the track plays", "tail": "the track has ended"}
    return ", ".join(
        [so_far, *([what[progress.phase]] if progress.phase in what else []), f"{progress.left_s:.0f} s left"]
    )


def _warnings(progress: Progress) -> list[str]:
    meter = progress.meter
    words = meter.warning()
    lines = [] if words is None else [words]
    if progress.n_lost:
        lines.append(f"Sound was lost, {progress.n_lost} times so far: this take will not be fit to be used.")
    return lines


def _bar(now_dbfs: float, held_dbfs: float) -> str:
    filled, held = _cell(now_dbfs), _cell(held_dbfs)
    cells = ["#" if index < filled else " " for index in range(_BAR_CELLS)]
    if held > 0:
        cells[held - 1] = "|"
    return f"[{''.join(cells)}]"


def _cell(level_dbfs: float) -> int:
    share = 1.0 - level_dbfs / _LOWEST_DBFS
    return round(_BAR_CELLS * min(1.0, max(0.0, share)))


def _reading(level_dbfs: float) -> str:
    return "     silent" if level_dbfs < SILENT_DBFS else f"{level_dbfs:6.1f} dBFS"
