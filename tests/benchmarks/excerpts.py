"""What is heard in the report: parts against what went in, raise and match as stated, cost and size."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import numpy as np

from humcheck.audio.levels import Floats, rms_to_dbfs
from humcheck.estimates.lines import fit_lines
from humcheck.evidence import make_excerpts, with_excerpts
from humcheck.evidence.separation import QuietStretch
from humcheck.pipeline.compare import measure_files, results_of
from humcheck.pipeline.demo_bench import demo_takes
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.report.page import render_page
from tests.benchmarks.table import Row
from tests.evidence.quiet_takes import RATE_HZ, decoded, measured, quiet_samples, rms, steady
from tests.line_sections import Comb

HISS_DBFS = -92.0
_MAINS = {1: -70.0, 2: -84.0, 3: -74.0, 5: -80.0, 7: -86.0, 13: -92.0, 40: -100.0}
_PICTURE = {1: -90.0, 2: -84.0, 3: -86.0, 10: -88.0, 40: -92.0, 120: -96.0}
#: Name, mains, picture, and how the mains swell: depth and rate.
_CONDITIONS = (
    ("mains wander 20 mHz, picture 59.94 Hz", 50.013, 0.02, 59.94, (0.0, 0.0)),
    ("mains wander 20 mHz, picture 50.08 Hz", 50.0, 0.02, 50.08, (0.0, 0.0)),
    ("mains wander 50 mHz, picture 60.10 Hz", 59.98, 0.05, 60.0985, (0.0, 0.0)),
    ("mains swell by 30 % at 0.2 Hz (not modelled)", 50.013, 0.02, 59.94, (0.3, 0.2)),
)


def run(quick: bool) -> list[Row]:
    """Take sections apart, read files back, and time a comparison with and without excerpts."""
    rows = [row for condition in _CONDITIONS for row in _parts(*condition, n=1 if quick else 5)]
    with tempfile.TemporaryDirectory() as name:
        rows += _raise_and_match(Path(name))
        if not quick:
            rows += _cost_and_size(Path(name))
    return rows


def _parts(
    name: str, mains_hz: float, wander_hz: float, picture_hz: float, swell: tuple[float, float], *, n: int
) -> list[Row]:
    mains, picture = Comb(mains_hz, _MAINS, wander_hz), Comb(picture_hz, _PICTURE)
    errors: dict[str, list[float]] = {"hum": [], "buzz": [], "hiss": []}
    for seed in range(n):
        truth = _truth(seed, mains, picture, swell)
        lines = fit_lines(sum(truth.values()), float(RATE_HZ), mains_hz=round(mains_hz / 10) * 10.0)
        found = _heard(sum(truth.values())).parts(lines, _START_S)
        for kind in errors:
            error = found.get(kind, 0.0) - _heard(truth[kind]).whole()
            errors[kind].append(float(rms_to_dbfs(rms(error)).max()) - HISS_DBFS)
    return [
        Row(
            figure=f"{kind} alone, less what went in, re the hiss",
            condition=name,
            reached=max(values),
            target=-20.0,
            unit="dB",
            n=n,
            passed=max(values) < -20.0,
            note="worst channel and trial",
        )
        for kind, values in errors.items()
    ]


_START_S = 1.2


def _heard(samples: Floats) -> QuietStretch:
    start = int(_START_S * RATE_HZ)
    return QuietStretch(samples[start : start + int(5.5 * RATE_HZ)], RATE_HZ)


def _truth(seed: int, mains: Comb, picture: Comb, swell: tuple[float, float]) -> dict[str, Floats]:
    time_s = np.arange(int(8.0 * RATE_HZ)) / RATE_HZ
    shape = (1 + swell[0] * np.sin(2 * np.pi * swell[1] * time_s))[:, np.newaxis]
    return {
        "hum": quiet_samples(seed, combs=(mains,), noise_dbfs=-300.0) * shape,
        "buzz": quiet_samples(seed + 100, combs=(picture,), noise_dbfs=-300.0),
        "hiss": quiet_samples(seed + 200, combs=(), noise_dbfs=HISS_DBFS),
    }


def _raise_and_match(folder: Path) -> list[Row]:
    """Direct and through hold one hiss, at levels 3.4 dB apart: matched, it must be equally loud in both."""
    hiss = quiet_samples(1, combs=())
    loss_db = -3.4
    hum = quiet_samples(2, combs=(Comb(50.0, _MAINS, 0.02),), noise_dbfs=-300.0)
    takes = [
        measured(folder / "d.wav", hiss, role="direct", full_scale_dbfs=-4.0),
        measured(
            folder / "t.wav", (hiss[::-1] + hum) * 10 ** (loss_db / 20), device="Alder", full_scale_dbfs=-4.0 + loss_db
        ),
    ]
    sounds = make_excerpts(takes).sounds
    level = {(sound.role, sound.kind): rms_to_dbfs(rms(steady(*decoded(sound.content)))) for sound in sounds}
    source = _middle(hiss)
    raised = np.abs(level["direct", "quiet"] - rms_to_dbfs(rms(source)) - sounds[0].raised_db).max()
    matched = np.abs(level["through", "hiss"] - level["direct", "quiet"]).max()
    return [
        Row(figure=figure, condition="read back from the files", reached=float(reached), target=0.05, unit="dB", n=1,
            passed=bool(reached < 0.05))
        for figure, reached in (("raise, stated less found", raised), ("match of level, through less direct", matched))
    ]  # fmt: skip


def _middle(samples: Floats) -> Floats:
    n = int(5.5 * RATE_HZ)
    start = (len(samples) - n) // 2
    whole = QuietStretch(samples[start : start + n], RATE_HZ).whole()
    return steady(whole, 32_000)


def _cost_and_size(folder: Path) -> list[Row]:
    made = {take.file_name: take for take in demo_takes(1)}
    requests = [
        TakeRequest(path=str(made[name].write(folder)), role=made[name].role, device=made[name].device, picture="white")
        for name in ("direct-1.wav", "birch-port4-1.wav")
    ]
    settings = MeasuringSettings(mains_hz=50.0)
    began = time.process_time()
    takes, _ = measure_files(requests, settings)
    results = results_of(takes, settings, bench_name="Birch")
    render_page(results)
    middle = time.process_time()
    excerpts = make_excerpts(takes)
    share = 100 * (time.process_time() - middle) / (middle - began)
    results, sounds = with_excerpts(results, excerpts, "birch-evidence")
    megabytes = len(render_page(results, sounds=sounds).encode()) / 1e6
    condition = "one direct and one through take of the short track"
    return [
        Row(
            figure="making excerpts, re measuring and the page",
            condition=condition,
            reached=share,
            target=5.0,
            unit="percent",
            n=1,
            passed=share < 5.0,
            note="processors' time",
        ),
        Row(
            figure="page with excerpts",
            condition=condition,
            reached=megabytes,
            target=3.0,
            unit="MB",
            n=1,
            passed=megabytes < 3.0,
        ),
    ]
