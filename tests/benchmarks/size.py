"""What long recordings and many takes cost: time over the floor, memory, and how both grow.

The floor is what cannot be done without: every file read once, and one spectrum of each channel. Commands run as
processes of their own, so that their peak memory is known; the floor is timed beside them in the same run.
"""

from __future__ import annotations

import math
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy.fft
import soundfile

from humcheck.tracks.layouts import layout
from humcheck.tracks.rendering import render_track
from tests.benchmarks.table import Row, judged

RATE_HZ = 48000
_MINUTE = 60 * RATE_HZ
MEMORY_TARGET_MB = 500.0
#: Two takes at a time, what shares them out, and what keeps their semaphores.
MOST_TOGETHER_MB = 600.0
_OWN = "target: our own"


@dataclass(frozen=True, slots=True)
class Spent:
    """What one command took; memory of its largest process, and of all its processes at a time."""

    clock_s: float
    processor_s: float
    memory_mb: float = 0.0
    together_mb: float = 0.0

    def over(self, floor: Spent) -> str:
        """Return the ratio by processors' time, which other work on the machine hardly changes, and the floor."""
        return f"floor {floor.clock_s:.1f} s; by processors' time {self.processor_s / floor.processor_s:.1f} x; {_OWN}"


def run(quick: bool) -> list[Row]:
    """Measure long recordings, with and without a track, and a bench of many takes."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        return [*_long_rows(folder, (2, 6) if quick else (6, 60)), *_bench_rows(folder, 10 if quick else 100)]


def _long_rows(folder: Path, minutes: tuple[int, int]) -> list[Row]:
    rows = []
    for words, with_track in (("a quiet room", False), ("a track every other minute", True)):
        spent = []
        for length in minutes:
            path = folder / "take.wav"
            _write_long(path, length, with_track=with_track)
            spent.append(_spent("inspect", str(path)))
        floor = _floor([path])
        ratio = spent[1].clock_s / floor.clock_s
        condition = f"{words}, {minutes[1]} min, 48 kHz, 16 bit, stereo"
        rows.append(judged("inspect, time over the floor", condition, ratio, 10.0, "x", 1, spent[1].over(floor)))
        rows.append(judged("inspect, memory", condition, spent[1].together_mb, MEMORY_TARGET_MB, "MB", 1, ""))
        growth = math.log(spent[1].processor_s / spent[0].processor_s) / math.log(minutes[1] / minutes[0])
        rows.append(judged("inspect, exponent of growth", f"{words}, {minutes} min", growth, 1.15, "", 2, _OWN))
    return rows


def _bench_rows(folder: Path, n_takes: int) -> list[Row]:
    """Measure a bench twice: all takes, and one more take than before."""
    files = [_write_take(folder, number) for number in range(n_takes + 1)]
    bench, less, half = (folder / f"{name}.toml" for name in ("bench", "less", "half"))
    for path, count in ((less, n_takes), (half, n_takes // 2), (bench, n_takes + 1)):
        path.write_text(_bench_file(files[:count]), encoding="utf-8")
    half_spent = _spent("bench", str(half), "--json", str(folder / "half.json"))
    spent = _spent("bench", str(less), "--json", str(folder / "less.json"))
    (folder / "less.measured").rename(folder / "bench.measured")
    again = _spent("bench", str(bench), "--json", str(folder / "bench.json"))
    floor = _floor(files[:n_takes])
    condition = f"{n_takes} takes of {soundfile.info(files[0]).duration:.0f} s, 48 kHz, 16 bit, stereo"
    note = f"on {spent.processor_s / spent.clock_s:.2f} cores; {spent.over(floor)}"
    page_s = _timed(lambda: _report(folder / "less.json"))
    return [
        judged("bench, time a take over the floor", condition, spent.clock_s / floor.clock_s, 6.0, "x", 1, note),
        judged("bench, memory of the largest process", condition, spent.memory_mb, MEMORY_TARGET_MB, "MB", 1, ""),
        judged("bench, memory of all processes", condition, spent.together_mb, MOST_TOGETHER_MB, "MB", 1, _OWN),
        judged(
            "bench, exponent of growth over takes",
            f"{n_takes // 2} and {n_takes} takes",
            math.log(spent.processor_s / half_spent.processor_s) / math.log(2),
            1.15,
            "",
            2,
            _OWN,
        ),
        judged(
            "bench, one take more than before",
            condition,
            again.clock_s / spent.clock_s,
            0.5 if n_takes < 50 else 0.25,
            "of the first run",
            1,
            f"comparison, excerpts and page included; {_OWN}",
        ),
        judged(
            "report from saved results",
            condition,
            page_s / (floor.clock_s / n_takes),
            40.0,
            "x floor of one take",
            1,
            _OWN,
        ),
    ]


def _spent(*arguments: str) -> Spent:
    """Run a command of the program, takes of a bench two at a time."""
    jobs = ("--jobs", "2") if arguments[0] == "bench" else ()
    watched = [sys.executable, str(Path(__file__).with_name("watched.py"))]
    command = [sys.executable, "-m", "humcheck", *arguments, *jobs]
    began = time.perf_counter()
    done = subprocess.run([*watched, *command], check=True, capture_output=True, text=True)
    clock_s = time.perf_counter() - began
    return Spent(clock_s, *map(float, done.stdout.split()))


def _report(saved: Path) -> None:
    page = saved.with_suffix(".again.html")
    command = [sys.executable, "-m", "humcheck", "report", str(saved), "--out", str(page), "--force"]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


def _timed(function: object) -> float:
    began = time.perf_counter()
    function()  # type: ignore[operator]
    return time.perf_counter() - began


def _floor(paths: list[Path]) -> Spent:
    """Return what it takes to read files once, by minutes, with one spectrum of each channel."""
    began, processor_s = time.perf_counter(), time.process_time()
    for path in paths:
        for block in soundfile.blocks(path, blocksize=_MINUTE, always_2d=True):
            for channel in block.T:
                scipy.fft.rfft(channel, scipy.fft.next_fast_len(len(channel), real=True))
    return Spent(time.perf_counter() - began, time.process_time() - processor_s)


def _write_long(path: Path, minutes: int, *, with_track: bool) -> None:
    rng = np.random.default_rng(minutes)
    track = 0.5 * render_track(layout("sweep", "short"), RATE_HZ, 24)
    with soundfile.SoundFile(path, "w", RATE_HZ, 2, "PCM_16") as file:
        for minute in range(minutes):
            sound = _noise(rng, _MINUTE, minute * 60.0)
            if with_track and minute % 2:
                sound[: len(track)] += track
            file.write(sound)


def _noise(rng: np.random.Generator, n_samples: int, start_s: float) -> np.ndarray:
    time_s = start_s + np.arange(n_samples) / RATE_HZ
    hum = 3e-4 * np.sin(2 * np.pi * 50.02 * time_s) + 1e-4 * np.sin(2 * np.pi * 150.06 * time_s)
    return rng.normal(0.0, 1e-4, (n_samples, 2)) + hum[:, np.newaxis]


def _write_take(folder: Path, number: int) -> Path:
    """Write one take of the full track without a simulation, which costs more than measuring it."""
    track = _track()
    rng = np.random.default_rng(number)
    gain = 0.7 * (1 + 0.002 * rng.normal())
    sound = gain * track + _noise(rng, len(track), 0.0)
    path = folder / f"take-{number:03d}.wav"
    soundfile.write(path, sound, RATE_HZ, subtype="PCM_16")
    return path


def _track() -> np.ndarray:
    if not _KEPT:
        _KEPT.append(render_track(layout("full", "short"), RATE_HZ, 24))
    return _KEPT[0]


_KEPT: list[np.ndarray] = []


def _bench_file(files: list[Path]) -> str:
    """Return a bench of one direct take in ten, three boxes and four ports."""
    tables = ['[bench]\nname = "many takes"\nmains_hz = 50\n']
    for number, path in enumerate(files):
        use = 'role = "direct"'
        if number % 10:
            use = f'device = "{("Alder", "Birch", "Cedar")[number % 3]}"\nport = "{1 + number // 3 % 4}"'
        tables.append(f'[[takes]]\nfile = "{path.name}"\n{use}\n')
    return "\n".join(tables)
