"""Takes that were measured before are not measured again, and nothing that lies there can do harm."""

import dataclasses
import hashlib

import numpy as np
import pytest
import soundfile

from humcheck.audio.files import file_hashed, open_take
from humcheck.comparison.material import MeasuredTake
from humcheck.pipeline.cache import KeptTakes
from humcheck.pipeline.measure_many import measure_files
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.pipeline.take_codec import DamagedTake, take_from_bytes, take_to_bytes
from humcheck.simulation import ChannelPath, Hiss, Hum, LinearPath, Mains, PathModel, harmonics, simulate_take
from humcheck.tracks.layouts import layout

SETTINGS = MeasuringSettings(mains_hz=50.0)


def require_same(one, other, place=""):
    if isinstance(one, np.ndarray):
        np.testing.assert_array_equal(one, other, err_msg=place)
        assert one.dtype == other.dtype, place
    elif dataclasses.is_dataclass(one):
        assert type(one) is type(other), place
        for field in dataclasses.fields(one):
            require_same(getattr(one, field.name), getattr(other, field.name), f"{place}.{field.name}")
    elif isinstance(one, tuple | list):
        assert len(one) == len(other), place
        for index, items in enumerate(zip(one, other, strict=True)):
            require_same(*items, f"{place}[{index}]")
    elif isinstance(one, dict):
        assert list(one) == list(other), place
        for name in one:
            require_same(one[name], other[name], f"{place}[{name!r}]")
    else:
        assert one == other or (one != one and other != other), place  # noqa: PLR0124 - not a number


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("takes")
    path = PathModel(
        linear=LinearPath(left=ChannelPath(gain_db=-3.0), right=ChannelPath(gain_db=-3.1)),
        mains=Mains(frequency_hz=50.0),
        hum=(Hum(amplitudes=harmonics({1: -70.0, 3: -80.0})),),
        hiss=(Hiss.both(-90.0),),
    )
    for seed, name in enumerate(("direct", "through")):
        simulate_take(layout("sweep", "short"), path=path, rate_hz=48000, source_bits=24, seed=seed).write(
            made / f"{name}.wav"
        )
    return made


@pytest.fixture(scope="module")
def requests(folder):
    return [
        TakeRequest(path=str(folder / "direct.wav"), role="direct"),
        TakeRequest(path=str(folder / "through.wav"), role="through", device="Alder", port="1"),
    ]


@pytest.fixture(scope="module")
def measured(requests):
    takes, problems = measure_files(requests, SETTINGS)
    assert not problems
    return takes


def test_a_take_comes_back_as_it_was(measured):
    for take in measured:
        require_same(take, take_from_bytes(take_to_bytes(take)))


