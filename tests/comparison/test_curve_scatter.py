"""Bands of responses of few takes: pooled over uses and neighbouring frequencies. Long form: tests/benchmarks."""

import numpy as np
import pytest

from humcheck.comparison.curve_scatter import curve_scatter
from humcheck.estimates.sweeps import FREQUENCIES_HZ
from tests.benchmarks.bands import BENCHES, held
from tests.estimates.made_responses import made_response


@pytest.mark.parametrize(
    "name",
    [
        "two takes a side, noise",
        "two takes a side, levels 0.05 dB",
        "one through, two direct, tilt 0.05 dB, other uses",
        "not modelled: three a side, ripple 0.03 dB",
    ],
)
@pytest.mark.parametrize("shape", [False, True])
def test_bands_hold_and_are_not_those_of_one_degree_of_freedom(name, shape):
    covered, width = held(BENCHES[name], 40, shape=shape, seed=3)
    # What a bench's points share makes benches scatter.
    error = 3 * np.std(covered) / np.sqrt(40)
    assert np.mean(covered) >= 0.94 - max(error, 0.02)
    # Student's t of two degrees of freedom would be 2.2 times the normal interval, of one 6.5 times (any table).
    assert width < 1.8


def test_a_level_scatters_as_a_whole_and_its_neighbours_tell_nothing_more():
    """Derived: 0.1 and -0.1 dB: variance 0.02 of the level (one degree of freedom), none of the shape."""
    cell = [made_response(gain=lambda f, db=db: 10 ** (db / 20) * np.ones(f.shape)) for db in (0.1, -0.1)]
    scatter = curve_scatter([cell, [made_response()]], FREQUENCIES_HZ.size, re_reference=False)
    assert scatter.level == pytest.approx(0.02, rel=1e-6)
    # Variance of a variance with n degrees of freedom: 2 v^2 / n.
    assert scatter.level_uncertainty == pytest.approx(2 * 0.02**2, rel=1e-6)
    assert scatter.shape.max() < 1e-10


def test_noise_of_the_sweeps_is_not_counted_twice():
    rng = np.random.default_rng(4)
    cells = [[made_response(gain_sd=sd, rng=rng) for _ in range(3)] for sd in (1e-3, 1e-2, 1e-3)]
    scatter = curve_scatter(cells, FREQUENCIES_HZ.size, re_reference=False)
    # A relative error of 1e-3 / sqrt(2) in amplitude is 0.00614 dB: 3.8e-5 dB^2. Four degrees of freedom of quiet takes
    # at thirteen points: pooled variances scatter by 20 %, and half of them are below none.
    assert np.median(scatter.shape) < 0.2 * 3.8e-5
    assert scatter.shape.max() < 4 * 0.2 * 3.8e-5
