"""Families of lines: levels, rates and presence beside their bounds and targets, and what the unmodelled costs.

Mains have orders 1-10 and pictures 1-20, each line of a random level within the range that a row names, over white
noise of -90 dBFS in 0-24 kHz. "Wander" is the standard deviation of the frequency's change in 30 s.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Sequence

import numpy as np

from humcheck.estimates.lines import FamilyEstimate, LineEstimate, fit_lines
from tests.benchmarks.table import Row, judged
from tests.line_sections import Comb, harmonics, quiet_section

_RATE_HZ = 4800.0
_NOISE_DBFS, _NOISE_TO_HZ = -90.0, 24_000.0
_MAINS_HZ = 60.0
_PICTURES_HZ = (59.94006, 60.0988)
#: Mains, picture, wander of the mains: rates that only the wander tells apart.
_SAME_RATES = (
    (50.0, 50.0, 0.02),
    (50.0, 50.007, 0.02),
    (50.0, 50.0, 0.005),
    (50.0, 50.007, 0.005),
    (60.0, 60.0, 0.02),
)
_RANGES_DBFS = ((-110, -80), (-120, -100), (-130, -110), (-135, -120))
#: What is asked of levels from -80 to -110 dBFS by length in seconds; elsewhere 1.5 times the bound.
_LEVEL_TARGETS_DB = {10: 0.02, 20: 0.01, 30: 0.01, 60: 0.01}


def run(quick: bool) -> list[Row]:
    """Return the table's rows; progress goes to standard error."""
    rows: list[Row] = []
    began = time.process_time()
    for part in _parts(quick):
        rows += part
        print(f"lines: {len(rows)} rows, {time.process_time() - began:.0f} s", file=sys.stderr)
    return rows


def _parts(quick: bool) -> Iterator[list[Row]]:
    yield _one_line(4 if quick else 60)
    for lowest, highest in _RANGES_DBFS[:1] if quick else _RANGES_DBFS:
        for duration_s in (10,) if quick else (10, 20, 30, 60):
            often = highest == -80 and duration_s < 30
            yield _two_families(duration_s, lowest, highest, 6 if quick else 48 if often else 12)
    for lowest, highest in _RANGES_DBFS[2:3] if quick else _RANGES_DBFS:
        yield _presence(lowest, highest, _PICTURES_HZ, 4 if quick else 50)
    if not quick:
        yield _presence(-110, -80, (_MAINS_HZ,), 50)
    for mains_hz, field_hz, wander_hz in _SAME_RATES[:1] if quick else _SAME_RATES:
        for duration_s in (20,) if quick else (10, 20, 30, 60):
            yield _same_rate(mains_hz, field_hz, wander_hz, duration_s, 3 if quick else 12)
    yield _unmodelled(2 if quick else 24)
    yield _lone_kinds(1 if quick else 10)
    yield _noise_alone(3 if quick else 50)


def _dbfs(mean_square: float) -> float:
    return float(10 * np.log10(2 * max(mean_square, 1e-30)))


def _rms(errors: Sequence[float]) -> float:
    return float(np.sqrt(np.mean(np.square(errors)))) if len(errors) else 0.0


def _by_chance(n: int) -> float:
    """Return the factor by which an RMS of n errors exceeds the true one by chance in 2 % of runs."""
    return float(1 + 2 / np.sqrt(2 * max(n, 1)))


def _mains(
    rng: np.random.Generator, lowest: float, highest: float, hz: float = _MAINS_HZ, wander_hz: float = 0.02
) -> Comb:
    return Comb(hz, harmonics(range(1, 11), rng, lowest, highest), wander_hz=wander_hz)


def _picture(rng: np.random.Generator, hz: float, lowest: float = -110.0, highest: float = -80.0) -> Comb:
    return Comb(hz, harmonics(range(1, 21), rng, lowest, highest))


def _section(duration_s: float, combs: Sequence[Comb], rng: np.random.Generator, **more: float) -> tuple:  # type: ignore[type-arg]
    return quiet_section(
        duration_s, combs, rng, **{"rate_hz": _RATE_HZ, "noise_dbfs": _NOISE_DBFS, "noise_to_hz": _NOISE_TO_HZ} | more
    )


def _only(families: Sequence[FamilyEstimate]) -> FamilyEstimate | None:
    return families[0] if len(families) == 1 else None


def _density() -> float:
    return float(10 ** (_NOISE_DBFS / 10) / 2 / _NOISE_TO_HZ)


def _level_bound_db(comb: Comb, duration_s: float) -> float:
    """Return the Cramer-Rao bound of a comb's level beside nothing else, its phases known."""
    return float(8.686 * np.sqrt(_density() / duration_s) / 10 ** (comb.total_dbfs / 20))


