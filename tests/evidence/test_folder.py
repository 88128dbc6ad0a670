"""The folder beside the results: written whole, never over others' files, and read with distrust."""

import hashlib
import os

import numpy as np
import pytest

from humcheck.errors import UnusableCall, WouldOverwrite
from humcheck.evidence import Excerpts, Sound, folder_name, read_folder, refuse_folder, with_excerpts, write_folder
from humcheck.evidence.encoding import encode
from humcheck.results import Bench, Evidence, Finding, Key, Media, Results, Settings, load_results, results_to_json

KEY = Key(subject="Alder", role="through", quantity="", port="1", picture="white")
SAMPLES = np.random.default_rng(1).normal(0, 0.01, (3200, 2))


def sound(kind, role="through", key=KEY, scale=1.0):
    return Sound(
        group="Alder", kind=kind, role=role, key=key, caption=f"{kind} of {role}, raised by 40 dB.", raised_db=40.0,
        level_dbfs=-30.0, content=encode(SAMPLES * scale, 32_000),
    )  # fmt: skip


EXCERPTS = Excerpts(
    sounds=(sound("quiet", "direct", Key(subject="direct", role="direct", quantity="")), sound("quiet"), sound("hum")),
    notes={"Alder": "Two more are not played."},
)


def finding(quantity, **changed):
    key = KEY.fields(quantity=quantity, **changed)
    return Finding(**key, id=f"f-{quantity}", kind="hum", severity="clear", sentence="It hums.",
                   evidence=[Evidence(measure="measures-1")])  # fmt: skip


def results(*findings):
    return Results(
        bench=Bench(id="b", name="b", created=""), settings=Settings(), humcheck_version="0", numbers_version=1,
        created="", findings=list(findings),
    )  # fmt: skip


def test_rows_name_the_files_and_their_fingerprints(tmp_path):
    path = tmp_path / "alder.json"
    listed, sounds = with_excerpts(results(), EXCERPTS, folder_name(path))
    folder = write_folder(EXCERPTS, path)
    assert folder == tmp_path / "alder-evidence"
    assert sorted(os.listdir(folder)) == ["01-direct-quiet.flac", "02-through-quiet.flac", "03-through-hum.flac"]
    for row in listed.media:
        content = (tmp_path / row.file).read_bytes()
        assert row.sha256 == hashlib.sha256(content).hexdigest()
        assert content == sounds[row.id]
    assert [row.note for row in listed.media] == ["Two more are not played.", "", ""]
    assert {row.raised_db for row in listed.media} == {40.0}


def test_what_was_saved_is_found_again(tmp_path):
    path = tmp_path / "alder.json"
    listed, sounds = with_excerpts(results(), EXCERPTS, folder_name(path))
    write_folder(EXCERPTS, path)
    again = load_results(results_to_json(listed))
    assert again.media == listed.media
    assert read_folder(again.media, path) == sounds


def test_findings_point_to_what_lets_one_hear_them():
    listed, _ = with_excerpts(
        results(finding("hum_level"), finding("hiss_level"), finding("gain"), finding("hum_level", picture="black")),
        EXCERPTS,
        "x",
    )
    heard = [[item.media for item in one.evidence if item.media] for one in listed.findings]
    assert heard == [["media-3", "media-2"], ["media-2"], [], []]
    assert all(one.evidence[0].measure == "measures-1" for one in listed.findings)
    # Once more changes nothing: no pointer stands twice.
    assert with_excerpts(listed, EXCERPTS, "x")[0] == listed


def test_our_own_files_are_replaced_and_older_ones_taken_away(tmp_path):
    path = tmp_path / "r.json"
    write_folder(EXCERPTS, path)
    fewer = Excerpts(sounds=(sound("quiet", scale=0.5),))
    write_folder(fewer, path)
    assert os.listdir(tmp_path / "r-evidence") == ["01-through-quiet.flac"]
    assert (tmp_path / "r-evidence" / "01-through-quiet.flac").read_bytes() == fewer.sounds[0].content
    write_folder(Excerpts(), path)
    assert os.listdir(tmp_path / "r-evidence") == []


def test_no_folder_is_made_for_nothing(tmp_path):
    assert write_folder(Excerpts(), tmp_path / "r.json") is None
    assert os.listdir(tmp_path) == []


def test_files_of_other_making_are_left_alone(tmp_path):
    folder = tmp_path / "r-evidence"
    folder.mkdir()
    for name in ("notes.txt", "my song.flac", "09-through-hiss.flac"):
        (folder / name).write_bytes(b"mine")
    path = tmp_path / "r.json"
    with pytest.raises(WouldOverwrite):
        write_folder(EXCERPTS, path)
    assert sorted(os.listdir(folder)) == ["09-through-hiss.flac", "my song.flac", "notes.txt"]
    (folder / "09-through-hiss.flac").rename(folder / "mine.flac")
    write_folder(EXCERPTS, path)
    for name in ("notes.txt", "my song.flac", "mine.flac"):
        assert (folder / name).read_bytes() == b"mine"


def test_force_replaces_files_of_other_making_that_are_in_the_way_and_no_others(tmp_path):
    folder = tmp_path / "r-evidence"
    folder.mkdir()
    (folder / "01-direct-quiet.flac").write_bytes(b"mine")
    (folder / "44-direct-quiet.flac").write_bytes(b"mine")
    write_folder(EXCERPTS, tmp_path / "r.json", force=True)
    assert (folder / "01-direct-quiet.flac").read_bytes() == EXCERPTS.sounds[0].content
    assert (folder / "44-direct-quiet.flac").read_bytes() == b"mine"


def test_a_file_of_the_folders_name_is_said_before_any_work(tmp_path):
    (tmp_path / "r-evidence").write_text("mine")
    with pytest.raises(UnusableCall):
        refuse_folder(tmp_path / "r.json")
    assert (tmp_path / "r-evidence").read_text() == "mine"


def test_what_is_gone_or_has_changed_is_not_played(tmp_path):
    path = tmp_path / "r.json"
    listed, _ = with_excerpts(results(), EXCERPTS, folder_name(path))
    folder = write_folder(EXCERPTS, path)
    (folder / "01-direct-quiet.flac").unlink()
    (folder / "02-through-quiet.flac").write_bytes(EXCERPTS.sounds[2].content + b" ")
    assert list(read_folder(listed.media, path)) == ["media-3"]


@pytest.mark.parametrize(
    "file",
    ["../secret.flac", "/etc/hostname", "a/../../secret.flac", "c:\\secret.flac", "..\\secret.flac", "", ".", "x\0y",
     "r-evidence", "link.flac", "n" * 5000, "text.flac", "\udcff.flac"],
)  # fmt: skip
def test_no_other_file_is_read_whatever_the_results_say(tmp_path, file):
    content = EXCERPTS.sounds[0].content
    (tmp_path / "secret.flac").write_bytes(content)
    home = tmp_path / "home"
    (home / "r-evidence").mkdir(parents=True)
    (home / "link.flac").symlink_to(tmp_path / "secret.flac")
    (home / "text.flac").write_bytes(b"text")
    for told in (hashlib.sha256(content).hexdigest(), hashlib.sha256(b"text").hexdigest()):
        row = Media(id="m", file=file, sha256=told, caption="", kind="quiet")
        assert read_folder([row], home / "r.json") == {}