@pytest.mark.parametrize("damage", ["cut", "empty", "noise", "other"])
def test_anything_else_is_refused(measured, damage):
    kept = take_to_bytes(measured[0])
    damaged = {
        "cut": kept[: len(kept) // 2],
        "empty": b"",
        "noise": np.random.default_rng(1).bytes(1000),
        "other": b"\x93\x01\x02\x03",
    }[damage]
    with pytest.raises(DamagedTake):
        take_from_bytes(damaged)


def test_only_what_is_new_is_measured_and_names_may_change(tmp_path, requests, measured, monkeypatch):
    kept = KeptTakes(tmp_path / "kept")
    measure_files(requests, SETTINGS, kept=kept)
    monkeypatch.setattr("humcheck.pipeline.workers.measure_take", lambda *_, **__: pytest.fail("measured again"))
    # Another order gives other ids, and the box was on another port after all.
    renamed = [dataclasses.replace(requests[1], port="2", condition={"supply": "off"}), requests[0]]
    through, direct = measure_files(renamed, SETTINGS, kept=kept)[0]
    assert (through.row.id, direct.row.id) == ("t1", "t2")
    rows = (*through.measures, *through.curves, *through.lines)
    assert rows
    assert {(row.subject, row.port, row.condition["supply"]) for row in rows} == {("Alder", "2", "off")}
    assert {take for row in through.measures for take in row.takes} == {"t1"}
    assert [row.value for row in through.measures] == [row.value for row in measured[1].measures]
    assert through.key == renamed[0].key("t1")


def test_one_at_a_time_and_side_by_side_give_the_same_to_the_last_bit(requests, measured):
    takes, _ = measure_files(requests, SETTINGS, n_workers=1)
    for take, other in zip(takes, measured, strict=True):
        require_same(take, other)


def test_a_new_recording_is_hashed_once_for_all_its_runs(tmp_path, requests, measured, monkeypatch):
    read = []
    digest = hashlib.file_digest
    monkeypatch.setattr("hashlib.file_digest", lambda file, name: read.append(file.name) or digest(file, name))
    twice = [requests[0], dataclasses.replace(requests[0], run=(0, 100000))]
    takes, _ = measure_files(twice, SETTINGS, kept=KeptTakes(tmp_path / "kept"))
    assert read == [requests[0].path]
    assert {take.row.sha256 for take in takes} == {measured[0].row.sha256}


def test_a_recording_that_changed_after_it_was_looked_up_is_hashed_again(tmp_path):
    path = tmp_path / "take.wav"
    soundfile.write(path, np.full(1000, 0.25), 8000)
    hashed = file_hashed(str(path))
    soundfile.write(path, np.full(1001, 0.25), 8000)
    file = open_take(path)
    file.known_as(hashed)
    assert file.sha256() == hashlib.sha256(path.read_bytes()).hexdigest() != hashed.sha256


def test_what_is_asked_otherwise_is_measured_again(tmp_path, requests):
    kept = KeptTakes(tmp_path / "kept")
    (take,), _ = measure_files(requests[:1], SETTINGS, kept=kept)
    sha256 = take.row.sha256
    assert kept.find(sha256, requests[0], "t1", SETTINGS) is not None
    assert kept.find(sha256, requests[0], "t1", MeasuringSettings(mains_hz=60.0)) is None
    assert kept.find(sha256, dataclasses.replace(requests[0], picture="rows"), "t1", SETTINGS) is None
    assert kept.find(sha256, dataclasses.replace(requests[0], role="single"), "t1", SETTINGS) is None


def test_a_kept_take_that_was_changed_is_measured_again(tmp_path, requests):
    kept = KeptTakes(tmp_path / "kept")
    (take,), _ = measure_files(requests[:1], SETTINGS, kept=kept)
    (place,) = (tmp_path / "kept").iterdir()
    content = bytearray(place.read_bytes())
    content[-100] ^= 1
    place.write_bytes(content)
    assert kept.find(take.row.sha256, requests[0], "t1", SETTINGS) is None


def test_a_folder_that_cannot_be_written_keeps_nothing(tmp_path, requests):
    (tmp_path / "kept").write_text("a file of the user's")
    takes, problems = measure_files(requests[:1], SETTINGS, kept=KeptTakes(tmp_path / "kept"))
    assert isinstance(takes[0], MeasuredTake)
    assert not problems
    assert (tmp_path / "kept").read_text() == "a file of the user's"


def test_processes_measure_what_threads_do(folder, measured):
    """Nine takes go to processes; soundfile's own copy of a take counts as the same recording, so cut ones are used."""
    samples, rate_hz = soundfile.read(folder / "through.wav")
    requests = []
    for index in range(8):
        part = samples[index * rate_hz // 2 : (index + 4) * rate_hz // 2]
        soundfile.write(folder / f"part-{index}.wav", part, rate_hz, subtype="PCM_24")
        requests.append(TakeRequest(path=str(folder / f"part-{index}.wav"), role="recorder"))
    requests.append(TakeRequest(path=str(folder / "absent.wav"), role="recorder"))
    told = []
    takes, problems = measure_files(requests, SETTINGS, n_workers=2, progress=lambda *done: told.append(done))
    assert [take.row.id for take in takes] == [f"t{number}" for number in range(1, 9)]
    assert ["absent.wav" in str(problem) for problem in problems] == [True]
    assert sorted(done for done, _, _ in told) == list(range(1, 10))
