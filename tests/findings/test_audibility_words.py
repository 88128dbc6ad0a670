"""What is said of audibility, and which ways of listening can be asked for."""

from dataclasses import replace

import pytest

from humcheck.cli import main
from humcheck.errors import UnusableCall
from humcheck.findings.audibility import (
    PRESETS,
    audibility_rows,
    difference_severity,
    difference_words,
    family_of,
    heard,
    heard_sentence,
    listening_settings,
    margin_evidence,
    margin_quantity,
    margin_severity,
    stated_setting,
)
from humcheck.findings.audibility.families import FAMILIES
from humcheck.findings.index import Use
from humcheck.pipeline.audibility import with_audibility
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.results import QUANTITIES, Key, load_results, results_to_json
from tests.findings.heard_bench import results_of, use_rows

QUIET = -190.0
NOT_AT_ALL = "Not heard on headphones or over loudspeakers in a living room, not even in quiet passages (prediction)."


def use(*rows, settings=PRESETS, role="through"):
    results = with_audibility(results_of(*rows), settings)
    return Use(Key(subject="Alder", role=role, quantity=""), results)


def hum_use(level_dbr, **more):
    return use(use_rows({"hum_level": [(100.0, level_dbr)]}, QUIET), **more)


@pytest.mark.parametrize(
    ("level_dbr", "sentence"),
    [
        (-20.0, "Heard on headphones and over loudspeakers in a living room in quiet passages (prediction)."),
        (-60.0, "Heard on headphones in quiet passages, not over loudspeakers in a living room (prediction)."),
        (-52.0, "Heard on headphones in quiet passages, perhaps over loudspeakers in a living room (prediction)."),
        (-75.0, "Perhaps heard on headphones in quiet passages, not over loudspeakers in a living room (prediction)."),
        (-95.0, NOT_AT_ALL),
    ],
)
def test_the_sentence_says_where_it_is_heard(level_dbr, sentence):
    assert heard_sentence(hum_use(level_dbr), "hum") == sentence


def test_what_is_hidden_is_not_heard_or_may_be():
    bounded = use(use_rows({}, -110.0, bounds={"hum_level": -125.0, "buzz_level": -60.0}))
    assert heard_sentence(bounded, "hum") == NOT_AT_ALL
    assert heard_sentence(bounded, "buzz").startswith("Perhaps heard on headphones")
    assert margin_severity(bounded, "buzz") == "none"
    # A buzz that strong would stand out of so little noise: the noise itself is the tighter limit.
    assert heard_sentence(use(use_rows({}, -150.0, bounds={"buzz_level": -60.0})), "buzz") == NOT_AT_ALL


def test_without_margins_nothing_is_said():
    bare = Use(Key(subject="Alder", role="through", quantity=""), results_of(use_rows({}, QUIET)))
    assert heard_sentence(bare, "hum") == ""
    assert margin_severity(bare, "hum") is None
    assert margin_evidence(bare, "hum") == heard(bare, "hum") == []


@pytest.mark.parametrize(
    ("level_dbr", "severity"), [(-80.0, "none"), (-70.0, "slight"), (-55.0, "clear"), (-40.0, "strong")]
)
def test_severity_follows_the_larger_margin(level_dbr, severity):
    # 100 Hz is heard from 26.5 dB SPL on (ISO 226), that is -73.5 dBr with full scale at 100 dB SPL.
    assert margin_severity(hum_use(level_dbr), "hum") == severity


def test_evidence_points_to_the_margins():
    pointers = margin_evidence(hum_use(-60.0), "hum")
    rows = {row.id: row for row in hum_use(-60.0).results.measures}
    assert [rows[pointer.measure].listening for pointer in pointers] == ["headphones", "living-room"]
    assert {rows[pointer.measure].quantity for pointer in pointers} == {"audible_margin_hum"}


def test_a_level_that_was_set_is_named():
    louder = hum_use(-60.0, settings=listening_settings(["headphones=110"]))
    assert heard_sentence(louder, "hum") == "Heard on headphones at 110 dB in quiet passages (prediction)."


def test_the_added_part_is_what_is_said_of_a_device():
    rows = use_rows({"hum_level": [(100.0, -60.0)]}, QUIET)
    direct = use_rows({"hum_level": [(100.0, -60.0)]}, QUIET, role="direct", subject="direct")
    added = use_rows({}, QUIET, role="added", bounds={"hum_level": -54.0})
    added["curves"].clear()
    both = use(rows, direct, added)
    assert [one.measure.role for one in heard(both, "hum")] == ["added", "added"]
    assert [one.measure.role for one in heard(both, "hum", "through")] == ["through", "through"]
    assert heard_sentence(both, "hum").startswith("Perhaps heard on headphones")


