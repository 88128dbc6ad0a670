"""A new bench: what the folder holds, that it fits itself, and that nothing of the user's is lost."""

import re

import pytest

from humcheck.benches.bench_file import read_bench
from humcheck.benches.run_order import BenchPlan, duration_words, everything_duration_s, plan_duration_s, run_order
from humcheck.cli import main
from humcheck.tracks.layouts import layout

SHOW = ["--devices", "Alder,Birch,Cedar", "--ports", "4", "--supply", "--fixes", "isolating transformer"]


def new(folder, *options):
    return main(["new", str(folder), "--no-tracks", *options])


def recorded(folder):
    """Save a take under every name in the run order, as a user would."""
    names = re.findall(r"save as (\S+)", (folder / "run-order.txt").read_text())
    for name in names:
        (folder / name).write_bytes(b"x")
    return names


def test_takes_saved_under_the_names_of_the_run_order_are_those_of_the_bench_file(tmp_path, capsys):
    folder = tmp_path / "show"
    assert new(folder, *SHOW) == 0
    names = recorded(folder)
    bench = read_bench(folder / "bench.toml")
    assert [str(folder / name) for name in names] == [take.path for take in bench.takes]
    assert bench.name == "show"
    planned = run_order(
        BenchPlan(
            devices=("Alder", "Birch", "Cedar"),
            ports=("1", "2", "3", "4"),
            fixes=("isolating transformer",),
            supply=True,
        )
    )
    for take, plan in zip(bench.takes, planned, strict=True):
        for key in ("role", "device", "port", "picture", "fix", "plugging", "condition"):
            assert getattr(take, key) == getattr(plan, key)
    assert "Everything, 3 times: " in capsys.readouterr().out


def test_the_sparse_plan(tmp_path):
    takes = run_order(BenchPlan(devices=("Alder", "Birch"), ports=("A", "B", "C"), supply=True, fixes=("choke",)))
    roles = [take.role for take in takes]
    # The floor first; direct first, last and between the devices.
    assert roles[:3] == ["recorder", "source_off", "direct"]
    assert roles[-1] == "direct"
    middle = [take.device for take in takes[6:]]
    assert middle == ["Alder"] * 8 + [None] + ["Birch"] * 8 + [None]
    alder = [take for take in takes if take.device == "Alder"]
    full = [take.port for take in alder if take.track == "full"]
    assert full == ["A", "B", "C", "C", "C"]
    # Repeats through the box are replugged, so that their scatter holds what plugs do.
    assert len({take.plugging for take in alder if take.track == "full"}) == 5
    quiet = [(take.port, take.picture, take.condition["supply"], take.fix) for take in alder if take.track == "silence"]
    assert quiet == [("C", "black", "on", None), ("C", "white", "off", None), ("C", "white", "on", "choke")]
    # The other pictures have their own direct control.
    assert [take.picture for take in takes if take.role == "direct" and take.track == "silence"] == ["black"]


def test_what_the_plans_cost():
    # 3 devices x 8 ports x 2 pictures x 2 supplies x 3 takes = 288 takes, and 24 direct ones; plugs are changed 48 + 4
    # times, at a minute each; 20 s for starting, stopping and naming.
    plan = BenchPlan(devices=("Alder", "Birch", "Cedar"), ports=tuple("12345678"), supply=True)
    full_s = layout("full", "standard").duration_s
    assert everything_duration_s(plan) == pytest.approx(52 * 60 + (288 + 24) * (full_s + 20))
    # Sparse, for each device: 7 + 3 full, one quiet with black, one with the supply off, one direct: 12 changes.
    quiet_s = layout("silence", "standard").duration_s
    device_s = 11 * (full_s + 20) + 2 * (quiet_s + 20) + 12 * 60
    start_s = 2 * (20 + 20 + 60) + 3 * (full_s + 20) + quiet_s + 20
    assert plan_duration_s(plan) == pytest.approx(start_s + 3 * device_s)
    assert plan_duration_s(plan) < everything_duration_s(plan) / 5


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(20, "1 min"), (50 * 60, "50 min"), (3600, "1 h"), (5.09e3, "1 h 25 min"), (3.3e4, "9 h 10 min"), (3599, "1 h")],
)
def test_durations_in_words(seconds, words):
    assert duration_words(seconds) == words


