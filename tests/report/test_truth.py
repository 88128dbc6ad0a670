"""Truth of a simulation beside what was measured."""

from __future__ import annotations

from humcheck.report.catalogue import Catalogue
from humcheck.report.text import TERMINAL
from humcheck.report.truth import TruthRow, truth_lines
from humcheck.results import Measure
from tests.report import fake_results
from tests.report.fake_results import Maker


def lines_for(*truth, results=None):
    return truth_lines(Catalogue(results or fake_results.compare_results()), truth, TERMINAL)


def test_inside_outside_and_not_measured():
    lines, count = truth_lines(Catalogue(fake_results.compare_results()), fake_results.truth_rows(), TERMINAL)
    outcomes = {(line.title, line.channel): line.outcome for line in lines}
    assert outcomes["Gain", "left"] == "inside"
    assert outcomes["Gain", "right"] == "outside"
    assert outcomes["Delay", "left"] == "not measured"
    assert count.startswith("3 of 4 intervals and limits hold the true value.")


def test_a_bound_holds_what_lies_below_it():
    below, _ = lines_for(TruthRow(subject="Alder", channel="left", quantity="hiss_level", true_value=-110, unit="dBFS"))
    above, _ = lines_for(TruthRow(subject="Alder", channel="left", quantity="hiss_level", true_value=-100, unit="dBFS"))
    assert below[0].measured == "< -103.4 dBFS"
    assert (below[0].outcome, above[0].outcome) == ("inside", "outside")


def test_the_unit_decides_between_a_level_and_its_change():
    (line,), _ = lines_for(TruthRow(subject="Alder", channel="left", quantity="hum_level", true_value=-71, unit="dBFS"))
    assert line.role == "added by the device"


def test_a_role_can_be_named():
    (line,), _ = lines_for(
        TruthRow(subject="Alder", channel="left", quantity="hum_level", true_value=-71, unit="dBFS", role="through")
    )
    assert line.interval == "-71.6 to -71.0"


def test_a_truth_of_several_set_ups_makes_a_line_for_each():
    truth = TruthRow(subject="Alder", channel="left", quantity="hum_level", true_value=-70, unit="dBFS", role="through")
    lines, _ = lines_for(truth, results=fake_results.bench_results(["Alder"], ports=2))
    assert len(lines) == 4
    only, _ = lines_for(
        TruthRow(
            subject="Alder", channel="left", quantity="hum_level", true_value=-70, unit="dBFS", role="through",
            port="2", picture="black", condition={"supply": "on"},
        ),
        results=fake_results.bench_results(["Alder"], ports=2),
    )  # fmt: skip
    assert [line.where for line in only] == ["port 2, black picture"]


def test_a_truth_without_a_fix_is_not_held_against_a_take_with_one():
    rows = [
        Measure(
            subject="A", role="through", channel="left", quantity="hum_level", value=value, unit="dBFS",
            low=value - 1, high=value + 1, fix=fix,
        )
        for value, fix in ((-70, None), (-90, "isolating transformer"))
    ]  # fmt: skip
    (line,), _ = lines_for(
        TruthRow(subject="A", channel="left", quantity="hum_level", true_value=-70, unit="dBFS"),
        results=Maker().results(measures=rows, takes=[]),
    )
    assert line.outcome == "inside"


def test_without_an_interval_nothing_is_claimed():
    row = Measure(subject="A", role="through", channel="left", quantity="hum_level", value=-70, unit="dBFS")
    (line,), count = lines_for(
        TruthRow(subject="A", channel="left", quantity="hum_level", true_value=-70, unit="dBFS"),
        results=Maker().results(measures=[row], takes=[]),
    )
    assert line.outcome == "no interval"
    assert "none can be checked" in count