def _rate_bound_hz(comb: Comb, duration_s: float) -> float:
    """Return the Cramer-Rao bound of the fundamental of a comb alone (Rife and Boorstyn, summed over harmonics)."""
    steepness = sum(order**2 * 10 ** (level / 10) for order, level in comb.levels_dbfs.items())
    return float(np.sqrt(12 * _density() / ((2 * np.pi) ** 2 * steepness * duration_s**3)))


def _one_line(n: int) -> list[Row]:
    """Level of one hum line of a comb that is otherwise strong."""
    rows = []
    for level_dbfs in (-80.0, -110.0):
        rng = np.random.default_rng(int(-level_dbfs))
        errors = []
        for _ in range(n):
            comb = Comb(50.0, {1: -75.0, 2: -80.0, 3: level_dbfs, 5: -78.0}, wander_hz=0.02)
            samples, _ = _section(10, [comb], rng)
            (hum,) = fit_lines(samples, _RATE_HZ, mains_hz=50.0).of_kind("mains")
            errors.append(_dbfs(hum.mean_square[hum.harmonics.index(3), 0]) - level_dbfs)
        # 8.69 s sqrt(2 / N) / A, a lone sine's.
        bound_db = 8.686 * np.sqrt(_density() / 10) / 10 ** (level_dbfs / 20)
        condition = f"third harmonic at {level_dbfs:.0f} dBFS, 10 s"
        note = f"bound {bound_db:.4f} dB"
        target = float(1.3 * bound_db * _by_chance(n))
        rows.append(judged("level of one hum line, RMS error", condition, _rms(errors), target, "dB", n, note))
    return rows


def _two_families(duration_s: int, lowest: int, highest: int, n: int) -> list[Row]:
    errors: dict[str, list[float]] = {"hum": [], "buzz": [], "rate": [], "mains": []}
    bounds: dict[str, list[float]] = {"hum": [], "buzz": []}
    apart = 0
    for seed in range(n):
        rng = np.random.default_rng([duration_s, -lowest, seed])
        mains, picture = _mains(rng, lowest, highest), _picture(rng, _PICTURES_HZ[seed % 2], lowest, highest)
        samples, (mains_hz, _) = _section(duration_s, [mains, picture], rng)
        estimate = fit_lines(samples, _RATE_HZ)
        hum, buzz = _only(estimate.of_kind("mains")), _only(estimate.of_kind("field"))
        if hum is None or buzz is None:
            continue
        apart += 1
        for name, family, comb in (("hum", hum, mains), ("buzz", buzz, picture)):
            errors[name].append(_dbfs(family.power[0]) - comb.total_dbfs)
            bounds[name].append(_level_bound_db(comb, duration_s))
        errors["rate"].append((buzz.fundamental_hz - picture.fundamental_hz) / _rate_bound_hz(picture, duration_s))
        errors["mains"].append(1000 * (hum.fundamental_hz - mains_hz))
    condition = f"60 Hz wandering 20 mHz beside 59.94 or 60.0988 Hz, {lowest}...{highest} dBFS, {duration_s} s"
    note = f"{n - apart} of {n} not told apart" if apart < n else ""
    chance = _by_chance(apart)
    rows = []
    for name in ("hum", "buzz"):
        bound_db = _rms(bounds[name])
        target_db = _LEVEL_TARGETS_DB[duration_s] if highest == -80 else 1.5 * bound_db * chance
        notes = "; ".join(part for part in (f"bound {bound_db:.4f} dB", note) if part)
        rows.append(judged(f"{name} level, RMS error", condition, _rms(errors[name]), target_db, "dB", apart, notes))
    over = _rms(errors["rate"])
    rows.append(judged("field rate, RMS error over its bound", condition, over, 1.5 * chance, "1", apart, note))
    rows.append(judged("mean mains frequency, RMS error", condition, _rms(errors["mains"]), 1.0, "mHz", apart, note))
    return rows


def _presence(lowest: int, highest: int, fields_hz: Sequence[float], n: int) -> list[Row]:
    """Count wrong verdicts; mains that were not seen to wander may be left open, and are counted apart."""
    wrong, left_open, missed = 0, 0, 0
    for truth in ((), ("mains",), ("field",), ("field", "mains")):
        for seed in range(n):
            rng = np.random.default_rng([77, -lowest, len(truth), seed])
            field_hz = fields_hz[seed % len(fields_hz)]
            mains, picture = _mains(rng, lowest, highest), _picture(rng, field_hz, lowest, highest)
            combs = [comb for kind, comb in (("mains", mains), ("field", picture)) if kind in truth]
            samples, _ = _section(10, combs, rng)
            kinds = tuple(sorted(family.kind for family in fit_lines(samples, _RATE_HZ).families))
            if kinds == truth:
                continue
            # Mains or picture: right where mains are there, and where all that is there has the mains' own rate.
            one_or_both = truth == ("mains",) or (truth and field_hz == _MAINS_HZ)
            in_doubt = kinds == ("field", "mains_or_field") and truth == ("field", "mains")
            if in_doubt or (kinds == ("mains_or_field",) and one_or_both):
                left_open += 1
            else:
                wrong += 1
                missed += len(kinds) < len(truth)
    pictures = " or ".join(f"{field_hz:.6g}" for field_hz in fields_hz)
    condition = f"none, 60 Hz mains, {pictures} Hz picture, both; 10 s, {lowest}...{highest} dBFS"
    note = f"{missed} of them miss one; beside them {left_open} said to be mains or picture"
    return [judged("which families are there: wrong verdicts", condition, wrong, 0, "", 4 * n, note)]


