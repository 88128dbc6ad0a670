"""Audibility on the page: the figure at the ear, the table of margins, the stated model."""

from __future__ import annotations

import re

import numpy as np
import pytest

from humcheck.audio.hearing.psychoacoustics import threshold_db_spl
from humcheck.findings.audibility import PRESETS, listening_settings
from humcheck.pipeline.audibility import heard_otherwise
from humcheck.report.catalogue import Catalogue
from humcheck.report.figures.audibility import audibility_figure
from humcheck.report.figures.audibility_panels import heard_panels
from humcheck.report.page import render_page
from humcheck.report.tables import group_tables
from tests.findings.heard_bench import results_of, use_rows
from tests.report.page_reader import path_points, read_page

HUM = [(50.0, -62.0), (150.0, -60.0), (1050.0, -120.0)]


def bench(settings=PRESETS):
    def both(lines, density, **more):
        sides = [use_rows(lines, density, channel=channel, **more) for channel in ("left", "right")]
        return {name: [*sides[0][name], *sides[1][name]] for name in sides[0]}

    direct = both({"hum_level": [(50.0, -90.0)]}, -140.0, role="direct", subject="direct")
    through = both({"hum_level": HUM, "buzz_level": [(59.94, -80.0), (119.88, -70.0)]}, -137.0)
    return heard_otherwise(results_of(direct, through), settings)


def axes(drawing):
    """Return the axes of a figure of one panel, from place to frequency and to level, from tick labels."""
    labels = drawing.all("text", class_="tick")
    across = {label.words: float(label.attributes["x"]) for label in labels}
    up = {label.words: float(label.attributes["y"]) - 4 for label in labels if label.attributes["text-anchor"] == "end"}
    return (
        lambda x: 100.0 * 10 ** ((x - across["100"]) / (across["1k"] - across["100"])),
        lambda y: 40.0 * (y - up["0"]) / (up["40"] - up["0"]),
    )


def paths(drawing, *classes):
    """Return the data of the paths that have all these classes."""
    drawn = drawing.all("path", class_=classes[0])
    return [path.attributes["d"] for path in drawn if set(classes) <= set(path.attributes["class"].split())]


@pytest.mark.parametrize("width", [0, 1])
def test_tones_stand_at_the_sound_pressure_they_would_have(width):
    figure = audibility_figure(Catalogue(bench(listening_settings(["headphones"]))))
    drawing = read_page(str(figure.drawings[width])).first("svg")
    to_hz, to_db = axes(drawing)
    circles = re.findall(r"M([\d.]+) ([\d.]+)a([\d.]+) ", paths(drawing, "filled", "left")[0])
    found = sorted((to_hz(float(x) + float(r)), to_db(float(y))) for x, y, r in circles)
    # Full scale is 100 dB SPL: -62 and -60 dBr; -120 dBr lies just at the foot of the scale.
    expected = [(50.0, 38.0), (150.0, 40.0), (1050.0, -20.0)]
    assert len(found) == 3
    for (hz, level), (true_hz, true_level) in zip(found, expected, strict=True):
        assert hz == pytest.approx(true_hz, rel=0.01)
        assert level == pytest.approx(true_level, abs=0.2)


def test_the_thick_line_is_the_threshold_of_hearing():
    figure = audibility_figure(Catalogue(bench(listening_settings(["headphones"]))))
    drawing = read_page(str(figure.drawings[0])).first("svg")
    to_hz, to_db = axes(drawing)
    points = path_points(paths(drawing, "curve", "ink")[0])
    hz = np.array([to_hz(x) for x, _ in points])
    level = np.array([to_db(y) for _, y in points])
    assert level == pytest.approx(threshold_db_spl(hz, "diffuse"), abs=0.6)


def test_tones_that_stand_out_agree_with_the_margins():
    results = bench()
    panels, left_out = heard_panels(Catalogue(results))
    assert left_out == 0
    assert [panel.setting.name for panel in panels] == ["headphones", "living-room"]
    for panel in panels:
        best = max(tone.above_db for tone in panel.through if tone.family == "mains")
        row = next(
            row
            for row in results.measures
            if (row.role, row.quantity, row.listening, row.channel)
            == ("through", "audible_margin_hum", panel.setting.name, panel.channel)
        )
        # The margin counts tones within one filter together, the figure draws each by itself.
        assert best == pytest.approx(row.value, abs=0.2)
    assert panels[0].room is None
    assert panels[1].room is not None
    assert {tone.family for tone in panels[0].through} == {"mains", "field"}


def test_families_differ_in_shape_and_the_legend_names_them():
    figure = audibility_figure(Catalogue(bench()))
    words = [item.words for item in figure.legend]
    assert "mains" in words
    assert "picture's field rate" in words
    shapes = [re.sub(r"[\d. -]+", "", str(item.swatch.split('d="')[1].split('"')[0])) for item in figure.legend[:2]]
    assert shapes[0] != shapes[1]


def test_the_table_holds_each_family_and_way_of_listening_beside_the_direct_path():
    table = next(table for table in group_tables(Catalogue(bench())) if table.group.key == "audibility")
    names = [block.quantity.name for block in table.main]
    assert names == ["audible_margin", "audible_margin_hum", "audible_margin_buzz", "audible_margin_hiss"]
    for block in table.main[:2]:
        assert [row.where for row in block.rows] == [
            "heard on headphones",
            "heard over loudspeakers in a living room",
        ]
        assert {row.channel for row in block.rows} == {"both"}
        assert all({"direct", "through"} <= row.cells.keys() for row in block.rows)
    hum = table.main[1].rows
    assert hum[0].cells["direct"].value != hum[1].cells["direct"].value


def test_the_page_states_the_model_with_its_numbers():
    words = " ".join(read_page(render_page(bench())).words.split())
    assert "A prediction" in words
    for number in ("full scale 100 dB SPL, uncertain by 8 dB", "room noise NR 15", "ISO 226:2023", "ISO 389-7:2019"):
        assert number in words


def test_without_margins_there_is_no_figure():
    assert audibility_figure(Catalogue(results_of(use_rows({"hum_level": HUM}, -140.0)))) is None
