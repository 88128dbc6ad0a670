"""A bench file on the command line: takes are found, measured, kept, compared and judged."""

import json

import pytest

from humcheck.cli import main
from humcheck.simulation import ChannelPath, Hiss, Hum, LinearPath, Mains, PathModel, ground_loop, simulate_take
from humcheck.tracks.layouts import layout

TAKES = {"direct-1": -96.0, "direct-2": -96.2, "alder-1": -60.0, "alder-2": -60.3, "alder-lifted": -90.0}
BENCH = """
[bench]
name = "Library show"
mains_hz = 50

[limits]
hum_level = { max = -70.0 }
thd = { max = 0.1 }

[[takes]]
file = "direct-*.wav"
role = "direct"

[[takes]]
file = "alder-[12].wav"
device = "Alder"
port = "1"

[[takes]]
file = "alder-lifted.wav"
device = "Alder"
port = "1"
fix = "isolating transformer"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("bench")
    for seed, (name, hum_dbfs) in enumerate(TAKES.items()):
        channel = ChannelPath(gain_db=-3.0)
        path = PathModel(
            linear=LinearPath(left=channel, right=channel),
            mains=Mains(frequency_hz=50.0, wander_mhz=20.0, correlation_s=300.0),
            hum=(Hum(amplitudes=ground_loop(hum_dbfs, n_harmonics=9)),),
            hiss=(Hiss.both(-92.0),),
        )
        take = simulate_take(layout("silence", "short"), path=path, rate_hz=48000, source_bits=24, seed=seed)
        take.write(made / f"{name}.wav")
    (made / "bench.toml").write_text(BENCH, encoding="utf-8")
    return made


def test_one_file_says_it_all(folder, capsys):
    status = main(["bench", str(folder / "bench.toml"), "--json", str(folder / "bench.json")])
    printed = capsys.readouterr()
    assert "Alder" in printed.out
    assert printed.err == ""
    # Without the fix the box hums 10 dB above the limit.
    assert status == 1
    results = json.loads((folder / "bench.json").read_text(encoding="utf-8"))
    assert results["bench"]["name"] == "Library show"
    assert len(results["takes"]) == len(TAKES)
    outcomes = {(row["quantity"], row["fix"], row["channel"]): row["outcome"] for row in results["limits"]}
    fixed = "isolating transformer"
    assert outcomes == {
        ("hum_level", None, "left"): "fail",
        ("hum_level", None, "right"): "fail",
        ("hum_level", fixed, "left"): "pass",
        ("hum_level", fixed, "right"): "pass",
        # The quiet track holds no loud tone: a limit that cannot be judged is said, not passed over.
        ("thd", None, "both"): "not_measurable",
    }
    assert (folder / "bench.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert len(list((folder / "bench.measured").iterdir())) == len(TAKES)


def test_a_second_run_measures_nothing_again(folder, monkeypatch, capsys):
    main(["bench", str(folder / "bench.toml"), "--out", str(folder / "again.html")])
    monkeypatch.setattr("humcheck.pipeline.workers.measure_take", lambda *_: pytest.fail("measured again"))
    main(["bench", str(folder / "bench.toml"), "--out", str(folder / "again.html")])


def test_an_input_is_never_written_over(folder, capsys):
    assert main(["bench", str(folder / "bench.toml"), "--out", str(folder / "direct-1.wav"), "--force"]) == 2
    assert "choose another name" in capsys.readouterr().err


def test_a_bench_without_a_usable_direct_take_is_refused(tmp_path, capsys):
    (tmp_path / "broken.wav").write_bytes(b"RIFF")
    text = '[[takes]]\nfile = "broken.wav"\nrole = "direct"\n'
    (tmp_path / "bench.toml").write_text(text, encoding="utf-8")
    assert main(["bench", str(tmp_path / "bench.toml")]) == 2
    error = capsys.readouterr().err
    assert error.startswith("humcheck: ")
    assert "broken.wav" in error
    assert error.count("\n") == 1
