"""The page in a real browser: no request, no complaint, usable by keyboard, accessible in light and dark."""

from __future__ import annotations

import json
import re
from pathlib import Path

import msgspec
import pytest

from humcheck.report.page import render_page
from tests.report import fake_results
from tests.report.browser import chromium, complaints_about_html, node_package
from tests.report.fake_results import HOSTILE
from tests.report.listened_results import listened_results
from tests.report.picture_results import FIELD_MS, fold_at, picture_results

CASES = {
    "compare": lambda: render_page(fake_results.compare_results(), truth=fake_results.truth_rows()),
    "inspect": lambda: render_page(fake_results.inspect_results()),
    "empty": lambda: render_page(fake_results.empty_results()),
    "hostile": lambda: render_page(msgspec.structs.replace(fake_results.hostile_results(), commands=list(HOSTILE))),
    "listened": lambda: _listened(),
    "picture": lambda: render_page(picture_results()),
}
pytestmark = pytest.mark.slow


def _listened() -> str:
    results, sounds = listened_results()
    return render_page(results, sounds=sounds)


READER = "document.querySelector('#tone .reader')"


@pytest.fixture(scope="module")
def files(tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    paths = {}
    for name, make in CASES.items():
        paths[name] = folder / f"{name}.html"
        paths[name].write_text(make(), encoding="utf-8")
    return paths


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    with chromium(tmp_path_factory.mktemp("profile")) as running:
        yield running


@pytest.mark.parametrize("name", CASES)
def test_nothing_is_asked_for_and_nothing_complained_about(page, files, name):
    page.requests()
    page.open(files[name])
    page.value("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    assert [address for address in page.requests() if not address.startswith("data:")] == [files[name].as_uri()]
    assert page.console() == []


def test_no_name_from_outside_is_run(page, files):
    page.open(files["hostile"])
    assert page.value("document.querySelectorAll('img, b[onclick], script:not([type])').length") == 1
    assert page.value("document.querySelector('h1').textContent").startswith("<script>alert(1)</script>")


@pytest.mark.parametrize("width", [390, 820, 1280])
@pytest.mark.parametrize("name", CASES)
def test_the_page_is_no_wider_than_the_screen(page, files, name, width):
    page.open(files[name], width=width)
    page.value("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    assert page.value("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize(("width", "shown"), [(390, "narrow"), (1280, "wide")])
def test_one_of_the_two_drawings_is_shown(page, files, width, shown):
    page.open(files["compare"], width=width)
    visible = page.value(
        "[...document.querySelectorAll('svg.drawing')].filter(one => one.getClientRects().length)"
        ".map(one => one.classList.contains('wide') ? 'wide' : 'narrow')"
    )
    assert set(visible) == {shown}


@pytest.mark.parametrize("width", [390, 1280])
def test_text_in_drawings_is_large_enough_to_read(page, files, width):
    page.open(files["compare"], width=width)
    smallest = page.value(
        "Math.min(...[...document.querySelectorAll('svg.drawing text')].filter(one => one.getClientRects().length)"
        ".map(one => parseFloat(getComputedStyle(one).fontSize) * one.getScreenCTM().a))"
    )
    assert smallest >= 10


def test_labels_do_not_run_out_of_their_drawings(page, files):
    for width in (390, 1280):
        page.open(files["compare"], width=width)
        over = page.value(
            "[...document.querySelectorAll('svg.drawing text')].filter(one => one.getClientRects().length)"
            ".filter(one => one.getBoundingClientRect().right > innerWidth || one.getBoundingClientRect().left < 0)"
            ".map(one => one.textContent)"
        )
        assert over == []


def test_values_are_read_by_keyboard(page, files):
    from selenium.webdriver.common.keys import Keys

    page.open(files["compare"])
    slider = page.driver.find_element("css selector", "#tone .reader input")
    assert page.value(f"{READER}.querySelector('output').textContent") == "1.00\u00a0kHz"
    slider.send_keys(Keys.HOME)
    assert page.value(f"{READER}.querySelector('output').textContent") == "20.0\u00a0Hz"
    first = page.value(f"{READER}.querySelector('li').textContent")
    expected = _response_at_20_hz()
    assert first.startswith(f"left: \u2212{abs(expected):.2f}\u00a0dB (")
    slider.send_keys(Keys.ARROW_RIGHT)
    assert page.value(f"{READER}.querySelector('output').textContent") == "20.8\u00a0Hz"
    assert "left" in slider.get_attribute("aria-valuetext")
    assert page.value("getComputedStyle(document.querySelector('#tone .cursor')).display") != "none"


def _response_at_20_hz() -> float:
    curves = fake_results.compare_results().curves
    return next(curve.value[0] for curve in curves if curve.quantity == "response_delta" and curve.channel == "left")


def test_values_are_read_under_the_pointer(page, files):
    page.open(files["compare"])
    page.value("document.querySelector('#tone .plot').scrollIntoView({block: 'center', behavior: 'instant'})")
    x, y = page.value(
        "(() => { const box = [...document.querySelectorAll('#tone svg.wide text.tick')]"
        ".find(one => one.textContent === '200').getBoundingClientRect();"
        "return [box.left + box.width / 2, box.top - 60]; })()"
    )
    page.command("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y)
    shown = page.value(f"{READER}.querySelector('output').textContent")
    hz = float(re.match(r"[\d.]+", shown)[0])
    # One step of the slider is a 180th of three decades, 4 %.
    assert hz == pytest.approx(200, rel=0.045)


def test_lines_are_read_one_by_one(page, files):
    from selenium.webdriver.common.keys import Keys

    page.open(files["compare"])
    slider = page.driver.find_element("css selector", "#hum .reader input")
    slider.send_keys(Keys.HOME)
    slider.send_keys(Keys.ARROW_RIGHT)
    slider.send_keys(Keys.ARROW_RIGHT)
    assert page.value("document.querySelector('#hum .reader output').textContent") == "150\u00a0Hz, mains ×3"
    readings = page.value("[...document.querySelectorAll('#hum .reader li')].map(one => one.textContent)")
    assert [text.split(":")[0] for text in readings] == [
        "left, direct",
        "left, through",
        "right, direct",
        "right, through",
    ]


def test_a_folded_field_is_read_down_in_time(page, files):
    from selenium.webdriver.common.keys import Keys

    page.open(files["picture"])
    reader = "document.querySelector('[data-figure=picture-fold] .reader')"
    slider = page.driver.find_element("css selector", "[data-figure=picture-fold] .reader input")
    slider.send_keys(Keys.END)
    last = FIELD_MS * 599 / 600
    assert page.value(f"{reader}.querySelector('output').textContent") == f"{last:.2f}\u00a0ms"
    page.value("document.querySelector('[data-figure=picture-fold] .plot').scrollIntoView({behavior: 'instant'})")
    x, y = page.value(
        "(() => { const box = document.querySelector('[data-figure=picture-fold] svg.wide rect[fill=\"#000000\"]')"
        ".getBoundingClientRect(); return [box.left + 40, box.top + 0.25 * box.height]; })()"
    )
    page.command("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y)
    shown = float(page.value(f"{reader}.querySelector('output').textContent").split("\u00a0")[0])
    assert shown == pytest.approx(FIELD_MS / 4, abs=0.1)
    readings = page.value(f"[...{reader}.querySelectorAll('li')].map(one => one.textContent)")
    value = fold_at(round(shown / FIELD_MS * 600) / 600, 400.0)
    assert f"{abs(value):.1f}\u00a0µFS" in readings[1]
    assert readings[0].endswith("% white")


def test_every_control_shows_where_the_focus_is(page, files):
    from selenium.webdriver.common.keys import Keys

    page.open(files["compare"])
    body = page.driver.find_element("css selector", "body")
    body.send_keys(Keys.TAB)
    seen = []
    for _ in range(40):
        seen.append(
            page.value(
                "(() => { const one = document.activeElement; return [one.tagName, getComputedStyle(one).outlineStyle,"
                " one.textContent.slice(0, 30)]; })()"
            )
        )
        page.driver.switch_to.active_element.send_keys(Keys.TAB)
    assert seen[0][2] == "Skip to what was found"
    assert {name for name, _, _ in seen} >= {"A", "INPUT", "SUMMARY"}
    assert all(style != "none" for _, style, _ in seen)


def test_paper_unfolds_only_what_weighs_most_and_links_unfold_what_they_lead_to(page, files):
    page.open(files["compare"])
    page.value("document.querySelectorAll('details').forEach(one => { one.open = false; })")
    page.value("window.dispatchEvent(new Event('beforeprint'))")
    counts = "['', '.printed'].map(kind => document.querySelectorAll(`details${kind}[open]`).length)"
    opened, weighty = page.value(counts)
    assert opened == weighty > 0
    page.value("window.dispatchEvent(new Event('afterprint'))")
    assert page.value(counts) == [0, 0]
    page.value("document.querySelector('#numbers .quantity a').click()")
    assert page.value("document.querySelector('.definitions :target').closest('details').open")


@pytest.mark.parametrize(("width", "dark"), [(1280, False), (390, True)], ids=["wide and light", "narrow and dark"])
@pytest.mark.parametrize("name", CASES)
def test_no_violation_of_accessibility_rules(page, files, name, width, dark):
    checker = (node_package("axe-core") / "axe.min.js").read_text(encoding="utf-8")
    page.open(files[name], width=width, dark=dark)
    page.value("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    page.value(checker + "; 0")
    found = json.loads(
        page.value(
            "axe.run(document, {resultTypes: ['violations']}).then(result => JSON.stringify("
            "result.violations.map(one => [one.id, one.nodes.map(node => node.html.slice(0, 200))])))"
        )
    )
    assert found == []


@pytest.mark.parametrize("name", CASES)
def test_no_violation_of_html(files, name, tmp_path):
    assert complaints_about_html([files[name]], tmp_path) == ""
