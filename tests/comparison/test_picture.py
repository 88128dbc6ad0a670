"""White against black, and the coupling that a device adds beside a direct leak."""

from __future__ import annotations

from dataclasses import replace

import msgspec
import numpy as np
import pytest

from humcheck.analyzers.picture import picture_rows
from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.picture_added import added_coupling
from humcheck.comparison.picture_added_curve import added_curves
from humcheck.comparison.picture_changes import picture_changes
from humcheck.comparison.picture_traces import traces_of
from humcheck.estimates.rows import find_rows
from humcheck.results import Key, Measure, TakeRow, Trace
from humcheck.simulation import PictureLeak
from tests.rows_sections import rows_section


def level(quantity, picture, value, **more):
    fields = {"unit": "dBFS", "low": value - 0.1, "high": value + 0.1, "interval": "within", **more}
    return Measure(
        subject="Birch", role="through", quantity=quantity, channel="left", picture=picture, value=value, **fields
    )


def test_every_noise_under_white_is_set_against_black():
    rows = [
        level("buzz_level", "white", -70.0),
        level("buzz_level", "black", -95.0),
        level("hiss_level", "white", -90.0),
        level("hiss_level", "black", -90.0),
        level("tone_level", "white", -1.0),
        level("tone_level", "black", -2.0),
    ]
    changes = {row.quantity: row for row in picture_changes(rows)}
    assert set(changes) == {"buzz_level", "hiss_level"}
    buzz = changes["buzz_level"]
    assert (buzz.contrast, buzz.picture, buzz.reference["picture"]) == ("picture", "white", "black")
    assert buzz.value == pytest.approx(25.0)
    # Two standard uncertainties of 0.1 / 1.96 dB, squared and added: 95 % interval of 0.1 sqrt(2).
    assert (buzz.low, buzz.high) == pytest.approx((25.0 - 0.1414, 25.0 + 0.1414), abs=1e-3)
    assert changes["hiss_level"].value == pytest.approx(0.0)


def test_a_buzz_that_black_does_not_show_is_at_least_so_much_stronger():
    black = level("buzz_level", "black", -120.0, bound="upper", low=None, high=None, interval=None)
    (change,) = picture_changes([level("buzz_level", "white", -70.0), black])
    assert change.bound == "lower"
    assert change.value == pytest.approx(-70.1 + 120.0)


def test_pictures_of_other_ports_are_not_mixed():
    rows = [level("buzz_level", "white", -70.0, port="1"), level("buzz_level", "black", -95.0, port="2")]
    assert picture_changes(rows) == []


def measured(samples, role, number):
    estimate = find_rows(samples, 48000.0)
    key = Key(subject="Birch" if role == "through" else "direct", role=role, quantity="", picture="rows")
    row = TakeRow(
        id=f"t{number}", file="x.wav", sha256="", role=role, rate_hz=48000, channels=2, sample_format="", duration_s=10
    )
    rows = picture_rows(estimate, key, ("left", "right"))
    return MeasuredTake(
        row=row, key=key, measures=tuple(row for row in rows if isinstance(row, Measure)), coded_rows=estimate
    )


DIRECT = PictureLeak(level_dbfs_at_1k=-90.0)


@pytest.fixture(scope="module")
def direct():
    return measured(rows_section(10.0, (DIRECT,), seed=1), "direct", 1)


@pytest.mark.parametrize("kind", ["capacitive", "shared"])
def test_an_added_leak_20_db_below_the_direct_one_is_measured(direct, kind):
    added = PictureLeak(level_dbfs_at_1k=-110.0, kind=kind, right=0.5)
    through = measured(rows_section(10.0, (DIRECT, added), seed=2, clock_ppm_per_minute=1.0), "through", 2)
    rows = {row.channel: row for row in added_coupling([through], [direct])}
    assert rows["left"].role == "added"
    # The target of the method is 1 dB; the interval must hold the truth.
    assert rows["left"].value == pytest.approx(-110.0, abs=1.0)
    assert rows["right"].value == pytest.approx(-116.02, abs=1.0)
    assert rows["left"].low <= -110.0 <= rows["left"].high
    assert rows["right"].low <= -116.02 <= rows["right"].high


