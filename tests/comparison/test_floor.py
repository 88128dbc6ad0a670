"""A level or a line that lies within 3 dB of the bench's own floor is a bound (the project's own rule)."""

import msgspec
import pytest

from humcheck.comparison.relative import bounded_by_floor, lines_bounded_by_floor
from humcheck.results import Line, Measure


def level(value, role, channel="left", **more):
    return Measure(
        subject=role, role=role, quantity="hum_level", channel=channel, value=value, unit="dBFS",
        low=value - 0.1, high=value + 0.1, **more,
    )  # fmt: skip


def line(level_dbfs, role, harmonic=1, channel="left", family="mains", frequency_hz=50.0):
    return Line(
        subject=role, role=role, quantity="hum_level", channel=channel, family=family, harmonic=harmonic,
        frequency_hz=frequency_hz, level_dbfs=level_dbfs, low=level_dbfs - 0.2, high=level_dbfs + 0.2,
    )  # fmt: skip


@pytest.mark.parametrize(("above_db", "is_bound"), [(2.9, True), (3.1, False), (-1.0, True)])
def test_three_decibels_above_the_floor_decide(above_db, is_bound):
    (row,) = bounded_by_floor([level(-100.0 + above_db, "through")], [level(-100.0, "recorder")])
    assert (row.bound == "upper") is is_bound
    if is_bound:
        assert row.value == pytest.approx(-100.0 + above_db + 0.1)
        assert row.detail["floor_dbfs"] == -100.0
        assert row.low is row.high is None


def test_the_highest_of_several_floors_counts_whatever_their_order():
    floors = [level(-100.0, "source_off"), level(-112.0, "recorder")]
    for rows in (floors, floors[::-1]):
        assert bounded_by_floor([level(-98.0, "direct")], rows)[0].bound == "upper"


def test_a_floor_that_was_not_found_bounds_nothing():
    hidden = msgspec.structs.replace(level(-100.0, "recorder"), low=None, high=None, bound="upper")
    assert bounded_by_floor([level(-99.0, "through")], [hidden])[0].bound is None


def test_a_mono_recorder_take_is_the_floor_of_both_channels():
    rows = [level(-99.0, "through", "left"), level(-99.0, "through", "right")]
    assert [row.bound for row in bounded_by_floor(rows, [level(-100.0, "recorder", "mono")])] == ["upper", "upper"]


def test_lines_are_bounded_one_by_one():
    floor = [line(-112.0, "recorder"), line(-118.0, "recorder", harmonic=3)]
    above = [line(-95.0, "direct"), line(-116.0, "direct", harmonic=3), line(-116.0, "direct", harmonic=5)]
    assert [row.bound for row in lines_bounded_by_floor(above, floor)] == [None, "upper", None]


def test_lines_without_a_place_are_the_same_by_their_frequency():
    floor = [line(-110.0, "recorder", None, family="other", frequency_hz=3210.0)]
    near = line(-109.0, "through", None, family="other", frequency_hz=3210.2)
    far = line(-109.0, "through", None, family="other", frequency_hz=3214.0)
    assert [row.bound for row in lines_bounded_by_floor([near, far], floor)] == ["upper", None]


def test_the_other_channel_is_no_floor():
    floor = [line(-110.0, "recorder", channel="right")]
    assert lines_bounded_by_floor([line(-109.0, "direct")], floor)[0].bound is None
