"""The demo's bench: what it holds, and that it is the same bench every time."""

import numpy as np
import pytest
import soundfile

from humcheck.benches.bench_file import read_bench
from humcheck.pipeline.demo_bench import RATE_HZ, demo_takes, write_demo_takes
from humcheck.pipeline.demo_file import bench_file_of


@pytest.fixture(scope="module")
def takes():
    return {take.file_name: take for take in demo_takes(seed=1)}


def test_bench_has_every_role_and_three_boxes(takes):
    assert {take.role for take in takes.values()} == {"direct", "through", "recorder"}
    assert {take.device for take in takes.values() if take.role == "through"} == {"Alder", "Birch", "Cedar"}
    day = list(takes.values())
    through = [place for place, take in enumerate(day) if take.role == "through"]
    direct = [place for place, take in enumerate(day) if take.role == "direct" and take.picture == "white"]
    # Direct takes bracket the day and stand between the boxes: the scatter of everything comes from them.
    assert direct[0] < through[0]
    assert direct[-1] > through[-1]
    assert len(direct) >= 4


def test_every_use_is_taken_three_times_with_anew_plugging(takes):
    uses = {}
    for take in takes.values():
        if take.role == "through" and take.picture != "rows":
            key = (take.device, take.port, take.picture, take.fix, *take.condition.items())
            uses.setdefault(key, []).append(take.plugging)
    assert all(len(pluggings) == len(set(pluggings)) == 3 for pluggings in uses.values())
    for device in ("Alder", "Birch", "Cedar"):
        own = [key for key in uses if key[0] == device]
        assert {key[1] for key in own} == {"1", "2", "3", "4"}
        assert len(own) > 4
    assert len({key[3] for key in uses} - {None}) == 3
    # The full track once where it matters; quiet takes are short.
    assert sum(take.track == "full" for take in takes.values()) <= 8


def test_through_and_direct_differ_by_the_box_alone(takes):
    # Cedar: resistors. -3.3 and -3.7 dB, within the day's changes of 0.01 dB.
    change = takes["cedar-port4-1.wav"].truth.gain_db - takes["direct-1.wav"].truth.gain_db
    assert change == pytest.approx([-3.3, -3.7], abs=0.06)
    # 150 pF and 220 pF into 909.09 ohm at 1 kHz: 20 lg(2 pi f R C).
    by_hand = [20 * np.log10(2 * np.pi * 1000 * 10e3 / 11 * c) for c in (150e-12, 220e-12)]
    assert takes["cedar-port4-1.wav"].truth.crosstalk_1k_db == pytest.approx(by_hand, abs=0.01)


def test_each_box_shows_its_own_fault(takes):
    direct = takes["direct-1.wav"].truth
    alder, birch, cedar = (takes[f"{name}-port4-1.wav"].truth for name in ("alder", "birch", "cedar"))
    assert (alder.hum_level_dbfs > direct.hum_level_dbfs + 25).all()
    assert alder.buzz_level_dbfs == pytest.approx(direct.buzz_level_dbfs, abs=0.1)
    assert (birch.buzz_level_dbfs > direct.buzz_level_dbfs + 25).all()
    assert birch.hum_level_dbfs == pytest.approx(direct.hum_level_dbfs, abs=1.0)
    assert cedar.hum_level_dbfs == pytest.approx(direct.hum_level_dbfs, abs=1.0)
    black = takes["birch-black-1.wav"].truth
    assert (black.buzz_level_dbfs < birch.buzz_level_dbfs - 10).all()


def test_cures_and_ports_differ_as_they_should(takes):
    alder = takes["alder-port4-1.wav"].truth.hum_level_dbfs
    cured = {name: takes[f"alder-{name}-1.wav"].truth.hum_level_dbfs for name in ("isolating", "same", "clip-on")}
    assert (cured["isolating"] < alder - 20).all()
    assert (cured["same"] < alder - 10).all()
    assert cured["clip-on"] == pytest.approx(alder, abs=1.0)
    # The farthest port is the hardest case: 0.8 dB of hum and 3 dB of buzz a port, the day's changes of 0.3 dB aside.
    for device, name, step_db in (("alder", "hum_level_dbfs", 0.8), ("birch", "buzz_level_dbfs", 3.0)):
        far, near = (getattr(takes[f"{device}-port{port}-1.wav"].truth, name) for port in ("4", "1"))
        assert far - near == pytest.approx([3 * step_db] * 2, abs=1.0)
    loaded = takes["cedar-loaded-1.wav"].truth.gain_db - takes["cedar-port4-1.wav"].truth.gain_db
    assert loaded == pytest.approx([-3.1, -3.1], abs=0.06)


def test_the_bench_file_of_the_kept_takes_can_be_read(takes, tmp_path):
    for take in takes.values():
        (tmp_path / take.file_name).write_bytes(b"not empty")
    (tmp_path / "bench.toml").write_text(bench_file_of(list(takes.values()), "A show"), encoding="utf-8")
    bench = read_bench(tmp_path / "bench.toml")
    assert [take.path for take in bench.takes] == [str(tmp_path / name) for name in takes]
    for read, made in zip(bench.takes, takes.values(), strict=True):
        names = ("role", "device", "port", "picture", "fix", "plugging", "condition")
        assert all(getattr(read, name) == getattr(made, name) for name in names)


def test_picture_and_mains_are_told_apart_by_a_few_hundredths_of_a_hertz(takes):
    birch = takes["birch-port4-1.wav"].truth
    # 15625 Hz / 312 = 50.0801 Hz, in a clock that is 26 ppm slow: 1.3 mHz more.
    assert birch.buzz_frequency_hz == pytest.approx(50.0801 * (1 + 26e-6), abs=2e-4)
    # EN 50160: 50 Hz +- 1 %; a connected grid strays by some 20 mHz (common knowledge, from memory).
    for take in takes.values():
        assert 49.85 < take.truth.hum_frequency_hz(0.0, 15.0) < 50.15


def test_drift_has_the_sign_of_the_clocks(takes):
    # Player 17 ppm fast, recorder 26 ppm slow: 43 ppm fewer samples than the track has.
    for take in takes.values():
        assert take.truth.drift_ppm == pytest.approx(-43.0, abs=2.5)


def test_another_seed_is_another_day_and_the_same_seed_the_same_one(takes):
    again, other = demo_takes(seed=1), demo_takes(seed=2)
    assert [take.path for take in again] == [take.path for take in takes.values()]
    assert again[0].path != other[0].path
    assert again[0].seed != other[0].seed


def test_files_hold_what_is_planned(takes, tmp_path):
    take = takes["recorder.wav"]
    written = take.write(tmp_path)
    samples, rate_hz = soundfile.read(written, always_2d=True)
    assert rate_hz == RATE_HZ
    assert np.array_equal(samples, take.plan.simulate().samples)


def test_two_processes_write_what_one_does(tmp_path):
    names = {"recorder.wav", "direct-black-1.wav"}
    folders = [tmp_path / "one", tmp_path / "two"]
    for jobs, folder in enumerate(folders, start=1):
        folder.mkdir()
        paths = write_demo_takes(folder, jobs=jobs, file_names=names)
        assert [path.name for path in paths] == ["direct-black-1.wav", "recorder.wav"]
    for name in names:
        assert (folders[0] / name).read_bytes() == (folders[1] / name).read_bytes()
