"""Student's t and the combination of uncertainties."""

import math

import numpy as np
import pytest

from humcheck.comparison.intervals import Estimate, difference, mean_of_repeats, student_t_quantile, student_t_tail

# JCGM 100:2008 (GUM), table G.2, p = 95 %; printed to three decimals or fewer, hence 0.0005 below.
GUM_G2 = [
    (1, 12.706),
    (2, 4.303),
    (3, 3.182),
    (4, 2.776),
    (5, 2.571),
    (7, 2.365),
    (10, 2.228),
    (20, 2.086),
    (100, 1.984),
]


@pytest.mark.parametrize(("freedom", "factor"), GUM_G2)
def test_coverage_factors_match_the_guide(freedom, factor):
    assert student_t_quantile(0.975, freedom) == pytest.approx(factor, abs=6e-4)


def test_the_normal_limit_and_the_tail_are_each_others_inverse():
    assert student_t_quantile(0.975, math.inf) == pytest.approx(1.959964, abs=1e-6)
    assert student_t_tail(student_t_quantile(0.975, 7), 7) == pytest.approx(0.05, abs=1e-12)


def test_type_a_evaluation_of_repeated_readings():
    # Worked by hand after GUM 4.2: mean -72.18, s 0.192354, u 0.0860233, U95 = 2.776 u = 0.238839.
    readings = [-72.1, -72.4, -71.9, -72.2, -72.3]
    estimate = mean_of_repeats(readings, [0.0] * 5)
    assert estimate.value == pytest.approx(-72.18)
    assert estimate.standard_uncertainty == pytest.approx(0.0860233, abs=1e-7)
    low, high = estimate.interval()
    assert (high - low) / 2 == pytest.approx(0.238839, abs=5e-5)


def test_welch_satterthwaite():
    # GUM G.4.1, worked: ua = 0.10 with 4 degrees of freedom, ub = 0.06 known -> uc 0.116619, nu_eff 7.398.
    combined = difference(
        Estimate(value=0, standard_uncertainty=0.10, degrees_of_freedom=4), Estimate(value=0, standard_uncertainty=0.06)
    )
    assert combined.standard_uncertainty == pytest.approx(0.116619, abs=1e-6)
    assert combined.degrees_of_freedom == pytest.approx(7.398, abs=1e-3)


def test_repeats_by_chance_too_alike_keep_the_takes_own_noise():
    estimate = mean_of_repeats([1.0, 1.0], [0.2, 0.2])
    assert estimate.standard_uncertainty == pytest.approx(0.2 / math.sqrt(2))


def test_intervals_of_repeats_cover_the_truth():
    rng = np.random.default_rng(20)
    trials = 4000
    hits = 0
    for draw in rng.normal(0.0, 0.05, (trials, 3)):
        low, high = mean_of_repeats(list(draw), [0.0] * 3).interval()
        hits += low <= 0.0 <= high
    # Binomial scatter of 4000 trials at 95 % is 0.35 %.
    assert hits / trials == pytest.approx(0.95, abs=3 * 0.0035)
