"""Ports, devices, conditions and fixes against each other."""

import math

import numpy as np
import pytest

from humcheck.comparison.certainty import CertaintySettings
from humcheck.comparison.changes import judged
from humcheck.comparison.contrasts import contrast_changes
from humcheck.comparison.ports import _MEDIAN_VARIANCE, port_changes
from humcheck.comparison.repeats import aggregate_repeats, estimate_of
from humcheck.results import Measure


def takes(*values, device="Alder", role="through", port=None, quantity="gain", half=0.0, bound=None, **key):
    return [
        Measure(
            subject=device, role=role, port=port, quantity=quantity, channel="left", value=value, unit="dB",
            low=None if bound else value - half, high=None if bound else value + half, bound=bound,
            interval=None if bound else "within", takes=["t"], **key,
        )
        for value in values
    ]  # fmt: skip


def ports(values_of, margin=0.1, **more):
    rows = aggregate_repeats([row for name, values in values_of.items() for row in takes(*values, port=name)])
    return judged(port_changes(rows), CertaintySettings(margins={"gain": margin}, **more))


def spread_of(changes):
    return next(row for row in changes if row.quantity == "port_spread")


EIGHT = {str(number): (offset, offset + 0.02, offset - 0.02) for number, offset in enumerate(
    (0.0, 0.004, -0.003, 0.002, 0.005, -0.004, 0.001, -0.002), start=1
)}  # fmt: skip


def test_eight_like_ports_are_shown_alike_within_a_tenth_of_a_decibel():
    changes = ports(EIGHT)
    spread = spread_of(changes)
    assert (spread.port, spread.equivalent, spread.distinguishable) == (None, True, False)
    assert (spread.reference["largest"], spread.reference["smallest"]) == ("5", "6")
    assert spread.value == pytest.approx(0.009)
    # Largest pair, s 0.02 from 16 degrees of freedom, t(0.975; 16) = 2.120 (table): 0.009 + 2.120 x 0.02 x sqrt(2/3).
    assert spread.high == pytest.approx(0.009 + 2.120 * 0.02 * math.sqrt(2 / 3), abs=1e-5)
    assert spread.low == 0.0
    assert all(row.equivalent and not row.distinguishable for row in changes)


def test_one_port_apart_spoils_the_claim_and_is_named():
    changes = ports(EIGHT | {"8": (0.2, 0.22, 0.18)})
    spread = spread_of(changes)
    assert (spread.equivalent, spread.distinguishable, spread.reference["largest"]) == (False, True, "8")
    assert spread.low > 0.1
    eighth = next(row for row in changes if row.port == "8")
    assert eighth.distinguishable is True
    assert eighth.reference["port"] == "the others"
    assert eighth.reference["ports"] == list("1234567")
    # Against the median of the other seven: u^2 = s^2/3 (1 + 1.473/7), by the variance of a median of seven.
    middle = np.median([values[0] for name, values in EIGHT.items() if name != "8"])
    assert eighth.value == pytest.approx(0.2 - middle)
    assert eighth.high - eighth.value == pytest.approx(2.120 * 0.02 * math.sqrt((1 + 1.473 / 7) / 3), abs=1e-5)
    # The bad port does not make the good ones different from "the others".
    assert not any(row.distinguishable for row in changes if row.port not in ("8", None))


@pytest.mark.parametrize("count", [3, 4, 5, 6, 7])
def test_the_median_of_ports_scatters_as_it_should(count):
    drawn = np.random.default_rng(6).standard_normal((40000, count))
    expected = np.median(drawn, axis=1).var() * count
    # The scatter of a variance of 40000 draws is 0.7 %.
    assert _MEDIAN_VARIANCE[count] == pytest.approx(expected, rel=0.025)


def test_ports_of_one_take_each_say_nothing():
    changes = ports({"1": (0.0,), "2": (0.01,), "3": (0.5,)})
    assert all((row.p_value, row.distinguishable, row.equivalent) == (None, None, None) for row in changes)
    assert spread_of(changes).reference["repeatability"] == "unknown"


def test_single_takes_borrow_but_are_never_told_apart_unless_asked():
    few = {"1": (0.0, 0.02, -0.02), "2": (0.01, 0.02, 0.0, 0.03), "3": (0.9,)}
    third = next(row for row in ports(few) if row.port == "3")
    assert (third.distinguishable, third.reference["repeatability"]) == (None, "borrowed")
    assert third.p_adjusted < 0.05
    assert third.equivalent is False
    third = next(row for row in ports(few, judge_single_takes=True) if row.port == "3")
    assert third.distinguishable is True


