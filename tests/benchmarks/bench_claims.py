"""What a bench can claim: direct takes against direct takes, on a bench whose clocks, gain and hum move between them.

The other tables are about the code. This one is about a bench: nothing is changed between the two takes, and whatever
the comparison shows is what the bench does by itself.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from humcheck.pipeline.compare import compare_files
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.results import Results
from humcheck.simulation import (
    ChannelPath,
    Crosstalk,
    Crystal,
    Hiss,
    Hum,
    LinearPath,
    Mains,
    PathModel,
    ground_loop,
    simulate_take,
)
from humcheck.tracks.layouts import layout
from tests.benchmarks.table import Row

RATE_HZ = 48000
SETTINGS = MeasuringSettings(mains_hz=50.0)
#: Between takes the gain lies anywhere in this range; hum moves by a standard deviation of this share; clocks wander by
#: this RMS in a minute (0.3 ppm between two of them).
GAIN_RANGE_DB = 0.03
HUM_SHARE = 0.02
WANDER_PPM = 0.3 / np.sqrt(2)
BAND_HZ = (40.0, 15000.0)


def run(quick: bool) -> list[Row]:
    """Return the table."""
    length = "short" if quick else "standard"
    with tempfile.TemporaryDirectory() as folder:
        pairs = [_compared(Path(folder), seed, length) for seed in range(1 if quick else 5)]
    condition = f"direct against direct, full {length} track, gain within 0.03 dB, hum 2 %, clocks 0.3 ppm a minute"
    figures: dict[str, tuple[list[float], float, str]] = {
        "response, 40 Hz-15 kHz, largest difference": ([], 0.03, "dB"),
        "response less its gain at 1 kHz, largest difference": ([], 0.01, "dB"),
        "gain, largest difference": ([], GAIN_RANGE_DB, "dB"),
        # Three standard deviations of the difference of two takes.
        "hum, largest difference": ([], 3 * np.sqrt(2) * 8.686 * HUM_SHARE, "dB"),
        "hiss, largest difference": ([], 0.1, "dB"),
        "balance, largest difference": ([], 0.001, "dB"),
        "crosstalk of -80 dB at 1 kHz, largest difference": ([], 0.1, "dB"),
    }
    for results in pairs:
        for name, value in _differences(results):
            figures[name][0].append(abs(value))
    return [_row(name, condition, *figure) for name, figure in figures.items()]


def _compared(folder: Path, seed: int, length: str) -> Results:
    requests = []
    for number, (role, device) in enumerate((("direct", None), ("through", "straight coupler"))):
        rng = np.random.default_rng([seed, number, 5])
        path = folder / f"{seed}-{number}.wav"
        take = simulate_take(layout("full", length), path=_path(rng), rate_hz=RATE_HZ, seed=2 * seed + number)
        take.write(path, bits=24)
        requests.append(TakeRequest(path=str(path), role=role, device=device))
    return compare_files(requests, SETTINGS, bench_name="claims").results


def _path(rng: np.random.Generator) -> PathModel:
    gain_db = -0.5 + GAIN_RANGE_DB * float(rng.uniform(-0.5, 0.5))
    chain = ChannelPath(gain_db=gain_db, low_corners_hz=(3.0,), high_corners_hz=(40e3,))
    hum_dbfs = -75.0 + 8.686 * HUM_SHARE * float(rng.standard_normal())
    return PathModel(
        player=Crystal(ppm=20.0, walk_ppm=WANDER_PPM),
        recorder_clock=Crystal(ppm=-15.0, walk_ppm=WANDER_PPM),
        linear=LinearPath(left=chain, right=chain, into_left=Crosstalk.at_1k(-80.0), into_right=Crosstalk.at_1k(-80.0)),
        mains=Mains(frequency_hz=50.0 + 0.01 * float(rng.standard_normal()), wander_mhz=20.0),
        hum=(Hum(amplitudes=ground_loop(hum_dbfs)),),
        hiss=(Hiss(left_dbfs=-90.0, right_dbfs=-90.0),),
    )


def _differences(results: Results) -> Iterator[tuple[str, float]]:
    """Yield what differs between the two takes; channels alone."""
    for curve in results.curves:
        if curve.quantity == "response_delta" and curve.channel in ("left", "right"):
            frequency_hz, value_db = np.array(curve.frequency_hz), np.array(curve.value)
            inside = (frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])
            yield "response, 40 Hz-15 kHz, largest difference", float(np.abs(value_db[inside]).max())
            bent_db = value_db[inside] - np.interp(1000.0, frequency_hz, value_db)
            yield "response less its gain at 1 kHz, largest difference", float(np.abs(bent_db).max())
    of_changes = {"gain": "gain", "hum_level": "hum", "hiss_level": "hiss", "balance": "balance"}
    for change in results.changes:
        if change.quantity == "balance" or (change.quantity in of_changes and change.channel != "both"):
            yield f"{of_changes[change.quantity]}, largest difference", change.value
        if change.quantity == "crosstalk_1k" and change.channel != "both":
            yield "crosstalk of -80 dB at 1 kHz, largest difference", change.value


def _row(figure: str, condition: str, differences: list[float], target: float, unit: str) -> Row:
    reached = max(differences, default=float("nan"))
    return Row(
        figure=figure,
        condition=condition,
        reached=reached,
        target=float(target),
        unit=unit,
        n=len(differences),
        passed=reached <= target,
    )
