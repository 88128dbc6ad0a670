"""Audibility: the ear against published thresholds and loudness, margins of simulated takes against their truth.

Unmodelled by the margins: mains that wanders, hum that swells, and harmonics too weak to be found in the noise.
"""

from __future__ import annotations

import tempfile
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np

from humcheck.audio.hearing.ear import ear_for, excess
from humcheck.audio.hearing.psychoacoustics import threshold_db_spl
from humcheck.findings.audibility import PRESETS
from humcheck.pipeline.compare import TakeRequest, compare_files
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.simulation import ChannelPath, Crystal, Hiss, Hum, LinearPath, Mains, PathModel, harmonics, simulate_take
from humcheck.tracks.layouts import layout
from tests.audio.sounds_to_hear import KINDS, RATE_HZ, SILENT_ROOM, margin_db, pressure_pa
from tests.audio.test_hearing import CRITICAL_RATIO_DB, white
from tests.benchmarks.table import Row

#: The sound pressure is taken as known here, so that the interval is the measurement's own.
_KNOWN = tuple(replace(setting, uncertainty_db=0.0) for setting in PRESETS)
_SOURCE_GAIN_DB = -4.0
_HISS_DBFS = -93.0
#: The hiss's level is that between 20 Hz and 20 kHz.
_HISS_BAND_HZ = 19_980.0


def run(quick: bool) -> list[Row]:
    """Return the table's rows."""
    return [_threshold(), _critical_ratio(), *_loudness(quick), *_takes(1 if quick else 6)]


def _threshold() -> Row:
    ear = ear_for("free")
    frequencies = np.geomspace(21.0, 17_500.0, 400)
    off = [excess(SILENT_ROOM, tones=ear.tones(hz[None], threshold_db_spl(hz[None])))[0] for hz in frequencies]
    worst = float(np.max(np.abs(off)))
    return Row(
        figure="tone at the threshold of hearing: margin off zero",
        condition="21 Hz-17.5 kHz, ISO 226:2023 and ISO 389-7",
        reached=worst,
        target=0.05,
        unit="dB",
        n=len(off),
        passed=worst <= 0.05,
        note="the filters stand 0.05 apart",
    )


def _critical_ratio() -> Row:
    ear = ear_for("free")
    masker = ear.noise(*white(40.0))
    errors = []
    for hz, ratio_db in CRITICAL_RATIO_DB.items():
        tone = ear.tones(np.array([float(hz)]), np.array([40.0 + ratio_db]))
        errors.append(excess(SILENT_ROOM, tones=tone, around=masker)[0])
    worst = float(np.max(np.abs(errors)))
    return Row(
        figure="tone just heard in white noise: margin off zero",
        condition="250 Hz-4 kHz, Hawkins and Stevens 1950 (from memory)",
        reached=worst,
        target=1.5,
        unit="dB",
        n=len(errors),
        passed=worst <= 1.5,
    )


def _loudness(quick: bool) -> list[Row]:
    """Return whether margins rank as loudness does; nothing where the library is not installed."""
    try:
        from mosqito.sq_metrics import loudness_zwst
    except ImportError:
        return []
    from scipy.stats import spearmanr

    levels = (10, 30, 50) if quick else (5, 15, 25, 35, 45, 55)
    margins, sones = [], []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for kind in KINDS:
            for level in levels:
                margins.append(margin_db(kind, level))
                sones.append(float(loudness_zwst(pressure_pa(kind, level), RATE_HZ)[0]))
    heard, loud = np.array(margins), np.array(sones)
    rank = float(spearmanr(heard, loud).statistic)
    missed = int(np.sum((heard < 0) & (loud > 0)))
    sooner = float(np.max(heard[(heard > 0) & (loud == 0)], initial=0.0))
    condition = f"{len(KINDS)} sounds at {len(levels)} levels, {levels[0]}-{levels[-1]} dB SPL"
    return [
        Row(
            figure="rank correlation of margin and loudness (ISO 532-1)",
            condition=condition,
            reached=rank,
            target=0.9,
            unit="1",
            n=len(loud),
            passed=rank >= 0.9,
        ),
        Row(
            figure="sounds that have loudness where the margin says unheard",
            condition=condition,
            reached=missed,
            target=0,
            unit="sounds",
            n=len(loud),
            passed=missed == 0,
        ),
        Row(
            figure="largest margin of a sound that has no loudness yet",
            condition=condition,
            reached=sooner,
            target=9.0,
            unit="dB",
            n=len(loud),
            passed=sooner <= 9.0,
            note="ISO 532-1 hears nothing below 3 dB in any band (from memory), ISO 226 from -6 dB on",
        ),
    ]


