"""Through against direct: response, span, corners, added crosstalk; one take and several a side."""

from __future__ import annotations

import math

import numpy as np
import pytest

from humcheck.comparison.responses import response_rows
from humcheck.estimates.sweeps import FREQUENCIES_HZ, IN_SERIES, estimate_response
from humcheck.results import Change, Curve, Key, NotMeasured, results_to_json
from humcheck.results.rows import Bench, Results, Settings
from tests.estimates.made_responses import made_response
from tests.estimates.swept_path import capacitive, decibels, high_pass, low_pass, swept

KEY = Key(subject="Cedar", role="through", quantity="response_delta", port="1", picture="white")
AUDIBLE = (FREQUENCIES_HZ >= 19.99) & (FREQUENCIES_HZ < 20001) & IN_SERIES


def by_name(rows, channel="left", role="through"):
    return {row.quantity: row for row in rows if (row.channel, row.role) == (channel, role)}


def compared(through, direct, **selection):
    return by_name(response_rows(through, direct, KEY), **selection)


@pytest.fixture(scope="module")
def direct():
    sounds = {"left": swept(seed=1), "right": swept(driven="right", seed=2)}
    return [estimate_response(sound, name) for name, sound in sounds.items()]


def through(gain, across=None, seed=10):
    return [
        estimate_response(swept(ppm=-170.0, driven=name, through=gain, across=across, seed=seed + number), name)
        for number, name in enumerate(("left", "right"))
    ]


# From sweeps to rows ----------------------------------------------------------------------------------------------


def test_a_coupling_capacitor(direct):
    """Elementary: 10 kohm and 1 uF: corner 15.9155 Hz, 2.1305 dB down at 20 Hz."""
    corner_hz = 1 / (2 * math.pi * 10e3 * 1e-6)
    rows = response_rows([through(high_pass(corner_hz))], [direct], KEY)
    for channel in ("left", "right"):
        found = by_name(rows, channel)
        curve = found["response_delta"]
        assert curve.value[curve.frequency_hz.index(20.0)] == pytest.approx(-2.1305, abs=0.001)
        # Re 997 Hz, where the capacitor takes 0.0011 dB, the corner lies 0.04 % lower.
        assert found["low_corner"].value == pytest.approx(corner_hz * (1 - 2.5e-4), rel=3e-4)
        assert found["low_corner"].low < found["low_corner"].value < found["low_corner"].high
        assert found["high_corner"].bound == "lower"
        assert found["high_corner"].value > 22000
        assert found["response_span"].value == pytest.approx(2.1305, abs=0.001)
        assert found["response_span"].reference["smallest_at_hz"] == 20.0
    assert (curve.port, curve.picture, curve.unit, curve.bound) == ("1", "white", "dB", None)
    assert (curve.valid_from_hz, curve.valid_to_hz) == (8.0, FREQUENCIES_HZ[-1])


def test_a_low_pass_at_12_khz(direct):
    found = compared([through(low_pass(12000.0))], [direct])
    assert found["high_corner"].value == pytest.approx(12000.0 * math.sqrt(1 + 2 * (997 / 12000) ** 2), rel=1e-3)
    assert found["low_corner"].bound == "upper"
    assert found["low_corner"].value == 8.0


def test_a_box_that_changes_nothing_has_no_span_but_a_bound(direct):
    found = compared([through(None)], [direct])
    assert found["response_span"].bound == "upper"
    assert found["response_span"].value < 0.002
    assert found["low_corner"].bound == "upper"
    curve = found["response_delta"]
    audible = (np.array(curve.frequency_hz) > 19.99) & (np.array(curve.frequency_hz) < 20001)
    assert np.abs(curve.value)[audible].max() < 0.002


def test_added_crosstalk_is_the_complex_difference(direct):
    """Derived: 20 pF through where 10 pF is there anyway: the device adds 10 pF, -84.864 dB at 1 kHz, not -78.84."""
    ohm = 1e4 / 11
    own = [
        estimate_response(swept(driven=name, across=capacitive(10e-12, ohm), seed=20 + number), name)
        for number, name in enumerate(("left", "right"))
    ]
    rows = response_rows([through(None, capacitive(20e-12, ohm))], [own], KEY)
    for idle in ("left", "right"):
        found = by_name(rows, idle, "added")
        assert found["crosstalk_1k"].value == pytest.approx(-84.864, abs=0.4)
        assert found["crosstalk_1k"].low < -84.864 < found["crosstalk_1k"].high
        assert found["crosstalk_worst"].value == pytest.approx(-58.844, abs=0.2)
        assert found["crosstalk"].channel == idle