def test_both_loudspeakers_are_heard_together():
    sides = [use_rows({"hum_level": [(100.0, -60.0)]}, QUIET, channel=channel) for channel in ("left", "right")]
    on_headphones, in_the_room = (one.measure for one in heard(use(*sides), "hum"))
    margins = {
        (row.listening, row.channel): row.value
        for row in use(*sides).results.measures
        if row.quantity == "audible_margin_hum"
    }
    assert on_headphones.value == margins["headphones", "left"]
    # Two equal channels: 10 lg 2 (elementary).
    assert in_the_room.value == pytest.approx(margins["living-room", "left"] + 3.01, abs=0.01)


def test_every_family_has_its_quantity_in_the_registry():
    for family in (*(family.name for family in FAMILIES), "noise"):
        assert QUANTITIES[margin_quantity(family)].unit == "dB"
    assert {family_of(name) for name in ("hum_level", "hum_level_a_rel", "other_lines_level", "noise_level_468")} == {
        "hum",
        "other",
        "noise",
    }
    assert family_of("gain") is None


def test_margins_are_put_in_place_once_and_survive_saving():
    once = hum_use(-60.0).results
    assert with_audibility(once, PRESETS).measures != []
    again = with_audibility(with_audibility(once, listening_settings(["headphones=90"])), PRESETS)
    margins = [(row.quantity, row.listening, row.value) for row in again.measures if row.listening]
    assert margins == [(row.quantity, row.listening, row.value) for row in once.measures if row.listening]
    assert len({row.id for row in again.measures}) == len(again.measures)
    saved = load_results(results_to_json(again), where="saved")
    assert saved.settings.listening == [setting.statement for setting in PRESETS]
    assert audibility_rows(saved, PRESETS) == audibility_rows(again, PRESETS)


@pytest.mark.parametrize(
    ("kind", "size_db", "words", "severity"),
    [
        ("level", 1.2, "more than listeners notice (about 1 dB)", "clear"),
        ("level", -0.6, "noticed at most when compared side by side", "slight"),
        ("level", 0.3, "less than listeners notice even side by side", "none"),
        ("tone", 0.3, "noticed at most when compared side by side", "slight"),
        ("tone", -3.5, "more than listeners notice (about 1 dB)", "strong"),
    ],
)
def test_differences_are_weighed_by_what_listeners_notice(kind, size_db, words, severity):
    assert difference_words(kind, size_db) == words
    assert difference_severity(kind, size_db) == severity


def test_the_settings_state_their_model():
    headphones, living_room = MeasuringSettings().as_row().listening
    assert headphones.startswith("headphones: full scale 100 dB SPL, uncertain by 8 dB")
    assert "room noise NR 15" in living_room
    known = listening_settings(["headphones=105"])[0]
    for setting in (*PRESETS, known):
        read = stated_setting(setting.statement)
        assert replace(read, words=setting.words) == setting
    assert stated_setting("bathtub: full scale 3 dB") is None
    assert (known.name, known.full_scale_db_spl, known.uncertainty_db) == ("headphones=105", 105.0, 6.0)
    assert listening_settings(None) == listening_settings([]) == PRESETS


@pytest.mark.parametrize("text", ["bathtub", "headphones=", "headphones=loud", "headphones=nan", "living-room=500", ""])
def test_what_cannot_be_listened_to_is_an_error(text):
    with pytest.raises(UnusableCall):
        listening_settings([text])


@pytest.mark.parametrize("text", ["bathtub", "headphones=loud"])
def test_the_command_line_says_so_in_one_sentence(text, tmp_path, capsys):
    assert main(["inspect", str(tmp_path / "none.wav"), "--listening", text]) == 2
    said = capsys.readouterr().err
    assert said.startswith("humcheck: --listening: ")
    assert said.count("\n") == 1
    assert "headphones" in said


def test_saved_results_are_judged_anew(tmp_path, capsys):
    saved = tmp_path / "saved.json"
    saved.write_text(results_to_json(hum_use(-60.0).results), encoding="utf-8")
    page = tmp_path / "page.html"
    assert main(["report", str(saved), "--out", str(page), "--listening", "headphones=90"]) == 0
    assert "headphones=90" in page.read_text(encoding="utf-8")
    assert "full scale 90 dB SPL" in page.read_text(encoding="utf-8")