def _takes(n_trials: int) -> list[Row]:
    errors, held, moved = [], [], []
    for trial in range(n_trials):
        rng = np.random.default_rng([trial, 7])
        levels = {order: float(rng.uniform(-95.0, -65.0)) for order in (1, 2, 3, 5, 7, 10, 15)}
        measured = _measured(levels, 0.0, trial)
        for setting in _KNOWN:
            for name, truth in _truths(levels, setting).items():
                row = measured[name, setting.name]
                errors.append(row.value - truth)
                held.append(row.low <= truth <= row.high)
        if trial == 0:
            other = _measured(levels, -9.0, trial)
            moved = [abs(other[place].value - row.value) for place, row in measured.items()]
    worst, share = float(np.max(np.abs(errors))), float(np.mean(held))
    condition = "direct and through, 8 s quiet, hum of 7 wandering lines -95 to -65 dBFS over -93 dBFS of hiss"
    return [
        Row(
            figure="margin of hum, of hiss and of the whole: largest error",
            condition=condition,
            reached=worst,
            target=0.5,
            unit="dB",
            n=len(errors),
            passed=worst <= 0.5,
        ),
        Row(
            figure="truth inside the measurement's own 95 % interval",
            condition=condition,
            reached=share,
            target=0.85,
            unit="1",
            n=len(held),
            passed=share >= 0.85,
            note="sound pressure taken as known",
        ),
        Row(
            figure="margins moved by the recorder's gain",
            condition="all levels 9 dB lower, other noise",
            reached=float(np.max(moved)),
            target=0.5,
            unit="dB",
            n=len(moved),
            passed=float(np.max(moved)) <= 0.5,
            note="what is left is the scatter of the noise",
        ),
    ]


def _measured(levels: dict[int, float], recorder_gain_db: float, trial: int):
    """Return the left channel's margins through the device by quantity and setting."""
    with tempfile.TemporaryDirectory() as folder:
        requests = []
        for role, lines in (("direct", {1: -110.0}), ("through", levels)):
            path = str(Path(folder) / f"{role}.wav")
            model = _path({order: level + recorder_gain_db for order, level in lines.items()}, recorder_gain_db)
            seed = 100 * trial + (role == "through") + 10 * (recorder_gain_db != 0)
            simulate_take(layout("silence", "short"), path=model, seed=seed, lead_s=0.8).write(path)
            requests.append(TakeRequest(path=path, role=role, device="Alder" if role == "through" else None))
        settings = MeasuringSettings(mains_hz=50.0, listening=_KNOWN)
        results = compare_files(requests, settings, bench_name="audibility").results
    return {
        (row.quantity, row.listening): row
        for row in results.measures
        if row.role == "through" and row.channel == "left" and row.listening and row.bound is None
    }


def _path(lines_dbfs: dict[int, float], recorder_gain_db: float) -> PathModel:
    channel = ChannelPath(gain_db=_SOURCE_GAIN_DB + recorder_gain_db)
    return PathModel(
        player=Crystal(ppm=11.0),
        recorder_clock=Crystal(ppm=-23.0),
        linear=LinearPath(left=channel, right=channel),
        mains=Mains(frequency_hz=50.02, wander_mhz=20.0),
        hum=(Hum(amplitudes=harmonics(lines_dbfs, phase_seed=3), modulation=0.02, modulation_hz=0.2),),
        hiss=(Hiss.both(_HISS_DBFS + recorder_gain_db),),
    )


def _truths(levels: dict[int, float], setting) -> dict[str, float]:
    ear = ear_for(setting.field)
    hz = np.array([50.02 * order for order in levels])
    hum = ear.tones(hz, np.array(list(levels.values())) - _SOURCE_GAIN_DB)
    # The track's own dither (24 bit) is far below.
    bands, per_hz = white(_HISS_DBFS - _SOURCE_GAIN_DB - 10 * np.log10(_HISS_BAND_HZ))
    hiss = ear.noise(bands, per_hz)
    return {
        "audible_margin_hum": excess(setting, tones=hum, around=hiss)[0],
        "audible_margin_hiss": excess(setting, noise=hiss)[0],
        "audible_margin": excess(setting, tones=hum, noise=hiss)[0],
    }
