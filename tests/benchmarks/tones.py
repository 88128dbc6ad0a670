"""Accuracy of tones: level, gain, frequency, floors of distortion and intermodulation, against bounds and targets."""

from __future__ import annotations

import time

import numpy as np

from humcheck.audio.levels import dbfs_to_amplitude, dbfs_to_rms
from humcheck.comparison.tones import gain_changes
from humcheck.estimates.tones import fit_tones, measure_tones
from humcheck.estimates.tones.distortion import difference_distortion, smpte_distortion, tone_distortion
from humcheck.results.rows import Key
from humcheck.simulation import ChannelPath, Hiss, Hum, LinearPath, Polynomial, ground_loop
from tests.benchmarks.table import Row
from tests.tone_takes import LaidTake, simulate_tones

RATE_HZ = 48000
TONE_HZ = 997.0
TWO_PI = 2.0 * np.pi
NOISE_DBFS = -90.0
#: Channels of one simulated section: the same sound, noise of their own.
N_CHANNELS = 8


def run(quick: bool) -> list[Row]:
    """Return all rows; `quick` for fewer trials."""
    n_draws = 20 if quick else 200
    return [
        *(_level_row(level_dbfs, target_db, n_draws) for level_dbfs, target_db in ((-80.0, 0.004), (-110.0, 0.13))),
        *(_level_against_bound(snr_db, n_draws) for snr_db in ((0, 100) if quick else (0, 20, 40, 60, 80, 100))),
        _level_beside_a_line(n_draws),
        *(_frequency_against_bound(snr_db, n_draws) for snr_db in ((60,) if quick else (0, 20, 40, 60, 80, 100))),
        *_floor_rows(3 if quick else 30),
        _line_at_1_khz_row(3 if quick else 40),
        *_take_rows(1 if quick else 6),
    ]


def _hum(time_s: np.ndarray, rng: np.random.Generator, n_harmonics: int = 19) -> np.ndarray:
    """Hum of -57 dBFS and its harmonics on wandering mains, and a constant."""
    walk_hz = np.cumsum(rng.standard_normal(len(time_s))) * 0.02 / np.sqrt(30.0 * RATE_HZ)
    cycles = np.cumsum(50.0 + walk_hz) / RATE_HZ
    orders = range(1, n_harmonics + 1)
    return 0.01 + sum(
        dbfs_to_amplitude(-55.0 - 2.0 * k) * np.cos(TWO_PI * (k * cycles + rng.uniform())) for k in orders
    )