def test_an_added_leak_far_stronger_than_the_direct_one_is_the_whole_leak():
    weak = measured(rows_section(10.0, (replace(DIRECT, level_dbfs_at_1k=-130.0),), seed=7), "direct", 1)
    strong = (PictureLeak(level_dbfs_at_1k=-77.0), PictureLeak(level_dbfs_at_1k=-83.0, kind="shared"))
    through = measured(rows_section(10.0, strong, seed=8), "through", 2)
    left = added_coupling([through], [weak])[0]
    # At a right angle: powers add.
    assert left.value == pytest.approx(10 * np.log10(10**-7.7 + 10**-8.3), abs=0.1)
    assert left.high - left.low < 0.5


def test_nothing_added_is_a_bound_far_below_the_direct_leak(direct):
    through = measured(rows_section(10.0, (DIRECT,), seed=3), "through", 2)
    for row in added_coupling([through], [direct]):
        assert row.bound == "upper"
        # Gain may drift by 0.03 dB from take to take: -90 - 49 dB and twice that.
        assert -145.0 < row.value < -130.0


def test_a_leak_that_the_direct_take_does_not_have_is_all_added(direct):
    quiet = measured(rows_section(10.0, (), seed=4), "direct", 1)
    through = measured(rows_section(10.0, (replace(DIRECT, level_dbfs_at_1k=-105.0),), seed=5), "through", 2)
    left = added_coupling([through], [quiet])[0]
    assert left.value == pytest.approx(-105.0, abs=0.1)
    assert left.low <= -105.0 <= left.high
    assert added_coupling([through], []) == []


@pytest.mark.parametrize(("kind", "ends"), [("shared", (0.0, 0.0)), ("capacitive", (-20.0, 20.0))])
def test_the_added_curve_has_the_shape_of_what_was_added(direct, kind, ends):
    through = measured(
        rows_section(10.0, (DIRECT, PictureLeak(level_dbfs_at_1k=-100.0, kind=kind)), seed=9), "through", 2
    )
    left, right = added_curves([through, direct])
    assert (left.role, left.channel, right.channel) == ("added", "left", "right")
    places = [min(range(len(left.value)), key=lambda i: abs(left.frequency_hz[i] - hz)) for hz in (100, 1000, 10_000)]
    # A resistance leaks alike at all frequencies, a capacitance ten times as much at ten times the frequency.
    assert left.value[places[1]] == pytest.approx(-100.0, abs=0.3)
    expected_db = [-100.0 + ends[0], -100.0, -100.0 + ends[1]]
    for place, level in zip(places, expected_db, strict=True):
        if left.bound is None or left.bound[place] is None:
            assert left.value[place] == pytest.approx(level, abs=1.0)
        else:
            # What the direct leak's own drift hides is a bound, never a value.
            assert left.value[place] >= level - 0.1
    assert added_curves([through]) == []


def test_the_added_part_of_both_channels_is_their_power_mean(direct):
    added = PictureLeak(level_dbfs_at_1k=-100.0, right=0.5)
    through = measured(rows_section(10.0, (DIRECT, added), seed=6), "through", 2)
    rows = {row.channel: row.value for row in added_coupling([through], [direct])}
    powers = [10 ** (rows[channel] / 10) for channel in ("left", "right")]
    assert rows["both"] == pytest.approx(10 * np.log10(np.mean(powers)))


def test_of_repeated_takes_one_folded_field_is_kept(direct):
    key = direct.key
    fold = Trace(**key.fields(quantity="picture_fold", channel="left"), x=[0.0], x_unit="ms", y=[1.0], unit="uFS")
    other = Trace(**key.fields(quantity="thd", channel="left"), x=[100.0], x_unit="Hz", y=[0.1], unit="percent")
    takes = [
        replace(direct, row=msgspec.structs.replace(direct.row, id=f"t{number}"), traces=(fold, other))
        for number in (1, 2)
    ]
    assert [trace.quantity for trace in traces_of(takes)] == ["picture_fold", "thd", "thd"]
