"""What a bench can resolve."""

import math

import numpy as np
import pytest
from scipy import stats

from humcheck.comparison.readiness import resolvable_differences, smallest_difference
from humcheck.comparison.repeats import aggregate_repeats
from tests.comparison.test_contrasts import takes


def test_the_smallest_difference_agrees_with_statsmodels():
    power = pytest.importorskip("statsmodels.stats.power", reason="needs statsmodels (extra crosscheck)")
    for count in (3, 5, 12):
        # Cohen's d of two samples of `count`, 2 count - 2 degrees of freedom.
        outside = power.TTestIndPower().solve_power(nobs1=count, alpha=0.05, power=0.8)
        assert smallest_difference(1.0, 2 * count - 2, count) == pytest.approx(outside, rel=1e-4)


def test_with_a_scatter_well_known_it_is_the_normal_rule():
    # (z(0.975) + z(0.80)) sqrt(2 / n) s = (1.95996 + 0.84162) sqrt(2 / 3) s
    assert smallest_difference(0.1, 1e6, 3) == pytest.approx(2.80158 * math.sqrt(2 / 3) * 0.1, rel=1e-3)


def test_direct_takes_alone_tell_it():
    (row,) = aggregate_repeats(takes(-0.1, 0.0, 0.1, 0.05, -0.05, role="direct", device="direct"))
    (resolvable,) = resolvable_differences([row])
    assert resolvable.quantity == "resolvable_gain"
    sd = np.std((-0.1, 0.0, 0.1, 0.05, -0.05), ddof=1)
    assert resolvable.detail["take_sd"] == pytest.approx(sd)
    shift = resolvable.value / (sd * math.sqrt(2 / 3))
    # The noncentral t's upper tail beyond the limit of the test is the power.
    assert stats.nct.sf(stats.t.ppf(0.975, 4), 4, shift) == pytest.approx(0.8, abs=1e-6)


def test_one_direct_take_tells_nothing():
    assert resolvable_differences(aggregate_repeats(takes(0.0, role="direct", device="direct"))) == []
