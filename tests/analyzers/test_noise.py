import numpy as np
import pytest

from humcheck.analyzers.noise import noise_rows
from humcheck.estimates.noise import measure_noise
from humcheck.results import Curve, Key, Measure, NotMeasured, quantity
from humcheck.results.store import _require_finite
from tests.estimates.test_noise import RATE_HZ, lines, white

KEY = Key(subject="Alder", role="through", port="1", picture="black", quantity="noise_level")
LEVELS = (
    "noise_level",
    "noise_level_a",
    "noise_level_468",
    "noise_level_ccir_rms",
    "hiss_level",
    "hiss_level_a",
)


def by_place(rows):
    return {(row.quantity, row.channel): row for row in rows}


def test_a_stereo_take_has_every_level_of_every_channel():
    samples = np.hstack([white(10, -90.0), white(10, -80.0, seed=1)])
    rows = by_place(noise_rows(measure_noise(samples, RATE_HZ, lines()), KEY, ("left", "right")))
    names = (*LEVELS, "noise_spectrum", "hiss_spectrum")
    assert set(rows) == {(name, channel) for name in names for channel in ("left", "right", "both")}
    for (name, _), row in rows.items():
        assert (row.subject, row.role, row.port, row.picture) == ("Alder", "through", "1", "black")
        assert row.unit == quantity(name).unit
    left, right, both = (rows["noise_level", channel] for channel in ("left", "right", "both"))
    assert left.value == pytest.approx(-90.796, abs=0.04)
    assert right.value == pytest.approx(-80.796, abs=0.04)
    # Power mean of -90 and -80: 10 lg((1 + 10) / 2) above the lower one (elementary).
    assert both.value == pytest.approx(-90.796 + 7.4036, abs=0.04)
    assert left.low < left.value < left.high
    assert left.high - left.low == pytest.approx(2 * left.value - 2 * left.low)
    # Gaussian: 2 * 2.2 * 4.34 / sqrt(20 kHz * 10 s) = 0.043 dB; from some 10 batches it may be off by half.
    assert 0.01 < left.high - left.low < 0.09
    assert left.detail == {"from_hz": 20.0, "to_hz": 20_000.0}
    assert left.bound is None
    assert left.interval == "within"


def test_quasi_peak_is_above_the_rms_of_the_same_curve():
    rows = by_place(noise_rows(measure_noise(white(10, -90.0), RATE_HZ, lines()), KEY, ("mono",)))
    # The curve's 0 dB is 5.63 dB apart (AES17), the meter some 4 dB higher on noise (from memory).
    difference = rows["noise_level_468", "mono"].value - rows["noise_level_ccir_rms", "mono"].value
    assert difference == pytest.approx(5.63 + 4.0, abs=0.3)


def test_a_mono_take_has_no_both():
    rows = noise_rows(measure_noise(white(3, -90.0), RATE_HZ, lines()), KEY, ("mono",))
    assert {row.channel for row in rows} == {"mono"}


def test_the_spectrum_lies_in_third_octaves_with_a_band():
    rows = by_place(noise_rows(measure_noise(white(10, -90.0), RATE_HZ, lines()), KEY, ("mono",)))
    curve = rows["noise_spectrum", "mono"]
    assert isinstance(curve, Curve)
    assert len(curve.frequency_hz) == len(curve.value) == len(curve.low) == len(curve.high) == 31
    assert curve.frequency_hz[17] == pytest.approx(1000.0)
    assert curve.value[17] == pytest.approx(-90.0 - 20.1704, abs=0.4)  # white noise, 1 kHz band (computed)
    assert all(low < value < high for low, value, high in zip(curve.low, curve.value, curve.high, strict=True))


def test_a_silent_channel_says_why_it_has_no_level():
    samples = np.hstack([white(3, -90.0), np.zeros((3 * RATE_HZ, 1))])
    rows = by_place(noise_rows(measure_noise(samples, RATE_HZ, lines()), KEY, ("left", "right")))
    assert isinstance(rows["noise_level", "left"], Measure)
    for channel in ("right", "both"):
        for name in (*LEVELS, "noise_spectrum", "hiss_spectrum"):
            assert isinstance(rows[name, channel], NotMeasured)
            assert "silent" in rows[name, channel].reason


def test_hiss_without_lines_says_why():
    rows = by_place(noise_rows(measure_noise(white(3, -90.0), RATE_HZ), KEY, ("mono",)))
    assert isinstance(rows["hiss_level", "mono"], NotMeasured)
    assert isinstance(rows["noise_level", "mono"], Measure)


@pytest.mark.parametrize("level_dbfs", [-200.0, -20.0])
def test_all_numbers_are_finite(level_dbfs):
    import msgspec

    rows = noise_rows(measure_noise(white(2, level_dbfs, n_channels=2), RATE_HZ, lines()), KEY, ("left", "right"))
    _require_finite([msgspec.to_builtins(row) for row in rows], "$")
