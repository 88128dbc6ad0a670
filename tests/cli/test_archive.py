"""Several saved results in one page, from the command line."""

from __future__ import annotations

import msgspec
import pytest

from humcheck.cli import main
from humcheck.results import results_to_json
from tests.report import fake_results


@pytest.fixture
def saved(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in ("attic", "cellar"):
        results = fake_results.compare_results("Alder")
        bench = msgspec.structs.replace(results.bench, id=name, name=name)
        (tmp_path / f"{name}.json").write_text(results_to_json(msgspec.structs.replace(results, bench=bench)))
    return tmp_path


def test_several_results_make_one_page(saved, capsys):
    assert main(["report", "attic.json", "cellar.json", "--out", "archive.html"]) == 0
    page = (saved / "archive.html").read_text(encoding="utf-8")
    assert "measured on different benches" in page
    assert page.count("Its own direct takes") == 2
    printed = capsys.readouterr().out
    assert [printed.index(text) for text in ("attic.json:", "cellar.json:", "written: archive.html")] == sorted(
        printed.index(text) for text in ("attic.json:", "cellar.json:", "written: archive.html")
    )


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "other.json: holds the same bench as attic.json; give the results of each bench once"),
        ('{"format": "something-else"}', "other.json: this is not a humcheck results file"),
        ('{"format": "humcheck-results", "format_version": 99}', "other.json: the results file has format version 99"),
    ],
)
def test_what_cannot_be_joined_is_said_and_nothing_is_written(saved, capsys, content, words):
    (saved / "other.json").write_text((saved / "attic.json").read_text() if content is None else content)
    assert main(["report", "attic.json", "other.json", "--out", "archive.html"]) == 2
    assert words in capsys.readouterr().err
    assert not (saved / "archive.html").exists()
