"""Sameness, and many questions at once, against published values and outside libraries."""

import math

import numpy as np
import pytest
from scipy import stats

from humcheck.comparison.equivalence import equivalence_p, equivalence_power, takes_needed
from humcheck.comparison.intervals import Estimate, difference
from humcheck.comparison.multiplicity import holm


def test_two_one_sided_tests_of_a_mean():
    # Mean 0.03, s 0.05, n 10, margin 0.1: t = -0.07 / (0.05 / sqrt 10) = -4.427, 9 degrees of freedom: p = 0.000827.
    # 90 % interval 0.03 -+ 1.8331 x 0.0158114 = 0.001016..0.058984 (t table).
    mean = Estimate(value=0.03, standard_uncertainty=0.05 / math.sqrt(10), degrees_of_freedom=9)
    p_value = equivalence_p(mean.value, mean.standard_uncertainty, 9, 0.1)
    assert float(p_value) == pytest.approx(0.000827, abs=5e-7)
    assert mean.interval(0.90) == pytest.approx((0.001016, 0.058984), abs=1e-6)


def test_sameness_is_the_ninety_percent_interval_inside_the_margin():
    rng = np.random.default_rng(3)
    drawn = rng.normal(0, 0.2, 200), rng.uniform(0.01, 0.2, 200), rng.integers(1, 20, 200)
    for value, sd, freedom in zip(*drawn, strict=True):
        low, high = Estimate(value=value, standard_uncertainty=sd, degrees_of_freedom=freedom).interval(0.90)
        assert (equivalence_p(value, sd, freedom, 0.3) < 0.05) == (low > -0.3 and high < 0.3)


def test_two_samples_agree_with_statsmodels():
    weightstats = pytest.importorskip("statsmodels.stats.weightstats", reason="needs statsmodels (extra crosscheck)")
    ours, theirs = [0.03, 0.11, -0.02, 0.06, 0.01], [0.00, 0.05, -0.04]
    spread = [Estimate(
        value=float(np.mean(side)), standard_uncertainty=float(np.std(side, ddof=1)) / math.sqrt(len(side)),
        degrees_of_freedom=len(side) - 1,
    ) for side in (ours, theirs)]  # fmt: skip
    between = difference(*spread)
    outside, _, _ = weightstats.ttost_ind(np.array(ours), np.array(theirs), -0.1, 0.1, usevar="unequal")
    p_value = equivalence_p(between.value, between.standard_uncertainty, between.degrees_of_freedom, 0.1)
    assert float(p_value) == pytest.approx(outside, rel=1e-9)
    _, _, freedom = weightstats.CompareMeans.from_data(ours, theirs).ttest_ind(usevar="unequal")
    assert between.degrees_of_freedom == pytest.approx(freedom, rel=1e-9)


def test_holms_own_procedure():
    # Holm 1979: with m = 4 sorted p: 0.005, 0.011, 0.02, 0.04 -> 4 x 0.005, 3 x 0.011, 2 x 0.02, then at least as much.
    assert holm([0.02, 0.005, 0.04, 0.011]) == pytest.approx([0.04, 0.02, 0.04, 0.033])
    assert holm([0.6, 0.5]) == pytest.approx([1.0, 1.0])


def test_holm_agrees_with_statsmodels():
    multitest = pytest.importorskip("statsmodels.stats.multitest", reason="needs statsmodels (extra crosscheck)")
    p_values = np.random.default_rng(4).uniform(0, 1, 50) ** 3
    assert holm(p_values) == pytest.approx(multitest.multipletests(p_values, method="holm")[1], rel=1e-12)


def test_power_with_many_degrees_of_freedom_is_the_normal_one():
    # Known sigma: P(|D| < m - z u) with D normal about 0 = 2 Phi(m / u - z) - 1.
    for ratio in (2.0, 2.5, 3.0, 5.0):
        expected = 2 * stats.norm.cdf(ratio - 1.6448536) - 1
        assert float(equivalence_power(1.0, 1e6, ratio)) == pytest.approx(max(expected, 0.0), abs=1e-3)


@pytest.mark.parametrize(("sd", "margin"), [(0.1, 0.3), (0.2, 0.3), (0.3, 0.3)])
def test_so_many_takes_show_sameness_four_times_in_five(sd, margin):
    (count,) = takes_needed(np.array([2 * sd**2]), np.array([0.0]), np.array([2.0]), np.array([margin]))
    count = int(count)
    rng = np.random.default_rng(5)
    trials = 4000

    def shown(n):
        ours, theirs = rng.normal(0, sd, (2, trials, n))
        pooled = np.sqrt((ours.var(axis=1, ddof=1) + theirs.var(axis=1, ddof=1)) / n)
        gap = np.abs(ours.mean(axis=1) - theirs.mean(axis=1))
        return np.mean(gap + stats.t.ppf(0.95, 2 * n - 2) * pooled < margin)

    # Binomial scatter of 4000 trials at 80 % is 0.63 %.
    assert shown(count) > 0.8 - 3 * 0.0063
    assert count == 2 or shown(count - 1) < 0.8 + 3 * 0.0063


def test_scatter_beyond_all_takes_needs_no_count():
    (count,) = takes_needed(np.array([100.0]), np.array([5.0]), np.array([2.0]), np.array([0.01]))
    assert math.isinf(count)
