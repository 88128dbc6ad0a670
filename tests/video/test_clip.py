"""The test clip: what another program reads in it, what stands when, and that its track is known again."""

from __future__ import annotations

import json
import shutil
import subprocess

import numpy as np
import pytest

from humcheck.audio.files import open_take
from humcheck.audio.writing import own_output
from humcheck.cli import main
from humcheck.errors import UnusableCall
from humcheck.takes.take import load_take
from humcheck.tracks import layout_1, layout_2
from humcheck.tracks.pictures import brightness_of_lines
from humcheck.tracks.rendering import render_track

pytest.importorskip("av", reason="needs the extra 'video'")
from humcheck.tracks.clip import clip_layout, pictures, write_clip  # noqa: E402
from humcheck.video.encoder import FIELDS_50, FIELDS_59_94, FORMS  # noqa: E402

needs_ffmpeg = pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="needs the program ffmpeg")


@pytest.fixture(scope="module")
def short_clips(tmp_path_factory):
    """Short clips, written when first asked for."""
    folder = tmp_path_factory.mktemp("clips")

    def clip(ending, fields):
        path = folder / f"clip-{fields.replace('.', '')}{ending}"
        return path if path.exists() else write_clip(path, fields=fields, length="short")[0]

    return clip


def test_layout_2_differs_from_layout_1_only_in_its_number_and_pictures():
    first, second = layout_1.build("full", "standard"), layout_2.build("full", "standard")
    assert [(s.name, s.start_s, s.duration_s) for s in first.sections] == [
        (s.name, s.start_s, s.duration_s) for s in second.sections
    ]
    assert all(s.marker_bits != t.marker_bits for s, t in zip(first.markers, second.markers, strict=True))
    quiet = second.section("quiet")
    shown = [(p.name, p.start_s - quiet.start_s, p.end_s - quiet.start_s) for p in second.pictures]
    assert [name for name, _, _ in shown] == ["black", "white", "rows", "black"]
    assert [end_s for _, _, end_s in shown[:3]] == [10.0, 20.0, 30.0]
    assert second.pictures[0].start_s == 0.0
    assert second.pictures[-1].end_s == second.duration_s


@pytest.mark.parametrize("ending", [".mkv", ".mov", ".avi", ".mpg"])
def test_sound_is_the_track_bit_by_bit_and_is_recognised(short_clips, ending):
    take = load_take(short_clips(ending, "50"))
    assert take.track is not None
    assert (take.track.name, take.track.length, take.track.layout) == ("full", "short", 2)
    track = render_track(clip_layout("short"), 48000, FORMS[ending].bits)
    np.testing.assert_array_equal(open_take(short_clips(ending, "50")).read(), track)


def test_frames_stand_when_the_timetable_says(short_clips):
    track = clip_layout("standard")
    for fields in (FIELDS_50, FIELDS_59_94):
        shown = list(pictures(track, fields))
        assert len(shown) / float(fields.frame_rate) == pytest.approx(track.duration_s, abs=0.05)
        for picture in track.pictures:
            inside = [
                lines
                for index, lines in enumerate(shown)
                if picture.start_s + 0.02 < index / float(fields.frame_rate) < picture.end_s - 0.05
            ]
            wanted = brightness_of_lines(picture.name, fields.n_lines)
            assert inside
            assert all(np.array_equal(lines, wanted) for lines in inside)


@needs_ffmpeg
@pytest.mark.parametrize(
    ("ending", "fields", "size", "rate"),
    [(".mkv", "50", "720,576", "25/1"), (".mpg", "59.94", "720,480", "30000/1001")],
)
def test_another_program_reads_an_interlaced_picture(short_clips, ending, fields, size, rate):
    path = short_clips(ending, fields)
    entries = "stream=codec_name,width,height,display_aspect_ratio,field_order,r_frame_rate"
    command = ["ffprobe", "-v", "error", "-select_streams", "v:0", "-show_entries", entries, "-of", "json", str(path)]
    found = json.loads(subprocess.run(command, check=True, capture_output=True, timeout=60).stdout)["streams"][0]
    assert (found["codec_name"], found["display_aspect_ratio"], found["r_frame_rate"]) == ("mpeg2video", "4:3", rate)
    assert f"{found['width']},{found['height']}" == size
    assert found["field_order"] in ("tt", "bb", "tb", "bt")


@needs_ffmpeg
@pytest.mark.parametrize(("ending", "fields"), [(".mkv", "50"), (".mpg", "59.94")])
@pytest.mark.parametrize("name", ["white", "rows"])
def test_another_program_decodes_the_pictures_as_they_were_meant(short_clips, ending, fields, name):
    path = short_clips(ending, fields)
    picture = next(shown for shown in clip_layout("short").pictures if shown.name == name)
    middle_s = (picture.start_s + picture.end_s) / 2
    command = ["ffmpeg", "-v", "error", "-ss", f"{middle_s}", "-i", str(path), "-frames:v", "1"]
    command += ["-f", "rawvideo", "-pix_fmt", "gray", "-"]
    raw = subprocess.run(command, check=True, capture_output=True, timeout=60).stdout
    lines = np.frombuffer(raw, dtype=np.uint8).reshape(-1, 720).astype(float)
    wanted = brightness_of_lines(name, len(lines)).astype(float)
    # 8 bits and a lossy coding of the picture: a percent or so; a wrong row would be off by 255.
    assert np.abs(lines - wanted[:, np.newaxis]).max() < 8


def test_command_writes_over_its_own_file_alone(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("humcheck.tracks.clip.clip_layout", lambda length: clip_layout("short"))
    path = tmp_path / "clip.mpg"
    for _ in range(2):
        assert main(["clip", str(path), "--fields", "59.94"]) == 0
    assert own_output(path)
    assert "rows" in capsys.readouterr().out
    table = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    assert [shown["name"] for shown in table["pictures"]] == ["black", "white", "rows", "black"]
    path.write_bytes(b"a film of somebody else's")
    assert main(["clip", str(path)]) == 2
    assert "--force" in capsys.readouterr().err
    assert path.read_bytes() == b"a film of somebody else's"


def test_other_endings_are_refused(tmp_path):
    with pytest.raises(UnusableCall, match=r"\.mkv"):
        write_clip(tmp_path / "clip.mp4")


def test_without_the_library_it_is_said_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(UnusableCall, match=r"pip install humcheck\[video\]"):
        write_clip(tmp_path / "clip.mkv")
