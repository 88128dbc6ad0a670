"""Distortion and intermodulation as rows: values, bounds, reasons."""

import numpy as np
import pytest

from humcheck.analyzers.distortion import distortion_rows
from humcheck.analyzers.intermodulation import intermodulation_rows
from humcheck.estimates.tones import measure_tones
from humcheck.results import Measure, NotMeasured
from humcheck.results.rows import Key
from humcheck.simulation import ChannelPath, Hiss, LinearPath, Polynomial
from tests.tone_takes import simulate_tones

KEY = Key(subject="Birch", role="through", quantity="thd")
NOT_NEEDED = ("steps", "minus-60", "tone-left", "tone-right", "zero")
#: Peak amplitude of the track's loudest sounds.
TOP = 10.0 ** (-1.001 / 20.0)


@pytest.fixture(scope="module")
def bent():
    curve = Polynomial(coefficients=(0.01,))
    return simulate_tones(*NOT_NEEDED, seed=9, hiss=(Hiss.both(-100.0),), distortion=curve)[0]


@pytest.fixture(scope="module")
def clean():
    path = LinearPath(left=ChannelPath(high_corners_hz=(15000.0,)))
    return simulate_tones(*NOT_NEEDED, seed=10, hiss=(Hiss.both(-90.0),), linear=path)[0]


def by_quantity(rows):
    return {(row.quantity, row.channel): row for row in rows}


def test_distortion_of_a_bent_path(bent):
    rows = by_quantity(distortion_rows(measure_tones(bent), KEY))
    for channel in ("left", "right"):
        row = rows["thd", channel]
        # y = x + 0.01 x^2 at amplitude A: h2/h1 = 0.01 A / 2 (elementary).
        assert row.value == pytest.approx(100.0 * 0.005 * TOP, rel=1e-4)
        assert row.low <= row.value <= row.high
        assert row.unit == "percent"
        assert row.detail["h2_percent"] == pytest.approx(row.value, rel=1e-4)
        assert (row.detail["harmonics_used"], row.detail["harmonics_left_out"]) == (9.0, 0.0)
        noise = rows["thd_n", channel]
        # Derived: the same harmonic over the total, noise of -100 dBFS against a tone of -1 dBFS adds 1e-5 of it.
        share = 0.005 * TOP
        assert noise.value == pytest.approx(100.0 * share / np.sqrt(1.0 + share**2), rel=1e-3)
        assert (noise.detail["band_from_hz"], noise.detail["band_to_hz"]) == (20.0, 20000.0)


def test_intermodulation_of_a_bent_path(bent):
    rows = by_quantity(intermodulation_rows(measure_tones(bent), KEY))
    for channel in ("left", "right"):
        # SMPTE pair at 0.8 and 0.2 of the peak: each sideband 2 * 0.01 * 0.8 TOP / 2 of the carrier, RMS sum of two.
        assert rows["imd_smpte", channel].value == pytest.approx(np.sqrt(2.0) * 0.8 * TOP, rel=1e-3)
        # Difference pair at half the peak each: 0.01 A^2 over 2 A.
        assert rows["imd_difference", channel].value == pytest.approx(0.25 * TOP, rel=1e-3)
        assert rows["imd_difference", channel].detail["1000_hz_percent"] == pytest.approx(0.25 * TOP, rel=1e-3)


def test_a_clean_path_has_bounds_or_values_at_the_noise(clean):
    tones = measure_tones(clean)
    rows = by_quantity([*distortion_rows(tones, KEY), *intermodulation_rows(tones, KEY)])
    assert len(rows) == 8
    for (quantity, _), row in rows.items():
        if quantity == "thd_n":
            # -90 dBFS of hiss in the band against -1 dBFS: 10**(-89 / 20).
            assert row.value == pytest.approx(100.0 * 10.0 ** (-89.0 / 20.0), rel=0.03)
        else:
            assert row.value < 3e-4, "noise of a second or two, 35 to 40 dB narrower than the band"
        if row.bound is not None:
            assert (row.bound, row.low, row.high) == ("upper", None, None)
    assert any(row.bound == "upper" for row in rows.values())


def test_a_rate_without_room_is_told():
    take, _ = simulate_tones(*NOT_NEEDED, seed=11, rate_hz=32000, source_rate_hz=48000, hiss=(Hiss.both(-90.0),))
    rows = by_quantity(intermodulation_rows(measure_tones(take), KEY))
    assert isinstance(rows["imd_difference", "both"], NotMeasured)
    assert "does not reach" in rows["imd_difference", "both"].reason
    assert isinstance(rows["imd_smpte", "left"], Measure)


def test_tones_that_do_not_get_through_are_told(clean):
    from scipy.signal import butter, sosfilt

    cut = sosfilt(butter(8, 15000.0, fs=clean.rate_hz, output="sos"), clean.samples, axis=0)
    rows = intermodulation_rows(measure_tones(clean.with_samples(cut)), KEY)
    difference = [row for row in rows if row.quantity == "imd_difference"]
    assert all(isinstance(row, NotMeasured) for row in difference)
    assert "do not both get through" in difference[0].reason


def test_missing_sections_and_silent_channels_have_reasons(clean):
    tones = measure_tones(clean.without("full-scale", "imd-smpte", "imd-difference"))
    rows = [*distortion_rows(tones, KEY), *intermodulation_rows(tones, KEY)]
    assert sorted(row.quantity for row in rows) == ["imd_difference", "imd_smpte", "thd", "thd_n"]
    assert all(isinstance(row, NotMeasured) and "no section" in row.reason for row in rows)
    samples = clean.samples.copy()
    samples[:, 0] = 1e-5 * np.random.default_rng(1).standard_normal(len(samples))
    left_silent = by_quantity(distortion_rows(measure_tones(clean.with_samples(samples)), KEY))
    assert "not heard" in left_silent["thd", "left"].reason
    assert isinstance(left_silent["thd", "right"], Measure)
