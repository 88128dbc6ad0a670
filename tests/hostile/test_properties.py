"""What holds for any input at all, tried on many: what reads files of others either reads them or says why not."""

from __future__ import annotations

import json
import math
import os
import string

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from humcheck.audio.files import open_take
from humcheck.audio.hearing.listening import listening_settings, stated_setting
from humcheck.errors import HumcheckError, UnusableCall, UnusableTake, storable
from humcheck.results import Bench, Measure, Results, Settings, load_results, results_to_json
from humcheck.tracks.layouts import layout
from humcheck.tracks.timetable import timetable_text
from tests.fuzz.targets import audio, audio_seeds, results
from tests.hostile.recordings import wav

#: The same inputs every time: a failure of one run is a failure of the next.
STEADY = settings(derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
PLAIN = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
DB = st.floats(-3000, 3000)


def require_sentence(error):
    assert error.sentence().isprintable()


@settings(STEADY, max_examples=60)
@given(
    rate_hz=st.sampled_from([0, 1, 3999, 4000, 48000, 768000, 768001, 2**32 - 1]) | st.integers(0, 2**32 - 1),
    n_channels=st.integers(0, 70) | st.integers(0, 65535),
    bits=st.sampled_from([0, 1, 8, 12, 16, 24, 32, 64, 65535]),
    code=st.sampled_from([0, 1, 2, 3, 6, 7, 17, 85, 65534, 65535]),
    stated=st.none() | st.integers(0, 2**32 - 1),
    align=st.none() | st.integers(0, 65535),
    body=st.binary(max_size=600),
)
def test_a_header_that_lies_is_read_or_refused(tmp_path_factory, **header):
    """Fields of the format chunk: RIFF specification of 1991 (IBM and Microsoft)."""
    path = tmp_path_factory.getbasetemp() / "lies.wav"
    path.write_bytes(wav(**header))
    try:
        take = open_take(path)
    except UnusableTake as error:
        require_sentence(error)
        return
    assert 4000 <= take.rate_hz <= 768000
    # Never more sound than there are bytes: at two samples a byte, the densest coding that is read.
    assert 1 <= take.n_samples * take.n_file_channels <= 2 * len(header["body"]) + 8
    samples = take.read()
    assert samples.shape == (take.n_samples, take.n_channels)
    assert np.isfinite(samples).all()


SEEDS = list(audio_seeds())


@settings(STEADY, max_examples=60)
@given(seed=st.sampled_from(SEEDS), places=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), max_size=8))
def test_damaged_files_of_every_kind_are_read_or_refused(seed, places):
    data = bytearray(seed)
    for share, value in places:
        data[round(share * (len(data) - 1))] = value
    audio(bytes(data))


@settings(STEADY, max_examples=12)
@given(st.binary(min_size=10, max_size=26))
def test_results_oddly_changed_are_shown_or_refused(data):
    results(data)


@settings(STEADY, max_examples=50)
@given(
    st.lists(
        st.builds(
            Measure,
            subject=PLAIN, role=st.just("through"), quantity=PLAIN, unit=PLAIN, value=DB, low=st.none() | DB,
            condition=st.dictionaries(PLAIN, PLAIN, max_size=2), port=st.none() | PLAIN,
        ),
        max_size=3,
    ),
    PLAIN,
)  # fmt: skip
def test_results_come_back_as_they_were(measures, name):
    made = Results(
        bench=Bench(id="b", name=name, created=name),
        settings=Settings(),
        humcheck_version="0.1.0",
        numbers_version=1,
        created=name,
        measures=measures,
    )
    text = results_to_json(made)
    assert load_results(text) == made
    # Editors of one system put a byte order mark in front (RFC 8259, section 8.1: a reader may ignore it).
    assert load_results(b"\xef\xbb\xbf" + text.encode()) == made


@settings(STEADY, max_examples=100)
@given(st.recursive(st.none() | st.booleans() | st.integers() | st.floats() | PLAIN, st.lists, max_leaves=5))
def test_any_json_that_is_no_results_file_is_refused(value):
    for plain in (value, {"format": "humcheck-results", "format_version": 1, "bench": value}):
        with pytest.raises(HumcheckError) as caught:
            load_results(json.dumps(plain), where="x.json")
        assert caught.value.sentence().startswith("x.json: ")


@settings(STEADY, max_examples=100)
@given(st.floats(40, 130), st.sampled_from(["headphones", "living-room"]))
def test_a_setting_is_read_again_from_its_own_statement(level_db, name):
    (setting,) = listening_settings([f"{name}={level_db!r}"])
    again = stated_setting(setting.statement)
    assert again is not None
    assert math.isclose(again.full_scale_db_spl, setting.full_scale_db_spl, rel_tol=1e-5)
    assert (again.name, again.field, again.room_nr) == (setting.name, setting.field, setting.room_nr)


NUMBER = st.text(string.digits + "." + "\u0663", min_size=1, max_size=9) | st.just("9" * 400)


@settings(STEADY, max_examples=100)
@given(NUMBER, NUMBER, st.sampled_from(["no room noise", "room noise NR 1.5.", "room noise NR ."]))
def test_a_statement_of_somebody_else_is_read_or_not(level, uncertainty, room):
    """A saved file may state anything: no statement stops a page from being made."""
    words = f"headphones: full scale {level} dB SPL, uncertain by {uncertainty} dB; {room}; threshold of hearing for "
    setting = stated_setting(f"{words}free-field sound")
    assert setting is None or math.isfinite(setting.full_scale_db_spl + setting.uncertainty_db)


@settings(STEADY, max_examples=100)
@given(st.text(max_size=12) | st.builds("{}={}".format, st.just("headphones"), st.text(max_size=6)))
def test_any_text_is_a_way_of_listening_or_refused(text):
    try:
        (setting,) = listening_settings([text])
    except UnusableCall as error:
        require_sentence(error)
        return
    assert 40 <= setting.full_scale_db_spl <= 130


@settings(STEADY, max_examples=50)
@given(st.binary(max_size=20))
def test_any_name_of_a_file_can_be_stored(name):
    assert storable(os.fsdecode(name)).encode("utf-8").decode("utf-8") == storable(os.fsdecode(name))


@settings(STEADY, max_examples=20)
@given(
    st.sampled_from(["full", "sweep", "silence"]),
    st.sampled_from(["short", "standard", "long"]),
    st.sampled_from([44100, 48000, 96000]),
    st.sampled_from([16, 24]),
)
def test_every_timetable_is_plain_json_whose_sections_lie_inside_the_file(name, length, rate_hz, bits):
    def refuse(text):
        raise AssertionError(text)  # NaN and infinity are no JSON (RFC 8259, section 6)

    table = json.loads(timetable_text(layout(name, length), f"{name}.wav", rate_hz, bits), parse_constant=refuse)
    sections = table["sections"]
    assert table["n_samples"] == math.ceil(table["duration_s"] * rate_hz - 1e-6)
    assert all(0 <= section["start_s"] < section["end_s"] <= table["duration_s"] for section in sections)
    assert all(abs(section["start_sample"] / rate_hz - section["start_s"]) <= 0.5 / rate_hz for section in sections)
    assert [section["start_s"] for section in sections] == sorted(section["start_s"] for section in sections)
