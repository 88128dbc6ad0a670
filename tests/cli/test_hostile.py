"""What a command does with files and places that it cannot use: one line, status 2, nothing destroyed, soon."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import numpy as np
import pytest
import soundfile

from humcheck.cli import main
from humcheck.tracks.layouts import layout
from humcheck.tracks.rendering import render_track

RATE_HZ = 48000
#: Far above what any of this takes on a busy machine; what hangs, fails.
TIMEOUT_S = 120


def run(*arguments, folder):
    return subprocess.run(
        [sys.executable, "-m", "humcheck", *map(str, arguments)],
        capture_output=True,
        encoding="utf-8",
        timeout=TIMEOUT_S,
        check=False,
        cwd=folder,
    )


def run_here(*arguments, folder, monkeypatch, capsys):
    """Do the same within this process, which costs no start."""
    monkeypatch.chdir(folder)
    status = main([str(argument) for argument in arguments])
    said = capsys.readouterr()
    return subprocess.CompletedProcess(arguments, status, said.out, said.err)


def assert_refused(done, *words):
    """One line that says what is wrong, on standard error; nothing on standard output."""
    assert done.returncode == 2, done.stdout + done.stderr
    assert done.stdout == ""
    line = only_line(done.stderr)
    for word in words:
        assert word in line


def only_line(text):
    (line,) = text.splitlines()
    assert text == line + "\n"
    assert line.startswith("humcheck: ")
    assert line.isprintable()
    return line


@pytest.fixture(scope="session")
def takes(tmp_path_factory):
    """A folder with a direct take and one through a box, of the short track with nothing but its quiet part."""
    folder = tmp_path_factory.mktemp("takes")
    track = render_track(layout("silence", "short"), RATE_HZ, 24)
    rng = np.random.default_rng(1)
    time_s = np.arange(len(track))[:, None] / RATE_HZ
    for name, hum in (("direct.wav", 0.0), ("through.wav", 1e-3)):
        recorded = 0.7 * track + hum * np.sin(2 * np.pi * 50.0 * time_s) + rng.normal(0, 3e-5, track.shape)
        soundfile.write(folder / name, recorded, RATE_HZ, subtype="PCM_24")
    return folder


def noise(n_samples):
    return np.random.default_rng(2).normal(0, 0.01, (n_samples, 2))


def missing(path):
    pass


def folder(path):
    path.mkdir()


def empty(path):
    path.touch()


def text(path):
    path.write_text("This is not sound.\n" * 100, encoding="utf-8")


def cut_header(path):
    soundfile.write(path, noise(1000), RATE_HZ)
    path.write_bytes(path.read_bytes()[:30])


def header_only(path):
    soundfile.write(path, noise(0), RATE_HZ)


def not_a_number(path):
    samples = noise(1000)
    samples[500, 1] = np.nan
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")


def infinite(path):
    samples = noise(1000)
    samples[500, 1] = np.inf
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")


def slow_rate(path):
    soundfile.write(path, noise(1000), 1000)


UNUSABLE = [
    (missing, "there is no such file"),
    (folder, "is a folder"),
    (empty, "is empty"),
    (text, "is not an audio file"),
    (cut_header, "is not an audio file"),
    (header_only, "holds no samples"),
    (not_a_number, "not a number"),
    (infinite, "not a number"),
    (slow_rate, "1000 Hz"),
]


@pytest.mark.parametrize(("make", "words"), UNUSABLE, ids=[make.__name__ for make, _ in UNUSABLE])
def test_a_file_that_is_no_recording_is_refused(tmp_path, monkeypatch, capsys, make, words):
    make(tmp_path / "take.wav")
    outputs = ("--out", "page.html", "--json", "results.json")
    done = run_here("inspect", "take.wav", *outputs, folder=tmp_path, monkeypatch=monkeypatch, capsys=capsys)
    assert_refused(done, "take.wav: ", words, "; ")
    assert not (tmp_path / "page.html").exists()
    assert not (tmp_path / "results.json").exists()


def test_a_comparison_without_a_usable_direct_take_is_refused(takes, tmp_path):
    empty(tmp_path / "take.wav")
    done = run("compare", "--direct", "take.wav", "--through", takes / "through.wav", folder=tmp_path)
    assert_refused(done, "take.wav: is empty")
    assert os.listdir(tmp_path) == ["take.wav"]


@pytest.mark.parametrize("n_samples", [1, 100, 4800])
def test_a_crumb_of_sound_is_refused_or_measured_in_words(tmp_path, n_samples):
    """Too short for anything: either the file is refused, or every figure that is missing has its reason."""
    soundfile.write(tmp_path / "take.wav", noise(n_samples), RATE_HZ)
    assert_refused_or_reasoned(run("inspect", "take.wav", "--json", "-", folder=tmp_path))


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_digital_silence_is_refused_or_measured_in_words(tmp_path, subtype):
    soundfile.write(tmp_path / "take.wav", np.zeros((10 * RATE_HZ, 2)), RATE_HZ, subtype=subtype)
    assert_refused_or_reasoned(run("inspect", "take.wav", "--json", "-", folder=tmp_path))


def assert_refused_or_reasoned(done):
    assert "Traceback" not in done.stderr
    if done.returncode == 2:
        assert_refused(done)
        return
    assert done.returncode == 0
    results = json.loads(done.stdout)
    for missing_row in results["not_measured"]:
        assert len(missing_row["reason"]) > 10


def test_a_file_cut_off_in_the_middle_is_measured_as_far_as_it_goes(takes, tmp_path):
    """The header still promises the whole."""
    whole = (takes / "direct.wav").read_bytes()
    (tmp_path / "take.wav").write_bytes(whole[: len(whole) * 3 // 4 + 1])
    done = run("inspect", "take.wav", "--json", "results.json", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    (take,) = json.loads((tmp_path / "results.json").read_text(encoding="utf-8"))["takes"]
    assert take["duration_s"] < 0.8 * layout("silence", "short").duration_s
    assert take["track"]["name"] == "silence"


def test_of_several_takes_the_usable_ones_are_measured(takes, tmp_path):
    text(tmp_path / "notes.wav")
    done = run(
        "compare", "--direct", takes / "direct.wav", "notes.wav", "--through", takes / "through.wav", "gone.wav",
        "--out", "page.html", "--json", "results.json", folder=tmp_path,
    )  # fmt: skip
    assert done.returncode == 2
    problems = [line for line in done.stderr.splitlines() if line.startswith("humcheck: ")]
    assert [line.split(": ")[1] for line in problems] == ["notes.wav", "gone.wav"]
    assert "is not an audio file" in problems[0]
    assert "there is no such file" in problems[1]
    assert "Traceback" not in done.stderr
    results = json.loads((tmp_path / "results.json").read_text(encoding="utf-8"))
    assert [take["file"] for take in results["takes"]] == ["direct.wav", "through.wav"]
    assert any(change["quantity"] == "noise_level" for change in results["changes"])
    assert "direct.wav" in (tmp_path / "page.html").read_text(encoding="utf-8")


def same_file(source, path):
    return source


def a_copy(source, path):
    path.write_bytes(source.read_bytes())
    return path


def saved_as_flac(source, path):
    samples, rate_hz = soundfile.read(source, dtype="int32", always_2d=True)
    soundfile.write(path.with_suffix(".flac"), samples, rate_hz, subtype="PCM_24")
    return path.with_suffix(".flac")


def trimmed(source, path):
    samples, rate_hz = soundfile.read(source, dtype="int32", always_2d=True)
    soundfile.write(path, samples[1234:], rate_hz, subtype="PCM_24")
    return path


@pytest.mark.parametrize("again", [same_file, a_copy, saved_as_flac, trimmed])
def test_one_recording_in_two_roles_is_refused(takes, tmp_path, again):
    """It would show a box that does nothing at all."""
    other = again(takes / "direct.wav", tmp_path / "again.wav")
    done = run("compare", "--direct", takes / "direct.wav", "--through", other, "--out", "page.html", folder=tmp_path)
    assert_refused(done, "is the same recording as", other.name)
    assert not (tmp_path / "page.html").exists()


HOSTILE_NAMES = [
    "two\nlines.wav",
    "escape\x1b[31mred.wav",
    "[/red].wav",
    "<script>alert(1).wav",
    "'; rm -rf *; '.wav",
    "\u202egnp.wav",
    "-rf.wav",
    "%s%n{0}.wav",
    os.fsdecode(b"not-utf-8-\xff.wav"),
]


@pytest.mark.skipif(os.name == "nt", reason="such names cannot exist there")
@pytest.mark.parametrize("name", HOSTILE_NAMES, ids=ascii)
def test_names_reach_the_terminal_escaped(tmp_path, monkeypatch, capsys, name):
    path = tmp_path / name
    path.parent.mkdir(exist_ok=True)
    text(path)
    done = run_here("inspect", "--", name, folder=tmp_path, monkeypatch=monkeypatch, capsys=capsys)
    assert_refused(done, "is not an audio file")


@pytest.mark.skipif(os.name == "nt", reason="such names cannot exist there")
def test_hostile_names_are_measured_and_shown_harmlessly(takes, tmp_path):
    # Names of files need not be text on Linux; where they must, this one is.
    no_text = "" if sys.platform == "darwin" else os.fsdecode(b"\xff")
    names = [f"<script>alert(1)\n{no_text}.wav", "[/red]\x1b[31m{{ 1 }}.wav"]
    (tmp_path / "[").mkdir()
    for name, source in zip(names, ("direct.wav", "through.wav"), strict=True):
        a_copy(takes / source, tmp_path / name)
    done = run(
        "compare", "--direct", names[0], "--through", names[1], "--name", f"</script><b>Alder{no_text}",
        "--out", "page.html", "--json", "results.json", folder=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "\x1b" not in done.stdout + done.stderr
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "<script>alert" not in page
    assert "</script><b>" not in page
    assert "\x1b" not in page
    json.loads((tmp_path / "results.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("option", ["--out", "--json"])
def test_an_existing_file_of_somebody_else_is_left_alone(takes, tmp_path, option):
    precious = tmp_path / "precious.txt"
    precious.write_text("mine", encoding="utf-8")
    done = run("inspect", takes / "direct.wav", option, "precious.txt", folder=tmp_path)
    assert_refused(done, "precious.txt: ", "--force")
    assert precious.read_text(encoding="utf-8") == "mine"
    assert os.listdir(tmp_path) == ["precious.txt"]


def test_a_take_is_never_an_output(takes, tmp_path):
    """Not even with --force: it is read in the same run."""
    a_copy(takes / "direct.wav", tmp_path / "take.wav")
    before = (tmp_path / "take.wav").read_bytes()
    done = run("inspect", "take.wav", "--json", "take.wav", "--force", folder=tmp_path)
    assert_refused(done, "take.wav: ")
    assert (tmp_path / "take.wav").read_bytes() == before


def test_page_and_results_are_not_written_into_one_file(takes, tmp_path):
    done = run("inspect", takes / "direct.wav", "--out", "both", "--json", "./both", folder=tmp_path)
    assert_refused(done, "both")
    assert os.listdir(tmp_path) == []


def test_force_replaces_all_and_own_output_is_replaced_without(takes, tmp_path):
    arguments = ("inspect", takes / "direct.wav", "--out", "page.html", "--json", "results.json")
    (tmp_path / "page.html").write_text("mine", encoding="utf-8")
    assert run(*arguments, "--force", folder=tmp_path).returncode == 0
    assert "<html" in (tmp_path / "page.html").read_text(encoding="utf-8")
    assert run(*arguments, folder=tmp_path).returncode == 0


def test_results_on_standard_output_are_nothing_but_results(takes, tmp_path):
    done = run("inspect", takes / "direct.wav", "--json", "-", folder=tmp_path)
    assert done.returncode == 0
    assert json.loads(done.stdout)["format"] == "humcheck-results"
    assert done.stderr != ""
    assert os.listdir(tmp_path) == []


@pytest.mark.skipif(not os.path.isdir("/proc"), reason="needs a folder that nobody can write to, not even root")
def test_a_folder_that_cannot_be_written_to_is_said(takes, tmp_path):
    done = run("inspect", takes / "direct.wav", "--json", "/proc/results.json", folder=tmp_path)
    assert done.returncode == 2
    assert "results.json: " in only_line(done.stderr)


def test_a_folder_that_does_not_exist_is_said_before_any_work(takes, tmp_path):
    done = run("inspect", takes / "direct.wav", "--out", "nowhere/page.html", folder=tmp_path)
    assert_refused(done, "nowhere/page.html: ", "folder")


NOT_RESULTS = {
    "empty": b"",
    "text": b"hello",
    "not utf-8": b"\xff\xfe\x00",
    "null": b"null",
    "a list": b"[]",
    "another format": b'{"format": "something-else", "format_version": 1}',
    "a newer version": b'{"format": "humcheck-results", "format_version": 999}',
    "no takes": b'{"format": "humcheck-results", "format_version": 1}',
    "wrong types": b'{"format": "humcheck-results", "format_version": 1, "bench": 3}',
    "deep": b"[" * 100_000,
    "huge number": b'{"format": "humcheck-results", "format_version": 1e999}',
}


@pytest.mark.parametrize("content", NOT_RESULTS.values(), ids=NOT_RESULTS)
def test_what_is_no_results_file_is_refused(tmp_path, content):
    (tmp_path / "results.json").write_bytes(content)
    done = run("report", "results.json", "--out", "page.html", folder=tmp_path)
    assert_refused(done, "results.json: ")
    assert not (tmp_path / "page.html").exists()


def test_a_missing_results_file_is_refused(tmp_path):
    assert_refused(run("report", "gone.json", folder=tmp_path), "gone.json: ")


def test_a_page_made_of_saved_results_names_the_command_that_measured(takes, tmp_path):
    take = str(takes / "direct.wav")
    assert run("inspect", take, "--json", "saved.json", folder=tmp_path).returncode == 0
    assert run("report", "saved.json", "--out", "again.html", folder=tmp_path).returncode == 0
    page = (tmp_path / "again.html").read_text(encoding="utf-8")
    assert "humcheck inspect direct.wav --json saved.json" in page
    assert take not in page  # where somebody keeps recordings is nobody's business
