"""Figures of the picture: marks stand where their values are, and the strip shows the rows that were drawn."""

from __future__ import annotations

import math
import re

import msgspec
import pytest

from humcheck.report.catalogue import Catalogue
from humcheck.report.figures import figures_of
from humcheck.report.figures.picture_coupling import picture_coupling_figure
from humcheck.report.figures.picture_fold import picture_fold_figure
from humcheck.report.figures.picture_levels import picture_levels_figure
from tests.report.page_reader import path_points, read_page
from tests.report.picture_results import (
    COUPLING_DBFS,
    FIELD_MS,
    N_LINES,
    N_POINTS,
    fold_at,
    picture_results,
    rows_of_code,
)
from tests.report.test_figures import PIXEL, drawing_of, hz_of, level_of


@pytest.fixture(scope="module")
def catalogue():
    return Catalogue(picture_results())


def test_all_three_stand_under_buzz_and_nowhere_else(catalogue):
    figures = {figure.key: group.key for group, made in figures_of(catalogue) for figure in made}
    of_picture = {
        key: group for key, group in figures.items() if key in ("picture-levels", "buzz-curve", "picture-fold")
    }
    assert of_picture == {"picture-levels": "buzz", "buzz-curve": "buzz", "picture-fold": "buzz"}
    assert not [key for key in figures if key.startswith(("trace", "other"))]


def test_without_pictures_there_is_no_figure():
    empty = Catalogue(msgspec.structs.replace(picture_results(), curves=[], traces=[], measures=[], changes=[]))
    makers = (picture_levels_figure, picture_coupling_figure, picture_fold_figure)
    assert [make(empty, "key") for make in makers] == [None, None, None]


@pytest.mark.parametrize("width", ["wide", "narrow"])
def test_the_coupling_is_drawn_at_its_values_with_both_guides(catalogue, width):
    drawing = drawing_of(picture_coupling_figure(catalogue, "buzz-curve"), width)
    hz, level = hz_of(drawing), level_of(drawing, "\u2212160", "\u221260")
    # The axes that are found are those of the last panel, the right channel's.
    direct, own, added = drawing.all("path", class_="curve")[-3:]
    assert [path.attributes["class"].split()[-1] for path in (direct, own, added)] == ["direct", "right", "added"]
    per_pixel = abs(level(0) - level(1))
    for curve, at_1k in ((own, -86.0), (direct, COUPLING_DBFS["direct", "right"])):
        points = path_points(curve.attributes["d"])
        slope = (level(points[-1][1]) - level(points[0][1])) / _octaves(hz(points[0][0]), hz(points[-1][0]))
        # 6.02 dB per octave: a capacitance (elementary).
        assert slope == pytest.approx(6.02, abs=0.1)
        middle = min(points, key=lambda point: abs(hz(point[0]) - 1000))
        assert level(middle[1]) == pytest.approx(at_1k, abs=6 * PIXEL * per_pixel)
    assert level(path_points(added.attributes["d"])[0][1]) == pytest.approx(-86.1, abs=4 * PIXEL * per_pixel)
    guides = [path_points(path.attributes["d"]) for path in drawing.all("path", class_="context")]
    slopes = [(level(b[1]) - level(a[1])) / _octaves(hz(a[0]), hz(b[0])) for a, b in guides[-4:-2]]
    assert slopes == pytest.approx([6.02, 0.0], abs=0.1)
    assert "slope 6.0 dB/octave, bend 0.0" in [text.words.replace("\u00a0", " ") for text in drawing.all("text")]


def _octaves(start_hz, end_hz):
    return math.log2(end_hz / start_hz)


def test_the_strip_shows_the_rows_and_the_sound_stands_beside_them(catalogue):
    figure = picture_fold_figure(catalogue, "picture-fold")
    drawing = drawing_of(figure)
    box = figure.data["boxes"]["wide"][0]
    per_line = box[3] / N_LINES
    (white,) = [path for path in drawing.all("path") if path.attributes.get("fill") == "#ffffff"][:1]
    bands = [
        (float(top), float(bottom))
        for top, bottom in re.findall(r"M[\d.]+ ([\d.]+)h26V([\d.]+)", white.attributes["d"])
    ]
    lit = [index for index in range(N_LINES) if rows_of_code(index)]
    drawn = [index for index in range(N_LINES) if any(a <= box[1] + (index + 0.5) * per_line <= b for a, b in bands)]
    assert drawn == lit
    left = path_points(drawing.all("path", class_="fold")[0].attributes["d"])
    assert len(left) == N_POINTS
    # Time runs down evenly, and the sound is to the right where the row is white.
    assert left[300][1] == pytest.approx(box[1] + box[3] / 2, abs=2 * PIXEL)
    places = {
        value: {
            x for (x, _), index in zip(left, range(N_POINTS), strict=True) if fold_at(index / N_POINTS, 400.0) == value
        }
        for value in (280.0, -120.0)
    }
    assert max(places[-120.0]) < min(places[280.0])
    assert {len(found) for found in places.values()} == {1}


