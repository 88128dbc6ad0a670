"""Reading between samples: against sines that are known at every moment."""

import numpy as np
import pytest

from humcheck.simulation.warp import warp

N = 60_000


@pytest.mark.parametrize("frequency", [0.0005, 0.02, 0.2, 0.45, 0.489])
@pytest.mark.parametrize("ppm", [0.0, 40.0, -250.0, 1000.0])
def test_sine_is_read_exactly_between_its_samples(frequency, ppm):
    positions = 700.3 + np.arange(N - 2000) * (1 + ppm * 1e-6) + 0.4 * np.sin(np.arange(N - 2000) / 9000)
    index = np.arange(N)
    samples = np.stack([np.sin(2 * np.pi * frequency * index + 0.4), np.cos(2 * np.pi * frequency * index)], axis=1)
    wanted = np.stack([np.sin(2 * np.pi * frequency * positions + 0.4), np.cos(2 * np.pi * frequency * positions)], 1)
    # The ends of the source are edges, which no band-limited reading survives: half the kernel is left out.
    inside = (positions > 2000) & (positions < N - 2000)
    error = (warp(samples, positions) - wanted)[inside]
    assert 20 * np.log10(np.sqrt(2 * np.mean(error**2))) < -150


def test_whole_shift_gives_the_samples_back():
    rng = np.random.default_rng(5)
    # Smooth noise: below 0.49 of the rate.
    bins = np.fft.rfft(rng.standard_normal(N))
    bins[int(0.48 * N) :] = 0
    samples = np.fft.irfft(bins, N)[:, np.newaxis]
    read = warp(samples, 3000.0 + np.arange(50_000))
    assert np.abs(read[:, 0] - samples[3000:53_000, 0]).max() < 1e-7


def test_outside_the_source_is_silence():
    read = warp(np.ones((4000, 2)), -20_000.0 + np.arange(60_000))
    # Silence but for the rounding of 64-bit numbers in the transforms.
    assert np.abs(read[:15_000]).max() < 1e-14
    assert np.abs(read[30_000:]).max() < 1e-14
    assert read[22_000] == pytest.approx(1.0, abs=1e-6)


def test_positions_that_run_too_fast_are_refused():
    with pytest.raises(ValueError, match="about one sample"):
        warp(np.zeros((100, 1)), np.arange(50) * 1.5)
