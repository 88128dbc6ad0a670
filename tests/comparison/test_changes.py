"""Through against direct, with bounds and with repeats."""

import pytest

from humcheck.comparison.changes import change_between
from humcheck.comparison.relative import bounded_by_floor, relative_levels
from humcheck.comparison.repeats import aggregate_repeats
from humcheck.results import Measure


def level(value, *, role="through", half=0.1, bound=None, quantity="hum_level", channel="left", take="t"):
    known = bound is None
    return Measure(
        subject="Birch" if role == "through" else "direct",
        role=role,
        quantity=quantity,
        channel=channel,
        value=value,
        unit="dBFS",
        low=value - half if known else None,
        high=value + half if known else None,
        bound=bound,
        interval="within" if known else None,
        takes=[take],
    )


def test_single_takes_never_claim_a_difference():
    change = change_between(level(-60.0), level(-80.0, role="direct"), "direct", unit="dB")
    assert change.value == pytest.approx(20.0)
    assert change.distinguishable is None
    assert change.p_value is None
    assert change.high - change.value == pytest.approx(0.1 * 2**0.5)


def test_repeats_are_averaged_and_a_clear_change_is_told():
    through = aggregate_repeats([level(value) for value in (-60.0, -60.1, -59.9)])
    direct = aggregate_repeats([level(value, role="direct") for value in (-80.0, -80.1, -79.9)])
    assert len(through) == 1
    assert through[0].n_takes == 3
    change = change_between(through[0], direct[0], "direct", unit="dB")
    assert change.distinguishable is True
    assert change.low < 20 < change.high


def test_repeats_that_scatter_are_not_called_different():
    through = aggregate_repeats([level(value) for value in (-60.0, -63.0)])
    direct = aggregate_repeats([level(value, role="direct") for value in (-62.0, -61.5)])
    assert change_between(through[0], direct[0], "direct", unit="dB").distinguishable is False


def test_bounds_make_one_sided_changes_or_none():
    hidden, seen = level(-120.0, bound="upper"), level(-80.0, role="direct")
    change = change_between(hidden, seen, "direct", unit="dB")
    assert (change.bound, change.value) == ("upper", pytest.approx(-120.0 + 80.1))
    change = change_between(level(-80.0), level(-120.0, role="direct", bound="upper"), "direct", unit="dB")
    assert (change.bound, change.value) == ("lower", pytest.approx(-80.1 + 120.0))
    assert change_between(hidden, level(-121.0, role="direct", bound="upper"), "direct", unit="dB") is None


def test_one_hidden_repeat_makes_the_group_a_bound():
    (row,) = aggregate_repeats([level(-110.0), level(-108.0, bound="upper")])
    assert (row.bound, row.value, row.n_takes) == ("upper", -108.0, 2)


def test_levels_in_dbr_do_not_move_with_the_recorders_gain():
    quiet = relative_levels([level(-80.0)], {"left": -10.0})
    loud = relative_levels([level(-74.0)], {"left": -4.0})
    assert quiet[0].value == loud[0].value == pytest.approx(-70.0)
    assert quiet[0].quantity == "hum_level_rel"
    assert quiet[0].unit == "dBr"


def test_a_level_at_the_recorders_own_floor_is_a_bound():
    floor = [level(-92.0, role="recorder")]
    near, far = bounded_by_floor([level(-90.0), level(-88.0)], floor)
    assert near.bound == "upper"
    assert near.value == pytest.approx(-89.9)
    assert far.bound is None
