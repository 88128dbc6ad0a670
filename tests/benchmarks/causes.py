"""Causes that findings name, for takes whose cause was simulated: how many are wrong, and how far such a count reaches.

A cause counts as wrong where another is named without saying that it is a guess; guesses and open causes are counted
apart. The simulated waveforms are odd harmonics that fall by 3 to 9 dB each (loop), even ones that fall as steeply as
a smoothed rectifier's (ripple), ringing bursts and dimmers of any angle (pulses), odd harmonics in one channel
(screen), and a white picture through a small capacitance. They follow common practice, as the rules do that are
tested here: the table shows that path, estimates and rules hang together, not that real causes are as clean.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from scipy import fft

from humcheck.pipeline.compare import measure_files, results_of
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.simulation import (
    TIMING_312,
    Crystal,
    Hiss,
    Hum,
    Mains,
    PathModel,
    Picture,
    PictureLeak,
    Recorder,
    bursts,
    ground_loop,
    harmonics,
    simulate_take,
)
from tests.benchmarks.table import Row

_SETTINGS = MeasuringSettings(mains_hz=50.0)
_DURATION_S = 10.0
_TRIALS = {True: 1, False: 12}


def run(quick: bool) -> list[Row]:
    """Return a row for each simulated cause, and one for takes to which nothing was added."""
    n_trials = _TRIALS[quick]
    named = _named_causes(n_trials)
    rows = [_row(truth, causes) for truth, causes in named.items()]
    total = sum(len(causes) for truth, causes in named.items() if truth)
    wrong = sum(_is_wrong(truth, cause, sure) for truth, causes in named.items() if truth for cause, sure in causes)
    return [*rows, _count("wrong causes, all together", "five causes", wrong, total)]


def limit_percent(n_trials: int) -> float:
    """Return the share of errors that none in `n_trials` leaves possible (one-sided 95 %): 1 - 0.05^(1/n)."""
    return float(100 * (1 - 0.05 ** (1 / n_trials)))


def _row(truth: str, causes: list[tuple[str, bool]]) -> Row:
    wrong = sum(_is_wrong(truth, cause, sure) for cause, sure in causes)
    unsure = sum(not sure for _, sure in causes)
    return _count("wrong causes", truth or "nothing added", wrong, len(causes), f"{unsure} called a guess or open; ")


def _count(figure: str, condition: str, wrong: int, n_trials: int, note: str = "") -> Row:
    reach = f"none in {n_trials} shows only that fewer than {limit_percent(n_trials):.1f} % are wrong (95 %)"
    return Row(
        figure=figure,
        condition=condition,
        reached=wrong,
        target=0,
        unit="takes",
        n=n_trials,
        passed=wrong == 0,
        note=note + (reach if wrong == 0 else ""),
    )


def _is_wrong(truth: str, cause: str, sure: bool) -> bool:
    return sure and cause != truth


def _named_causes(n_trials: int) -> dict[str, list[tuple[str, bool]]]:
    with tempfile.TemporaryDirectory() as folder:
        requests = [_request(Path(folder), "direct", 0, {})]
        for index, (truth, make) in enumerate(_CAUSES.items()):
            for trial in range(n_trials):
                rng = np.random.default_rng([7, index, trial])
                requests.append(_request(Path(folder), f"{truth}/{trial}", 1 + index * 1000 + trial, make(rng)))
        measured, problems = measure_files(requests, _SETTINGS)
    assert not problems
    found = results_of(measured, _SETTINGS, bench_name="bench").findings
    named: dict[str, list[tuple[str, bool]]] = {truth: [] for truth in _CAUSES}
    for truth, trials in named.items():
        for trial in range(n_trials):
            causes = [
                (row.cause, "guess" not in row.confidence and row.cause != "open")
                for row in found
                if row.subject == f"{truth}/{trial}" and row.cause
            ]
            trials.append(causes[0] if causes else ("", True))
    return named


def _request(folder: Path, name: str, seed: int, case: dict[str, Any]) -> TakeRequest:
    take = simulate_take(None, path=_path(**case), rate_hz=48000, seed=seed, duration_s=_DURATION_S)
    target = folder / f"{seed}.wav"
    take.write(target)
    role = "direct" if name == "direct" else "through"
    return TakeRequest(path=str(target), role=role, device=None if role == "direct" else name, picture="white")  # type: ignore[arg-type]


def _path(*, hum: tuple[Hum, ...] = (), **more: Any) -> PathModel:
    bench = Hum(amplitudes=harmonics({1: -100.0, 3: -107.0}, phase_seed=1))
    return PathModel(
        mains=Mains(frequency_hz=50.01, wander_mhz=15.0),
        hum=(bench, *hum),
        hiss=(Hiss.both(-92.0),),
        recorder_clock=Crystal(ppm=20.0),
        recorder=Recorder(bits=24),
        **more,
    )


def _hum(amplitudes: tuple[complex, ...], right: float) -> dict[str, Any]:
    return {"hum": (Hum(amplitudes=amplitudes, right=right),)}


def _loop(rng: np.random.Generator) -> dict[str, Any]:
    level, fall, top = rng.uniform(-85, -60), rng.uniform(3, 9), 2 * int(rng.integers(4, 10)) + 1
    return _hum(ground_loop(level, n_harmonics=top, fall_db=fall, phase_seed=int(rng.integers(99))), _alike(rng))


def _ripple(rng: np.random.Generator) -> dict[str, Any]:
    level, power = rng.uniform(-85, -60), rng.uniform(1.3, 2.2)
    levels = {2 * k: level - 20 * power * np.log10(k) for k in range(1, 20)}
    return _hum(harmonics(levels, phase_seed=int(rng.integers(99))), _alike(rng))


def _pulses(rng: np.random.Generator) -> dict[str, Any]:
    level = rng.uniform(-85, -65)
    if rng.random() < 0.5:
        return _hum(bursts(level, ring_hz=rng.uniform(1500, 6000)), _alike(rng))
    return _hum(_dimmer(level, rng.uniform(0.1, 0.4)), _alike(rng))


def _dimmer(level_dbfs: float, on_at: float) -> tuple[complex, ...]:
    """Return mains that is switched on `on_at` of a period after each zero, caught through a small gap."""
    phase = np.arange(1 << 15) / (1 << 15)
    wave = np.where(phase % 0.5 < on_at, 0.0, np.sin(2 * np.pi * phase))
    series = fft.rfft(wave)[1:301] * np.arange(1, 301)
    scaled = series / np.sqrt(np.sum(np.abs(series) ** 2)) * 10 ** (level_dbfs / 20)
    return tuple(complex(value) for value in scaled)


def _screen(rng: np.random.Generator) -> dict[str, Any]:
    amplitudes = ground_loop(rng.uniform(-80, -60), n_harmonics=9, fall_db=rng.uniform(3, 6))
    return _hum(amplitudes, rng.uniform(0.0, 0.15))


def _picture(rng: np.random.Generator) -> dict[str, Any]:
    leak = PictureLeak(level_dbfs_at_1k=rng.uniform(-105, -85), right=_alike(rng))
    return {"picture": Picture.plain("white", TIMING_312, leak)}


def _alike(rng: np.random.Generator) -> float:
    return float(rng.uniform(0.8, 1.25))


_CAUSES: dict[str, Callable[[np.random.Generator], dict[str, Any]]] = {
    "ground-loop": _loop,
    "supply-ripple": _ripple,
    "mains-pulses": _pulses,
    "lead-screen": _screen,
    "picture-crosstalk": _picture,
    "": lambda rng: {},
}
