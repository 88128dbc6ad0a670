"""How exact responses and crosstalk are, through the whole chain: simulated takes, files, alignment, sweeps.

The simulation renders the track, plays it through analogue filters and reads it with another clock; the estimator knows
none of the filters, and neither mains nor harmonics. Frequencies count in the track's clock, so the truth is taken at
what the player's clock makes of them.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import numpy as np

from humcheck.comparison.response_delta import compare_levels
from humcheck.comparison.responses import response_rows
from humcheck.estimates.sweeps import AFTER_S, BEFORE_S, FREQUENCIES_HZ, ResponseEstimate, estimate_response
from humcheck.results import Key
from humcheck.simulation import (
    ChannelPath,
    Crosstalk,
    Crystal,
    Hiss,
    Hum,
    LinearPath,
    Mains,
    PathModel,
    SimulatedTake,
    ground_loop,
    simulate_take,
)
from humcheck.takes.take import load_take
from humcheck.tracks.layouts import layout
from tests.benchmarks.table import Row

RATE_HZ = 48000
HISS_DBFS = -90.0
CROSSTALK_DB = -100.0
KEY = Key(subject="Alder", role="through", quantity="response_delta")

_CHAIN = ChannelPath(gain_db=-0.5, low_corners_hz=(3.0,), high_corners_hz=(40e3,))
_DEVICE = ChannelPath(gain_db=-0.9, low_corners_hz=(3.0, 15.0), high_corners_hz=(40e3, 60e3))
DIRECT = LinearPath(left=_CHAIN, right=_CHAIN)
THROUGH = LinearPath(
    left=_DEVICE,
    right=_DEVICE,
    into_left=Crosstalk.at_1k(CROSSTALK_DB),
    into_right=Crosstalk.at_1k(CROSSTALK_DB),
)


def run(quick: bool) -> list[Row]:
    """Return the table."""
    n = 1 if quick else 5
    clean = [_pair(seed, hum_dbfs=None) for seed in range(n)]
    hummed = [_pair(100 + seed, hum_dbfs=-70.0) for seed in range(n)]
    rows = [*_delta_rows(clean, "hiss -90 dBFS", 0.001, 0.005), *_delta_rows(hummed, "and hum -70 dBFS", 0.002, 0.02)]
    rows += [_crosstalk_row(clean, "hiss -90 dBFS"), _crosstalk_row(hummed, "and hum -70 dBFS")]
    rows += [
        _floor_row(hummed, "hiss -90, hum -70 dBFS, 1-10 kHz", 999.0, 10100.0, -110.0),
        _floor_row(hummed, "hiss -90, hum -70 dBFS, 40-400 Hz", 40.0, 400.0, -100.0),
        _coverage_row(clean + hummed),
        _corner_row(clean + hummed),
        _cost_row(hummed[0]),
    ]
    if not quick:
        fast = [_pair(200 + seed, hum_dbfs=-70.0, length="short") for seed in range(2)]
        rows += _delta_rows(fast, "short sweep, hiss -90, hum -70 dBFS", 0.002, 0.02)
        other = [_pair(300 + seed, hum_dbfs=-70.0, source_rate_hz=44100, mains_hz=60.0) for seed in range(2)]
        rows += _delta_rows(other, "track at 44.1 kHz, hum of 60 Hz", 0.002, 0.02)
    return rows


class _Pair:
    """A direct and a through take with the estimates of both sweeps, and the truth."""

    def __init__(self, direct: SimulatedTake, through: SimulatedTake) -> None:
        self.truths = (direct.truth, through.truth)
        self.direct, self.cost_direct_s = _estimates(direct)
        self.through, self.cost_through_s = _estimates(through)

    def true_delta_db(self, frequency_hz: np.ndarray, column: int) -> np.ndarray:
        levels = [
            truth.response_db(frequency_hz * (1 + 1e-6 * truth.path.player.ppm))[:, column] for truth in self.truths
        ]
        return levels[1] - levels[0]


def _pair(
    seed: int,
    *,
    hum_dbfs: float | None,
    length: str = "standard",
    source_rate_hz: int = RATE_HZ,
    mains_hz: float = 50.0,
) -> _Pair:
    takes = []
    for number, linear in enumerate((DIRECT, THROUGH)):
        rng = np.random.default_rng([seed, number])
        path = PathModel(
            player=Crystal(ppm=float(rng.uniform(-100, 100)), walk_ppm=0.05),
            recorder_clock=Crystal(ppm=float(rng.uniform(-100, 100)), walk_ppm=0.05),
            linear=linear,
            mains=Mains(frequency_hz=mains_hz, wander_mhz=20.0),
            hum=() if hum_dbfs is None else (Hum(amplitudes=ground_loop(hum_dbfs)),),
            hiss=(Hiss(left_dbfs=HISS_DBFS, right_dbfs=HISS_DBFS),),
        )
        track = layout("sweep", length)
        takes.append(
            simulate_take(track, path=path, rate_hz=RATE_HZ, source_rate_hz=source_rate_hz, seed=seed * 2 + number)
        )
    return _Pair(*takes)


def _estimates(take: SimulatedTake) -> tuple[list[ResponseEstimate], float]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.wav"
        take.write(path)
        opened = load_take(path)
        sounds = [(opened.section(f"sweep-{name}", BEFORE_S, AFTER_S), name) for name in ("left", "right")]
        began_s = time.process_time()
        estimates = [estimate_response(sound, name) for sound, name in sounds]  # type: ignore[arg-type]
        return estimates, time.process_time() - began_s


def _errors_db(pairs: list[_Pair]) -> np.ndarray:
    errors = []
    for pair in pairs:
        for column in range(2):
            delta = compare_levels([pair.through[column]], [pair.direct[column]])
            used = delta.shown & (delta.frequency_hz >= 19.99) & (delta.frequency_hz < 20001)
            truth = pair.true_delta_db(delta.frequency_hz, column)
            errors.append(np.where(used, delta.value_db - truth, np.nan))
    return np.array(errors)


def _delta_rows(pairs: list[_Pair], condition: str, rms_target: float, largest_target: float) -> list[Row]:
    errors = _errors_db(pairs)
    figures = (
        ("response delta 20 Hz-20 kHz, RMS error", float(np.sqrt(np.nanmean(errors**2))), rms_target),
        ("response delta 20 Hz-20 kHz, largest error", float(np.nanmax(np.abs(errors))), largest_target),
    )
    n = int(np.count_nonzero(np.isfinite(errors)))
    return [
        Row(
            figure=figure,
            condition=condition,
            reached=reached,
            target=target,
            unit="dB",
            n=n,
            passed=reached <= target,
            note=f"{len(pairs)} pairs of takes, 2 channels, 121 points",
        )
        for figure, reached, target in figures
    ]


def _crosstalk_row(pairs: list[_Pair], condition: str) -> Row:
    gains = [response.crosstalk_1k for pair in pairs for response in pair.through]
    powers = np.array([abs(gain.value[0]) ** 2 - gain.sd[0] ** 2 for gain in gains if gain is not None])
    errors_db = 10 * np.log10(np.maximum(powers, 1e-14)) - CROSSTALK_DB
    reached = float(np.sqrt(np.mean(errors_db**2)))
    return Row(
        figure="crosstalk of -100 dB at 1 kHz, RMS error",
        condition=condition,
        reached=reached,
        target=0.3,
        unit="dB",
        n=len(powers),
        passed=reached <= 0.3,
        note=f"mean error {np.mean(errors_db):+.2f} dB",
    )


def _floor_row(pairs: list[_Pair], condition: str, low_hz: float, high_hz: float, target_db: float) -> Row:
    band = (low_hz <= FREQUENCIES_HZ) & (high_hz >= FREQUENCIES_HZ)
    sds = [response.crosstalk.sd[band] for pair in pairs for response in pair.through if response.crosstalk is not None]
    floor_db = 20 * np.log10(np.sqrt(np.mean(np.array(sds) ** 2, axis=0)))
    reached = float(floor_db.max())
    return Row(
        figure="crosstalk floor (RMS of the error), worst point",
        condition=condition,
        reached=reached,
        target=target_db,
        unit="dB re driven",
        n=len(sds),
        passed=reached <= target_db,
    )


def _coverage_row(pairs: list[_Pair]) -> Row:
    inside = []
    for pair in pairs:
        for column in range(2):
            delta = compare_levels([pair.through[column]], [pair.direct[column]])
            low_db, high_db = delta.interval()
            truth = pair.true_delta_db(delta.frequency_hz, column)
            used = delta.shown & (delta.frequency_hz >= 19.99) & (delta.frequency_hz < 20001)
            inside.append(((low_db <= truth) & (truth <= high_db))[used])
    reached = float(np.mean(np.concatenate(inside)))
    return Row(
        figure="95 % band of the response delta holds the truth",
        condition="all of the above",
        reached=reached,
        target=0.95,
        unit="of points",
        n=sum(len(points) for points in inside),
        passed=reached >= 0.93,
        note="the method's own allowance is part of the band",
    )


def _corner_row(pairs: list[_Pair]) -> Row:
    errors = []
    for pair in pairs:
        rows = response_rows([pair.through], [pair.direct], KEY)
        corners = {row.channel: row.value for row in rows if row.quantity == "low_corner"}
        grid = np.geomspace(10.0, 20.0, 20001)
        for column, channel in enumerate(("left", "right")):
            shape = pair.true_delta_db(grid, column) - pair.true_delta_db(np.array([997.0]), column)
            errors.append(corners[channel] - float(np.interp(10 * np.log10(0.5), shape, grid)))
    reached = float(np.sqrt(np.mean(np.square(errors))))
    return Row(
        figure="low corner of 15 Hz, RMS error",
        condition="all of the above",
        reached=reached,
        target=0.01,
        unit="Hz",
        n=len(errors),
        passed=reached <= 0.01,
    )


def _cost_row(pair: _Pair) -> Row:
    reached = pair.cost_direct_s + pair.cost_through_s
    return Row(
        figure="four sweeps of a pair, driven and idle channel each",
        condition="12 s sweeps at 48 kHz with hum, one thread",
        reached=reached,
        target=0.9,
        unit="s",
        n=4,
        passed=reached <= 0.9,
        note="processor time; a busy machine makes it longer",
    )
