"""Excerpts on the way from the command line to files and back."""

import json
import os
import re

import numpy as np
import pytest

from humcheck.audio.writing import write_audio
from humcheck.cli import main
from tests.evidence.quiet_takes import HUM, RATE_HZ, quiet_samples


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A recording that hums, inspected once with a page and a results file."""
    folder = tmp_path_factory.mktemp("inspected")
    samples = quiet_samples(1, combs=(HUM,))
    write_audio(folder / "take.wav", samples, RATE_HZ)
    assert main(["inspect", str(folder / "take.wav"), "--json", str(folder / "r.json"),
                 "--out", str(folder / "page.html")]) == 0  # fmt: skip
    return folder


def players(path):
    return re.findall(r"<audio [^>]*src=\"data:audio/flac", path.read_text(encoding="utf-8"))


def test_the_folder_lies_beside_the_results_and_the_page_holds_the_same(folder):
    media = json.loads((folder / "r.json").read_text(encoding="utf-8"))["media"]
    assert [row["kind"] for row in media] == ["quiet", "hum", "hiss"]
    assert sorted(os.listdir(folder / "r-evidence")) == sorted(row["file"].partition("/")[2] for row in media)
    assert len(players(folder / "page.html")) == len(media)


def test_saved_results_are_heard_again(folder, capsys):
    assert main(["report", str(folder / "r.json"), "--out", str(folder / "again.html")]) == 0
    assert len(players(folder / "again.html")) == 3


def test_results_that_travelled_alone_say_that_their_sounds_are_absent(folder, tmp_path):
    (tmp_path / "r.json").write_bytes((folder / "r.json").read_bytes())
    assert main(["report", str(tmp_path / "r.json"), "--out", str(tmp_path / "again.html")]) == 0
    assert not players(tmp_path / "again.html")
    assert "3 excerpts of these results are not part of this page" in (tmp_path / "again.html").read_text("utf-8")


def test_a_page_alone_needs_no_folder(folder, tmp_path):
    assert main(["inspect", str(folder / "take.wav"), "--out", str(tmp_path / "page.html")]) == 0
    assert os.listdir(tmp_path) == ["page.html"]
    assert len(players(tmp_path / "page.html")) == 3


def test_nothing_is_named_beside_what_goes_down_a_pipe(folder, tmp_path, capsys):
    assert main(["inspect", str(folder / "take.wav"), "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["media"] == []


def test_the_same_call_again_replaces_its_own_folder(folder):
    before = sorted(os.listdir(folder / "r-evidence"))
    assert main(["inspect", str(folder / "take.wav"), "--json", str(folder / "r.json")]) == 0
    assert sorted(os.listdir(folder / "r-evidence")) == before


def test_others_files_in_the_folder_are_refused_before_any_work(folder, tmp_path, capsys):
    (tmp_path / "r-evidence").mkdir()
    theirs = tmp_path / "r-evidence" / "02-single-hum.flac"
    theirs.write_bytes(b"mine")
    assert main(["inspect", str(folder / "take.wav"), "--json", str(tmp_path / "r.json")]) == 2
    assert "02-single-hum.flac: exists and was not written by humcheck" in capsys.readouterr().err
    assert theirs.read_bytes() == b"mine"
    assert os.listdir(tmp_path) == ["r-evidence"]


def test_an_excerpt_is_not_replaced_while_it_is_measured(folder, capsys):
    excerpt = next((folder / "r-evidence").iterdir())
    before = excerpt.read_bytes()
    assert main(["inspect", str(excerpt), "--json", str(folder / "r.json"), "--force"]) == 2
    assert "lies in the folder that this call writes excerpts into" in capsys.readouterr().err
    assert excerpt.read_bytes() == before


def test_other_ways_of_listening_keep_what_findings_point_to(folder, tmp_path):
    assert main(["report", str(folder / "r.json"), "--out", str(folder / "otherwise.html"),
                 "--listening", "headphones"]) == 0  # fmt: skip
    assert "Listen: the hum alone" in (folder / "otherwise.html").read_text(encoding="utf-8")


def test_digital_silence_has_nothing_to_hear(tmp_path):
    write_audio(tmp_path / "zero.wav", np.zeros((5 * RATE_HZ, 2)), RATE_HZ)
    assert main(["inspect", str(tmp_path / "zero.wav"), "--json", str(tmp_path / "z.json")]) == 0
    assert json.loads((tmp_path / "z.json").read_text(encoding="utf-8"))["media"] == []
    assert sorted(os.listdir(tmp_path)) == ["z.json", "zero.wav"]
