"""The page as text: complete, self-contained, well nested, and safe against names from outside."""

from __future__ import annotations

import base64
import hashlib
import json
import re

import msgspec
import pytest

from humcheck.audio.writing import MARK, own_output, write_whole
from humcheck.report.glance import when_words
from humcheck.report.page import render_page
from humcheck.results import Bench, Measure, load_results, results_to_json
from tests.report import fake_results
from tests.report.fake_results import HOSTILE, Maker
from tests.report.page_reader import read_page


def made_by(results, *commands):
    return msgspec.structs.replace(results, commands=list(commands))


CASES = {
    "compare": lambda: render_page(
        made_by(fake_results.compare_results(), "humcheck compare --direct 'a b.wav'"), truth=fake_results.truth_rows()
    ),
    "bench": lambda: render_page(fake_results.bench_results()),
    "inspect": lambda: render_page(fake_results.inspect_results()),
    "mono": lambda: render_page(fake_results.inspect_results("mono")),
    "mono compare": lambda: render_page(fake_results.compare_results(channels=("mono",))),
    "direct only": lambda: render_page(fake_results.direct_only_results()),
    "empty": lambda: render_page(fake_results.empty_results()),
    "hostile": lambda: render_page(made_by(fake_results.hostile_results(), *HOSTILE)),
    "ten devices": lambda: render_page(
        fake_results.bench_results([f"Box {n}" for n in range(10)], ports=1, pictures=["white"])
    ),
}


@pytest.fixture(scope="module")
def pages():
    return {name: make() for name, make in CASES.items()}


@pytest.fixture(params=CASES)
def page(request, pages):
    return pages[request.param]


def test_the_page_loads_nothing(page):
    assert not re.search(r"""\b(?:src|href|srcset|action|data)\s*=\s*["']?\s*(?:https?:|//)""", page, re.IGNORECASE)
    assert "@import" not in page
    assert not re.search(r"url\((?!#)", page)  # a part of the page itself is no address
    root = read_page(page)
    assert {element.attributes["href"][0] for element in root.all("a")} == {"#"}
    assert not [
        element for element in root.all() if element.tag in ("link", "img", "iframe", "object", "embed", "base")
    ]


