"""Families of lines: errors of level and frequency beside their bounds and targets, and families wrongly found."""

from __future__ import annotations

import numpy as np

from humcheck.estimates.lines import fit_lines
from tests.benchmarks.table import Row
from tests.line_sections import Comb, harmonics, quiet_section

_RATE_HZ = 4800.0


def run(quick: bool) -> list[Row]:
    rows = [*_one_line(20 if quick else 150)]
    for field_hz in (59.94006, 60.0988):
        for duration_s, target_db in ((10.0, 0.02), (20.0, 0.01)):
            rows += _two_families(field_hz, duration_s, target_db, 8 if quick else 50)
    rows.append(_presence(5 if quick else 50))
    return rows


def _level_db(mean_square: float) -> float:
    return float(10 * np.log10(2 * max(mean_square, 1e-30)))


def _one_line(n: int) -> list[Row]:
    """Level of one hum line of a comb that is otherwise strong: 10 s over -90 dBFS noise."""
    rows = []
    for level_dbfs in (-80.0, -110.0):
        rng = np.random.default_rng(int(-level_dbfs))
        errors = []
        for _ in range(n):
            comb = Comb(50.0, {1: -75.0, 2: -80.0, 3: level_dbfs, 5: -78.0}, wander_hz=0.02)
            samples, _ = quiet_section(10, [comb], rng, rate_hz=48000.0)
            (hum,) = fit_lines(samples, 48000.0, mains_hz=50.0).of_kind("mains")
            errors.append(_level_db(hum.mean_square[hum.harmonics.index(3), 0]) - level_dbfs)
        # Cramer-Rao: 8.69 s sqrt(2 / N) / A, noise s in the whole band.
        bound_db = 8.6859 * 10 ** ((-90 - level_dbfs) / 20) / np.sqrt(10 * 48000.0)
        reached = float(np.sqrt(np.mean(np.square(errors))))
        rows.append(
            Row(
                figure="level of one hum line, RMS error",
                condition=f"{level_dbfs:.0f} dBFS, 10 s, noise -90 dBFS",
                reached=reached,
                target=1.3 * bound_db,
                unit="dB",
                n=n,
                passed=reached <= 1.3 * bound_db,
                note=f"bound {bound_db:.4f} dB",
            )
        )
    return rows


def _two_families(field_hz: float, duration_s: float, target_db: float, n: int) -> list[Row]:
    rng = np.random.default_rng(int(duration_s))
    errors, wrong = [], 0
    for _ in range(n):
        mains = Comb(60.0, harmonics(range(1, 11), rng), wander_hz=0.02)
        picture = Comb(field_hz, harmonics(range(1, 21), rng))
        samples, (mean_hz, _) = quiet_section(duration_s, [mains, picture], rng, rate_hz=_RATE_HZ)
        estimate = fit_lines(samples, _RATE_HZ, mains_hz=60.0)
        if sorted(family.kind for family in estimate.families) != ["field", "mains"]:
            wrong += 1
            continue
        (hum,), (buzz,) = estimate.of_kind("mains"), estimate.of_kind("field")
        errors.append(
            (
                _level_db(hum.power[0]) - mains.total_dbfs,
                _level_db(buzz.power[0]) - picture.total_dbfs,
                1e3 * (buzz.fundamental_hz - field_hz),
                1e3 * (hum.fundamental_hz - mean_hz),
                1e3 * buzz.fundamental_sd_hz,
            )
        )
    table = np.array(errors)
    rms = np.sqrt(np.mean(table**2, axis=0))
    where = f"mains 60 Hz, 20 mHz in 30 s, beside {field_hz:.4f} Hz, {duration_s:.0f} s, lines -80...-110 dBFS"
    common = {"condition": where, "n": n}
    return [
        Row(figure="hum level", reached=rms[0], target=target_db, unit="dB", passed=rms[0] <= target_db, **common),
        Row(figure="buzz level", reached=rms[1], target=target_db, unit="dB", passed=rms[1] <= target_db, **common),
        Row(
            figure="field rate",
            reached=rms[2],
            target=1.5 * rms[4],
            unit="mHz",
            passed=rms[2] <= 1.5 * rms[4],
            note="target: 1.5 times the bound that the fit states",
            **common,
        ),
        Row(figure="mains frequency", reached=rms[3], target=1.0, unit="mHz", passed=rms[3] <= 1.0, **common),
        Row(figure="families wrongly found", reached=wrong, target=0, unit="", passed=wrong == 0, **common),
    ]


def _presence(n: int) -> Row:
    rng = np.random.default_rng(77)
    wrong = 0
    for truth in ((), ("mains",), ("field",), ("field", "mains")):
        for _ in range(n):
            field_hz = float(rng.choice([59.94006, 60.0988]))
            combs = []
            if "mains" in truth:
                combs.append(Comb(60.0, harmonics(range(1, 11), rng, -130, -110), wander_hz=0.02))
            if "field" in truth:
                combs.append(Comb(field_hz, harmonics(range(1, 21), rng, -130, -110)))
            samples, _ = quiet_section(10, combs, rng, rate_hz=_RATE_HZ)
            found = fit_lines(samples, _RATE_HZ, mains_hz=60.0).families
            wrong += tuple(sorted(family.kind for family in found)) != truth
    return Row(
        figure="which families are there: errors",
        condition="none, mains, picture, both; 10 s, lines -110...-130 dBFS",
        reached=wrong,
        target=0,
        unit="",
        n=4 * n,
        passed=wrong == 0,
    )
