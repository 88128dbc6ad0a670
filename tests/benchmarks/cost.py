"""What a comparison costs, as a ratio to a floor timed beside it: seconds differ between machines, ratios hardly.

The floor is what no measuring of these takes can do without: both files read, and one spectrum of each channel.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import scipy.fft
import soundfile

from humcheck.audio.writing import write_audio
from humcheck.estimates.lines import fit_lines
from humcheck.estimates.sweeps import AFTER_S, BEFORE_S, estimate_response
from humcheck.estimates.tones import measure_tones
from humcheck.pipeline.compare import compare_files, inspect_files
from humcheck.pipeline.demo_bench import demo_takes
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.report.page import render_page
from humcheck.results import Results
from humcheck.simulation import simulate_take
from humcheck.takes.take import load_take
from humcheck.tracks.layouts import layout
from humcheck.tracks.rendering import render_track
from tests.benchmarks.table import Row
from tests.programme_material import music

RATE_HZ = 48000
TAKE_S = 110.0
SETTINGS = MeasuringSettings(mains_hz=50.0)


@dataclass(frozen=True, slots=True)
class Cost:
    """Seconds on the clock, and of processors' time in this process."""

    clock_s: float
    processor_s: float


def run(quick: bool) -> list[Row]:
    """Time comparisons of two takes of the full track, and the start of the command."""
    n_turns = 1 if quick else 5
    with tempfile.TemporaryDirectory() as name:
        paths = _quick_takes(Path(name)) if quick else _takes(Path(name))
        results = _results(paths)
        _page(results)  # imports, and whatever is kept for the whole process, are paid by now
        functions = (lambda: _floor(paths), lambda: _results(paths), lambda: _page(results))
        floor, measures, page = _in_turns(n_turns, *functions)
        seconds = soundfile.info(paths[0]).duration
        where = _breakdown(paths[1])
    condition = f"two takes of {seconds:.0f} s, 48 kHz, 24 bit, stereo"
    note = f"floor {floor.clock_s:.2f} s; by processors' time {{:.1f}} x"
    measures_note = f"{note.format(measures.processor_s / floor.processor_s)}; one take: {where}"
    page_note = note.format((measures.processor_s + page.processor_s) / floor.processor_s)
    with_page_s = measures.clock_s + page.clock_s
    return [
        _row("compare, measures only", condition, measures.clock_s / floor.clock_s, 4.0, n_turns, measures_note),
        _row("compare with the page", condition, with_page_s / floor.clock_s, 10.0, n_turns, page_note),
        *_inspect_rows(quick),
        *_start_rows(5 if quick else 21),
    ]


def _in_turns(n_turns: int, *functions: Callable[[], object]) -> list[Cost]:
    """Return the least cost of each: what else the machine does only ever adds."""
    costs: list[list[Cost]] = [[] for _ in functions]
    for _ in range(n_turns):
        for function, spent in zip(functions, costs, strict=True):
            spent.append(_cost(function))
    return [Cost(min(c.clock_s for c in spent), min(c.processor_s for c in spent)) for spent in costs]


def _cost(function: Callable[[], object]) -> Cost:
    began_s, processor_s = time.perf_counter(), time.process_time()
    function()
    return Cost(time.perf_counter() - began_s, time.process_time() - processor_s)


def _row(figure: str, condition: str, ratio: float, target: float, n: int, note: str) -> Row:
    return Row(
        figure=figure,
        condition=condition,
        reached=ratio,
        target=target,
        unit="x",
        n=n,
        passed=ratio <= target,
        note=note,
    )


def _quick_takes(folder: Path) -> list[Path]:
    """Write two takes without a simulation, which costs more than measuring them: the track, hum and hiss."""
    track = render_track(layout("full", "short"), RATE_HZ, 24)
    time_s = np.arange(len(track)) / RATE_HZ
    hum = 1e-4 * sum(np.sin(2 * np.pi * 50.02 * order * time_s) / order for order in (1, 2, 3, 5, 7))
    paths = []
    for seed in range(2):
        hiss = np.random.default_rng(seed).normal(0, 1e-5, track.shape)
        paths.append(folder / f"take-{seed}.wav")
        write_audio(paths[-1], 0.7 * track + (1 + 10 * seed) * hum[:, np.newaxis] + hiss, RATE_HZ)
    return paths


