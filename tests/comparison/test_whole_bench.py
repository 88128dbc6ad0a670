"""Whole benches of drawn takes: intervals hold, and claims are seldom false. Long form: tests/benchmarks."""

import numpy as np
import pytest

from humcheck.comparison.certainty import CertaintySettings
from humcheck.comparison.compare import compare_takes
from tests.benchmarks.certainty import QUANTITIES_DRAWN as QUANTITIES
from tests.benchmarks.certainty import Scene, bench, heavy_tails, takes_of

SCENES = {
    "pluggings and repeats": Scene(),
    "a day that drifts": Scene(drift_db=0.4),
    "not modelled: heavy tails": Scene(tails=heavy_tails),
}


@pytest.mark.parametrize("name", SCENES)
def test_intervals_of_changes_hold(name):
    held, false = [], []
    for seed in range(50):
        changes, truth_of = bench(SCENES[name], np.random.default_rng([seed, 8]), truth_db=0.0)
        known = [row for row in changes if row.contrast == "direct"]
        held.append(np.mean([row.low <= truth_of(row) <= row.high for row in known]))
        # One family of tests is one question.
        false.append(any(row.distinguishable for row in known if row.quantity == "hum_level"))
    # What is held in common makes benches scatter by some 6 %: 0.8 % in the mean of 50.
    assert 0.94 - 3 * 0.008 < np.mean(held) < 0.97 + 3 * 0.008
    # Binomial: 5 % of 50 benches, three standard deviations of 3.1 %.
    assert np.mean(false) <= 0.05 + 3 * 0.031


def test_uses_that_differ_by_the_margin_are_seldom_called_the_same():
    claims = []
    for seed in range(30):
        changes, _ = bench(Scene(), np.random.default_rng([seed, 9]), truth_db=0.3)
        claims.append(np.mean([row.equivalent for row in changes if row.contrast == "direct"]))
    assert np.mean(claims) <= 0.05 + 3 * np.std(claims) / np.sqrt(30)
    assert np.mean(claims) > 0  # it can fail


def test_one_bench_in_every_contrast():
    changes, _ = bench(Scene(), np.random.default_rng(10), truth_db=0.0)
    assert {row.contrast for row in changes} == {"direct", "port", "device"}
    for row in changes:
        assert {"subject", "role", "n_takes", "repeatability"} <= row.reference.keys()
        assert row.margin == 0.3
        assert row.p_value <= row.p_adjusted <= 1.0
        single = row.reference["repeatability"] == "borrowed" and row.port in ("1", "6")
        if single:
            assert row.distinguishable is None


def test_margins_are_the_users():
    rng = np.random.default_rng(11)
    wide, narrow = (
        compare_takes(
            takes_of(Scene(), rng, truth_db=0.0), certainty=CertaintySettings(margins=dict.fromkeys(QUANTITIES, m))
        )
        for m in (3.0, 0.001)
    )
    assert all(row.equivalent for row in wide["changes"])
    assert not any(row.equivalent for row in narrow["changes"])
