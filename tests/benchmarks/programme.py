"""How deep the null of two takes of programme material is, against what the noise of the two takes allows."""

from __future__ import annotations

import numpy as np

from humcheck.estimates.programme import fit_programme
from humcheck.takes.programme import align_programme
from tests.benchmarks.table import Row
from tests.programme_material import music, recorded

RATE_HZ = 48000
TARGET_DB = 0.5
DRIFT_TARGET_PPM = 1e-3
_GAIN = 0.9
_CORNER_HZ = 15.0
_SCORED_MARGIN = 8192


def run(quick: bool) -> list[Row]:
    """Return the table."""
    rows = []
    for noise_dbfs, seconds in ((-80.0, 12),) if quick else ((-70.0, 20), (-80.0, 20), (-90.0, 20), (-90.0, 60)):
        trials = [_trial(seed, noise_dbfs, seconds) for seed in range(1 if quick else 5)]
        over_db, drift_ppm = (np.array(values) for values in zip(*trials, strict=True))
        condition = f"music of {seconds} s, noise {noise_dbfs:.0f} dBFS in both, 15 Hz high-pass between, 140 ppm"
        rows.append(
            _row("null over what noise allows, worst", condition, np.abs(over_db).max(), TARGET_DB, "dB", trials)
        )
        rms_ppm = float(np.sqrt(np.mean(drift_ppm**2)))
        rows.append(_row("drift of programme takes, RMS error", condition, rms_ppm, DRIFT_TARGET_PPM, "ppm", trials))
    return rows


def _trial(seed: int, noise_dbfs: float, seconds: int) -> tuple[float, float]:
    """Return by how much the null lies above the takes' noise, in dB, and the error of the drift in ppm."""
    rng = np.random.default_rng([seed, int(-noise_dbfs), seconds])
    material = music(seconds * RATE_HZ, RATE_HZ, rng)
    direct = recorded(material, lead_samples=rng.uniform(100, 9000), rng=rng, noise_dbfs=-200)
    through = recorded(material, lead_samples=rng.uniform(100, 9000), rng=rng, noise_dbfs=-200, slope=140e-6)
    through = _coupled(through)
    scored = direct[len(direct) // 2 + _SCORED_MARGIN : -_SCORED_MARGIN, 0]
    weight = np.hanning(len(scored)) ** 2
    power = np.sum(weight * scored**2) / np.sum(weight)
    direct, through = (take + _white(len(take), noise_dbfs, rng) for take in (direct, through))
    fit = fit_programme(direct[:, 0], through[:, 0], RATE_HZ, align_programme(direct, through, RATE_HZ))
    # The direct take's noise passes the filter, the other's does not; 20 Hz-20 kHz of 24 kHz count.
    noise = 10 ** (noise_dbfs / 10) / 2 * (1 + _GAIN**2) * (19980 / 24000)
    return fit.residual_db - 10 * np.log10(noise / power), fit.drift_ppm - 140.0


def _coupled(samples: np.ndarray) -> np.ndarray:
    """Pass through a gain and a first-order high-pass, exactly, on the spectrum."""
    n = len(samples) + RATE_HZ
    s = 2j * np.pi * np.fft.rfftfreq(n, 1 / RATE_HZ)
    response = _GAIN * s / (s + 2 * np.pi * _CORNER_HZ)
    return np.fft.irfft(np.fft.rfft(samples[:, 0], n) * response, n)[: len(samples), np.newaxis]


def _white(n: int, noise_dbfs: float, rng: np.random.Generator) -> np.ndarray:
    return rng.normal(0.0, 10 ** (noise_dbfs / 20) / np.sqrt(2), (n, 1))


def _row(figure: str, condition: str, reached: float, target: float, unit: str, trials: list) -> Row:
    return Row(
        figure=figure,
        condition=condition,
        reached=reached,
        target=target,
        unit=unit,
        n=len(trials),
        passed=reached <= target,
    )