def test_two_ports_make_one_change():
    changes = ports({"A": (0.0, 0.1), "B": (1.0, 1.1)})
    assert [(row.port, row.reference.get("port")) for row in changes if row.quantity == "gain"] == [("B", "A")]


def test_a_port_hidden_by_noise_makes_the_spread_a_lower_bound():
    rows = aggregate_repeats(
        takes(-60.0, -60.2, port="1", quantity="hum_level")
        + takes(-100.0, port="2", quantity="hum_level", bound="upper")
        + takes(-60.1, -60.2, port="3", quantity="hum_level")
    )
    changes = judged(port_changes(rows))
    spread = spread_of(changes)
    assert (spread.bound, spread.equivalent) == ("lower", None)
    assert spread.value == pytest.approx(min(estimate_of(rows[0]).interval()) + 100.0)
    third = next(row for row in changes if row.port == "3")
    assert third.bound == "lower"  # the others are at most so loud


def test_devices_are_set_against_each_other_without_the_direct_take():
    rows = aggregate_repeats(
        takes(-1.0, -1.1, -0.9, device="direct", role="direct")
        + takes(0.0, 0.02, -0.02, device="Alder")
        + takes(0.5, 0.52, 0.48, device="Birch")
    )
    (change,) = judged(contrast_changes(rows))
    assert (change.contrast, change.subject, change.reference["subject"]) == ("device", "Birch", "Alder")
    assert change.value == pytest.approx(0.5)
    own = estimate_of(rows[1]).standard_uncertainty, estimate_of(rows[2]).standard_uncertainty
    freedom = rows[1].detail["degrees_of_freedom"]
    from scipy import stats

    assert change.high - change.value == pytest.approx(stats.t.ppf(0.975, freedom) * math.hypot(*own))


def test_conditions_that_differ_in_one_key_are_set_against_the_first_seen():
    rows = aggregate_repeats(
        takes(-80.0, quantity="hum_level", condition={"supply": "on", "lead": "long"})
        + takes(-90.0, quantity="hum_level", condition={"supply": "off", "lead": "long"})
        + takes(-85.0, quantity="hum_level", condition={"supply": "off", "lead": "short"})
        + takes(-70.0, quantity="hum_level", condition={"supply": "off"})
    )
    changes = judged(contrast_changes(rows))
    found = {(row.reference["differs"], tuple(row.condition.values())): row for row in changes}
    assert set(found) == {("supply", ("off", "long")), ("lead", ("off", "short")), ("lead", ("off",))}
    assert found["supply", ("off", "long")].value == pytest.approx(-10.0)
    assert found["lead", ("off", "short")].reference["condition"] == {"supply": "off", "lead": "long"}
    assert found["lead", ("off",)].value == pytest.approx(20.0)


def test_a_fix_is_set_against_the_same_without_it():
    rows = aggregate_repeats(
        takes(-90.0, -90.1, quantity="hum_level", fix="isolating transformer")
        + takes(-70.0, -70.1, quantity="hum_level")
    )
    (change,) = judged(contrast_changes(rows))
    assert (change.contrast, change.fix, change.reference["fix"]) == ("fix", "isolating transformer", None)
    assert change.value == pytest.approx(-20.0)
    assert change.distinguishable is True


def test_a_family_shares_its_chance_of_error():
    # Eight ports and one question: the smallest probability counts eight times (Holm 1979).
    changes = [row for row in ports(EIGHT) if row.quantity == "gain"]
    smallest = min(changes, key=lambda row: row.p_value)
    assert smallest.p_adjusted == pytest.approx(min(8 * smallest.p_value, 1.0))


def test_takes_needed_are_told_where_sameness_is_not_shown():
    alike = ports({"1": (0.0, 0.1, -0.1), "2": (0.02, 0.08, -0.04), "3": (0.0, -0.1, 0.1)})
    for row in alike:
        assert row.equivalent is False
        assert row.takes_needed > 3
    apart = next(row for row in ports(EIGHT | {"8": (0.9, 0.92, 0.88)}) if row.port == "8")
    assert apart.takes_needed is None
