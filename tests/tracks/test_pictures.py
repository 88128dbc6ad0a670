"""Test pictures: what is in the files, and the code of the rows by its published properties."""

from __future__ import annotations

import argparse

import numpy as np
import pytest
from PIL import Image

from humcheck.audio.writing import own_output
from humcheck.cli import tracks as command
from humcheck.errors import WouldOverwrite
from humcheck.tracks.pictures import LINES, PICTURES, picture
from humcheck.tracks.pictures_code import row_code
from humcheck.tracks.pictures_writing import write_pictures


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("tracks")
    write_pictures(folder)
    return folder / "pictures"


def read(folder, name, n_lines):
    with Image.open(folder / f"{name}-{n_lines}.png") as image:
        return np.asarray(image.convert("RGB"))


def test_every_picture_in_every_size_and_a_note(folder):
    expected = {f"{name}-{n_lines}.png" for name in PICTURES for n_lines in LINES} | {"how-to-show.txt"}
    assert {path.name for path in folder.iterdir()} == expected


@pytest.mark.parametrize("n_lines", LINES)
@pytest.mark.parametrize("name", PICTURES)
def test_files_hold_the_pictures_at_four_to_three(folder, name, n_lines):
    stored = read(folder, name, n_lines)
    assert stored.shape == (n_lines, n_lines * 4 // 3, 3)
    np.testing.assert_array_equal(stored, picture(name, n_lines))


@pytest.mark.parametrize("n_lines", LINES)
def test_plain_pictures_are_what_their_names_say(folder, n_lines):
    assert not read(folder, "black", n_lines).any()
    assert (read(folder, "white", n_lines) == 255).all()
    half = read(folder, "top-half", n_lines)
    assert (half[: n_lines // 2] == 255).all()
    assert not half[n_lines // 2 :].any()


def test_colour_blocks_hold_all_eight_full_colours_in_falling_brightness(folder):
    blocks = read(folder, "colour-blocks", 576)[300].astype(int)
    first = [tuple(blocks[column]) for column in range(48, 768, 96)]
    # White, yellow, cyan, green, magenta, red, blue, black: common practice of colour bars.
    on = 255
    assert first == [(on, on, on), (on, on, 0), (0, on, on), (0, on, 0), (on, 0, on), (on, 0, 0), (0, 0, on), (0, 0, 0)]


@pytest.mark.parametrize(("n_lines", "n_rows"), [(240, 240), (288, 288), (480, 240), (576, 288)])
def test_the_code_can_be_read_from_the_rows_picture_alone(folder, n_lines, n_rows):
    stored = read(folder, "rows", n_lines)
    assert (stored == stored[:, :1, :1]).all()
    np.testing.assert_array_equal(stored[:: n_lines // n_rows, 0, 0] // 255, row_code(n_rows))


@pytest.mark.parametrize("n_lines", [480, 576])
def test_both_fields_of_an_interlaced_picture_show_the_same_rows(folder, n_lines):
    stored = read(folder, "rows", n_lines)
    np.testing.assert_array_equal(stored[0::2], stored[1::2])


def test_the_shorter_code_is_the_middle_of_the_longer():
    np.testing.assert_array_equal(row_code(240), row_code(288)[24:264])


def test_the_code_obeys_the_recurrence_of_its_polynomial():
    code = row_code(288)
    # x^9 + x^5 + 1 is primitive (published tables of primitive polynomials): every 9 terms in a row occur once only.
    np.testing.assert_array_equal(code[9:], code[5:-4] ^ code[:-9])
    words = {tuple(code[start : start + 9]) for start in range(280)}
    assert len(words) == 280


@pytest.mark.parametrize(("n_rows", "n_lines"), [(240, 262), (288, 312)])
def test_the_code_is_flat_where_a_white_screen_is_not_and_matches_at_one_place_only(n_rows, n_lines):
    order = np.arange(2, n_lines // 2)

    def spread_db(rows):
        return np.std(20 * np.log10(np.abs(np.fft.fft(rows, n_lines))[order] + 1e-3))

    rows = row_code(n_rows).astype(float)
    # Random rows of this number scatter by 5.6 dB (magnitudes of a complex Gaussian); a white screen by 10 and more.
    assert spread_db(rows) < 5.0
    assert spread_db(np.ones(n_rows)) > 9.0
    balanced = rows - rows.mean()
    matches = np.correlate(balanced, balanced, mode="full") / (balanced @ balanced)
    assert np.sort(np.abs(matches))[-2] < 0.25


def test_no_foreign_file_is_replaced_and_own_ones_are(tmp_path):
    written = write_pictures(tmp_path)
    assert all(own_output(path) for path in written)
    foreign = tmp_path / "pictures" / "white-288.png"
    foreign.write_bytes(b"somebody's own picture")
    before = {path: path.stat().st_mtime_ns for path in written}
    with pytest.raises(WouldOverwrite):
        write_pictures(tmp_path)
    assert before == {path: path.stat().st_mtime_ns for path in written}
    write_pictures(tmp_path, force=True)
    assert own_output(foreign)


def test_the_note_tells_the_cautions(folder):
    note = (folder / "how-to-show.txt").read_text(encoding="utf-8")
    for word in ("plasma", "old tubes", "photosensitive", "both fields", "flashes"):
        assert word in note
    assert max(len(line) for line in note.splitlines()) <= 120


def test_the_command_writes_them_when_asked(tmp_path, capsys, monkeypatch):
    # The tracks themselves have tests of their own, and take seconds.
    monkeypatch.setattr("humcheck.tracks.writing.write_tracks", lambda folder, **more: ())
    parser = argparse.ArgumentParser()
    command.add_parser(parser.add_subparsers())
    words = ["tracks", "--out", str(tmp_path)]
    assert command.run(parser.parse_args(words)) == 0
    assert not (tmp_path / "pictures").exists()
    assert command.run(parser.parse_args([*words, "--pictures"])) == 0
    assert "20 test pictures" in capsys.readouterr().out
    assert (tmp_path / "pictures" / "rows-576.png").exists()
