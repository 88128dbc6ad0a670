"""Coded rows: how far below the noise a leaking picture is found, how well it is measured, and how often wrongly."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
import scipy.fft
import soundfile

from humcheck.analyzers.picture import coupling_level
from humcheck.errors import MeasurementError
from humcheck.estimates.lines import fit_lines
from humcheck.estimates.rows import find_rows
from humcheck.estimates.rows.added import added_to
from humcheck.simulation import TIMING_262, PictureLeak
from humcheck.tracks.pictures_code import row_code
from tests.benchmarks.table import Row, judged
from tests.rows_sections import rows_section

RATE_HZ = 48000.0
#: Noise alone at -120 dBFS in 10 s leaves so much, in decibels, where the curve's shape is known; it falls with the
#: square root of time and in proportion to the leak.
BOUND_DB = 0.055
#: How much weaker the shared ground is than the capacitance where both leak.
_SECOND_DB = -4.0
#: What players and screens do to the picture. Overscan hides a twentieth of it above and below.
PICTURES = (
    "without sync",
    "scaled by 0.93",
    "zoomed by 1.05",
    "overscan, zoomed by 1.11",
    "8-bit range of video",
    "8-bit gamma of 2.2, scaled by 0.95",
)
GAMMA = 2.2
#: Trials from which on an RMS is judged without regard to chance.
ENOUGH = 40
BLACK = "black screen"
CONDITION = "noise -90 dBFS, hum -70 dBFS, clock 50 ppm off"


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One section: what is in it, and whether the left channel alone is read."""

    duration_s: float
    level_dbfs: float | None
    seed: int
    kind: str = "capacitive"
    picture: str = "plain"
    ppm_per_minute: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of it."""

    found: bool
    error_db: float = 0.0
    slope: float = 0.0
    inside: bool = True


def run(quick: bool) -> list[Row]:
    """Return the table; trials run in two processes, a few of them in this one."""
    if quick:
        rows = _of_trials(lambda trials: [_outcome(trial) for trial in trials], 1, 3, quick)
    else:
        with ProcessPoolExecutor(min(2, os.cpu_count() or 1), mp_context=get_context("spawn")) as workers:
            rows = _of_trials(lambda trials: list(workers.map(_outcome, trials, chunksize=2)), 40, 100, quick)
    rows += _added(("shared",) if quick else ("capacitive", "shared"), 1 if quick else 5)
    rows += _against_black((-105.0,) if quick else (-105.0, -115.0), 2 if quick else 16)
    rows.append(_cost(1 if quick else 3))
    return rows


def _of_trials(outcomes: Callable[[Iterable[Trial]], list[Outcome]], n: int, n_without: int, quick: bool) -> list[Row]:
    return [
        *_found(outcomes, n, quick),
        *_measured(outcomes, n),
        *_pictures(outcomes, max(1, n // 2)),
        *_false_alarms(outcomes, n_without),
    ]


def _found(outcomes: Callable[[Iterable[Trial]], list[Outcome]], n: int, quick: bool) -> list[Row]:
    rows = []
    for duration_s, level_dbfs, share in ((10.0, -140.0, 1.0), (30.0, -147.0, 0.7), (60.0, -150.0, 0.4)):
        count = max(1, int(n * share))
        if quick and duration_s > 10:
            continue
        found = [
            one.found
            for one in outcomes(Trial(duration_s=duration_s, level_dbfs=level_dbfs, seed=s) for s in range(count))
        ]
        rows.append(
            judged(
                "rows found",
                f"{level_dbfs:.0f} dBFS in {duration_s:.0f} s, {CONDITION}",
                float(np.mean(found)),
                0.99,
                "share",
                count,
                at_least=True,
            )
        )
    return rows


def _measured(outcomes: Callable[[Iterable[Trial]], list[Outcome]], n: int) -> list[Row]:
    rows = []
    for level_dbfs in (-100.0, -120.0, -130.0) if n > 1 else (-120.0,):
        done = outcomes(Trial(duration_s=10.0, level_dbfs=level_dbfs, seed=100 + s) for s in range(n))
        bound_db = BOUND_DB * 10 ** ((-120.0 - level_dbfs) / 20)
        target_db = (1.3 if n >= ENOUGH else max(1.3, _chance_of_few(n))) * bound_db
        reached = float(np.sqrt(np.mean([one.error_db**2 for one in done])))
        inside = float(np.mean([one.inside for one in done]))
        where = f"{level_dbfs:.0f} dBFS in 10 s, {CONDITION}"
        note = f"bound {bound_db:.4f} dB; 95 % interval holds the truth in {100 * inside:.0f} %"
        rows.append(judged("coupling level, RMS error", where, reached, target_db, "dB", n, note=note))
    # Both ways together: powers add, and the slope is the capacitance's share of the power.
    mixed = 6.0206 / (1 + 10 ** (_SECOND_DB / 10))
    for kind, slope in (("capacitive", 6.0206), ("shared", 0.0), ("mixed", mixed)):
        done = outcomes(Trial(duration_s=10.0, level_dbfs=-110.0, seed=200 + s, kind=kind) for s in range(n))
        worst = max(abs(one.slope - slope) for one in done)
        rows.append(judged("slope, largest error", f"{kind} leak of -110 dBFS in 10 s", worst, 0.3, "dB/octave", n))
    return rows


def _chance_of_few(n: int) -> float:
    """Return how much more than the bound the RMS of `n` errors is by chance once in a thousand times."""
    from scipy.stats import chi2

    return float(np.sqrt(chi2.ppf(0.999, n) / n))


def _pictures(outcomes: Callable[[Iterable[Trial]], list[Outcome]], n: int) -> list[Row]:
    rows = []
    for picture in PICTURES:
        done = outcomes(Trial(duration_s=10.0, level_dbfs=-137.0, seed=300 + s, picture=picture) for s in range(n))
        reached = float(np.mean([one.found for one in done]))
        rows.append(
            judged("rows found, 3 dB higher", f"{picture}, -137 dBFS in 10 s", reached, 0.99, "share", n, at_least=True)
        )
    return rows


def _false_alarms(outcomes: Callable[[Iterable[Trial]], list[Outcome]], n: int) -> list[Row]:
    """Count sections without the code in which it is found: without any picture, and with a black one that leaks."""
    rows = []
    for name, picture, level_dbfs in (
        ("no picture", "plain", None),
        ("a black screen and its line tone leak at -60 dBFS", BLACK, -60.0),
    ):
        trials = [
            Trial(duration_s=10.0, level_dbfs=level_dbfs, picture=picture, seed=1000 + seed)
            for seed in range(n if level_dbfs is None else max(2, n // 2))
        ]
        alarms = sum(one.found for one in outcomes(trials))
        where = f"{name}, 10 s, {CONDITION}"
        limit = max(1, 1e-3 * len(trials))
        rows.append(judged("rows found where they were not shown", where, alarms, limit, "", len(trials)))
    return rows


def _added(kinds: Sequence[str], n: int) -> list[Row]:
    """Measure a leak 20 dB below the direct one, while the recorder's clock wanders."""
    rows = []
    direct = PictureLeak(level_dbfs_at_1k=-90.0)
    for kind in kinds:
        errors = []
        for seed in range(n):
            leak = PictureLeak(level_dbfs_at_1k=-110.0, kind=kind)
            alone = find_rows(rows_section(10.0, (direct,), seed=2 * seed, clock_ppm_per_minute=1.0), RATE_HZ)
            both = find_rows(rows_section(10.0, (direct, leak), seed=2 * seed + 1, clock_ppm_per_minute=1.0), RATE_HZ)
            assert alone.coupling is not None
            assert both.coupling is not None
            assert both.lines is not None
            added = added_to(both.lines, both.coupling, alone.coupling, np.ones(2))
            errors.append(20 * np.log10(max(abs(complex(added.gain[0])), 1e-12) / 2) + 110.0)
        worst = float(np.abs(errors).max())
        where = f"{kind}, -110 dBFS beside a direct leak of -90 dBFS, clock wanders by 1 ppm a minute, 10 s"
        rows.append(judged("added leak, largest error", where, worst, 1.0, "dB", n))
    return rows


