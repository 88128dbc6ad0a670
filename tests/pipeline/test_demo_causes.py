"""The demo's three boxes: for each the cause that its path was built with is named."""

from __future__ import annotations

import pytest

from humcheck.pipeline.compare import measure_files, results_of
from humcheck.pipeline.demo_bench import demo_takes, write_demo_takes
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings

#: As few takes as tell the causes: the whole demo is longer.
TAKES = (
    "direct-1.wav", "direct-black-1.wav", "alder-port4-2.wav", "alder-isolating-2.wav", "birch-port4-2.wav",
    "birch-black-1.wav", "cedar-port4-1.wav",
)  # fmt: skip


@pytest.fixture(scope="module")
def findings(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    takes = [take for take in demo_takes() if take.file_name in TAKES]
    write_demo_takes(folder, file_names=TAKES)
    requests = [
        TakeRequest(
            path=str(folder / take.file_name), role=take.role, device=take.device, port=take.port,
            picture=take.picture, condition=dict(take.condition), fix=take.fix,
        )
        for take in takes
    ]  # fmt: skip
    settings = MeasuringSettings(mains_hz=50.0)
    measured, problems = measure_files(requests, settings)
    assert not problems
    return results_of(measured, settings, bench_name="demo").findings


@pytest.mark.slow
@pytest.mark.parametrize(
    ("device", "kind", "cause", "confidence"),
    [
        # Two earths joined; the isolating transformer takes it away.
        ("Alder", "hum", "ground-loop", "well supported"),
        # A picture line beside the sound line, and a little common ground.
        ("Birch", "buzz", "picture-crosstalk", "picture's signal: well supported"),
        ("Birch", "whistle", "picture-crosstalk", "picture's signal: well supported"),
        # Resistors, and wires side by side.
        ("Cedar", "level", "resistance-and-load", "likely"),
        ("Cedar", "bleed", "channel-capacitance", "likely"),
    ],
)
def test_the_cause_that_was_built_in_is_named(findings, device, kind, cause, confidence):
    rows = [row for row in findings if (row.subject, row.kind, row.fix) == (device, kind, None) and row.cause]
    assert rows
    assert {row.cause for row in rows} == {cause}
    assert all(confidence in row.confidence for row in rows)


@pytest.mark.slow
def test_a_clean_box_is_blamed_for_no_hum_and_no_buzz(findings):
    rows = [row for row in findings if row.subject == "Cedar" and row.kind in ("hum", "buzz", "whistle", "hiss")]
    assert rows
    assert all(row.severity == "none" and not row.cause for row in rows)


@pytest.mark.slow
def test_what_is_left_with_the_transformer_is_not_blamed_on_the_box(findings):
    row = next(row for row in findings if row.subject == "Alder" and row.kind == "hum" and row.fix)
    assert row.cause == ""
    assert "The isolating transformer takes" in row.sentence
    assert "Most likely" not in row.sentence
