"""Outputs are whole or not there, whatever happens; what belongs to the user is left as it is."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from humcheck.audio.writing import LEFTOVER_PREFIX, take_away_leftovers
from humcheck.cli import main
from humcheck.results import results_to_json
from tests.hostile.recordings import noise
from tests.report.fake_results import compare_results

RATE_HZ = 8000
pytestmark = pytest.mark.skipif(os.name == "nt", reason="kills and limits processes as POSIX systems do")


def test_a_kill_at_any_moment_leaves_no_file_half_written(tmp_path):
    """Page, results, track, excerpts, folder for publishing and kept takes, killed 40 times."""
    command = [sys.executable, "-m", "tests.hostile.killed_writer", str(tmp_path), "40"]
    done = subprocess.run(command, capture_output=True, encoding="utf-8", timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["torn"] == []
    assert found["seen"] > 200
    # A killed process cannot tidy up: the next one does, once nobody can be writing any more.
    assert found["leftovers"] > 10
    assert found["remaining"] == []
    assert found["whole"]


def test_what_is_not_surely_a_leftover_is_left_alone(tmp_path):
    old = time.time() - 7200
    names = [".humcheck-notes", ".humcheck-abcd1234-mine.wav", ".humcheck", "humcheck-abcd1234.wav"]
    for name in names:
        (tmp_path / name).write_bytes(b"mine")
        os.utime(tmp_path / name, (old, old))
    (tmp_path / ".humcheck-abcd1234.wav").write_bytes(b"being written at this moment")
    folder = tmp_path / ".humcheck-efgh5678"
    folder.mkdir()
    (folder / "mine.txt").write_bytes(b"mine")
    os.utime(folder, (old, old))
    before = sorted(os.listdir(tmp_path))
    take_away_leftovers(tmp_path)
    assert sorted(os.listdir(tmp_path)) == before
    assert (folder / "mine.txt").read_bytes() == b"mine"


@contextlib.contextmanager
def _disk_of(n_bytes):
    """No file may grow beyond so much: writing fails as on a full disk."""
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (n_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, handler)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    for name, seed in (("direct.wav", 1), ("through.wav", 2)):
        samples = np.random.default_rng(seed).normal(0, 0.01, (RATE_HZ, 2))
        soundfile.write(tmp_path / name, samples, RATE_HZ)
    lines = ['[[takes]]\nfile = "direct.wav"', '[[takes]]\nfile = "through.wav"\ndevice = "Alder"']
    (tmp_path / "bench.toml").write_text("\n".join(lines), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def state(folder: Path):
    files = [path for path in folder.rglob("*") if path.is_file()]
    return {str(path.relative_to(folder)): (path.read_bytes(), path.stat().st_mtime_ns) for path in files}


CALLS = {
    "inspect": ("inspect", "direct.wav", "--json", "old.json"),
    "bench": ("bench", "bench.toml", "--out", "old.html", "--json", "old.json"),
    "tracks": ("tracks", "--length", "short", "--out", "."),
    "new": ("new", ".", "--force"),
}


@pytest.mark.parametrize("call", CALLS.values(), ids=CALLS)
def test_a_full_disk_is_said_and_older_files_stay(folder, capsys, call):
    for name in ("old.html", "old.json"):
        (folder / name).write_text('made by humcheck, "format": "humcheck-results"', encoding="utf-8")
    before = state(folder)
    with _disk_of(600):
        status = main(list(call))
    lines = capsys.readouterr().err.splitlines()
    assert status == 2
    assert len(lines) == 1
    assert "cannot be written (File too large)" in lines[0] or "space" in lines[0]
    after = state(folder)
    assert {name: after.get(name) for name in before} == before
    assert not [name for name in after if LEFTOVER_PREFIX in name]
    assert all(len(content) <= 600 for name, (content, _) in after.items() if name not in before)


def test_recordings_are_only_read(folder, capsys):
    takes = [folder / "direct.wav", folder / "through.wav"]
    for path in takes:
        path.chmod(0o444)
        os.utime(path, (1e9, 1e9))
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns, path.stat().st_mode) for path in takes}
    assert main(["bench", "bench.toml"]) == 0
    capsys.readouterr()
    assert {path: (path.read_bytes(), path.stat().st_mtime_ns, path.stat().st_mode) for path in takes} == before


@pytest.mark.parametrize("name", ["r-evidence/01-single-quiet.flac", "figs/summary.md", "figs/sounds"])
def test_links_inside_folders_of_outputs_lead_nowhere(folder, capsys, tmp_path_factory, name):
    outside = tmp_path_factory.mktemp("outside")
    (folder / name).parent.mkdir()
    (folder / name).symlink_to(outside / "made-through-a-link")
    (folder / "results.json").write_text(results_to_json(compare_results()), encoding="utf-8")
    calls = {"r-evidence": ["inspect", "direct.wav", "--json", "r.json"]}
    assert main(calls.get(name.split("/")[0], ["report", "results.json", "--figures", "figs"])) == 2
    assert name.split("/")[1] in capsys.readouterr().err
    assert os.listdir(outside) == []
    assert not (folder / "r.json").exists()


def test_kept_takes_that_are_something_else_are_measured_again(folder, capsys):
    assert main(["bench", "bench.toml", "--json", "first.json"]) == 0
    kept = sorted((folder / "bench.measured").iterdir())
    outside = folder / "outside"
    kept[0].unlink()
    os.mkfifo(kept[0])  # reading it would never end
    kept[1].rename(outside)
    kept[1].symlink_to(outside)
    before = outside.read_bytes()
    assert main(["bench", "bench.toml", "--json", "second.json"]) == 0
    capsys.readouterr()
    first, second = (json.loads((folder / name).read_text(encoding="utf-8")) for name in ("first.json", "second.json"))
    assert first["measures"] == second["measures"]
    assert outside.read_bytes() == before


def _children(pid):
    """Return the processes of a session, but for those that have ended."""
    shown = subprocess.run(["ps", "-eo", "pgid,stat,pid"], capture_output=True, encoding="utf-8", check=True).stdout
    rows = (line.split() for line in shown.splitlines()[1:])
    return [int(number) for group, state, number in rows if group == str(pid) and not state.startswith("Z")]


def _wait_for(condition, longest_s=30.0):
    end_s = time.monotonic() + longest_s
    while not condition():
        assert time.monotonic() < end_s, "it never happened"
        time.sleep(0.05)


STOPS = {
    "Ctrl-C": (signal.SIGINT, True, 130),
    "ended by the system": (signal.SIGTERM, False, 143),
    "killed": (signal.SIGKILL, False, -9),
}


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="counts processes with ps, as on Linux")
@pytest.mark.parametrize(("number", "to_all", "status"), STOPS.values(), ids=STOPS)
def test_a_bench_stops_at_once_with_all_its_processes(tmp_path, number, to_all, status):
    tables = []
    for index in range(8):
        soundfile.write(tmp_path / f"{index}.wav", np.roll(noise(20 * RATE_HZ), index), RATE_HZ)
        tables.append(f'[[takes]]\nfile = "{index}.wav"\n' + (f'device = "Alder"\nport = {index}' if index else ""))
    (tmp_path / "bench.toml").write_text("\n".join(tables), encoding="utf-8")
    process = subprocess.Popen(
        [sys.executable, "-m", "humcheck", "bench", "bench.toml", "--jobs", "2"],
        cwd=tmp_path, start_new_session=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8",
    )  # fmt: skip
    try:
        # Itself, two workers, and the keeper of what they share.
        _wait_for(lambda: len(_children(process.pid)) >= 4)
        began_s = time.monotonic()
        (os.killpg if to_all else os.kill)(process.pid, number)
        output, error = process.communicate(timeout=20)
        _wait_for(lambda: not _children(process.pid), 5.0)
        assert time.monotonic() - began_s < 5.0
        assert process.returncode == status
        assert output == ""
        if status > 0:
            assert error == "humcheck: stopped; nothing half-written is left behind\n"
        assert not (tmp_path / "bench.html").exists()
        assert not list(tmp_path.rglob(f"{LEFTOVER_PREFIX}*"))
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
