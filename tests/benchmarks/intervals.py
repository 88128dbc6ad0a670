"""Do 95 % intervals hold the truth? Whole takes through random paths, measured as anybody's, row by row."""

from __future__ import annotations

import tempfile
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy import stats

from humcheck.pipeline.measure import measure_take
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.results import Measure
from humcheck.simulation import (
    TIMING_262,
    TIMING_312,
    TIMING_525,
    ChannelPath,
    Crosstalk,
    Crystal,
    Hiss,
    Hum,
    LinearPath,
    Mains,
    PathModel,
    Picture,
    PictureLeak,
    Polynomial,
    Recorder,
    Truth,
    bursts,
    harmonics,
    simulate_take,
)
from humcheck.tracks.layouts import layout
from tests.benchmarks.table import Row

_FULL_SCALE_TONE_DBFS = -1.001
_CHANNELS = ("left", "right")
#: Short of this chance, misses are not bad luck.
_CHANCE = 0.999


def run(quick: bool) -> list[Row]:
    """Return the table."""
    held: dict[str, list[bool]] = defaultdict(list)
    errors: dict[str, list[float]] = defaultdict(list)
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(2 if quick else 16):
            for row, true in _rows(Path(folder), seed):
                _judge(row, true, held, errors)
    return [_row(name, held[name], errors[name]) for name in sorted(held)]


def _rows(folder: Path, seed: int) -> Iterator[tuple[Measure, float]]:
    """Yield measured rows with their true values, of one random path."""
    rng = np.random.default_rng([seed, 95])
    mains_hz = float(rng.choice([50.0, 60.0]))
    take = simulate_take(
        layout("full", "short"),
        path=_path(mains_hz, rng),
        rate_hz=int(rng.choice([44100, 48000])),
        source_rate_hz=48000,
        seed=seed,
        lead_s=float(rng.uniform(0.3, 2.0)),
    )
    take.write(folder / "take.wav", force=True)
    request = TakeRequest(path=str(folder / "take.wav"), role="through", device="Alder")
    measured = measure_take(request, "t1", MeasuringSettings(mains_hz=mains_hz))
    true = _truths(take.truth)
    for row in measured.measures:
        if row.quantity in true and row.channel in _CHANNELS:
            yield row, float(true[row.quantity][_CHANNELS.index(row.channel)])


def _path(mains_hz: float, rng: np.random.Generator) -> PathModel:
    """Return a path nobody has planned: the hum swells a little, diodes switch, clocks and mains wander."""
    first_dbfs = rng.uniform(-95, -65)
    hum = harmonics({k: first_dbfs - rng.uniform(1, 4) * k for k in range(1, 13)}, phase_seed=int(rng.integers(1000)))
    timing = TIMING_312 if mains_hz == 50 else (TIMING_262, TIMING_525)[rng.integers(2)]
    channel = ChannelPath(low_corners_hz=(float(rng.uniform(1, 20)),), high_corners_hz=(float(rng.uniform(3e4, 9e4)),))
    diodes = bursts(first_dbfs - 25, mains_hz=mains_hz, n_harmonics=int(20e3 / mains_hz))
    return PathModel(
        player=Crystal(ppm=float(rng.normal(0, 30)), walk_ppm=0.1),
        recorder_clock=Crystal(ppm=float(rng.normal(0, 30)), walk_ppm=0.1),
        linear=LinearPath(
            left=channel,
            right=channel,
            into_left=Crosstalk.at_1k(float(rng.uniform(-90, -60))),
            into_right=Crosstalk.at_1k(float(rng.uniform(-90, -60))),
        ),
        distortion=Polynomial(coefficients=(float(rng.uniform(1e-4, 1e-3)), float(rng.uniform(1e-4, 1e-3)))),
        mains=Mains(frequency_hz=mains_hz + float(rng.normal(0, 0.02)), wander_mhz=20.0, correlation_s=300.0),
        hum=(Hum(amplitudes=hum, right=0.7, modulation=0.03, modulation_hz=0.4), Hum(amplitudes=diodes)),
        picture=Picture.plain("white", timing, PictureLeak(level_dbfs_at_1k=float(rng.uniform(-110, -85)))),
        hiss=(Hiss(left_dbfs=float(rng.uniform(-100, -85)), right_dbfs=float(rng.uniform(-100, -85))),),
        recorder=Recorder(bits=int(rng.choice([16, 24])), clip_dbfs=0.0),
    )


def _truths(truth: Truth) -> dict[str, np.ndarray]:  # type: ignore[type-arg]
    quiet = layout("full", "short").section("quiet")
    timing = truth.path.picture.timing

    def in_quiet_hz(frequency_hz: float) -> np.ndarray:  # type: ignore[type-arg]
        # The recorder's clock wanders: only while it listens does the frequency count.
        return np.full(2, truth.in_take_clock_hz(frequency_hz, quiet.start_s + 0.15, quiet.end_s - 0.15))

    return {
        "hum_level": truth.hum_level_between_dbfs(quiet.start_s + 0.15, quiet.end_s - 0.15),
        "buzz_level": truth.buzz_level_dbfs,
        "whistle_level": truth.whistle_level_dbfs,
        "hiss_level": truth.hiss_level_dbfs,
        "crosstalk_1k": truth.crosstalk_1k_db,
        "thd": truth.thd_percent(_FULL_SCALE_TONE_DBFS),
        "hum_frequency": np.full(2, truth.hum_frequency_hz(quiet.start_s + 0.15, quiet.end_s - 0.15)),
        "buzz_frequency": in_quiet_hz(timing.field_rate_hz),
        "whistle_frequency": in_quiet_hz(timing.line_rate_hz),
    }


def _judge(row: Measure, true: float, held: dict[str, list[bool]], errors: dict[str, list[float]]) -> None:
    if row.bound is None and row.low is not None and row.high is not None:
        held[row.quantity].append(row.low <= true <= row.high)
        errors[row.quantity].append(row.value - true)
    elif row.bound is not None:
        sign = 1 if row.bound == "upper" else -1
        held[f"{row.quantity} (bound)"].append(sign * (row.value - true) >= 0)
        errors[f"{row.quantity} (bound)"].append(row.value - true)


def _row(name: str, held: list[bool], errors: list[float]) -> Row:
    n = len(held)
    allowed = int(stats.binom.ppf(_CHANCE, n, 0.05))
    misses = n - sum(held)
    spread = np.sqrt(np.mean(np.square(errors)))
    return Row(
        figure=f"{name}: interval holds the truth",
        condition="random paths, full short track",
        reached=100 * sum(held) / n,
        target=100 * (1 - allowed / n),
        unit="%",
        n=n,
        passed=misses <= allowed,
        note=f"RMS error {spread:.3g}, worst {np.abs(errors).max():.3g}",
    )
