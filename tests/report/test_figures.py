"""Figures: every mark stands where its value is, found again by inverting the axes from the ticks drawn."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humcheck.report.catalogue import Catalogue
from humcheck.report.figures import figures_of
from humcheck.report.figures.curves import curve_figure
from humcheck.report.figures.figure import distinct_names
from humcheck.report.figures.frame import nice_range, ticks
from humcheck.report.figures.levels import level_figure
from humcheck.report.figures.lines import line_figure
from humcheck.report.figures.svg import shorten, simplified, tag
from humcheck.report.figures.thin import MOST_POINTS, thinned
from humcheck.report.order import GROUPS
from humcheck.results import Curve, Line, Measure
from tests.report import fake_results
from tests.report.fake_results import Maker
from tests.report.page_reader import Element, path_points, read_page

GROUP = {group.key: group for group in GROUPS}
KEY = {"subject": "Alder", "role": "through", "channel": "left"}
#: Coordinates are written with one decimal.
PIXEL = 0.06


def drawing_of(figure, width="wide") -> Element:
    return read_page(str(figure.drawings[0 if width == "wide" else 1])).first("svg")


def hz_of(drawing: Element):
    """Return the frequency axis as a function from place to frequency, from two tick labels."""
    places = {text.words: float(text.attributes["x"]) for text in drawing.all("text", class_="tick")}
    start, end = places["20"], places["1k"]
    return lambda x: 20 * (1000 / 20) ** ((x - start) / (end - start))


def level_of(drawing: Element, first: str, second: str):
    """Return the vertical axis as a function from place to value, from two tick labels."""
    ticks_drawn = {
        text.words: float(text.attributes["y"]) - 4
        for text in drawing.all("text", class_="tick")
        if text.attributes.get("text-anchor") == "end"
    }
    low, high = (float(text.replace("\u2212", "-")) for text in (first, second))
    return lambda y: low + (high - low) * (y - ticks_drawn[first]) / (ticks_drawn[second] - ticks_drawn[first])


@pytest.mark.parametrize("width", ["wide", "narrow"])
def test_a_curve_is_drawn_at_its_values(width):
    grid = np.geomspace(20, 20000, 241)
    value = -3 * np.log10(grid / 1000) - 2
    curve = Curve(
        quantity="response_delta", unit="dB", frequency_hz=grid.tolist(), value=value.tolist(),
        low=(value - 0.5).tolist(), high=(value + 0.25).tolist(), **KEY,
    )  # fmt: skip
    figure = curve_figure(Catalogue(Maker().results(curves=[curve], takes=[])), "response_delta", "tone-curve")
    drawing = drawing_of(figure, width)
    hz, level = hz_of(drawing), level_of(drawing, "\u22122", "0")
    (drawn,) = drawing.all("path", class_="curve")
    per_pixel = abs(level(0) - level(1))
    for x, y in path_points(drawn.attributes["d"]):
        expected = -3 * math.log10(hz(x) / 1000) - 2
        assert level(y) == pytest.approx(expected, abs=4 * PIXEL * per_pixel)
    (band,) = drawing.all("path", class_="band")
    heights = [level(y) - (-3 * math.log10(hz(x) / 1000) - 2) for x, y in path_points(band.attributes["d"])]
    assert min(heights) == pytest.approx(-0.5, abs=4 * PIXEL * per_pixel)
    assert max(heights) == pytest.approx(0.25, abs=4 * PIXEL * per_pixel)


def test_a_line_stands_at_its_frequency_and_level():
    line = Line(
        quantity="hum_level", family="mains", harmonic=3, frequency_hz=150.0, level_dbfs=-71.5, low=-72, high=-71, **KEY
    )
    other = Line(quantity="hum_level", family="mains", harmonic=1, frequency_hz=50.0, level_dbfs=-110.0, **KEY)
    figure = line_figure(Catalogue(Maker().results(lines=[line, other], takes=[])), GROUP["hum"])
    drawing = drawing_of(figure)
    hz, level = hz_of(drawing), level_of(drawing, "\u2212100", "\u221280")
    (marks,) = [path for path in drawing.all("path", class_="filled") if "left" in path.attributes["class"]]
    centres = [(float(x) + 2.8, float(y)) for x, y in re.findall(r"M([\d.]+) ([\d.]+)a", marks.attributes["d"])]
    found = sorted((round(hz(x), 1), round(level(y), 1)) for x, y in centres)
    assert found == [
        (pytest.approx(50, rel=0.003), pytest.approx(-110, abs=0.1)),
        (pytest.approx(150, rel=0.003), pytest.approx(-71.5, abs=0.1)),
    ]


def test_families_have_different_shapes_and_bounds_are_arrows():
    families = ("mains", "field", "mains_or_field", "line_rate", "digital", "other")
    drawn = set()
    for family in families:
        group = GROUP["buzz"] if family in ("field", "line_rate") else GROUP["hum"]
        line = Line(quantity="hum_level", family=family, frequency_hz=1000.0, level_dbfs=-80.0, **KEY)
        bound = Line(quantity="hum_level", family=family, frequency_hz=3000.0, level_dbfs=-80.0, bound="upper", **KEY)
        figure = line_figure(Catalogue(Maker().results(lines=[line, bound], takes=[])), group)
        drawing = drawing_of(figure)
        shape = next(path for path in drawing.all("path", class_="filled")).attributes["d"]
        drawn.add(re.sub(r"[\d.]+", "", shape))
        assert len(drawing.all("path", class_="bound")) == 1
        assert any("at most" in item.words for item in figure.legend)
    # Two shapes of four corners differ in their numbers only.
    assert len(drawn) >= len(families) - 2


def test_a_level_chart_marks_the_value_and_says_it():
    rows = [
        Measure(quantity="hum_level", value=-60.0, unit="dBFS", low=-60.5, high=-59.5, **KEY),
        Measure(
            subject="direct", role="direct", channel="left", quantity="hum_level", value=-100.0, unit="dBFS",
            bound="upper",
        ),
    ]  # fmt: skip
    figure = level_figure(Catalogue(Maker().results(measures=rows, takes=[])), GROUP["hum"])
    drawing = drawing_of(figure)
    places = {
        text.words: float(text.attributes["x"])
        for text in drawing.all("text", class_="tick")
        if text.attributes.get("text-anchor") == "middle"
    }
    per_db = (places["\u221270"] - places["\u221290"]) / 20
    (mark,) = drawing.all("path", class_="filled")
    x = float(re.match(r"M([\d.]+)", mark.attributes["d"])[1]) + 4.0
    assert x == pytest.approx(places["\u221270"] + 10 * per_db, abs=0.15)
    (arrow,) = drawing.all("path", class_="bound")
    assert float(re.match(r"M([\d.]+)", arrow.attributes["d"])[1]) == pytest.approx(
        places["\u221290"] - 10 * per_db, abs=0.15
    )
    assert "\u221260.0\u00a0dBFS" in drawing.text
    assert "direct < \u2212100.0\u00a0dBFS" in drawing.first("desc").text.replace("<\u00a0", "< ")


@pytest.mark.parametrize(("bound", "sign"), [("upper", -1), ("lower", 1)])
def test_the_arrow_of_a_bound_points_to_where_the_value_may_lie(bound, sign):
    row = Measure(quantity="hum_level", value=-60.0, unit="dBFS", bound=bound, **KEY)
    figure = level_figure(Catalogue(Maker().results(measures=[row], takes=[])), GROUP["hum"])
    (arrow,) = drawing_of(figure).all("path", class_="bound")
    start, tip = (float(re.search(pattern, arrow.attributes["d"])[1]) for pattern in (r"M([\d.]+)", r"H([\d.]+)"))
    assert (tip - start) * sign > 10


def test_many_set_ups_become_one_row_for_each_device_and_say_so():
    figure = level_figure(Catalogue(fake_results.bench_results(ports=8)), GROUP["hum"])
    assert "further rows stand in the tables" in figure.note
    assert len(drawing_of(figure).all("rect", class_="spread")) == 6


def test_hidden_stretches_of_a_curve_are_drawn_apart():
    curve = Curve(
        quantity="crosstalk", unit="dB", frequency_hz=[20.0, 200.0, 2000.0, 20000.0], value=[-120, -110, -90, -70],
        bound=["upper", "upper", None, None], valid_from_hz=50.0, valid_to_hz=15000.0, **KEY,
    )  # fmt: skip
    figure = curve_figure(Catalogue(Maker().results(curves=[curve], takes=[])), "crosstalk", "bleed-curve")
    drawing = drawing_of(figure)
    masked = drawing.all("path", class_="masked")
    assert len(masked) == 1
    assert len(drawing.all("path", class_="curve")) == 2
    assert len(drawing.all("rect", class_="invalid")) == 2


def test_a_curve_outside_the_audible_range_makes_no_figure():
    curve = Curve(quantity="crosstalk", unit="dB", frequency_hz=[5.0, 8.0], value=[0.0, 0.0], **KEY)
    assert curve_figure(Catalogue(Maker().results(curves=[curve], takes=[])), "crosstalk", "x") is None


@pytest.mark.parametrize(
    "make", [fake_results.compare_results, fake_results.bench_results, fake_results.inspect_results]
)
def test_everything_stays_inside_its_drawing(make):
    for _, figures in figures_of(Catalogue(make())):
        for figure in figures:
            for markup in figure.drawings:
                drawing = read_page(str(markup)).first("svg")
                width, height = (float(text) for text in drawing.attributes["viewbox"].split()[2:])
                for element in drawing.all("path", class_="curve") + drawing.all("path", class_="band"):
                    points = path_points(element.attributes["d"])
                    assert all(0 <= x <= width and 0 <= y <= height for x, y in points)
                for text in drawing.all("text"):
                    assert -1 <= float(text.attributes["x"]) <= width + 1
                    assert 0 <= float(text.attributes["y"]) <= height


def test_curves_are_light():
    for _, figures in figures_of(Catalogue(fake_results.compare_results())):
        for figure in figures:
            for series in (figure.data or {}).get("series", []):
                assert len(series["y"]) <= MOST_POINTS


@settings(deadline=None)  # machines may be busy
@given(st.integers(301, 4000), st.floats(21, 19000), st.integers(0, 2**31))
def test_thinning_keeps_the_peak_the_notch_and_the_ends(count, peak_hz, seed):
    grid = np.geomspace(20, 20000, count)
    value = np.random.default_rng(seed).normal(size=count)
    value[np.argmin(abs(grid - peak_hz))] = 50.0
    value[count // 2] = -50.0
    chosen = thinned(grid.tolist(), value.tolist())
    assert len(chosen) <= MOST_POINTS
    assert chosen == sorted(chosen)
    assert {0, count - 1} <= set(chosen)
    assert value[chosen].min() == value.min()
    assert value[chosen].max() == value.max()


@settings(deadline=None)  # machines may be busy
@given(st.lists(st.floats(-100, 100), min_size=1, max_size=200), st.floats(0.05, 3))
def test_a_simplified_line_is_never_further_off_than_its_tolerance(heights, tolerance):
    points = [(float(index), height) for index, height in enumerate(heights)]
    corners = simplified(points, tolerance)
    assert corners[0] == points[0]
    assert corners[-1] == points[-1]
    between = np.interp([x for x, _ in points], [x for x, _ in corners], [y for _, y in corners])
    assert np.abs(between - np.array(heights)).max() <= tolerance + 1e-9


@settings(deadline=None)  # machines may be busy
@given(st.floats(-500, 500), st.floats(0, 500), st.integers(3, 9))
def test_scales_hold_their_values_in_few_round_steps(low, span, most):
    start, end, step = nice_range(low, low + span, most_ticks=most)
    assert start <= low + 1e-6 * step
    assert end >= low + span - 1e-6 * step
    assert len(ticks(start, end, step)) <= most + 2
    mantissa = step / 10 ** math.floor(math.log10(step) + 1e-9)
    assert min(abs(mantissa - nice) for nice in (1, 2, 5, 10)) < 1e-6


def test_names_drop_what_does_not_tell_them_apart():
    names = [
        ("Alder", "port 1, white picture", "left", "direct"),
        ("Alder", "port 1, white picture", "left", "through"),
    ]
    assert distinct_names(names) == ["direct", "through"]
    assert distinct_names([("Alder", "", "left")]) != [""]
    assert distinct_names([]) == []


def test_attributes_and_texts_are_escaped():
    drawn = str(tag("text", "<b>&\x00", class_='"><script>'))
    assert drawn == '<text class="&#34;&gt;&lt;script&gt;">&lt;b&gt;&amp;\\x00</text>'


def test_long_names_are_cut_to_their_room():
    assert shorten("a" * 100, 64.0, per_character=6.4) == "a" * 9 + "…"
    assert shorten("short", 64.0) == "short"
