"""Bands of a response: does the 95 % band of few takes hold the truth, and how wide is it?

Responses are drawn as numbers: noise of each point, the level of the whole take, a tilt that follows a cable's plug.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from humcheck.comparison.intervals import Estimate
from humcheck.comparison.response_delta import compare_levels
from humcheck.estimates.sweeps import FREQUENCIES_HZ, REFERENCE_HZ, ResponseEstimate
from tests.benchmarks.table import Row, judged
from tests.estimates.made_responses import made_response

_OCTAVES = np.log2(FREQUENCIES_HZ / REFERENCE_HZ)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """How responses scatter from take to take, and how many there are.

    Attributes
    ----------
    takes : tuple of int
        Through and direct.
    others : int
        Further uses with two takes each.
    level_db, tilt_db, ripple_db : float
        Standard deviations of the level, of a straight line over octaves at five octaves from 997 Hz, and of a curve
        with a knot every third of an octave.
    """

    takes: tuple[int, int] = (2, 2)
    others: int = 0
    level_db: float = 0.0
    tilt_db: float = 0.0
    ripple_db: float = 0.0


NOISE = 1e-3
BENCHES = {
    "two takes a side, noise": Bench(),
    "two takes a side, levels 0.05 dB": Bench(level_db=0.05),
    "one through, two direct, noise": Bench(takes=(1, 2)),
    "one through, two direct, levels 0.05 dB, other uses": Bench(takes=(1, 2), others=6, level_db=0.05),
    "one through, two direct, tilt 0.05 dB, other uses": Bench(takes=(1, 2), others=6, tilt_db=0.05),
    "three takes a side, tilt 0.05 dB": Bench(takes=(3, 3), tilt_db=0.05),
    "not modelled: three a side, ripple 0.03 dB": Bench(takes=(3, 3), ripple_db=0.03),
}


def run(quick: bool) -> list[Row]:
    """Return the table, for levels with the gain's own scatter known as a whole bench knows it, and for shapes."""
    n_benches = 10 if quick else 300
    table = []
    for name, bench in BENCHES.items():
        for shape in (False, True):
            covered, width = held(bench, n_benches, shape=shape, seed=2026)
            what = "shape" if shape else "response"
            error = 100 * float(np.std(covered) / np.sqrt(n_benches))
            table.append(
                Row(
                    figure=f"band of the {what} holds the truth",
                    condition=name,
                    reached=100 * float(np.mean(covered)),
                    target=94.0,
                    unit="%",
                    n=n_benches,
                    passed=100 * float(np.mean(covered)) >= 94.0 - 3 * error,
                    note=f"at least; ± {error:.2f} %",
                )
            )
            table.append(judged(f"width of the {what}'s band over ideal width", name, width, 2.0, "", n_benches))
    return table


def held(bench: Bench, n_benches: int, *, shape: bool, seed: int) -> tuple[list[float], float]:
    """Return the share of points inside in each bench, and the mean width over 1.96 standard deviations."""
    covered, halves, errors = [], [], []
    for number in range(n_benches):
        rng = np.random.default_rng([number, seed])
        ours, theirs = ([_take(bench, rng) for _ in range(count)] for count in bench.takes)
        cells = [ours, theirs, *([_take(bench, rng), _take(bench, rng)] for _ in range(bench.others))]
        delta = compare_levels(ours, theirs, re_reference=shape, cells=cells, level=_level(bench))
        low_db, high_db = delta.interval()
        points = delta.shown & (delta.frequency_hz != REFERENCE_HZ)
        covered.append(float(((low_db <= 0) & (high_db >= 0))[points].mean()))
        halves.append((high_db - low_db)[points] / 2)
        errors.append(delta.value_db[points])
    return covered, float(np.mean(halves) / (1.96 * np.sqrt(np.mean(np.square(errors)))))


def _level(bench: Bench) -> Estimate | None:
    """Return what twenty degrees of freedom of other takes' tones say of the level: here, the truth."""
    if not bench.level_db:
        return None
    share = sum(1 / count for count in bench.takes)
    return Estimate(value=0.0, standard_uncertainty=bench.level_db * share**0.5, degrees_of_freedom=20.0)


def _take(bench: Bench, rng: np.random.Generator) -> ResponseEstimate:
    knots: Sequence[float] = np.arange(-8.0, 5.5, 1 / 3)  # type: ignore[assignment]
    level_db = (
        bench.level_db * rng.standard_normal()
        + bench.tilt_db * rng.standard_normal() * _OCTAVES / 5
        + bench.ripple_db * np.interp(_OCTAVES, knots, rng.standard_normal(len(knots)))
    )
    return made_response(gain=lambda _: 10 ** (level_db / 20), gain_sd=NOISE, rng=rng)