def _against_black(levels_dbfs: Sequence[float], n: int) -> list[Row]:
    """Show what white minus black sees of the same leak, 1.5-7.8 kHz, in standard deviations of its scatter."""
    rows = []
    for level_dbfs in levels_dbfs:
        leak = (PictureLeak(level_dbfs_at_1k=level_dbfs),)
        differences, nothing = [], []
        for seed in range(n):
            black = _band_db(rows_section(10.0, leak, seed=2 * seed, rows=np.zeros(240)))
            white = _band_db(rows_section(10.0, leak, seed=2 * seed + 1, rows=np.ones(240)))
            again = _band_db(rows_section(10.0, leak, seed=500 + seed, rows=np.zeros(240)))
            differences.append(white - black)
            nothing.append(again - black)
        # The same scatter about nothing, of either sign.
        size = float(np.mean(differences) / max(float(np.sqrt(np.mean(np.square(nothing)))), 1e-9))
        strength = float(np.mean([_strength(level_dbfs, seed) for seed in range(max(1, n // 4))]))
        where = f"{level_dbfs:.0f} dBFS in 10 s each"
        note = f"white minus black in 1.5-7.8 kHz: {size:.1f} standard deviations"
        rows.append(judged("rows against white minus black", where, strength, size, "sd", n, note=note, at_least=True))
    return rows


def _band_db(samples: Any) -> float:
    spectrum = np.abs(np.fft.rfft(samples[:, 0])) ** 2
    return float(10 * np.log10(spectrum[15_000:78_000].sum()))


def _strength(level_dbfs: float, seed: int) -> float:
    estimate = find_rows(rows_section(10.0, (PictureLeak(level_dbfs_at_1k=level_dbfs),), seed=seed)[:, :1], RATE_HZ)
    assert estimate.coupling is not None
    size, sd = np.abs(estimate.coupling.factors[0]), np.sqrt(np.diag(estimate.coupling.covariance[0]))
    return float((size / sd).max())


def _cost(n: int) -> Row:
    """Processors' time of 30 s in stereo, over that of reading two takes of 110 s and one spectrum of each channel."""
    samples = rows_section(30.0, (PictureLeak(level_dbfs_at_1k=-120.0),), timing=TIMING_262)
    ratios = []
    with tempfile.TemporaryDirectory() as name:
        paths = [Path(name) / f"{index}.wav" for index in range(2)]
        for path in paths:
            sound = np.random.default_rng(0).normal(0, 0.01, (int(110 * RATE_HZ), 2))
            soundfile.write(path, sound, int(RATE_HZ), subtype="PCM_24")
        for _ in range(n):
            floor_s = _spent(partial(_floor, paths))
            ratios.append(_spent(lambda: find_rows(samples, RATE_HZ)) / floor_s)
    note = f"floor {floor_s:.2f} s"
    if n > 1:
        lines = fit_lines(samples, RATE_HZ)
        hinted = _spent(lambda: find_rows(samples, RATE_HZ, lines, everywhere=False)) / floor_s
        note += f"; {hinted:.2f} where the line rate was seen"
    return judged("cost over the floor, processors' time", "30 s, stereo", min(ratios), 1.5, "x", n, note=note)


def _floor(paths: Sequence[Path]) -> None:
    for path in paths:
        samples, _ = soundfile.read(path, always_2d=True)
        size = scipy.fft.next_fast_len(len(samples), real=True)
        for channel in samples.T:
            scipy.fft.rfft(channel, size)


def _spent(function: Callable[[], object]) -> float:
    began_s = time.process_time()
    function()
    return time.process_time() - began_s


def _outcome(trial: Trial) -> Outcome:
    """Make a section and read its left channel."""
    more: dict[str, Any] = {"sync": 0.0} if trial.picture == "without sync" else {}
    leaks = () if trial.level_dbfs is None else _leaks(trial.level_dbfs, trial.kind)
    samples = rows_section(
        trial.duration_s,
        leaks,
        seed=trial.seed,
        timing=replace(TIMING_262),
        rows=_shown(trial.picture),
        clock_ppm_per_minute=trial.ppm_per_minute,
        **more,
    )
    try:
        estimate = find_rows(samples[:, :1], RATE_HZ)
    except MeasurementError:  # another picture was seen
        return Outcome(found=False)
    if estimate.coupling is None or trial.level_dbfs is None or trial.picture == BLACK:
        return Outcome(found=estimate.found)
    level, sd = coupling_level(estimate.coupling, 0)
    error = level - trial.level_dbfs
    right_rate = abs(estimate.line_rate_hz / TIMING_262.line_rate_hz - 1 - 50e-6) < 1e-6
    return Outcome(
        found=right_rate, error_db=error, slope=estimate.coupling.slope(0)[0], inside=abs(error) <= 1.96 * sd
    )


def _shown(picture: str) -> Any:
    """Return the brightness of each row of a picture of 240 rows."""
    code = row_code(240).astype(float)
    if picture == BLACK:
        return np.zeros(240)
    if picture.startswith("8-bit range"):
        return 16 / 255 + code * 219 / 255
    if "gamma" in picture:
        # Scaled between rows, not to the nearest one, so that there are greys for the gamma to bend.
        place = (np.arange(240) + 0.5 - 120) / float(picture.split()[-1]) + 119.5
        grey = np.interp(place, np.arange(240), code, left=0.0, right=0.0)
        return np.round(255 * grey ** (1 / GAMMA)) / 255
    return _scaled(code, float(picture.split()[-1])) if " by " in picture else code


def _leaks(level_dbfs: float, kind: str) -> tuple[PictureLeak, ...]:
    if kind != "mixed":
        return (PictureLeak(level_dbfs_at_1k=level_dbfs, kind=kind),)
    second = PictureLeak(level_dbfs_at_1k=level_dbfs + _SECOND_DB, kind="shared")
    return PictureLeak(level_dbfs_at_1k=level_dbfs), second


def _scaled(code: Any, scale: float) -> Any:
    """Return the rows of a picture that a player scales about its middle, cut or with black around it."""
    place = (np.arange(code.size) + 0.5 - code.size / 2) / scale + code.size / 2
    inside = (place >= 0) & (place < code.size)
    return np.where(inside, code[np.clip(place, 0, code.size - 1).astype(int)], 0.0)
