"""Files, timetables and the note, and the command that writes them."""

from __future__ import annotations

import argparse
import json
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from humcheck.cli import tracks as command
from humcheck.errors import UnusableCall, WouldOverwrite
from humcheck.tracks.layouts import NAMES, layout
from humcheck.tracks.note import note_text
from humcheck.tracks.rendering import render_track
from humcheck.tracks.writing import write_track, write_tracks

EXAMPLE = Path(__file__).parents[2] / "test_signals" / "example"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("tracks") / "new" / "folder"
    write_tracks(folder, rate_hz=44100, bits=16, length="short")
    return folder


def arguments(*words):
    parser = argparse.ArgumentParser()
    command.add_parser(parser.add_subparsers())
    return parser.parse_args(["tracks", *words])


def test_three_tracks_three_timetables_and_a_note(folder):
    expected = {f"{name}.{ending}" for name in NAMES for ending in ("wav", "json")} | {"how-to-play.txt"}
    assert {path.name for path in folder.iterdir()} == expected


@pytest.mark.parametrize("name", NAMES)
def test_the_file_holds_the_rendered_track(folder, name):
    info = soundfile.info(folder / f"{name}.wav")
    assert (info.samplerate, info.channels, info.subtype) == (44100, 2, "PCM_16")
    stored, _ = soundfile.read(folder / f"{name}.wav", dtype="int16", always_2d=True)
    np.testing.assert_array_equal(stored, render_track(layout(name, "short"), 44100, 16) * 2**15)


@pytest.mark.parametrize("name", NAMES)
def test_the_timetable_says_what_plays_when(folder, name):
    table = json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))
    track = layout(name, "short")
    assert table["format"] == "humcheck-timetable"
    assert table["file"] == f"{name}.wav"
    assert table["track"] == {"name": name, "length": "short", "layout": 1}
    assert table["n_samples"] == soundfile.info(folder / f"{name}.wav").frames
    assert [entry["name"] for entry in table["sections"]] == [section.name for section in track.sections]
    for entry, section in zip(table["sections"], track.sections, strict=True):
        assert entry["start_s"] == section.start_s
        assert entry["start_sample"] == section.start_s * 44100
        assert entry["end_s"] == section.end_s


def test_the_sweep_can_be_rebuilt_from_the_timetable_alone(folder):
    """The timetable holds the whole law: another program needs nothing else."""
    table = json.loads((folder / "sweep.json").read_text(encoding="utf-8"))
    entry = next(entry for entry in table["sections"] if entry["name"] == "sweep-left")
    samples, rate_hz = soundfile.read(folder / "sweep.wav", always_2d=True)
    time_s = np.arange(1.0, 5.0, 1 / rate_hz)
    scale_s = entry["time_constant_s"]
    rebuilt = 10 ** (entry["level_dbfs"] / 20) * np.sin(
        2 * np.pi * entry["frequencies_hz"][0] * scale_s * np.exp(time_s / scale_s)
    )
    start = entry["start_sample"] + round(1.0 * rate_hz)
    np.testing.assert_allclose(samples[start : start + len(time_s), 0], rebuilt, rtol=0, atol=1.6 * 2**-15)


@pytest.mark.parametrize("name", ["sweep.wav", "silence.json", "how-to-play.txt"])
def test_a_foreign_file_is_not_replaced_and_nothing_is_written(tmp_path, name):
    (tmp_path / name).write_text("mine", encoding="utf-8")
    with pytest.raises(WouldOverwrite, match=name):
        write_tracks(tmp_path, rate_hz=44100, bits=16, length="short")
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text(encoding="utf-8") == "mine"


def test_force_replaces_a_foreign_file(tmp_path):
    (tmp_path / "silence.json").write_text("mine", encoding="utf-8")
    track = layout("silence", "short")
    write_track(tmp_path / "silence.wav", track, rate_hz=44100, bits=16, force=True)
    assert json.loads((tmp_path / "silence.json").read_text(encoding="utf-8"))["format"] == "humcheck-timetable"


def test_a_file_in_the_place_of_the_folder_is_named(tmp_path):
    (tmp_path / "taken").write_text("mine", encoding="utf-8")
    with pytest.raises(UnusableCall, match="taken.*: the folder cannot be made.*--out"):
        write_tracks(tmp_path / "taken" / "here", rate_hz=44100, bits=16, length="short")


def test_a_full_disk_is_said_and_leaves_nothing_behind(tmp_path):
    """A limit on the size of files stands for a disk that fills up half-way."""
    resource = pytest.importorskip("resource", reason="limits on file sizes exist on POSIX systems only")
    track = layout("silence", "short")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, before[1]))
    try:
        with pytest.raises(UnusableCall, match="silence.wav: cannot be written.*free space"):
            write_track(tmp_path / "silence.wav", track, rate_hz=44100, bits=16)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, handler)
    assert list(tmp_path.iterdir()) == []


def test_the_command_replaces_its_earlier_tracks_and_says_so(folder, capsys):
    before = {path.name: path.stat().st_ino for path in folder.iterdir()}
    args = arguments("--out", str(folder), "--rate", "44100", "--bits", "16", "--length", "short")
    assert args.run(args) == 0
    assert all(path.stat().st_ino != before.pop(path.name) for path in folder.iterdir())
    assert not before
    captured = capsys.readouterr()
    assert "full.wav" in captured.out
    assert "64.5 s" in captured.out
    assert "low volume" in captured.out
    assert captured.err == ""  # progress goes to a terminal only


def test_defaults_are_the_documented_ones():
    args = arguments()
    assert (args.out, args.rate, args.bits, args.length, args.force) == ("test_signals", 48000, 24, "standard", False)


@pytest.mark.parametrize("words", [["--rate", "8000"], ["--bits", "20"], ["--length", "endless"]])
def test_what_cannot_be_made_is_a_usage_error(words, capsys):
    with pytest.raises(SystemExit) as stop:
        arguments(*words)
    assert stop.value.code == 2
    assert "invalid choice" in capsys.readouterr().err


def test_the_command_loads_nothing_heavy_before_it_runs():
    code = "import sys, humcheck.cli.tracks; print(sorted({'numpy', 'scipy', 'soundfile'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(("rate_hz", "bits", "fits"), [(44100, 16, True), (48000, 24, False)])
def test_the_note_tells_how_to_play(rate_hz, bits, fits):
    note = note_text("standard", rate_hz, bits)
    for word in ("LOW VOLUME", "-6 and -3 dB", "DISC PLAYER", "COMPUTER", "MEDIA STICK", "automatic gain"):
        assert word in note
    assert ("these files fit" in note) == fits
    assert max(map(len, note.splitlines())) <= 120
    assert note.isascii()


def test_the_tracked_example_is_what_the_tool_writes(tmp_path):
    """The small example in test_signals is made by one command; made again, it is the same."""
    track = layout("silence", "short")
    write_track(tmp_path / "silence.flac", track, rate_hz=44100, bits=16)
    again, _ = soundfile.read(tmp_path / "silence.flac", dtype="int16", always_2d=True)
    kept, rate_hz = soundfile.read(EXAMPLE / "silence.flac", dtype="int16", always_2d=True)
    assert rate_hz == 44100
    np.testing.assert_array_equal(kept, again)
    assert (EXAMPLE / "silence.json").read_bytes() == (tmp_path / "silence.json").read_bytes()
