"""Pictures on the command line: labels of takes, white against black, and rows that were shown."""

from __future__ import annotations

import json

import numpy as np
import pytest

from humcheck.audio.writing import write_audio
from humcheck.cli import main
from humcheck.simulation import PictureLeak
from tests.rows_sections import rows_section

LEAKS = (PictureLeak(level_dbfs_at_1k=-95.0, right=0.5),)


@pytest.fixture(scope="module")
def takes(tmp_path_factory):
    folder = tmp_path_factory.mktemp("takes")
    pictures = {
        "direct": ((), None),
        "white": (LEAKS, np.ones(240)),
        "black": (LEAKS, np.zeros(240)),
        "rows": (LEAKS, None),
    }
    for seed, (name, (leaks, rows)) in enumerate(pictures.items()):
        write_audio(folder / f"{name}.wav", rows_section(6.0, leaks, seed=seed, rows=rows), 48000)
    return folder


def test_every_take_has_its_picture_and_white_is_set_against_black(takes, tmp_path, capsys):
    through = [str(takes / f"{name}.wav") for name in ("white", "black", "rows")]
    status = main(
        [
            *("compare", "--mains", "50", "--direct", str(takes / "direct.wav"), "--through", *through),
            *("--picture", "rows", "white", "black", "rows"),
            *("--out", str(tmp_path / "page.html"), "--json", str(tmp_path / "results.json")),
        ]
    )
    capsys.readouterr()
    assert status == 0
    results = json.loads((tmp_path / "results.json").read_text(encoding="utf-8"))
    assert [take["picture"] for take in results["takes"]] == ["rows", "white", "black", "rows"]
    contrasts = [row for row in results["changes"] if row["contrast"] == "picture"]
    assert {row["picture"] for row in contrasts} == {"white", "rows"}
    assert all(row["reference"]["picture"] == "black" for row in contrasts)
    rows = {(row["role"], row["channel"]): row for row in results["measures"] if row["quantity"] == "picture_coupling"}
    assert rows["through", "left"]["value"] == pytest.approx(-95.0, abs=0.2)
    assert rows["added", "right"]["value"] == pytest.approx(-101.02, abs=0.3)
    # The direct take holds no picture, but rows were sought in it.
    assert rows["direct", "left"]["bound"] == "upper"
    assert any(finding["kind"] == "picture" for finding in results["findings"])


def test_a_wrong_number_of_labels_is_refused(takes, capsys):
    take = str(takes / "direct.wav")
    assert main(["compare", "--direct", take, "--picture", "white", "black"]) == 2
    assert "2 labels for 1" in capsys.readouterr().err


def test_rows_are_sought_only_where_they_were_shown(takes, tmp_path, capsys):
    names = {}
    for label in ("white", "rows"):
        saved = tmp_path / f"{label}.json"
        assert main(["inspect", str(takes / "rows.wav"), "--picture", label, "--json", str(saved)]) == 0
        capsys.readouterr()
        results = json.loads(saved.read_text(encoding="utf-8"))
        names[label] = {row["quantity"] for row in results["measures"]}
    assert {"picture_coupling", "picture_coupling_slope", "picture_correlation"} <= names["rows"]
    assert not any(name.startswith("picture_") for name in names["white"])
