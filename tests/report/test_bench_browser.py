"""The page of a bench and the archive in a real browser: sorting, filters, zoom, the blind test, access for all."""

from __future__ import annotations

import json
import math
import re

import msgspec
import pytest
from scipy.stats import binom

from humcheck.report import number_data
from humcheck.report.archive import render_archive
from humcheck.report.catalogue import Catalogue
from humcheck.report.page import render_page
from humcheck.report.side_by_side import WORSE, side_by_side
from tests.report.browser import chromium, complaints_about_html, node_package
from tests.report.fake_results import HOSTILE, bench_results, compare_results
from tests.report.listened_bench import listened_bench

pytestmark = pytest.mark.slow

SIDE = "document.querySelector('#compare table')"
SHOWN = f"[...{SIDE}.tBodies[1].rows].filter(row => !row.hidden)"
ALL_OPEN = "document.querySelectorAll('details').forEach(one => { one.open = true; })"


@pytest.fixture(scope="module")
def bench():
    return listened_bench()


@pytest.fixture(scope="module")
def files(tmp_path_factory, bench):
    folder = tmp_path_factory.mktemp("pages")
    results, sounds = bench
    others = [compare_results("Birch"), compare_results("Alder"), bench_results(["Cedar"], pictures=["white"])]
    named = [
        msgspec.structs.replace(one, bench=msgspec.structs.replace(one.bench, id=f"b{n}", name=name))
        for n, (one, name) in enumerate(zip(others, ("Attic", HOSTILE[0], "Attic"), strict=True))
    ]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(number_data, "MOST_ROWS", 100)
        pages = {"bench": render_page(results, sounds=sounds), "archive": render_archive(named)}
    for name, text in pages.items():
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
    return {name: folder / f"{name}.html" for name in pages}


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    with chromium(tmp_path_factory.mktemp("profile")) as running:
        yield running


@pytest.mark.parametrize("name", ["bench", "archive"])
def test_nothing_is_asked_for_nothing_complained_about_and_it_is_no_wider_than_the_screen(page, files, name):
    for width in (390, 1280):
        page.requests()
        page.open(files[name], width=width)
        page.value(ALL_OPEN)
        assert page.value("document.documentElement.scrollWidth") <= width
        assert [address for address in page.requests() if not address.startswith("data:")] == [files[name].as_uri()]
        assert page.console() == []


def test_the_table_sorts_by_keyboard_and_the_control_stays_on_top(page, files):
    from selenium.webdriver.common.keys import Keys

    page.open(files["bench"])
    heading = page.driver.find_element("css selector", "#compare thead th:nth-child(2)")
    button = heading.find_element("css selector", "button")
    for order, turn in (("ascending", 1), ("descending", -1)):
        button.send_keys(Keys.ENTER)
        assert heading.get_attribute("aria-sort") == order
        values = page.value(f"{SHOWN}.map(row => Number(row.cells[1].dataset.v))")
        assert len(values) == 4
        assert values == sorted(values, key=lambda value: turn * value)
    assert page.value(f"{SIDE}.tBodies[0].rows[0].cells[0].textContent").startswith("Direct")
    assert page.value("document.querySelectorAll('#compare [aria-sort]').length") == 1


def test_the_table_is_filtered(page, files):
    page.open(files["bench"])
    assert page.value("[...document.querySelectorAll('#compare .sifter select')].map(one => one.id.split('-')[2])") == [
        "port", "picture", "fix", "channel",
    ]  # fmt: skip
    choose = "const one = document.querySelector('#compare .sifter select[id$=-{}]'); one.value = '{}';"
    page.value(f"{{{choose.format('port', '2')} one.dispatchEvent(new Event('change')); }}")
    page.value(f"{{{choose.format('fix', '')} one.dispatchEvent(new Event('change')); }}")
    rows = page.value(f"{SHOWN}.map(row => [row.dataset.port, row.dataset.fix, row.dataset.channel])")
    assert rows == [["2", "", WORSE]]
    assert page.value("document.querySelector('#compare .sifted').textContent") == "1 of 12 rows shown."


def test_only_what_differs_leaves_out_columns_whose_ranges_share_a_value(page, files, bench):
    page.open(files["bench"])
    page.value("document.querySelector('#compare [type=checkbox]').click()")
    shown = page.value(f"[...{SIDE}.tHead.rows[0].cells].slice(1).map(one => !one.hidden)")
    side = side_by_side(Catalogue(bench[0]))
    for column, is_shown in zip(side.columns, shown, strict=True):
        cells = [row.cells[column.key] for row in side.rows if row.channel == WORSE and not row.is_control
                 and column.key in row.cells]  # fmt: skip
        low = max((cell.low for cell in cells if cell.low is not None), default=-math.inf)
        high = min((cell.high for cell in cells if cell.high is not None), default=math.inf)
        assert is_shown == (low > high), column.key
    assert True in shown
    assert False in shown


