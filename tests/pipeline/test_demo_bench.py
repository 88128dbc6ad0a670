"""The demo's bench: what it holds, and that it is the same bench every time."""

import numpy as np
import pytest
import soundfile

from humcheck.pipeline.demo_bench import RATE_HZ, demo_takes, write_demo_takes


@pytest.fixture(scope="module")
def takes():
    return {take.file_name: take for take in demo_takes(seed=1)}


def test_bench_has_every_role_and_three_boxes(takes):
    assert {take.role for take in takes.values()} == {"direct", "through", "recorder"}
    assert {take.device for take in takes.values() if take.role == "through"} == {"Alder", "Birch", "Cedar"}
    direct = [take for take in takes.values() if take.role == "direct" and take.picture == "white"]
    # Direct takes bracket the day: the scatter of everything comes from them.
    assert len(direct) >= 2
    assert [take.file_name for take in takes.values()][0] == direct[0].file_name


def test_each_box_has_a_full_track_and_a_repeat(takes):
    for device in ("Alder", "Birch", "Cedar"):
        own = [
            take for take in takes.values() if take.device == device and take.picture == "white" and take.fix is None
        ]
        assert sum(take.track == "full" for take in own) >= 1
        assert len(own) >= 2


def test_through_and_direct_differ_by_the_box_alone(takes):
    # Cedar: resistors. -3.3 and -3.7 dB, within the day's changes of 0.01 dB.
    change = takes["cedar-1.wav"].truth.gain_db - takes["direct-1.wav"].truth.gain_db
    assert change == pytest.approx([-3.3, -3.7], abs=0.06)
    # 150 pF and 220 pF into 909.09 ohm at 1 kHz: 20 lg(2 pi f R C).
    by_hand = [20 * np.log10(2 * np.pi * 1000 * 10e3 / 11 * c) for c in (150e-12, 220e-12)]
    assert takes["cedar-1.wav"].truth.crosstalk_1k_db == pytest.approx(by_hand, abs=0.01)


def test_each_box_shows_its_own_fault(takes):
    direct = takes["direct-1.wav"].truth
    alder, birch, cedar = (takes[f"{name}-1.wav"].truth for name in ("alder", "birch", "cedar"))
    assert (alder.hum_level_dbfs > direct.hum_level_dbfs + 25).all()
    assert alder.buzz_level_dbfs == pytest.approx(direct.buzz_level_dbfs, abs=0.1)
    assert (birch.buzz_level_dbfs > direct.buzz_level_dbfs + 25).all()
    assert birch.hum_level_dbfs == pytest.approx(direct.hum_level_dbfs, abs=1.0)
    assert cedar.hum_level_dbfs == pytest.approx(direct.hum_level_dbfs, abs=1.0)
    black = takes["birch-black.wav"].truth
    assert (black.buzz_level_dbfs < birch.buzz_level_dbfs - 10).all()
    isolated = takes["alder-isolated.wav"].truth
    assert (isolated.hum_level_dbfs < alder.hum_level_dbfs - 20).all()


def test_picture_and_mains_are_told_apart_by_a_few_hundredths_of_a_hertz(takes):
    birch = takes["birch-1.wav"].truth
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
    names = {"recorder.wav", "direct-black.wav"}
    folders = [tmp_path / "one", tmp_path / "two"]
    for jobs, folder in enumerate(folders, start=1):
        folder.mkdir()
        paths = write_demo_takes(folder, jobs=jobs, file_names=names)
        assert [path.name for path in paths] == ["direct-black.wav", "recorder.wav"]
    for name in names:
        assert (folders[0] / name).read_bytes() == (folders[1] / name).read_bytes()
