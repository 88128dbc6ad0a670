"""A finding in the page: its cause with what speaks for and against it, what to try, and the figure that shows it."""

from __future__ import annotations

import pytest

from humcheck.report.catalogue import Catalogue
from humcheck.report.figures.lines import line_figure
from humcheck.report.order import GROUPS
from humcheck.report.page import render_page
from humcheck.report.terminal import summary_text
from humcheck.results import Evidence, Finding, Line
from humcheck.results.severity import SCALES
from tests.report.fake_results import Maker, lines_of
from tests.report.page_reader import read_page

HUM = next(group for group in GROUPS if group.key == "hum")


def finding(row_id="hum-1", *, severity="clear", line="r1", port="1", **more):
    return Finding(
        **{
            "id": row_id, "kind": "hum", "severity": severity, "subject": "Alder", "role": "through", "port": port,
            "channel": "left", "quantity": "hum_level",
            "sentence": "Alder adds mains hum. Most likely the cause is a ground loop.",
            "confidence": "cause: likely, from the pattern alone", "cause": "ground-loop",
            "reasons": ["it holds odd harmonics"], "doubts": ["a magnetic field comes close"],
            "test": "Put an isolating transformer into the lead.", "advice": ["First this.", "Then that."],
            "cautions": ["Never lift an earth."], "evidence": [Evidence(line=line)] if line else [],
        }
        | more
    )  # fmt: skip


def results(findings, ports=("1",), family="mains"):
    maker = Maker()
    for index, port in enumerate(ports):
        lines_of(maker, family, 50.0, -70.0 - index, -130.0, subject="Alder", role="through", channel="left", port=port)
    return maker.results(findings=findings, takes=[])


def test_a_cause_stands_with_reasons_doubts_test_and_ordered_advice():
    root = read_page(render_page(results([finding()])))
    shown = root.first("li", id="finding-1")
    assert [heading.words for heading in shown.all("h4")] == [
        "What speaks for this cause", "What speaks against it", "What would decide", "What to try, in this order",
    ]  # fmt: skip
    assert "It holds odd harmonics." in shown.words
    assert "A magnetic field comes close." in shown.words
    assert [item.words for item in shown.first("ol").all("li")] == ["First this.", "Then that."]
    assert "Never lift an earth." in root.first("article").words


@pytest.mark.parametrize(("severity", "is_open"), [("strong", True), ("clear", True), ("slight", False)])
def test_only_serious_findings_are_unfolded(severity, is_open):
    root = read_page(render_page(results([finding(severity=severity)])))
    assert ("open" in root.first("details", class_="why").attributes) is is_open


def test_a_finding_leads_to_the_figure_that_draws_its_lines():
    root = read_page(render_page(results([finding()])))
    link = root.first("li", id="finding-1").first("a")
    figure = root.first("figure", id=link.attributes["href"][1:])
    assert "tone by tone" in figure.first("figcaption").words


def test_every_set_up_with_a_finding_about_its_lines_is_drawn():
    findings = [finding("a", port="1"), finding("b", port="3", severity="slight")]
    figure = line_figure(Catalogue(results(findings, ports=("1", "2", "3"))), HUM)
    assert {setup.port for setup in figure.setups} == {"1", "3"}
    assert "1 other is not" in figure.note
    plain = line_figure(Catalogue(results([], ports=("1", "2", "3"))), HUM)
    assert len(plain.setups) == 1


def test_a_finding_whose_set_up_no_figure_draws_has_no_link():
    root = read_page(render_page(results([finding(port="9")], ports=("1",))))
    assert not root.first("li", id="finding-1").all("a")


def test_families_are_told_apart_by_shape_and_in_words():
    maker = Maker()
    key = {"subject": "Alder", "role": "through", "channel": "left"}
    lines_of(maker, "mains", 50.0, -70.0, -130.0, **key)
    lines_of(maker, "field", 50.08, -75.0, -130.0, **key)
    figure = line_figure(Catalogue(maker.results(takes=[])), HUM)
    words = [item.words for item in figure.legend]
    assert "mains" in words
    assert "picture's field rate, to compare" in words
    swatches = {item.words: str(item.swatch) for item in figure.legend}
    # A circle is drawn with arcs, a square with straight lines.
    assert "a4" in swatches["mains"]
    assert "L" in swatches["picture's field rate, to compare"]
    drawing = read_page(str(figure.drawings[0])).first("svg")
    assert drawing.all("path", class_="context")


def test_multiples_are_named_beside_the_strongest_lines():
    maker = Maker()
    for order, level in ((1, -60.0), (3, -66.0), (5, -71.0)):
        line = Line(
            id=maker.next_id(), quantity="hum_level", family="mains", harmonic=order, frequency_hz=50.0 * order,
            level_dbfs=level, subject="Alder", role="through", channel="left",
        )  # fmt: skip
        maker.add("lines", line)
    figure = line_figure(Catalogue(maker.results(takes=[])), HUM)
    for drawing in figure.drawings:
        named = [text.words for text in read_page(str(drawing)).first("svg").all("text", class_="callout")]
        assert named == ["50 Hz", "×3", "×5"]


def test_the_method_lists_the_steps_of_severity():
    method = read_page(render_page(results([finding()]))).first("section", id="method")
    rows = [row for row in method.all("tr") if row.all("td")]
    assert len(rows) == len(SCALES)
    assert "\u2212100\u00a0dBr(A)" in method.text


def test_the_terminal_says_why_and_what_decides():
    text = " ".join(summary_text(results([finding()])).split())
    assert "Why: it holds odd harmonics." in text
    assert "To decide: Put an isolating transformer into the lead." in text
