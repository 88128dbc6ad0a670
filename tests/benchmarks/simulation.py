"""How exact and how fast the simulated path is: every other table rests on it."""

from __future__ import annotations

import time

import numpy as np

from humcheck.simulation import (
    TIMING_312,
    ChannelPath,
    Crystal,
    Hiss,
    Hum,
    LinearPath,
    PathModel,
    Picture,
    PictureLeak,
    ground_loop,
    simulate_take,
)
from humcheck.simulation.warp import warp
from humcheck.tracks.layouts import layout
from tests.benchmarks.table import Row

RATE_HZ = 48000


def run(quick: bool) -> list[Row]:
    """Return the table."""
    rows = [_warp_error(share, ppm) for share in (0.02, 0.45, 0.49) for ppm in (30.0, 300.0)]
    return [*rows, *_costs("short" if quick else "standard")]


def _warp_error(share: float, ppm: float) -> Row:
    index = np.arange(200_000)
    positions = 1000.37 + np.arange(190_000) * (1 + ppm * 1e-6) + 0.3 * np.sin(np.arange(190_000) / 40_000)
    read = warp(np.sin(2 * np.pi * share * index)[:, np.newaxis], positions)[2000:-12_000, 0]
    error = read - np.sin(2 * np.pi * share * positions)[2000:-12_000]
    reached = float(20 * np.log10(np.sqrt(2 * np.mean(error**2))))
    condition = f"sine at {share} of the rate, {ppm:.0f} ppm and a wandering clock"
    return Row(
        figure="error of reading between samples",
        condition=condition,
        reached=reached,
        target=-150.0,
        unit="dB re sine",
        n=1,
        passed=reached <= -150.0,
    )


def _costs(length: str) -> list[Row]:
    track = layout("full", length)
    channel = ChannelPath(gain_db=-3.0, low_corners_hz=(5.0,), high_corners_hz=(40e3,))
    busy = PathModel(
        player=Crystal(ppm=30.0, walk_ppm=0.3),
        recorder_clock=Crystal(ppm=-25.0, walk_ppm=0.3),
        linear=LinearPath(left=channel, right=channel),
        hum=(Hum(amplitudes=ground_loop(-70.0)),),
        picture=Picture.plain("white", TIMING_312, PictureLeak(level_dbfs_at_1k=-90.0)),
        hiss=(Hiss.both(-90.0),),
    )
    simulate_take(track, path=busy)  # renders the track, which is kept
    began = time.process_time()
    simulate_take(track, path=busy, seed=1)
    take_s = time.process_time() - began
    n = int(95 * RATE_HZ)
    samples = np.random.default_rng(1).standard_normal((n, 2))
    positions = 0.3 + np.arange(n) * (1 + 55e-6)
    began = time.process_time()
    warp(samples, positions)
    warp_s = time.process_time() - began
    # A target in seconds is one machine's; the goal is that simulating costs a few hundredths of the take's length.
    return [
        Row(
            figure="processor time of a warp",
            condition="95 s, two channels, 55 ppm",
            reached=warp_s,
            target=3.0,
            unit="s",
            n=1,
            passed=warp_s <= 3.0,
        ),
        Row(
            figure="processor time of a take",
            condition=f"{length} full track, {track.duration_s:.0f} s, filters, hum, picture, hiss",
            reached=take_s,
            target=0.05 * track.duration_s,
            unit="s",
            n=1,
            passed=take_s <= 0.05 * track.duration_s,
        ),
    ]