def _same_rate(mains_hz: float, field_hz: float, wander_hz: float, duration_s: int, n: int) -> list[Row]:
    errors, doubts, sums = [], [], []
    for seed in range(n):
        rng = np.random.default_rng([int(1000 * field_hz), int(1000 * wander_hz), duration_s, seed])
        mains, picture = _mains(rng, -110, -80, mains_hz, wander_hz), _picture(rng, field_hz)
        samples, _ = _section(duration_s, [mains, picture], rng)
        estimate = fit_lines(samples, _RATE_HZ, mains_hz=mains_hz)
        hum, buzz = _only(estimate.of_kind("mains")), _only(estimate.of_kind("field"))
        if hum is not None and buzz is not None:
            for family, comb in ((hum, mains), (buzz, picture)):
                errors.append(_dbfs(family.power[0]) - comb.total_dbfs)
                doubts.append(4.343 * float(family.power_sd[0] / family.power[0]))
            continue
        there = float(np.mean(samples**2)) - _density() * _RATE_HZ / 2
        sums.append(_dbfs(sum(float(family.power[0]) for family in estimate.families)) - _dbfs(there))
    condition = f"{mains_hz:.0f} Hz wandering {1000 * wander_hz:.0f} mHz beside {field_hz:.3f} Hz, {duration_s} s"
    open_share = f"{len(sums)} of {n} said to be not separable"
    target_db = 0.05 if duration_s >= 20 else 0.3
    rows = [judged("levels told apart, RMS error", condition, _rms(errors), target_db, "dB", len(errors), open_share)]
    wrong = sum(abs(error) > max(0.1, 4 * doubt) for error, doubt in zip(errors, doubts, strict=True))
    note = "off by more than 0.1 dB and four standard uncertainties"
    rows.append(judged("wrong numbers", condition, wrong, 0, "", len(errors), note))
    if sums:
        rows.append(
            judged("level of the sum, RMS error", condition, _rms(sums), 0.2, "dB", len(sums), "re what is there")
        )
    return rows


def _unmodelled(n: int) -> list[Row]:
    """What the model lacks, one thing at a time: its cost in level, and families that are not there."""
    rows = []
    for name, change in _CHANGES.items():
        hum_db, buzz_db, wrong = [], [], 0
        for seed in range(n):
            rng = np.random.default_rng([88, seed])
            mains, picture = _mains(rng, -110, -80), _picture(rng, _PICTURES_HZ[seed % 2])
            combs, more = change(mains, picture, rng)
            samples, _ = _section(10, combs, rng, **more)
            estimate = fit_lines(samples, more.get("rate_hz", _RATE_HZ))
            kinds = [family.kind for family in estimate.families if family.kind not in ("other", "digital")]
            wrong += sorted(kinds) != ["field", "mains"]
            hum, buzz = _only(estimate.of_kind("mains")), _only(estimate.of_kind("field"))
            if hum is not None and buzz is not None:
                # A sine-shaped swell of depth m adds m^2 / 2 to the mean square.
                hum_db.append(_dbfs(hum.power[0] / (1 + combs[0].swell ** 2 / 2)) - combs[0].total_dbfs)
                buzz_db.append(_dbfs(buzz.power[0]) - picture.total_dbfs)
        condition = f"60 Hz beside 59.94 or 60.0988 Hz, -110...-80 dBFS, 10 s: {name}"
        rows += [
            judged("hum level, RMS error", condition, _rms(hum_db), 0.05, "dB", len(hum_db)),
            judged("buzz level, RMS error", condition, _rms(buzz_db), 0.05, "dB", len(buzz_db)),
            judged("families wrongly found or missed", condition, wrong, 0, "", n),
        ]
    return rows


def _swelling(depth: float):  # type: ignore[no-untyped-def]
    def change(mains: Comb, picture: Comb, rng: np.random.Generator):  # type: ignore[no-untyped-def]
        return [Comb(60.0, mains.levels_dbfs, wander_hz=0.02, swell=depth), picture], {}

    return change


