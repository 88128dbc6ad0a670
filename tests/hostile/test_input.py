"""Hostile input, all of it, through the command line in this process: one sentence, status 2, nothing left behind."""

from __future__ import annotations

import os

import pytest
import soundfile

from humcheck.cli import main
from tests.hostile.cases import OUTPUTS, all_cases
from tests.hostile.recordings import noise
from tests.hostile.running import files_in

pytestmark = pytest.mark.skipif(os.name == "nt", reason="pipes, devices and links are made otherwise there")
#: These cost a second and more, and are tried by `python -m tests.benchmarks hostile`.
_COSTLY = {"100 MB", "a long name", "a device", "768 kHz", "64 channels", "8-bit", "three seconds of full scale"}
CASES = [case for case in all_cases() if case.name not in _COSTLY or case.kind == "place for outputs"]
#: Whole pages, made to be refused or shown: a few stand for all.
SHOWN = {"scripts for names", "numbers of 5e-324", "media that lead out", "control characters", "no rows"}


def _wanted(case):
    return case.refused or (case.name in SHOWN if case.kind == "results" else case.call[0] == "calibrate")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    soundfile.write(tmp_path / "direct.wav", noise(8000), 8000)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(("kind", "command"), sorted({(case.kind, case.call[0]) for case in CASES}))
def test_every_hostile_input_is_answered_in_a_sentence(folder, capsys, kind, command):
    chosen = [case for case in CASES if (case.kind, case.call[0]) == (kind, command) and _wanted(case)]
    assert chosen
    for number, case in enumerate(chosen):
        place = folder / str(number)
        place.mkdir()
        os.chdir(place)
        (place / "direct.wav").symlink_to(folder / "direct.wav")
        case.make(place / "input")
        before = files_in(place)
        status = main(list(case.call))
        said = capsys.readouterr()
        new = {path.split("/")[0] for path in set(files_in(place)) - set(before)}
        if case.refused:
            assert (status, said.out, new) == (2, "", set()), (case.name, said.err)
            (line,) = said.err.splitlines()
            assert line.startswith("humcheck: "), case.name
            assert line.isprintable(), case.name
        else:
            assert status in (0, 2), case.name
            assert all(line.startswith("humcheck: ") for line in said.err.splitlines()), (case.name, said.err)
            assert new <= set(OUTPUTS), case.name
        # What was there is what it was.
        assert {path: content for path, content in files_in(place).items() if path in before} == before, case.name
