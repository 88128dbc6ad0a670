"""Results files: written, read, refused."""

import json
import math

import pytest

from humcheck.errors import HumcheckError
from humcheck.results import (
    QUANTITIES,
    Bench,
    Fault,
    Measure,
    Results,
    Settings,
    TakeRow,
    load_results,
    quantity,
    results_schema,
    results_to_json,
)


@pytest.fixture
def results():
    take = TakeRow(
        id="t1",
        file="a<b>\n.wav",
        sha256="0" * 64,
        role="direct",
        rate_hz=48000,
        channels=2,
        sample_format="WAV 24-bit",
        duration_s=90.0,
        faults=[Fault(code="clipped", sentence="The take is clipped.", spoils=["thd"])],
    )
    measure = Measure(
        subject="direct", role="direct", quantity="hum_level", value=-80.0, unit="dBFS", low=-80.1, high=-79.9
    )
    return Results(
        bench=Bench(id="b", name="bench", created="2026-01-01T00:00:00Z"),
        settings=Settings(),
        humcheck_version="0.1.0",
        numbers_version=1,
        created="2026-01-01T00:00:00Z",
        takes=[take],
        measures=[measure],
    )


def test_rows_are_flat_and_come_back_as_they_were(results):
    text = results_to_json(results)
    row = json.loads(text)["measures"][0]
    assert row["subject"] == "direct"
    assert row["quantity"] == "hum_level"
    assert load_results(text) == results


def test_the_schema_accepts_what_is_written(results):
    jsonschema = pytest.importorskip("jsonschema", reason="jsonschema checks the schema from outside")
    jsonschema.validate(json.loads(results_to_json(results)), results_schema())


def test_unknown_keys_are_ignored_and_unknown_quantities_shown_plainly(results):
    plain = json.loads(results_to_json(results))
    plain["later_addition"] = 1
    plain["measures"][0]["quantity"] = "sparkle"
    read = load_results(json.dumps(plain))
    assert read.measures[0].quantity == "sparkle"
    assert quantity("sparkle").title == "sparkle"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{}",
        "[" * 100_000,
        '{"format": "humcheck-results", "format_version": 99}',
        '{"format": "humcheck-results"}',
        '{"format": "humcheck-results", "format_version": 1}',
    ],
)
def test_what_is_no_results_file_is_refused_in_one_line(text):
    with pytest.raises(HumcheckError) as caught:
        load_results(text, where="old.json")
    assert "\n" not in caught.value.sentence()
    assert "old.json" in caught.value.sentence()


def test_no_number_that_is_not_finite_is_ever_written(results):
    broken = Measure(subject="x", role="single", quantity="gain", value=math.nan, unit="dB")
    with pytest.raises(ValueError, match=r"measures\[0\]"):
        results_to_json(
            Results(**{name: getattr(results, name) for name in results.__struct_fields__} | {"measures": [broken]})
        )


def test_a_page_is_told_from_results():
    with pytest.raises(HumcheckError, match="a page, not the results"):
        load_results("\n<!DOCTYPE html><html></html>")


def test_nan_smuggled_into_a_file_is_refused(results):
    text = results_to_json(results).replace("-80.0", "NaN")
    with pytest.raises(HumcheckError, match="damaged"):
        load_results(text)


def test_every_level_has_its_relative_twin():
    scales = ("tone_level", "peak_level")  # what dBr counts from has none itself
    for name, entry in list(QUANTITIES.items()):
        if entry.kind == "level" and not name.endswith("_rel") and name not in scales:
            assert QUANTITIES[f"{name}_rel"].unit.startswith("dBr")


def test_the_published_schema_is_that_of_the_rows():
    from importlib.resources import files

    published = json.loads((files("humcheck.results") / "humcheck-results.schema.json").read_text(encoding="utf-8"))
    assert published == json.loads(json.dumps(results_schema()))


def test_files_of_every_format_version_stay_readable():
    """Frozen: files as earlier versions wrote them, one for each format version."""
    from pathlib import Path

    from humcheck.results.store import CURRENT_FORMAT_VERSION

    for version in range(1, CURRENT_FORMAT_VERSION + 1):
        text = (Path(__file__).parent / "golden" / f"version-{version}.json").read_text(encoding="utf-8")
        read = load_results(text)
        assert read.measures[0].value == -96.2
        assert read.takes[1].faults[0].spoils == ["thd"]
        if version == CURRENT_FORMAT_VERSION:
            # Keys may be added within a version, since readers ignore those they do not know; none goes or changes.
            assert_holds_all(json.loads(results_to_json(read)), json.loads(text))


def assert_holds_all(written, earlier):
    if isinstance(earlier, dict):
        for name, value in earlier.items():
            assert_holds_all(written[name], value)
    elif isinstance(earlier, list):
        assert len(written) == len(earlier)
        for mine, theirs in zip(written, earlier, strict=True):
            assert_holds_all(mine, theirs)
    else:
        assert written == earlier
