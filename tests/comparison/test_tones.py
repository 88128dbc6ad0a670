"""What a device does to tones: gain, polarity, added distortion."""

import dataclasses
from functools import cache

import numpy as np
import pytest

from humcheck.comparison.tones import added_distortion, gain_changes, polarity_rows
from humcheck.estimates.tones import measure_tones
from humcheck.results import Change, Measure, NotMeasured
from humcheck.results.rows import Key
from humcheck.simulation import ChannelPath, Hiss, Hum, LinearPath, Polynomial, ground_loop
from humcheck.simulation.components import divider_gain
from tests.tone_takes import simulate_tones

KEY = Key(subject="Cedar", role="through", quantity="gain", port="2")
NOT_NEEDED = ("steps", "minus-60", "zero", "quiet")
SOURCE = Polynomial(coefficients=(2e-3, 1e-3))
NOISE = {"hiss": (Hiss.both(-90.0),), "hum": (Hum(amplitudes=ground_loop(-70.0)),)}


def measured(seed, path=None, distortion=SOURCE):
    take, _ = simulate_tones(*NOT_NEEDED, seed=seed, linear=path or LinearPath(), distortion=distortion, **NOISE)
    return measure_tones(take)


@pytest.fixture(scope="module")
def direct():
    return measured(21)


@pytest.fixture(scope="module")
def divided():
    """1 kohm into 10 kohm on the left; 100 ohm into 10 kohm and inverted on the right; nothing bent."""
    gains = [20.0 * np.log10(divider_gain(source_ohm, 10e3)) for source_ohm in (1000.0, 100.0)]
    path = LinearPath(left=ChannelPath(gain_db=gains[0]), right=ChannelPath(gain_db=gains[1], polarity=-1))
    return measured(22, path, None)


def test_gain_of_resistive_dividers(divided):
    straight = measured(23, None, None)
    rows = gain_changes([divided], [straight], KEY)
    assert [(row.channel, row.contrast, row.quantity, row.role, row.port, row.unit) for row in rows] == [
        (channel, "direct", "gain", "through", "2", "dB") for channel in ("left", "right")
    ]
    # Resistive divider: 20 lg(10/11) and 20 lg(10/10.1), given to 0.0001 dB.
    for row, loss_db in zip(rows, (-0.8279, -0.0864), strict=True):
        assert row.value == pytest.approx(loss_db, abs=1e-4)
        assert row.low < row.value < row.high
        assert row.high - row.low < 1e-3
        assert row.distinguishable is None  # one take a side: repeatability unknown


def test_repeats_make_the_interval_that_of_their_scatter(divided):
    def shifted(tones, by_db):
        left = tones.alone["left"]
        return dataclasses.replace(
            tones,
            alone=tones.alone | {"left": dataclasses.replace(left, amplitude=left.amplitude * 10 ** (by_db / 20))},
        )

    through = [shifted(divided, by_db) for by_db in (-0.01, 0.0, 0.01)]
    direct = [shifted(divided, 0.5 + by_db) for by_db in (-0.02, 0.0, 0.02)]
    left = gain_changes(through, direct, KEY)[0]
    assert left.value == pytest.approx(-0.5, abs=1e-6)
    assert left.distinguishable is True
    assert 0.02 < left.high - left.value < 0.06


def test_a_silent_channel_has_a_reason(divided, direct):
    deaf = dataclasses.replace(direct, alone={"left": direct.alone["left"]})
    left, right = gain_changes([divided], [deaf], KEY)
    assert isinstance(left, Change)
    assert isinstance(right, NotMeasured)
    assert "direct" in right.reason


def test_polarity(divided, direct):
    rows = polarity_rows(divided, direct, KEY)
    assert [(row.channel, row.value, row.unit) for row in rows] == [("left", 1.0, ""), ("right", -1.0, "")]
    without_markers = [dataclasses.replace(tones, polarity={}) for tones in (divided, direct)]
    assert [row.value for row in polarity_rows(*without_markers, KEY)] == [1.0, -1.0]


def test_markers_and_tone_that_disagree_are_not_believed(divided, direct):
    wrong = dataclasses.replace(divided, polarity={"left": -1, "right": -1})
    left, right = polarity_rows(wrong, direct, KEY)
    assert isinstance(left, NotMeasured)
    assert isinstance(right, Measure)


@pytest.mark.parametrize("polarity", [1, -1])
def test_the_sources_distortion_is_not_blamed_on_the_device(polarity):
    channel = ChannelPath(polarity=polarity, low_corners_hz=(10.0,))
    through = [measured_after_source(channel)]
    rows = added_distortion(through, [measured_source()], KEY)
    assert len(rows) == 6
    for row in rows:
        assert row.role == "added"
        # Level minus level would say nothing or everything: the source's own is 0.09 % (thd) and 0.2 % (SMPTE).
        assert row.value < 0.01


@pytest.mark.parametrize("polarity", [1, -1])
def test_what_the_device_adds_is_found_beside_the_sources_own(polarity):
    rows = added_distortion(
        [measured_after_source(ChannelPath(polarity=polarity), bend=5e-4)], [measured_source()], KEY
    )
    values = {(row.quantity, row.channel): row for row in rows}
    peak = 10.0 ** (-1.001 / 20.0)
    # y = x + a x^2 at amplitude A adds a A / 2 to h2 (elementary), whatever stands there already.
    assert values["thd", "left"].value == pytest.approx(100.0 * 5e-4 * peak / 2.0, rel=0.03)
    assert values["imd_smpte", "right"].value == pytest.approx(100.0 * np.sqrt(2.0) * 5e-4 * 0.8 * peak, rel=0.03)


def test_without_a_direct_counterpart_there_is_a_reason(divided, direct):
    rows = added_distortion([divided], [dataclasses.replace(direct, full_scale=None)], KEY)
    thd = [row for row in rows if row.quantity == "thd"]
    assert all(isinstance(row, NotMeasured) and row.role == "added" for row in thd)


@cache
def source_take(seed):
    """The bent source, straight into the recorder."""
    return simulate_tones(*NOT_NEEDED, seed=seed, distortion=SOURCE, **NOISE)[0]


@cache
def measured_source():
    return measure_tones(source_take(30))


def measured_after_source(channel, bend=0.0):
    """The same bent source on another day, then a device: a filter or a sign, and its own bend."""
    take = source_take(31)
    samples = take.samples
    if channel.low_corners_hz:
        from scipy.signal import butter, sosfilt

        samples = sosfilt(butter(1, channel.low_corners_hz[0], "high", fs=take.rate_hz, output="sos"), samples, axis=0)
    samples = channel.polarity * samples
    polarity = dict.fromkeys(("left", "right"), channel.polarity)
    laid = dataclasses.replace(take, samples=samples + bend * samples**2)
    return dataclasses.replace(measure_tones(laid), polarity=polarity)
