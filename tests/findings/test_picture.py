"""The coupling in words, and which way it takes by the slope of elementary circuits."""

from __future__ import annotations

import pytest

from humcheck.findings.index import uses
from humcheck.findings.picture import picture_findings
from humcheck.results import Bench, Change, Curve, Measure, Results, Settings


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


def findings(*rows, role="through", settings=None):
    results = Results(
        bench=Bench(id="b", name="b", created=""),
        settings=settings or Settings(),
        humcheck_version="0",
        numbers_version=1,
        created="",
        measures=[row for row in rows if isinstance(row, Measure)],
        changes=[row for row in rows if isinstance(row, Change)],
        curves=[row for row in rows if isinstance(row, Curve)],
    )
    return [finding for use in uses(results, role) for finding in picture_findings(use)]


BOUND = {"bound": "upper", "low": None, "high": None, "interval": None}


def bound(value, role):
    return row("picture_coupling", value, role, **BOUND)


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


def test_the_leak_is_told_in_picofarads_where_they_are_known():
    known = row("picture_capacitance", 12.3, unit="pF", spread=0.4)
    (finding,) = findings(row("picture_coupling", -88.0), row("picture_coupling_slope", 6.0, spread=0.1), known)
    assert "leaks into the left channel through about 12.3 pF (11.9 to 12.7)" in finding.sentence
    assert known.id in {one.measure for one in finding.evidence}
    ground = row("picture_ground_resistance", 4.2, unit="mohm", spread=0.1)
    (shared,) = findings(row("picture_coupling", -88.0), row("picture_coupling_slope", 0.0, spread=0.1), ground)
    assert "a shared ground of about 4.2 milliohm (4.1 to 4.3)" in shared.sentence


def test_circuit_values_without_a_calibration_say_what_is_missing():
    coupling = row("picture_coupling", -88.0)
    (finding,) = findings(coupling, settings=Settings(source_ohms=600.0, load_ohms=10_000.0))
    assert "the volts at the recorder's full scale must be given" in finding.sentence
    (silent,) = findings(coupling, settings=Settings(volts_at_full_scale=2.0))
    assert "must be given" not in silent.sentence


@pytest.mark.parametrize(("p_value", "words"), [(1e-30, "less than one in a million"), (2e-4, "is 0.0002")])
def test_the_confidence_names_the_chance_of_a_match_without_the_picture(p_value, words):
    share = row("picture_correlation", 0.4, unit="", detail={"p_value": p_value})
    curve = Curve(
        **share.fields(quantity="picture_coupling_curve"), id="curve-1", unit="dBFS", frequency_hz=[1e3], value=[-88.0]
    )
    (finding,) = findings(row("picture_coupling", -88.0), share, curve)
    assert words in finding.confidence
    assert "curve-1" in {one.curve for one in finding.evidence}


BLEED = {"port": "1", "condition": {"picture_port": "2"}}


def heard_margin(value, spread=5.0):
    return row("audible_margin_buzz", value, unit="dB", spread=spread, listening="headphones", **BLEED)


def test_the_picture_of_a_port_that_is_not_selected_is_bleed():
    (finding,) = findings(row("picture_coupling", -88.0, **BLEED), heard_margin(20.0))
    assert finding.kind == "bleed"
    assert finding.sentence.startswith(
        "The picture of the source at port 2 is heard at port 1 although port 1 is selected: "
    )
    assert "-88 dBFS in the left channel" in finding.sentence
    assert "Heard on headphones" in finding.sentence
    assert finding.severity == "clear"
    assert "other port" in finding.advice[0]
    (unheard,) = findings(row("picture_coupling", -120.0, **BLEED), heard_margin(-20.0))
    assert "port 2 gets into the sound at port 1" in unheard.sentence
    assert "Not heard" in unheard.sentence
    assert unheard.severity == "none"


def test_no_picture_of_the_other_port_is_a_bound_and_the_own_port_is_no_bleed():
    found = row("picture_coupling", -130.0, bound="upper", low=None, high=None, interval=None, **BLEED)
    (finding,) = findings(found)
    assert "could not be found in the sound of port 1: a full swing" in finding.sentence
    assert "would stay below -130 dBFS" in finding.sentence
    assert finding.severity == "none"
    (own,) = findings(row("picture_coupling", -88.0, port="2", condition={"picture_port": "2"}))
    assert own.kind == "picture"


@pytest.mark.parametrize(("change_db", "spread", "found"), [(18.0, 0.3, True), (0.2, 0.3, False)])
def test_a_white_picture_at_the_other_port_is_told_by_its_buzz(change_db, spread, found):
    level = row("buzz_level", -80.0, picture="white", **BLEED)
    change = Change(
        **level.fields(),
        id="change-1",
        contrast="picture",
        value=change_db,
        low=change_db - spread,
        high=change_db + spread,
        unit="dB",
        reference={"subject": "Birch", "role": "through", "n_takes": 1, "picture": "black"},
    )
    (finding,) = findings(level, change)
    assert ("could not be found" in finding.sentence) is not found
    assert (finding.severity == "none") is not found
    if found:
        assert "the buzz is 18 dB stronger than with a black picture there" in finding.sentence
    assert finding.evidence[0].change == "change-1"


def test_footage_is_not_told_as_coded_rows():
    detail = {"footage": 1.0, "p_value": 1e-9, "worst_at_s": 12.4, "worst_dbfs": -71.2}
    found = row("picture_coupling", -80.0, "single", picture=None, detail=detail)
    share = row("picture_correlation", 0.1, "single", picture=None, unit="", detail=detail)
    (finding,) = findings(found, share, role="single")
    assert "strongest about 12 s into the recording: what it leaves there stands at -71 dBFS." in finding.sentence
    assert "a recording without the picture would match" in finding.confidence
    hidden = row("picture_coupling", -95.0, "single", picture=None, detail={"footage": 1.0}, **BOUND)
    (nothing,) = findings(hidden, role="single")
    assert "though the changes of its own picture were sought in it" in nothing.sentence
    assert "rows" not in finding.sentence + nothing.sentence
