"""Footage in words: found or not, and when it is strongest."""

from __future__ import annotations

from humcheck.findings import find
from humcheck.results import Bench, Measure, Results, Settings


def row(channel, value, detail, **more):
    fields = {"low": value - 0.3, "high": value + 0.3, "interval": "within"} | more
    return Measure(
        id=f"coupling-{channel}",
        subject="t1",
        role="single",
        quantity="picture_coupling",
        channel=channel,
        value=value,
        unit="dBFS",
        detail={"footage": 1.0, "p_value": 1e-9} | detail,
        **fields,
    )


def sentence_of(*rows):
    results = Results(
        bench=Bench(id="b", name="b", created=""),
        settings=Settings(),
        humcheck_version="0",
        numbers_version=1,
        created="",
        measures=list(rows),
    )
    (finding,) = [finding for finding in find(results) if finding.kind == "picture"]
    return finding.severity, finding.sentence


def test_a_leak_names_its_moment_and_both_channels():
    detail = {"worst_at_s": 75.0, "worst_quiet_at_s": 10.0}
    severity, sentence = sentence_of(row("left", -80.2, detail), row("right", -81.0, detail))
    assert severity == "clear"
    assert "leaks into both channels" in sentence
    assert "-80 dBFS" in sentence
    # -80.2 dB is a factor of 10 ** (80.2 / 20) = 10 233.
    assert "10,000 times weaker" in sentence
    assert "1 min 15 s into the recording; while nothing plays, 10 s into it." in sentence


def test_a_bound_names_the_tone_that_proves_nothing():
    bound = {"bound": "upper", "low": None, "high": None, "interval": None}
    severity, sentence = sentence_of(row("left", -110.0, {"line_tone_found": 1.0}, **bound))
    assert severity == "none"
    assert "stay below -110 dBFS" in sentence
    assert "does not tell whose picture it is" in sentence
    _, without = sentence_of(row("left", -110.0, {"line_tone_found": 0.0}, **bound))
    assert "line rate" not in without
