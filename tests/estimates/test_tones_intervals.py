"""Power of lines in noise: unbiased, intervals and bounds that hold at their rate."""

import numpy as np
import pytest

from humcheck.estimates.tones.intervals import line_power

N_DRAWS = 800


def observed(rng, powers, noise):
    """Squared magnitudes of lines with these powers in complex noise of these variances, one row a draw."""
    shape = (N_DRAWS, len(powers))
    error = (rng.standard_normal(shape) + 1j * rng.standard_normal(shape)) * np.sqrt(np.asarray(noise) / 2.0)
    return np.abs(np.sqrt(np.asarray(powers)) + error) ** 2


@pytest.mark.parametrize(
    ("powers", "noise"),
    [
        pytest.param([20.0], [1.0], id="one line, clear"),
        pytest.param([3.0], [1.0], id="one line, doubtful"),
        pytest.param([9.0, 4.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0], [1.0] * 9, id="nine lines, equal noise"),
        pytest.param([0.0, 30.0, 0.0, 0.0], [4.0, 1.0, 1.0, 0.2], id="four lines, unequal noise"),
    ],
)
def test_intervals_cover(powers, noise):
    rng = np.random.default_rng(11)
    estimates = [line_power(row, np.asarray(noise)) for row in observed(rng, powers, noise)]
    true = sum(powers)
    # Unbiased: the mean of 800 draws, within 4 of its standard deviations (2 L n + n^2, summed).
    scatter = np.sqrt(sum(2.0 * p * n + n**2 for p, n in zip(powers, noise, strict=True)) / N_DRAWS)
    assert abs(np.mean([estimate.power for estimate in estimates]) - true) < 4.0 * scatter
    # 95 %, binomial scatter 0.8 %; the largest noise is taken for all lines, which only widens.
    assert np.mean([estimate.low <= true <= estimate.high for estimate in estimates]) > 0.93
    assert np.mean([true <= estimate.upper for estimate in estimates]) > 0.93


def test_equal_noise_gives_95_percent_not_more():
    rng = np.random.default_rng(12)
    powers, noise = [9.0, 4.0, 2.0], [1.0, 1.0, 1.0]
    estimates = [line_power(row, np.asarray(noise)) for row in observed(rng, powers, noise)]
    assert 0.93 <= np.mean([estimate.low <= 15.0 <= estimate.high for estimate in estimates]) <= 0.97


def test_nothing_but_noise_is_called_hidden():
    rng = np.random.default_rng(13)
    noise = np.ones(9)
    hidden = [line_power(row, noise).hidden for row in observed(rng, np.zeros(9), noise)]
    # 2.5 % are not; binomial scatter 0.6 %.
    assert 0.955 <= np.mean(hidden) <= 0.99


def test_without_noise_the_power_is_known():
    estimate = line_power(np.array([1e-8, 3e-8]), np.zeros(2))
    assert (estimate.low, estimate.high, estimate.upper) == pytest.approx((4e-8, 4e-8, 4e-8))
    assert not estimate.hidden


def test_no_lines_have_no_power():
    estimate = line_power(np.zeros(0), np.zeros(0))
    assert estimate.power == 0.0
    assert estimate.hidden