def _takes(folder: Path) -> list[Path]:
    """Write two takes of the made-up bench: a direct one, and one of a box with hum and buzz."""
    bench = demo_takes()
    chosen = [
        next(take for take in bench if take.role == "direct" and take.track == "full"),
        next(take for take in bench if take.device == "Birch" and take.track == "full" and take.picture == "white"),
    ]
    paths = []
    for seed, take in enumerate(chosen):
        paths.append(folder / f"take-{seed}.wav")
        full = layout("full", "standard")
        simulate_take(full, path=take.path, rate_hz=RATE_HZ, seed=seed, duration_s=TAKE_S).write(paths[-1], bits=24)
    return paths


def _floor(paths: list[Path]) -> None:
    for path in paths:
        samples, _ = soundfile.read(path, always_2d=True)
        size = scipy.fft.next_fast_len(len(samples), real=True)
        for channel in samples.T:
            scipy.fft.rfft(channel, size)


def _results(paths: list[Path]) -> Results:
    direct, through = (str(path) for path in paths)
    requests = [
        TakeRequest(path=direct, role="direct"),
        TakeRequest(path=through, role="through", device="Alder"),
    ]
    return compare_files(requests, SETTINGS, bench_name="cost").results


def _page(results: Results) -> str:
    return render_page(results)


def _breakdown(path: Path) -> str:
    """Return where processors' time of one take goes."""
    take = load_take(path)
    quiet = take.section("quiet")
    parts = {
        "alignment": lambda: load_take(path),
        "lines": lambda: fit_lines(quiet.samples, take.rate_hz, mains_hz=SETTINGS.mains_hz),
        "tones": lambda: measure_tones(take),
        "sweeps": lambda: [
            estimate_response(take.section(f"sweep-{channel}", BEFORE_S, AFTER_S), channel)
            for channel in ("left", "right")
        ],
    }
    return ", ".join(f"{name} {_in_turns(1, part)[0].processor_s:.2f} s" for name, part in parts.items())


def _inspect_rows(quick: bool) -> list[Row]:
    """Time `inspect` of recordings without a track: a quiet room, and music that never pauses, both with hum."""
    seconds = 20 if quick else 110
    rng = np.random.default_rng(7)
    time_s = np.arange(seconds * RATE_HZ) / RATE_HZ
    hum = 1e-3 * sum(np.sin(2 * np.pi * 50.02 * order * time_s) / order for order in (1, 2, 3, 5, 7))
    hiss = rng.normal(0.0, 1e-5, time_s.size)
    sounds = {"a quiet room": hum + hiss, "music without a pause": hum + hiss + music(time_s.size, RATE_HZ, rng)}
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for name, sound in sounds.items():
            path = Path(folder) / "take.wav"
            write_audio(path, np.stack([sound, sound], axis=1), RATE_HZ, force=True)
            request = [TakeRequest(path=str(path), role="single")]
            floor, spent = _in_turns(
                1 if quick else 3,
                partial(_floor, [path]),
                partial(inspect_files, request, SETTINGS),
            )
            condition = f"{name}, {seconds} s, 48 kHz, 24 bit, stereo"
            note = f"floor of one file {floor.clock_s:.2f} s; target: our own"
            rows.append(_row("inspect without a track", condition, spent.clock_s / floor.clock_s, 10.0, 1, note))
    return rows


def _start_rows(n: int) -> list[Row]:
    """Time the start of the command beside that of a bare interpreter, and of one that imports numpy, in turns."""
    commands = (["-m", "humcheck", "--help"], ["-m", "humcheck", "--version"], ["-c", "pass"], ["-c", "import numpy"])
    seconds: list[list[float]] = [[] for _ in commands]
    for _ in range(n + 1):
        for command, taken in zip(commands, seconds, strict=True):
            run_it = partial(subprocess.run, [sys.executable, *command], check=True, stdout=subprocess.DEVNULL)
            taken.append(_cost(run_it).clock_s)
    # The first of each warms the disk's cache.
    help_s, version_s, bare_s, numpy_s = (min(taken[1:]) for taken in seconds)
    bare, numpy = f"bare interpreter {1000 * bare_s:.0f} ms", f"one that imports numpy {1000 * numpy_s:.0f} ms"
    return [
        _row("humcheck --help", "a process", help_s / bare_s, 4.0, n, bare),
        _row("humcheck --version", "a process", version_s / numpy_s, 3.0, n, f"{numpy}; target: our own"),
    ]