def test_papers_fit_on_paper(tmp_path):
    long_name = "The box with a very long name that somebody wrote on its lid and its underside"
    new(tmp_path, "--devices", f"{long_name},Birch", "--fixes", long_name + "!", "--pictures", "white,the menu of Kite")
    for name in ("run-order.txt", "checklist.txt"):
        lines = (tmp_path / name).read_text().splitlines()
        # 84 columns of a fixed-width type of 10 points, 6 points wide, are 178 mm of the 210 of A4.
        assert max(map(len, lines)) <= 84
    assert "headphones off" in (tmp_path / "run-order.txt").read_text().lower()
    checklist = (tmp_path / "checklist.txt").read_text()
    for caution in (
        "protective earth",
        "licensed electrician",
        "loudspeaker",
        "tubes",
        "straight coupler",
        "terminated",
    ):
        assert caution in checklist


@pytest.mark.parametrize("name", ["../../evil", "/etc/passwd", "..", "a\\b", "Ähre é", "日本", '"quoted" = 1', "con"])
def test_no_name_leads_out_of_the_folder(tmp_path, name):
    folder = tmp_path / "show"
    assert new(folder, "--devices", name, "--ports", "1", "--fixes", name, "--pictures", name) == 0
    for path in recorded(folder):
        assert re.fullmatch(r"takes/[0-9]{2}-[a-z0-9-]+\.wav", path)
    bench = read_bench(folder / "bench.toml")
    assert {take.device for take in bench.takes if take.device} == {name}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["show"]


def test_nothing_is_overwritten(tmp_path, capsys):
    (tmp_path / "notes.txt").write_text("mine")
    assert new(tmp_path) == 0
    (tmp_path / "bench.toml").write_text("changed by hand")
    assert new(tmp_path, "--devices", "Birch") == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "bench.toml: exists already (and 2 more of the new files); choose another folder" in error
    assert (tmp_path / "bench.toml").read_text() == "changed by hand"
    assert "Birch" not in (tmp_path / "run-order.txt").read_text()
    assert new(tmp_path, "--force", "--devices", "Birch") == 0
    assert "Birch" in (tmp_path / "bench.toml").read_text()
    assert (tmp_path / "notes.txt").read_text() == "mine"


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--devices", "Alder,alder"], "--devices: 'alder' is there twice"),
        (["--devices", "Alder,,Birch"], "--devices: '' is no usable name"),
        (["--devices", "A\x1b[31m"], "--devices: 'A\\x1b[31m' is no usable name"),
        (["--ports", "0"], "--ports: 0 ports are not supported; give 1 to 64"),
        (["--ports", "9" * 9000], "is no usable name"),
        (["--takes", "0"], "--takes: 0 repeats make no sense"),
        (["--pictures", ""], "--pictures: '' is no usable name"),
    ],
)
def test_what_makes_no_sense_is_told(tmp_path, capsys, options, told):
    assert new(tmp_path / "show", *options) == 2
    assert told in capsys.readouterr().err
    assert not (tmp_path / "show").exists()


def test_a_folder_that_is_a_file(tmp_path, capsys):
    (tmp_path / "file").write_text("mine")
    assert new(tmp_path / "file") == 2
    assert "the folder cannot be made" in capsys.readouterr().err


def test_tracks_and_pictures_come_along(tmp_path, monkeypatch):
    written = []
    monkeypatch.setattr(
        "humcheck.tracks.writing.write_tracks", lambda folder, **more: written.append((folder, more)) or ()
    )
    monkeypatch.setattr(
        "humcheck.tracks.pictures_writing.write_pictures", lambda folder, **more: written.append(folder) or ()
    )
    assert main(["new", str(tmp_path), "--length", "short"]) == 0
    assert [written[0][0], written[1]] == [tmp_path / "test_signals"] * 2
    assert written[0][1]["length"] == "short"
    (tmp_path / "bench.toml").unlink()
    (tmp_path / "run-order.txt").unlink()
    (tmp_path / "checklist.txt").unlink()
    (tmp_path / "test_signals").mkdir()
    (tmp_path / "test_signals" / "full.wav").write_text("mine")
    assert main(["new", str(tmp_path)]) == 2
