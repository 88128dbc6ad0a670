"""Bursts by ITU-R BS.468-4 clause 2: acceptance limits, from memory of the Recommendation."""

import functools

import numpy as np
import pytest

from humcheck.audio.quasi_peak import quasi_peak_468, quasi_peak_means, quasi_peak_readings
from humcheck.audio.spectra import welch_spectrum
from humcheck.audio.weighting import itu468_weighting_db
from tests.audio.bs468_tables import (
    OVERSWING_LIMIT_DB,
    REPEATED_BURSTS,
    REVERSIBILITY_LIMIT_DB,
    SINGLE_BURSTS,
    TABLE_1,
)

RATES_HZ = [44_100, 48_000, 96_000]


def tone(frequency_hz, rate_hz, duration_s, keyed=lambda t: np.ones_like(t)):
    time_s = np.arange(round(duration_s * rate_hz)) / rate_hz
    return (np.sin(2 * np.pi * frequency_hz * time_s) * keyed(time_s))[:, None]


@functools.cache
def steady_reading(frequency_hz, rate_hz):
    return quasi_peak_readings(tone(frequency_hz, rate_hz, 2.0), rate_hz)[1][-1, 0]


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(
    ("burst_ms", "nominal", "lower", "upper"),
    [pytest.param(*row, id=f"BS.468-4 single burst of {row[0]} ms (from memory)") for row in SINGLE_BURSTS],
)
def test_single_bursts(rate_hz, burst_ms, nominal, lower, upper):
    burst = tone(5000.0, rate_hz, 0.8, lambda t: t < burst_ms * 1e-3)
    percent = 100 * quasi_peak_468(burst, rate_hz)[0] / steady_reading(5000.0, rate_hz)
    assert lower <= percent <= upper
    # Our own aim, tighter than the limits: within a twentieth of the nominal reading.
    assert percent == pytest.approx(nominal, rel=0.05)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(
    ("per_second", "nominal", "lower", "upper"),
    [pytest.param(*row, id=f"BS.468-4 bursts, {row[0]} a second (from memory)") for row in REPEATED_BURSTS],
)
def test_repeated_bursts(rate_hz, per_second, nominal, lower, upper):
    bursts = tone(5000.0, rate_hz, 2.0, lambda t: np.mod(t, 1 / per_second) < 5e-3)
    percent = 100 * quasi_peak_468(bursts, rate_hz)[0] / steady_reading(5000.0, rate_hz)
    assert lower <= percent <= upper
    assert percent == pytest.approx(nominal, rel=0.05)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_steady_sine_of_1_khz_reads_its_rms(rate_hz):
    # Clause 2 (from memory): calibrated in RMS of a 1 kHz sine. 0.02 dB: the needle's and the network's own settling.
    assert 20 * np.log10(steady_reading(1000.0, rate_hz) * np.sqrt(2)) == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize(
    ("frequency_hz", "expected_db", "upper", "lower"),
    [pytest.param(*row, id=f"BS.468-4 table 1 on the meter, {row[0]} Hz") for row in TABLE_1 if row[0] < 22_000],
)
def test_steady_sines_read_through_the_weighting(frequency_hz, expected_db, upper, lower):
    # The row without tolerance, 6.3 kHz, is the Recommendation's reference for the others: rounding counts there.
    got = 20 * np.log10(steady_reading(frequency_hz, 48_000) * np.sqrt(2))
    assert min(lower, -0.1) <= got - expected_db <= max(upper, 0.1)


def test_no_overswing():
    # Clause 2 (from memory): a 1 kHz tone suddenly applied swings over by at most 0.3 dB.
    readings = quasi_peak_readings(tone(1000.0, 48_000, 4.0), 48_000)[1][:, 0]
    assert 20 * np.log10(readings.max() / readings[-1]) <= OVERSWING_LIMIT_DB


def test_polarity_does_not_matter():
    # Clause 2 (from memory): asymmetrical pulses of 1 ms, 100 a second or fewer, either way round within 0.5 dB.
    time_s = np.arange(96_000) / 48_000
    pulses = (np.mod(time_s, 0.01) < 1e-3).astype(float)[:, None]
    both = quasi_peak_468(np.hstack([pulses, -pulses]), 48_000)
    assert abs(20 * np.log10(both[0] / both[1])) <= REVERSIBILITY_LIMIT_DB
    assert both[0] > 0.1


def test_the_reading_follows_the_level():
    # A rectifier has no level of its own: ten times the sound, ten times the reading.
    burst = tone(3000.0, 48_000, 0.5, lambda t: t < 0.02)
    assert quasi_peak_468(1e-5 * burst, 48_000) == pytest.approx(1e-5 * quasi_peak_468(burst, 48_000), rel=1e-5)


def test_gaussian_noise_reads_4_to_5_db_above_its_weighted_rms():
    # Rough rule from memory, no published figure at hand.
    noise = np.random.default_rng(5).standard_normal((6 * 48_000, 1))
    rms = np.sqrt(welch_spectrum(noise, 48_000).band_power(20, 20_000, itu468_weighting_db))
    assert 3.5 < 20 * np.log10(quasi_peak_means(noise, 48_000).mean() / rms[0]) < 5.0


def test_lanes_and_blocks_read_as_one_meter_does():
    # The needle in one go, from rest, against the mean readings that are cut into lanes and fed in blocks: after it
    # has settled the mean of the needle is the mean of the charge.
    rng = np.random.default_rng(6)
    noise = rng.standard_normal((6 * 48_000, 2)) * np.array([1.0, 0.1])
    step_s, needle = quasi_peak_readings(noise, 48_000)
    in_blocks = quasi_peak_means(iter(np.array_split(noise, 7)), 48_000)
    assert in_blocks == pytest.approx(quasi_peak_means(noise, 48_000))
    settled = needle[round(2.0 / step_s) :].mean(axis=0)
    assert in_blocks[2:].mean(axis=0) == pytest.approx(settled, rel=0.005)


def test_a_long_stretch_is_read_to_its_end():
    # Longer than what is worked on at once (30 s and 1 s of settling): a rate at which that is little work.
    rate_hz = 4000
    loud_end = 0.01 * tone(1000.0, rate_hz, 64.0, lambda t: np.where(t < 60.0, 1.0, 10.0))
    means = quasi_peak_means(iter(np.array_split(loud_end, 100)), rate_hz)
    assert len(means) == pytest.approx(2 * 63, abs=1)
    assert means[-4:, 0] == pytest.approx(np.full(4, 0.1 / np.sqrt(2)), rel=0.01)
    assert means[:100, 0] == pytest.approx(np.full(100, 0.01 / np.sqrt(2)), rel=0.01)


def test_silence_reads_nothing_and_very_little_sound_is_read():
    assert quasi_peak_468(np.zeros((4800, 2)), 48_000) == pytest.approx([0.0, 0.0], abs=0)
    assert quasi_peak_means(np.zeros((3, 1)), 48_000).shape == (1, 1)
    with pytest.raises(ValueError, match="empty"):
        quasi_peak_means(np.zeros((0, 1)), 48_000)