def _level_row(level_dbfs: float, target_db: float, n_draws: int) -> Row:
    """Level of one line, 10 s over white noise of -90 dBFS, frequency to be found: 1.3 times the bound is asked for."""
    rng = np.random.default_rng(int(-level_dbfs))
    n_samples, errors = 10 * RATE_HZ, []
    time_s = np.arange(n_samples) / RATE_HZ
    for _ in range(max(n_draws // 10, 2)):
        line = dbfs_to_amplitude(level_dbfs) * np.cos(TWO_PI * 61.7 * time_s + rng.uniform(0.0, TWO_PI))
        noise = dbfs_to_rms(NOISE_DBFS) * rng.standard_normal((n_samples, 10))
        fit = fit_tones(line[:, None] + noise, RATE_HZ, 61.7, order=1)
        errors.append(fit.level_dbfs[0] - level_dbfs)
    reached = float(np.sqrt(np.mean(np.square(errors))))
    return Row(
        figure="level error of one line",
        condition=f"{level_dbfs:.0f} dBFS, 10 s, noise {NOISE_DBFS:.0f} dBFS",
        reached=reached,
        target=1.3 * target_db,
        unit="dB RMS",
        n=10 * len(errors),
        passed=reached <= 1.3 * target_db,
        note=f"bound {target_db} dB; target 1.3 times that",
    )


def _level_against_bound(snr_db: int, n_draws: int) -> Row:
    rng = np.random.default_rng(snr_db + 1000)
    n_samples = 2 * RATE_HZ
    time_s = np.arange(n_samples) / RATE_HZ
    tone = 0.5 * np.cos(TWO_PI * TONE_HZ * time_s) + 0.005 * np.cos(2.0 * TWO_PI * TONE_HZ * time_s) + _hum(time_s, rng)
    noise_rms = 0.5 / np.sqrt(2.0) * 10.0 ** (-snr_db / 20.0)
    errors = []
    for _ in range(max(n_draws // 20, 2)):
        fit = fit_tones(tone[:, None] + noise_rms * rng.standard_normal((n_samples, 20)), RATE_HZ, TONE_HZ)
        errors.append(fit.level_dbfs[0] - 20.0 * np.log10(0.5))
    bound_db = 20.0 / np.log(10.0) / np.sqrt(10.0 ** (snr_db / 10.0) * n_samples)
    ratio = float(np.sqrt(np.mean(np.square(errors))) / bound_db)
    condition = f"SNR {snr_db} dB, 2 s, with hum, a harmonic and an offset"
    return _ratio_row("level error over Cramer-Rao bound", condition, ratio, 20 * len(errors))


def _level_beside_a_line(n_draws: int) -> Row:
    """Return the level error where the mains' 20th harmonic, -95 dBFS, stands 3 Hz beside a tone of -6 dBFS."""
    rng = np.random.default_rng(3000)
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    errors = []
    for _ in range(max(n_draws // 4, 5)):
        tone = 0.5 * np.cos(TWO_PI * TONE_HZ * time_s + rng.uniform(0.0, TWO_PI)) + _hum(time_s, rng, n_harmonics=24)
        fit = fit_tones(tone[:, None] + 1e-6 * rng.standard_normal((len(time_s), 1)), RATE_HZ, TONE_HZ)
        errors.append(fit.level_dbfs[0, 0] - 20.0 * np.log10(0.5))
    reached = float(np.sqrt(np.mean(np.square(errors))))
    condition = "hum line of -95 dBFS 3 Hz beside a tone of -6 dBFS, 2 s"
    figure, target = "level error beside a line", 1e-4
    return Row(figure=figure, condition=condition, reached=reached, target=target, unit="dB RMS", n=len(errors),
               passed=reached <= target)  # fmt: skip


def _frequency_against_bound(snr_db: int, n_draws: int) -> Row:
    rng = np.random.default_rng(snr_db + 2000)
    n_samples, errors = 2 * RATE_HZ, []
    time_s = np.arange(n_samples) / RATE_HZ
    disturbed = _hum(time_s, rng)
    noise_rms = 0.5 / np.sqrt(2.0) * 10.0 ** (-snr_db / 20.0)
    for _ in range(n_draws):
        true_hz = TONE_HZ + rng.uniform(-0.3, 0.3)
        tone = 0.5 * np.cos(TWO_PI * true_hz * time_s + rng.uniform(0.0, TWO_PI))
        sound = tone + disturbed + noise_rms * rng.standard_normal(n_samples)
        errors.append(fit_tones(sound[:, None], RATE_HZ, TONE_HZ).received_hz[0] - true_hz)
    snr = 10.0 ** (snr_db / 10.0)
    bound_hz = np.sqrt(12.0 * RATE_HZ**2 / (TWO_PI**2 * snr * n_samples * (n_samples**2 - 1.0)))
    ratio = float(np.sqrt(np.mean(np.square(errors))) / bound_hz)
    condition = f"SNR {snr_db} dB, 2 s, with hum and an offset"
    return _ratio_row("frequency error over Cramer-Rao bound", condition, ratio, n_draws)


def _ratio_row(figure: str, condition: str, ratio: float, n: int) -> Row:
    return Row(figure=figure, condition=condition, reached=ratio, target=1.3, unit="1", n=n, passed=ratio <= 1.3)


def _floor_rows(n_trials: int) -> list[Row]:
    """What distortion reads where there is none, before noise is taken off: 1.5 dB above the noise in it is allowed."""
    rng = np.random.default_rng(77)
    shares: dict[str, list[float]] = {"thd": [], "imd_smpte": [], "imd_difference": []}
    for _ in range(n_trials):
        thd = tone_distortion(_dirty(rng, (TONE_HZ,), (0.89,), 2.75), RATE_HZ, TONE_HZ).harmonics
        smpte = smpte_distortion(_dirty(rng, (60.0, 7000.0), (0.71, 0.18), 1.75), RATE_HZ, (60.0, 7000.0)).products
        pair = _dirty(rng, (19000.0, 20000.0), (0.44, 0.44), 1.75, with_products=False)
        difference = difference_distortion(pair, RATE_HZ, (19000.0, 20000.0)).products
        for name, products in (("thd", thd), ("imd_smpte", smpte), ("imd_difference", difference)):
            shares[name] += np.sum(np.abs(products.share) ** 2, axis=0).tolist()
    return [
        _floor_row("thd", shares["thd"], 9, 2.75, 0.89, "lines of -100 dBFS at multiples of 1 kHz"),
        _floor_row("imd_smpte", shares["imd_smpte"], 4, 1.75, 0.18, "lines of -100 dBFS at multiples of 1 kHz"),
        _floor_row("imd_difference", shares["imd_difference"], 3, 1.75, 0.88, "no line at 1, 18 or 21 kHz"),
    ]


def _floor_row(name: str, shares: list[float], n_products: int, seconds: float, reference: float, lines: str) -> Row:
    # A complex amplitude has the variance 4 s^2 / N at the bound.
    bound = n_products * 4.0 * dbfs_to_rms(NOISE_DBFS) ** 2 / (seconds * RATE_HZ) / reference**2
    reached, target = 10.0 * np.log10(np.mean(shares)), 10.0 * np.log10(bound) + 1.5
    condition = f"noise -90 dBFS, hum -57 dBFS, clock 50 ppm off, {lines}"
    return Row(figure=f"{name} floor", condition=condition, reached=float(reached), target=float(target), unit="dB",
               n=len(shares), passed=bool(reached <= target), note="target: noise at the bound + 1.5 dB")  # fmt: skip


def _line_at_1_khz_row(n_trials: int) -> Row:
    """How often a line of the bench at 1 kHz is called intermodulation, the quiet section being known."""
    rng = np.random.default_rng(78)
    wrong = 0
    for _ in range(n_trials):
        pair, quiet = (_dirty(rng, (19000.0, 20000.0), (level, level), 1.0) for level in (0.44, 0.0))
        found = difference_distortion(pair, RATE_HZ, (19000.0, 20000.0), background=quiet).products
        wrong += sum(not found.total(index).hidden for index in range(N_CHANNELS))
    share = wrong / (n_trials * N_CHANNELS)
    condition = "lines of -100 dBFS at 1, 18 and 21 kHz, seen in the quiet section too"
    return Row(figure="bench lines called intermodulation", condition=condition, reached=share, target=0.05,
               unit="share of channels", n=n_trials * N_CHANNELS, passed=share <= 0.05)  # fmt: skip


def _dirty(
    rng: np.random.Generator,
    frequency_hz: tuple[float, ...],
    amplitude: tuple[float, ...],
    seconds: float,
    with_products: bool = True,
) -> np.ndarray:
    time_s = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    sound = _hum(time_s, rng)
    orders = [order for order in range(1, 23) if with_products or order not in (1, 18, 21)]
    for order in orders:
        sound += dbfs_to_amplitude(-100.0) * np.cos(TWO_PI * (1000.03 * order * time_s + rng.uniform()))
    for frequency, peak in zip(frequency_hz, amplitude, strict=True):
        sound += peak * np.cos(TWO_PI * frequency * (1.0 + 50e-6) * time_s + rng.uniform(0.0, TWO_PI))
    return sound[:, None] + dbfs_to_rms(NOISE_DBFS) * rng.standard_normal((len(time_s), N_CHANNELS))


def _seconds_of(take: LaidTake) -> float:
    start = time.process_time()
    measure_tones(take)
    return time.process_time() - start


def _take_rows(n_pairs: int) -> list[Row]:
    """Whole simulated takes, wandering clocks, hum of -60 dBFS: gain, added distortion, time."""
    gains, thds, seconds = [], [], []
    curve = Polynomial(coefficients=(1e-3, 5e-4))
    for seed in range(n_pairs):
        noise = {"hiss": (Hiss.both(NOISE_DBFS),), "hum": (Hum(amplitudes=ground_loop(-60.0)),)}
        path = LinearPath(left=ChannelPath(gain_db=-0.8279), right=ChannelPath(gain_db=-0.0864))
        direct, _ = simulate_tones(seed=100 + seed, **noise)
        through, truth = simulate_tones(seed=200 + seed, linear=path, **noise)
        bent, bent_truth = simulate_tones(seed=300 + seed, linear=path, distortion=curve, **noise)
        measured = [measure_tones(direct), measure_tones(through)]
        key = Key(subject="Alder", role="through", quantity="gain")
        changes = gain_changes([measured[1]], [measured[0]], key)
        gains += [change.value - expected for change, expected in zip(changes, truth.gain_db, strict=True)]
        tones = measure_tones(bent)
        seconds.append(min(_seconds_of(bent) for _ in range(3)))
        read = [100.0 * np.sqrt(tones.full_scale.harmonics.total(index).power) for index in range(2)]
        thds += [value / expected - 1.0 for value, expected in zip(read, bent_truth.thd_percent(-1.001), strict=True)]
    gain_db, thd_share = float(np.sqrt(np.mean(np.square(gains)))), float(np.sqrt(np.mean(np.square(thds))))
    condition = "simulated takes, wandering clocks, noise -90 dBFS, hum -60 dBFS"
    return [
        Row(figure="gain error", condition=condition, reached=gain_db, target=1e-4, unit="dB RMS", n=len(gains),
            passed=gain_db <= 1e-4),
        Row(figure="thd error", condition=condition + ", 0.05 %", reached=100.0 * thd_share, target=1.0,
            unit="% of the value", n=len(thds), passed=thd_share <= 0.01),
        Row(figure="time for all tones of a take", condition="48 kHz, 34 s of sections, processor time, best of 3",
            reached=float(np.median(seconds)), target=0.15, unit="s", n=len(seconds),
            passed=float(np.median(seconds)) <= 0.15),
    ]  # fmt: skip
