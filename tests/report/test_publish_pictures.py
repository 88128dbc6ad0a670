"""Pictures for publishing: their size, their mark, their quiet, and that they can be told apart and read."""

import hashlib
import io
import itertools
import logging

import msgspec
import numpy as np
import pytest
import soundfile
from PIL import Image

from humcheck.audio.writing import MARK, own_output
from humcheck.cli import main
from humcheck.report.publish import canvas
from humcheck.report.publish.names import FileNames
from humcheck.report.publish.pictures import DrawnCatalogue, pictures_of
from humcheck.results import Media, results_to_json
from tests.report import fake_results


def excerpt():
    buffer = io.BytesIO()
    with soundfile.SoundFile(buffer, "w", samplerate=32000, channels=1, format="FLAC", subtype="PCM_16") as file:
        file.comment = MARK
        file.write(np.random.default_rng(3).normal(0, 0.01, 3200))
    return buffer.getvalue()


def saved_with_excerpt(folder):
    content = excerpt()
    (folder / "evidence").mkdir()
    (folder / "evidence" / "01.flac").write_bytes(content)
    media = Media(
        id="m1", file="evidence/01.flac", sha256=hashlib.sha256(content).hexdigest(), group="Alder", kind="hum",
        caption="The hum alone, through Alder, raised by 42 dB.",
    )  # fmt: skip
    results = msgspec.structs.replace(fake_results.compare_results(channels=("mono",)), media=[media])
    path = folder / "saved.json"
    path.write_text(results_to_json(results), encoding="utf-8")
    return path, content


def test_the_folder_holds_marked_pictures_of_one_size_texts_tables_and_sounds(tmp_path, capsys):
    saved, sound = saved_with_excerpt(tmp_path)
    folder = tmp_path / "figures"
    assert main(["report", str(saved), "--out", str(tmp_path / "page.html"), "--figures", str(folder)]) == 0
    assert f"written: {folder}" in capsys.readouterr().out
    written = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())
    assert {"card.png", "noise-hum.png", "response-alder.png", "lines-alder.png", "bleed-alder.png"} <= set(written)
    assert {"summary.md", "summary.txt", "measures.csv", "changes.csv", "curves.csv", "lines.csv"} <= set(written)
    listed = (folder / "CONTENTS.txt").read_text("utf-8")
    for name in written:
        assert own_output(folder / name), name
        assert name == "CONTENTS.txt" or f"\n{name} " in listed
    for path in folder.glob("*.png"):
        with Image.open(path) as picture:
            picture.load()
            assert picture.size == ((1080, 1080) if path.name == "card.png" else (1920, 1080))
            assert picture.text["Software"].startswith(MARK)
            # Something is drawn: more than the paper's colour.
            assert len(picture.convert("RGB").getcolors(1 << 20)) > 20
    assert (folder / "sounds" / "01-alder-the-hum-alone-through-alder.flac").read_bytes() == sound


def test_names_that_the_font_lacks_are_numbered_and_formulas_are_text(caplog):
    made = fake_results.bench_results(devices=("名前 木", "$x_{1}$ Alder 🎛"), ports=1, pictures=("white",))
    made = msgspec.structs.replace(made, curves=[], lines=[])
    with caplog.at_level(logging.DEBUG, logger="matplotlib"):
        # Warnings are errors here: missing letters must not be warned about.
        pictures, stand_ins = pictures_of(
            DrawnCatalogue(made), FileNames(), dict.fromkeys(DrawnCatalogue(made).devices, "x")
        )
    assert pictures
    assert stand_ins == {"Device 1": "名前 木"}
    assert DrawnCatalogue(made).title("$x_{1}$ Alder 🎛") == "$x_{1}$ Alder"
    assert not [record for record in caplog.records if record.levelno >= logging.WARNING]


def test_no_data_no_picture():
    assert pictures_of(DrawnCatalogue(fake_results.empty_results()), FileNames(), {}) == ([], {})


def test_text_is_cut_to_its_room_and_long_names_keep_both_ends():
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.font_manager import FontProperties

    long = "Rowan with a quite long and winding name, second board"
    for size, bold in ((62, True), (30, False)):
        # Reference: matplotlib's own layout, which knows pairs of letters; 2 % is more than those make.
        font = FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal", size=size * 0.6)
        renderer = FigureCanvasAgg(Figure(dpi=120)).get_renderer()
        expected = renderer.get_text_width_height_descent(long, font, False)[0]
        assert canvas.width_of(long, size, bold=bold) == pytest.approx(expected, rel=0.02)
    assert canvas.width_of(canvas.shortened(long, 30, 300), 30) <= 300
    name = canvas.shortened_name(long, 30, 400)
    assert canvas.width_of(name, 30, bold=True) <= 400
    assert name.startswith("Rowan")
    assert name.endswith("board")
    lines = canvas.wrapped(long, 30, 300, 2)
    assert len(lines) == 2
    assert lines[-1].endswith("…")


def _luminance(color):
    """Relative luminance, WCAG 2.1."""
    channels = [int(color[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in channels]
    return float(np.dot((0.2126, 0.7152, 0.0722), linear))


def test_all_text_stands_out_from_the_paper():
    paper = _luminance(canvas.PAPER)
    for color in (canvas.INK, canvas.SOFT, canvas.DIRECT, *canvas.CHANNELS.values(), *canvas.SEVERITIES.values()):
        # WCAG 2.1, success criterion 1.4.3: 4.5 to 1.
        assert (paper + 0.05) / (_luminance(color) + 0.05) >= 4.5


def test_left_and_right_are_told_apart_without_green_or_red():
    """Colours seen by those who lack one kind of cone stay apart.

    Matrices: Vienot, Brettel and Mollon, Color Research and Application 24(4), 1999, in linear RGB as commonly restated
    (from memory): for protanopia and deuteranopia red and green become one mixture of both.
    """
    mixtures = {"protanopia": (0.11238, 0.88762), "deuteranopia": (0.29275, 0.70725)}
    for red_share, green_share in mixtures.values():
        seen = []
        for name in ("left", "right"):
            color = canvas.CHANNELS[name]
            red, green, blue = (((int(color[at : at + 2], 16) / 255) ** 2.2) for at in (1, 3, 5))
            seen.append((red_share * red + green_share * green, blue))
        for one, other in itertools.combinations(seen, 2):
            assert np.hypot(*(np.array(one) - np.array(other))) > 0.2


def test_figures_are_for_one_bench(tmp_path, capsys):
    paths = []
    for number in range(2):
        path = tmp_path / f"{number}.json"
        path.write_text(results_to_json(fake_results.empty_results()), encoding="utf-8")
        paths.append(str(path))
    assert main(["report", *paths, "--out", str(tmp_path / "x.html"), "--figures", str(tmp_path / "f")]) == 2
    assert "--figures" in capsys.readouterr().err
    assert not (tmp_path / "f").exists()