def test_crosstalk_that_was_there_before_is_not_the_devices(direct):
    ohm = 1e4 / 11
    both = [through(None, capacitive(100e-12, ohm), seed=seed) for seed in (30, 40)]
    found = compared([both[0]], [both[1]], channel="right", role="added")
    assert found["crosstalk_1k"].bound == "upper"
    assert found["crosstalk_1k"].value < -105.0


# Intervals --------------------------------------------------------------------------------------------------------


def test_intervals_of_the_delta_hold_as_often_as_they_say():
    """95 % bands hold 93-97 % of points; noise -60 dBFS and hum -70 dBFS in both takes, one take a side."""
    inside = []
    for seed in range(9):
        takes = [
            swept(rate_hz=16000.0, noise_dbfs=-60.0, hum_dbfs=-70.0, seed=100 + seed),
            swept(
                rate_hz=16000.0, noise_dbfs=-60.0, hum_dbfs=-70.0, seed=200 + seed, ppm=-170.0, through=high_pass(15.0)
            ),
        ]
        ours, theirs = (estimate_response(sound, "left") for sound in reversed(takes))
        curve = compared([[ours]], [[theirs]])["response_delta"]
        frequency_hz = np.array(curve.frequency_hz)
        truth = decibels(high_pass(15.0)(frequency_hz))
        audible = frequency_hz > 19.99
        inside.append(((np.array(curve.low) < truth) & (truth < np.array(curve.high)))[audible])
    assert 0.93 < np.mean(inside) < 0.97


def test_noise_alone_has_no_span():
    """A flat device in noise of 0.01 dB a point: bounds nearly always, and on average almost nothing is left."""
    rng = np.random.default_rng(5)
    bounds, spans = 0, []
    for _ in range(60):
        one, other = (made_response(gain_sd=1e-3, rng=rng) for _ in range(2))
        span = compared([[one]], [[other]])["response_span"]
        bounds += span.bound == "upper"
        spans.append(span.value)
    assert bounds >= 54
    assert np.mean(spans) < 0.08


@pytest.mark.parametrize("true_db", [0.1, 0.5, 3.0])
def test_the_span_is_right_on_average_and_its_interval_holds(true_db):
    """A slope of the given height in noise of 0.009 dB a point (raw range of noise alone: about 0.06 dB)."""
    rng = np.random.default_rng(6)
    octaves = math.log2(1000)
    inside, values = [], []

    def slope(frequency_hz):
        return 10 ** (true_db * np.clip(np.log2(frequency_hz / 20), 0, octaves) / octaves / 20)

    for _ in range(40):
        one, other = made_response(gain=slope, gain_sd=1e-3, rng=rng), made_response(gain_sd=1e-3, rng=rng)
        span = compared([[one]], [[other]])["response_span"]
        low, high = (0.0, span.value) if span.bound else (span.low, span.high)
        inside.append(low <= true_db <= high)
        values.append(span.value)
    assert np.mean(inside) >= 0.9
    assert np.mean(values) == pytest.approx(true_db, abs=0.02)


def test_corner_intervals_hold():
    rng = np.random.default_rng(7)
    inside = []
    for _ in range(60):
        one = made_response(gain=high_pass(15.0), gain_sd=1e-3, rng=rng)
        other = made_response(gain_sd=1e-3, rng=rng)
        corner = compared([[one]], [[other]])["low_corner"]
        inside.append(corner.low < 15.0 * (1 - 2.3e-4) < corner.high)
    assert 0.88 <= np.mean(inside) <= 1.0


# Several takes ----------------------------------------------------------------------------------------------------


def test_scatter_between_takes_sets_the_interval():
    """Derived: gains of +-0.05 dB between takes: mean of n with sd s / sqrt(n), Student's t (GUM 4.2, G.4)."""

    def level(decibel):
        return [made_response(gain=lambda f: 10 ** (decibel / 20), gain_sd=1e-6)]

    ours = [level(value) for value in (-1.05, -0.95)]
    theirs = [level(value) for value in (0.05, -0.05)]
    curve = compared(ours, theirs)["response_delta"]
    assert curve.value[50] == pytest.approx(-1.0, abs=1e-9)
    # Each side: s = 0.0707, u = 0.05; together u = 0.0707 with 2 degrees of freedom: t = 4.303.
    assert curve.high[50] - curve.value[50] == pytest.approx(4.303 * 0.0707, rel=1e-3)