def test_the_fold_is_read_by_time(catalogue):
    data = picture_fold_figure(catalogue, "picture-fold").data
    assert data["kind"] == "time"
    assert data["whole"] == pytest.approx(FIELD_MS, rel=1e-3)
    names = [series["name"] for series in data["series"]]
    assert names[:4] == [
        "Birch, coded rows, picture",
        "Birch, coded rows, left",
        "Birch, coded rows, right",
        "Birch, coded rows, left, direct",
    ]
    first = data["series"][0]
    assert first["y"][200] == 100 * rows_of_code(int(200 / N_POINTS * N_LINES))
    assert all(len(series["y"]) == len(data["x"]) for series in data["series"])


def test_levels_by_picture_stand_in_their_order_with_their_difference(catalogue):
    figure = picture_levels_figure(catalogue, "picture-levels")
    words = [text.words.replace("\u00a0", " ") for text in drawing_of(figure).all("text", class_="value")]
    # Rows: two channels of hum, buzz, hiss and noise; the largest difference from black is that of the rows.
    assert len(words) == 8
    assert words[2] == "rows: +21.6 dB (21.3 to 21.9)"
    marks = drawing_of(figure).all("path", class_="filled")
    assert len(marks) == 8
    numbers = [row for row in figure.values.rows if row[0] == "Picture buzz, Birch, left"]
    assert [row[1] for row in numbers] == ["black", "white", "rows"]
    assert numbers[0][3] == ""
    assert [item.words for item in figure.legend] == ["black picture", "white picture", "rows picture"]


def test_a_page_with_pictures_is_well_nested(catalogue):
    from humcheck.report.page import render_page

    page = read_page(render_page(picture_results()))
    assert len(page.all("figure", data_figure="picture-fold")) == 1


@pytest.mark.parametrize("kind", ["picture", "bleed"])
def test_findings_of_pictures_point_to_the_coupling(catalogue, kind):
    from humcheck.report.figure_links import figure_of
    from humcheck.results import Evidence, Finding

    numbered, count = [], 0
    for group, made in figures_of(catalogue):
        numbered.append((group, [(count + index, figure) for index, figure in enumerate(made, start=1)]))
        count += len(made)
    wanted = next(number for _, made in numbered for number, figure in made if figure.key == "buzz-curve")
    curve = next(row for row in catalogue.results.curves if row.role == "through")
    key = curve.fields(quantity="picture_coupling")
    finding = Finding(
        **key, id="f", kind=kind, severity="slight", sentence="It leaks.", evidence=[Evidence(curve=curve.id)]
    )
    assert figure_of(finding, numbered) == wanted


def test_what_is_nothing_but_noise_is_left_out_and_told():
    results = picture_results()
    noisy = [
        msgspec.structs.replace(row, subject="Cedar", y=[(-1.0) ** index for index in range(len(row.y))])
        for row in results.traces
        if row.picture == "white" and row.quantity == "picture_fold"
    ]
    noise = [
        msgspec.structs.replace(row, subject="Cedar", y=[1.0, 1.0])
        for row in results.traces
        if row.picture == "white" and row.quantity == "picture_fold_noise"
    ]
    more = msgspec.structs.replace(results, traces=[*results.traces, *noisy, *noise])
    figure = picture_fold_figure(Catalogue(more), "picture-fold")
    assert figure.note == "1 more hold nothing but noise."
    assert not any("Cedar" in series["name"] for series in figure.data["series"])


def test_a_bound_that_leaves_the_direction_open_is_no_difference():
    results = picture_results()
    hidden = [msgspec.structs.replace(row, value=-19.0, low=None, high=None, bound="lower") for row in results.changes]
    figure = picture_levels_figure(Catalogue(msgspec.structs.replace(results, changes=hidden)), "picture-levels")
    assert {text.words for text in drawing_of(figure).all("text", class_="value")} == {"no difference seen"}