def test_without_script_the_table_is_whole_and_plain(page, files):
    page.command("Emulation.setScriptExecutionDisabled", value=True)
    try:
        page.open(files["bench"])
        found = page.driver.find_elements("css selector", "#compare tbody tr")
        assert len(found) == 12 + 3
        assert page.driver.find_elements("css selector", "#compare button, #compare select") == []
        assert page.driver.find_element("css selector", ".blind-off").is_displayed()
    finally:
        page.command("Emulation.setScriptExecutionDisabled", value=False)


def test_long_tables_are_made_when_they_are_opened(page, files):
    page.open(files["bench"])
    assert page.value("document.querySelectorAll('#numbers table').length") == 0
    page.value("document.querySelector('#numbers details').open = true")
    said, rows = page.value(
        "new Promise(done => setTimeout(() => done([document.querySelector('#numbers summary').textContent,"
        "document.querySelectorAll('#numbers table tr:has(td)').length]), 50))"
    )
    assert said == f"Alder: {rows} rows"
    assert rows > 20


TONE = "document.querySelector('#tone figure')"
PATHS = f"[...{TONE}.querySelectorAll('svg.wide .field path')].map(one => one.getAttribute('d')).join()"
TICKS = (
    f"[...{TONE}.querySelector('svg.wide g.hz').querySelectorAll('text.tick')]"
    ".map(one => [one.textContent, Number(one.getAttribute('x'))])"
)


def pressed(page, words):
    page.value(f"[...{TONE}.querySelectorAll('.zoomer button')].find(one => one.textContent === '{words}').click()")


def test_zoom_shows_less_of_the_scale_in_the_right_places_and_leads_back(page, files):
    page.open(files["bench"])
    before, ticks = page.value(PATHS), page.value(TICKS)
    pressed(page, "Zoom in")
    # The slider stands at 1 kHz, to a 180th of three decades. Half of the three decades around it runs from a
    # 1000**0.25th of it to 1000**0.25 times it.
    middle = 20 * 1000 ** (round(180 * math.log(50) / math.log(1000)) / 180)
    low, high = middle / 1000**0.25, middle * 1000**0.25
    said = page.value(f"{TONE}.querySelector('.zoomer span').textContent")
    assert said == f"{low:.0f}\u00a0Hz to {high / 1000:.2f}\u00a0kHz"
    left, right = (dict(ticks)[name] for name in ("20", "10k"))
    width = (right - left) * math.log(1000) / math.log(500)
    for name, x in page.value(TICKS):
        hz = float(name.replace("k", "")) * (1000 if "k" in name else 1)
        assert x == pytest.approx(left + width * math.log(hz / low) / math.log(high / low), abs=0.5), name
    assert page.value(PATHS) != before
    pressed(page, "Whole range")
    assert page.value(TICKS) == ticks
    assert page.value(PATHS) == before


def test_a_drag_chooses_the_range_and_values_are_read_inside_it(page, files):
    page.open(files["bench"])
    page.value(f"{TONE}.querySelector('.plot').scrollIntoView({{block: 'center', behavior: 'instant'}})")
    places = page.value(
        f"[...{TONE}.querySelectorAll('svg.wide text.tick')].filter(one => ['100', '1k'].includes(one.textContent))"
        ".slice(0, 2).map(one => { const box = one.getBoundingClientRect();"
        " return [box.left + box.width / 2, box.top - 60]; })"
    )
    kinds = (("mousePressed", 0, 1), ("mouseMoved", 1, 1), ("mouseReleased", 1, 0))
    for kind, place, buttons in kinds:
        x, y = places[place]
        page.command("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", buttons=buttons, clickCount=1)
    low, high = page.value(f"{TONE}.querySelector('.zoomer span').textContent").replace("\u00a0", " ").split(" to ")
    assert float(low.split()[0]) == pytest.approx(100, rel=0.05)
    assert float(high.split()[0]) == pytest.approx(1.0, rel=0.05)
    page.value(f"{{ const one = {TONE}.querySelector('.reader input'); one.value = 0;"
               "one.dispatchEvent(new Event('input')); }")  # fmt: skip
    assert page.value(f"{TONE}.querySelector('output').textContent").replace("\u00a0", " ") == low


#: Random numbers that the test knows, and what the page does with its gains.
DRAWN = """
window.used = []; window.gains = []; window.ramps = []; let state = 7;
window.crypto.getRandomValues = into => {
  state = state * 69069 + 1 >>> 0; into[0] = state >>> 24; used.push(into[0] & 1); return into;
};
const create = AudioContext.prototype.createGain, ramp = AudioParam.prototype.linearRampToValueAtTime;
AudioContext.prototype.createGain = function () { const one = create.call(this); gains.push(one); return one; };
AudioParam.prototype.linearRampToValueAtTime = function (value, at) {
  ramps.push(value); return ramp.call(this, value, at);
};
0
"""
BLIND = "document.querySelector('.blind')"
STATE = f"{BLIND}.querySelector('.state').textContent"