def test_a_gain_that_drifts_is_no_uncertainty_of_the_shape():
    def level(decibel):
        return [made_response(gain=lambda f: 10 ** (decibel / 20) * high_pass(15.0)(f), gain_sd=1e-5)]

    ours = [level(value) for value in (-1.2, -0.8, -1.0)]
    theirs = [[made_response(gain_sd=1e-5)] for _ in range(3)]
    found = compared(ours, theirs)
    assert found["low_corner"].high - found["low_corner"].low < 0.01
    assert found["response_span"].high - found["response_span"].low < 0.01
    assert found["low_corner"].distinguishable is True
    assert found["low_corner"].reference["n_takes"] == 3


def test_one_take_a_side_calls_nothing_distinguishable():
    one, other = [made_response(gain=high_pass(15.0))], [made_response()]
    found = compared([one], [other])
    assert found["low_corner"].distinguishable is None
    assert found["response_span"].distinguishable is None
    assert compared([one, one], [other])["low_corner"].distinguishable is None


def test_added_crosstalk_of_several_takes():
    rng = np.random.default_rng(8)
    make = {"crosstalk_sd": 3e-6, "rng": rng}
    ours = [[made_response(crosstalk=capacitive(10e-12, 1e4 / 11), **make)] for _ in range(3)]
    theirs = [[made_response(**make)] for _ in range(3)]
    found = compared(ours, theirs, channel="right", role="added")["crosstalk_1k"]
    assert (found.interval, found.n_takes) == ("between", 3)
    assert found.low < -84.864 < found.high


def test_direct_takes_against_each_other_add_nothing():
    """They tell what the bench can resolve: a response near 0 dB, and no device that could add crosstalk."""
    key = Key(subject="direct", role="direct", quantity="response_delta")
    rows = response_rows([[made_response()]], [[made_response()]], key)
    assert {row.role for row in rows} == {"direct"}
    assert by_name(rows, role="direct")["response_span"].bound == "upper"


# What cannot be compared ------------------------------------------------------------------------------------------


def test_outside_the_direct_takes_band_nothing_is_claimed():
    """A source that ends at 15 kHz: noise is louder than the sweep above."""
    sd = np.where(FREQUENCIES_HZ > 15000, 0.5, 1e-5)
    found = compared([[made_response()]], [[made_response(gain_sd=sd)]])
    assert found["response_delta"].valid_to_hz <= 15000
    assert found["high_corner"].bound == "lower"
    assert found["high_corner"].value <= 15000
    assert found["response_span"].reference["to_hz"] <= 15000


def test_a_device_that_passes_nothing_up_there_gives_bounds():
    """Through is lost in noise of -60 dB above 5 kHz: upper bounds there, and a corner below."""

    def cut(frequency_hz):
        return np.where(frequency_hz > 5000, 0.0, 1.0)

    ours = made_response(gain=cut, gain_sd=1e-3)
    found = compared([[ours]], [[made_response()]])
    curve = found["response_delta"]
    high = np.array(curve.frequency_hz) > 5000
    assert np.array(curve.bound)[high].tolist() == ["upper"] * np.count_nonzero(high)
    assert np.all(np.array(curve.value)[high] < -55)
    assert found["high_corner"].value == pytest.approx(5000, rel=0.06)


def test_mono_against_stereo_is_said_so():
    rows = response_rows([[made_response(driven="mono", idle=None)]], [[made_response()]], KEY)
    assert len(rows) == 1
    assert isinstance(rows[0], NotMeasured)
    assert "no channel in common" in rows[0].reason


def test_mono_on_both_sides_has_a_response_and_no_crosstalk():
    rows = response_rows([[made_response(driven="mono", idle=None)]], [[made_response(driven="mono", idle=None)]], KEY)
    assert {row.quantity for row in rows} == {"response_delta", "response_span", "low_corner", "high_corner"}


def test_a_direct_sweep_in_its_noise():
    rows = response_rows([[made_response()]], [[made_response(gain_sd=0.5)]], KEY)
    reasons = {row.quantity: row.reason for row in rows if isinstance(row, NotMeasured)}
    assert "direct sweep" in reasons["response_delta"]


def test_rows_can_be_saved():
    rng = np.random.default_rng(9)
    rows = response_rows(
        [[made_response(gain=high_pass(15.0), crosstalk=capacitive(1e-12, 909.0), rng=rng)]],
        [[made_response(rng=rng)]],
        KEY,
    )
    results = Results(
        bench=Bench(id="b", name="b", created="2001-01-01T00:00:00Z"),
        settings=Settings(),
        humcheck_version="0",
        numbers_version=1,
        created="2001-01-01T00:00:00Z",
        changes=[row for row in rows if isinstance(row, Change)],
        curves=[row for row in rows if isinstance(row, Curve)],
    )
    assert '"low_corner"' in results_to_json(results)
