"""The coupling in words, and which way it takes by the slope of elementary circuits."""

from __future__ import annotations

import pytest

from humcheck.findings.index import uses
from humcheck.findings.picture import picture_findings
from humcheck.results import Bench, Measure, Results, Settings


def row(quantity, value, role="through", channel="left", *, spread=0.1, **more):
    fields = {
        "picture": "rows",
        "low": value - spread,
        "high": value + spread,
        "unit": "dBFS",
        "interval": "within",
        **more,
    }
    return Measure(
        id=f"{quantity}-{role}-{channel}",
        subject="Birch" if role in ("through", "added") else "t1",
        role=role,
        quantity=quantity,
        channel=channel,
        value=value,
        **(fields | more),
    )


def findings(*rows, role="through"):
    results = Results(
        bench=Bench(id="b", name="b", created=""),
        settings=Settings(),
        humcheck_version="0",
        numbers_version=1,
        created="",
        measures=list(rows),
    )
    return [finding for use in uses(results, role) for finding in picture_findings(use)]


def bound(value, role):
    return row("picture_coupling", value, role, bound="upper", low=None, high=None, interval=None)


# 6.02 dB per octave: a capacitance into a resistance (elementary); 0: a common resistance.
@pytest.mark.parametrize(
    ("slope", "spread", "words"),
    [
        (6.02, 0.1, "small capacitance between"),
        (0.0, 0.1, "a ground that picture and sound share"),
        (3.5, 0.3, "small capacitance and by a shared ground"),
        (4.0, 3.0, "cannot be told"),
    ],
)
def test_the_slope_names_the_way(slope, spread, words):
    (finding,) = findings(
        row("picture_coupling", -88.0), row("picture_coupling_slope", slope, spread=spread, unit="dB/octave")
    )
    assert words in finding.sentence
    assert "the left channel" in finding.sentence
    assert "-88 dBFS" in finding.sentence
    assert finding.severity == "clear"


def test_what_is_added_is_judged_and_both_rows_are_the_evidence():
    (finding,) = findings(row("picture_coupling", -90.0), row("picture_coupling", -110.0, "added"))
    assert finding.severity == "none"
    assert "-110 dBFS" in finding.sentence
    assert "beside what the bench leaks" in finding.sentence
    assert {one.measure for one in finding.evidence} == {
        "picture_coupling-added-left",
        "picture_coupling-through-left",
    }


def test_dbr_is_preferred_and_the_scale_is_named():
    (finding,) = findings(row("picture_coupling", -88.0), row("picture_coupling_rel", -84.0, unit="dBr"))
    assert "-84 dB re the track's full scale" in finding.sentence


def test_a_label_that_the_rows_belie_is_questioned():
    (finding,) = findings(row("picture_coupling", -88.0, picture="white"))
    assert "labelled white, but the known rows were shown: check the label." in finding.sentence
    (right,) = findings(row("picture_coupling", -88.0))
    assert "label" not in right.sentence


def test_a_bound_says_that_nothing_was_found():
    (finding,) = findings(bound(-130.0, "through"))
    assert finding.severity == "none"
    assert finding.sentence.startswith("Birch lets no picture into the sound that could be measured")
    assert not finding.advice
    (alone,) = findings(bound(-130.0, "single"), role="single")
    assert alone.sentence.startswith("No picture leaks into the sound")


def test_nothing_is_said_where_no_rows_were_sought():
    assert findings(row("buzz_level", -70.0)) == []