def test_the_policy_allows_the_pages_own_script_and_style_only(page):
    root = read_page(page)
    policy = root.first("meta", http_equiv="Content-Security-Policy").attributes["content"]
    assert policy.startswith("default-src 'none';")
    assert "unsafe" not in policy
    run = [element for element in root.all("script") if "type" not in element.attributes]
    for element in (*run, *root.all("style")):
        digest = base64.b64encode(hashlib.sha256(element.text.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy
    assert len(run) == 1
    assert not [name for element in root.all() for name in element.attributes if name == "style" or name[:2] == "on"]


def test_the_page_is_well_nested_with_unique_names_and_no_dead_link(page):
    root = read_page(page)
    names = [element.attributes["id"] for element in root.all() if "id" in element.attributes]
    assert len(names) == len(set(names))
    for link in root.all("a"):
        assert link.attributes["href"][1:] in names
    for element in root.all():
        for attribute in ("aria-labelledby", "aria-describedby"):
            assert element.attributes.get(attribute, names[0]) in names


def test_headings_go_down_one_step_at_a_time(page):
    levels = [int(element.tag[1]) for element in read_page(page).all() if re.fullmatch(r"h[1-6]", element.tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later - earlier <= 1 for earlier, later in zip(levels, levels[1:], strict=False))


def test_every_drawing_has_a_title_and_a_description(page):
    for drawing in read_page(page).all("svg"):
        if drawing.attributes.get("aria-hidden") == "true":
            continue
        assert drawing.attributes["role"] == "img"
        assert drawing.first("title").words
        assert drawing.first("desc").words


def test_every_figure_comes_in_two_widths_and_says_how_to_read_it(page):
    for figure in read_page(page).all("figure"):
        assert len(figure.all("svg", role="img")) == 2
        assert figure.first("p", class_="figure-title").words.startswith("Figure ")
        assert figure.first("p", class_="figure-reading").words


def test_tables_have_captions_and_scoped_headings(page):
    for table in read_page(page).all("table"):
        assert table.first("caption").words
        assert all(element.attributes.get("scope") for element in table.all("th"))


def test_the_order_of_the_page(pages):
    root = read_page(pages["compare"])
    sections = [element.attributes.get("id") for element in root.first("main").children]
    assert sections == [
        "found", "reading", "figures", "truth", "numbers", "missing", "recordings", "method", "repeat", "cautions",
    ]  # fmt: skip
    figures = root.first("section", id="figures")
    assert [element.attributes["id"] for element in figures.all("section")] == [
        "hum", "buzz", "hiss", "level", "tone", "bleed", "distortion",
    ]  # fmt: skip


def test_the_plain_sentences_come_first_and_the_worst_of_them_on_top(pages):
    card = read_page(pages["compare"]).first("article")
    assert card.first("h3").words == "Alder"
    assert card.first("p", class_="verdict").words == "●●● Strong effect"
    sentences = [element.words for element in card.all("p", class_="sentence")]
    assert sentences[0].startswith("Alder adds mains hum: with it in the path the left channel carries \u221271 dB")


def test_verdicts_are_words_not_colours_only(page):
    for element in read_page(page).all("span", class_="severity"):
        assert element.words.strip("●○ ")


def test_every_quantity_is_shown_with_its_unit(pages):
    root = read_page(pages["compare"])
    for table in root.first("section", id="numbers").all("table"):
        for body in table.all("tbody"):
            if body.first("tr").words == "Polarity":
                continue
            for row in body.all("tr")[1:]:
                for cell in row.all("td")[:-1]:
                    assert re.search(r"dB|Hz|%|µs|^–$", cell.words), cell.words


def test_every_shown_quantity_leads_to_its_definition(pages):
    root = read_page(pages["bench"])
    for link in root.first("section", id="numbers").all("a"):
        assert link.attributes["title"]
        assert root.all("div", id=link.attributes["href"][1:])


def test_bounds_and_intervals_are_shown(pages):
    numbers = read_page(pages["compare"]).first("section", id="numbers").words
    assert "<\u00a0\u2212121.4\u00a0dBFS" in read_page(pages["compare"]).first("section", id="numbers").text
    assert "\u221271.6 to \u221271.0" in numbers
    assert ">\u00a021,400\u00a0Hz" in read_page(pages["compare"]).first("section", id="numbers").text


def test_commands_and_fingerprints_stand_in_full(pages):
    repeat = read_page(pages["compare"]).first("section", id="repeat")
    assert repeat.first("pre").text.strip() == "humcheck compare --direct 'a b.wav'"
    takes = fake_results.compare_results().takes
    assert all(take.sha256 in repeat.text for take in takes)
    assert "2.4.6" in repeat.words


def test_without_commands_the_way_is_told():
    page = render_page(fake_results.compare_results())
    assert "are not stored in them" in read_page(page).first("section", id="repeat").words


def test_truth_is_shown_for_simulations_only(pages):
    assert "True value lies" in read_page(pages["compare"]).first("section", id="truth").words
    assert not read_page(pages["bench"]).all("section", id="truth")


def test_names_from_outside_never_become_markup(pages):
    page = pages["hostile"]
    assert "<script>alert" not in page
    assert "<img" not in page
    assert "<b>bold" not in page
    assert "49" not in read_page(page).first("h3").words
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\ud800-\udfff]", page)
    page.encode("utf-8")
    root = read_page(page)
    assert len(root.all("script")) == 2
    shown = [element.words for element in root.all("h3")]
    assert "<script>alert(1)</script>" in shown
    assert "{{ 7 * 7 }} {% raw %}" in shown
    assert "名前 ünïcode 🎛" in shown


def test_data_for_the_script_is_data(pages):
    for page in pages.values():
        block = read_page(page).first("script", type="application/json")
        figures = json.loads(block.text)
        assert all(figure["kind"] in ("curves", "lines") for figure in figures.values())
        assert "<" not in block.text


def test_no_results_make_a_page_that_says_so(pages):
    root = read_page(pages["empty"])
    assert root.first("h1").words == "A sound test without results"
    assert "No recording was measured." in root.words
    assert not root.all("figure")


def test_inspecting_one_take_names_its_file(pages):
    root = read_page(pages["inspect"])
    assert root.first("h1").words == "What is in kitchen recording.wav"
    assert not root.all("th", scope="col") or "Through" not in [head.words for head in root.all("th")]
    assert "kitchen recording.wav, left" in [head.words for head in root.all("th", scope="row")]


def test_reasons_for_missing_numbers_are_shown(pages):
    missing = read_page(pages["compare"]).first("section", id="missing").words
    assert "Delay" in missing
    assert "Only a split take" in missing


def test_unknown_quantities_are_shown_plainly():
    rows = [
        Measure(
            subject="Alder", role="through", channel="left", quantity="sparkle", value=12.5, unit="sp", low=12, high=13
        )
    ]
    root = read_page(render_page(Maker().results(measures=rows, takes=[])))
    numbers = root.first("section", id="numbers").text
    assert "sparkle" in numbers
    assert "12.5\u00a0sp" in numbers


def test_a_thousand_rows_are_fine():
    rows = [
        Measure(
            subject=f"Box {n % 10}", role="through", channel="left", port=str(n // 10), quantity="hum_level",
            value=-60 - n / 100, unit="dBFS",
        )
        for n in range(1000)
    ]  # fmt: skip
    root = read_page(render_page(Maker().results(measures=rows, takes=[])))
    numbers = json.loads(root.first("script", id="number-data").text)
    assert sum(len(rows) for part in numbers["parts"] for _, rows in part["blocks"]) == 1000
    assert len(root.first("section", id="numbers").all("details")) == len(numbers["parts"]) == 10


def test_the_page_of_one_device_is_light(pages):
    assert len(pages["compare"].encode()) < 400_000


def test_the_same_results_give_the_same_page(pages):
    assert CASES["compare"]() == pages["compare"]
    saved = load_results(results_to_json(fake_results.bench_results()))
    assert render_page(saved) == pages["bench"]


def test_the_page_is_known_again_as_our_own(tmp_path, pages):
    path = tmp_path / "report.html"
    write_whole(path, pages["compare"])
    assert own_output(path)
    assert path.read_text(encoding="utf-8").index(MARK) < 1000
    write_whole(path, pages["bench"])


def test_long_titles_are_cut_in_the_tab_only():
    results = Maker().results(bench=Bench(id="b", name="A bench " * 30, created=""), takes=[])
    rows = [Measure(subject=name, role="through", quantity="hum_level", value=-60, unit="dBFS") for name in "AB"]
    root = read_page(render_page(Maker().results(bench=results.bench, measures=rows, takes=[])))
    assert len(root.first("title").words) <= 70
    assert len(root.first("h1").words) > 200


@pytest.mark.parametrize(
    ("created", "words"),
    [
        ("2026-02-03T14:25:00Z", "3 February 2026, 14:25 UTC"),
        ("2026-12-31T23:59:59+01:00", "31 December 2026, 23:59"),
        ("yesterday", "yesterday"),
    ],
)
def test_times_are_said_in_words(created, words):
    assert when_words(created) == words