def _with_bursts(mains: Comb, picture: Comb, rng: np.random.Generator):  # type: ignore[no-untyped-def]
    """Diodes that switch twice a period: even harmonics to the 40th, all in phase, beside the usual ones."""
    bursts = {order: -92.0 - 0.3 * order for order in range(2, 41, 2)}
    levels = mains.levels_dbfs | bursts
    return [Comb(60.0, levels, wander_hz=0.02, phases=dict.fromkeys(bursts, 0.3)), picture], {"rate_hz": 9600.0}


def _to_the_40th(mains: Comb, picture: Comb, rng: np.random.Generator):  # type: ignore[no-untyped-def]
    return [Comb(60.0, harmonics(range(1, 41), rng), wander_hz=0.02), picture], {"rate_hz": 9600.0}


def _walking_clock(mains: Comb, picture: Comb, rng: np.random.Generator):  # type: ignore[no-untyped-def]
    return [mains, Comb(picture.fundamental_hz, picture.levels_dbfs, walk_ppm=0.3)], {"jitter_s": 1e-8}


def _locked_sound(mains: Comb, picture: Comb, rng: np.random.Generator):  # type: ignore[no-untyped-def]
    """A game's sound driver, ticking with the picture: a note that pulses every four fields, 20 dB above the buzz."""
    quarter = {order: -80.0 - abs(order - 29) for order in range(17, 42) if order % 4}
    return [mains, picture, Comb(picture.fundamental_hz / 4, quarter)], {}


_CHANGES = {
    "as modelled": lambda mains, picture, rng: ([mains, picture], {}),
    "hum that swells by 3 %": _swelling(0.03),
    "hum that swells by 10 %": _swelling(0.10),
    "rectifier bursts": _with_bursts,
    "mains harmonics to the 40th": _to_the_40th,
    "picture's clock walks 0.3 ppm in a minute, 10 ns of jitter": _walking_clock,
    "game sound locked to the picture": _locked_sound,
}


def _lone_kinds(n: int) -> list[Row]:
    """Frame noise, switching supplies and the line rate with its sidebands each get a kind of their own."""
    wrong = 0
    for seed in range(n):
        rng = np.random.default_rng([99, seed])
        line_hz = 60.0 * 262 * (1 + 1e-6 * rng.normal(0, 50))
        link_hz = 1000.0 * (1 + 1e-6 * rng.normal(0, 50))
        mains = Comb(60.0, harmonics(range(1, 8), rng), wander_hz=0.02)
        line = Comb(line_hz * 1.00087, {1: -95.0})
        link = Comb(link_hz, {1: -105.0, 2: -112.0, 8: -100.0, 16: -108.0})
        supplies = [Comb(float(rng.uniform(3000, 14_000)), {1: -105.0}) for _ in range(2)]
        samples, _ = quiet_section(10, [mains, line, link, *supplies], rng, rate_hz=48_000.0)
        wrong += not _kinds_are_right(fit_lines(samples, 48_000.0, mains_hz=60.0), line, link, supplies)
    condition = "60 Hz mains, 1 and 8 kHz frame noise, two switching supplies, line rate; 48 kHz, 10 s"
    return [judged("sections with a line of the wrong kind", condition, wrong, 0, "", n)]


def _kinds_are_right(estimate: LineEstimate, line: Comb, link: Comb, supplies: Sequence[Comb]) -> bool:
    whistle, digital, other = (_only(estimate.of_kind(kind)) for kind in ("line_rate", "digital", "other"))
    if whistle is None or digital is None or other is None or not estimate.of_kind("mains"):
        return False
    found_hz = np.sort(other.frequency_hz)
    supplies_hz = np.sort([supply.fundamental_hz for supply in supplies])
    return bool(
        abs(_dbfs(whistle.power[0]) - line.total_dbfs) < 0.1
        and abs(_dbfs(digital.power[0]) - link.total_dbfs) < 0.2
        and found_hz.size == supplies_hz.size
        and np.abs(found_hz - supplies_hz).max() < 0.01
    )


def _noise_alone(n: int) -> list[Row]:
    rows = []
    for name, slope in (("white", 0.0), ("pink", 0.5), ("red", 1.0)):
        false = 0
        for seed in range(n):
            noise = np.random.default_rng([66, seed]).normal(0, 1e-5, (48_000, 2))
            spectrum = np.fft.rfft(noise, axis=0)
            spectrum /= np.maximum(np.arange(len(spectrum)), 20.0)[:, np.newaxis] ** slope
            shaped = np.fft.irfft(spectrum, axis=0)
            false += bool(fit_lines(1e-5 * shaped / shaped.std(), _RATE_HZ).families)
        rows.append(judged("families found in noise", f"{name}, stereo, 10 s", false, 0, "", n))
    return rows