def key(name):
    return f"document.activeElement.dispatchEvent(new KeyboardEvent('keydown', {{key: '{name}', bubbles: true}}))"


def begun(page, count):
    page.value(DRAWN)
    page.value(f"{BLIND}.querySelector('[value=\"{count}\"][type=radio]').checked = true")
    begin = f"[...{BLIND}.querySelectorAll('button')].find(one => one.textContent.startsWith('I have turned')).click()"
    page.command("Runtime.evaluate", expression=begin, userGesture=True)
    page.value(
        "new Promise((done, failed) => { const end = Date.now() + 5000; (function look() {"
        f"if ({STATE}.startsWith('Trial 1')) {{ done(1); }} else if (Date.now() > end) {{ failed({STATE}); }}"
        " else { setTimeout(look, 10); } })(); })"
    )


@pytest.mark.parametrize(
    ("right", "count", "p"),
    # The first three are check values, made by exact sums outside this project; all are checked against scipy.
    [(12, 16, "0.038406"), (14, 16, "0.002090"), (15, 20, "0.020695"), (16, 24, "0.075795")],
)
def test_the_blind_test_counts_and_judges_exactly(page, files, right, count, p):
    page.open(files["bench"])
    begun(page, count)
    told = page.value(
        "(() => { const told = []; const press = key => document.activeElement.dispatchEvent("
        "new KeyboardEvent('keydown', {key, bubbles: true}));"
        f"for (let trial = 0; trial < {count}; trial += 1) {{"
        # An answer before X was heard is none.
        f"press('1'); press('x'); told.push({BLIND}.innerText);"
        f"press((used[used.length - 1] === 1) === (trial < {right}) ? '2' : '1'); }} return told; }})()"
    )
    assert [f"Trial {trial + 1} of {count}. X is playing." in text for trial, text in enumerate(told)] == [True] * count
    # Nothing is told of the answers before the end.
    assert not [text for text in told if re.search("right|wrong|shown", text.partition("Keys:")[2], re.IGNORECASE)]
    said = page.value(f"{BLIND}.innerText").replace("\u00a0", " ")
    assert f"{right} of {count} right." in said
    assert f"p = {p} (one-sided, exact binomial)" in said
    assert float(p) == pytest.approx(binom.sf(right - 1, count, 0.5), abs=6e-7)
    is_shown = float(p) <= 0.05
    assert page.value(f"{BLIND}.querySelector('.verdict').textContent").startswith("Shown" if is_shown else "Not shown")
    needed = next(least for least in range(count + 1) if binom.sf(least - 1, count, 0.5) <= 0.05)
    for share, who in ((0.7, "listeners who hear a difference so well that they are right 70 %"), (0.9, "of those")):
        missed = f"{round(100 * binom.cdf(needed - 1, count, share))} in 100 {who}"
        assert (missed in said) is not is_shown


def test_x_is_what_was_drawn_and_every_change_passes_through_silence(page, files):
    page.open(files["bench"])
    begun(page, 16)
    # Gain nodes in the order of their making: the gate, the volume, A, B.
    settled = "new Promise(done => setTimeout(() => done(gains.map(one => Math.round(100 * one.gain.value))), 150))"
    hidden = page.value("used[0]")
    for name, heard in (("a", [100, 0]), ("b", [0, 100]), ("x", [0, 100] if hidden else [100, 0])):
        page.value(f"ramps.length = 0; {key(name)}")
        assert page.value("ramps") == [0, 1]
        gate, volume, *sounds = page.value(settled)
        assert (gate, volume, sounds) == (100, 30, heard)
        assert page.value(f"{BLIND}.querySelector('[aria-pressed=true]').textContent") == name.upper()
    page.value(key("s"))
    assert page.value(settled)[0] == 0


@pytest.mark.parametrize(
    ("name", "width", "dark", "parts"),
    [
        ("bench", 1280, False, ["#found", "#compare", "#contrasts", ".blind", "#ports", "#numbers"]),
        ("bench", 390, True, ["#compare", ".blind"]),
        ("archive", 1280, False, ["body"]),
        ("archive", 390, True, ["#joint"]),
    ],
)
def test_no_violation_of_accessibility_rules(page, files, name, width, dark, parts):
    checker = (node_package("axe-core") / "axe.min.js").read_text(encoding="utf-8")
    page.open(files[name], width=width, dark=dark)
    page.value(ALL_OPEN.replace("'details'", "'details:not([data-numbers]), [data-numbers=\"0\"]'"))
    if name == "bench":
        begun(page, 16)
    page.value(checker + "; 0")
    include = json.dumps({"include": [[part] for part in parts]})
    said = "result.violations.map(one => [one.id, one.nodes.map(node => node.html.slice(0, 200))])"
    found = json.loads(
        page.value(f"axe.run({include}, {{resultTypes: ['violations']}}).then(result => JSON.stringify({said}))")
    )
    assert found == []


def test_no_violation_of_html(files, tmp_path):
    assert complaints_about_html(files.values(), tmp_path) == ""
