"""Tables of a bench: all uses side by side, contrasts in words, uses in few words, benches beside each other."""

from __future__ import annotations

import re
from collections import Counter

import msgspec
import pytest

from humcheck.report.archive import render_archive, same_bench
from humcheck.report.catalogue import Catalogue, Setup
from humcheck.report.changes import change_tables
from humcheck.report.figures.level_multiples import level_multiples
from humcheck.report.figures.multiples import response_multiples
from humcheck.report.joint import joint_table
from humcheck.report.side_by_side import WORSE, side_by_side
from humcheck.report.text import TERMINAL
from humcheck.report.use_words import uses_words
from humcheck.results import Change, Finding, Measure, Results
from tests.report import fake_results
from tests.report.fake_results import Maker
from tests.report.page_reader import read_page


def measure(value, subject="Alder", **fields):
    role = "direct" if subject == "direct" else "through"
    usual = {"subject": subject, "role": role, "quantity": "hum_level_rel", "channel": "left", "unit": "dBr"}
    return Measure(value=value, **(usual | fields))


def catalogue_of(**rows) -> Catalogue:
    return Catalogue(Maker().results(**({"takes": []} | rows)))


def test_the_worse_channel_stands_first_and_a_bound_is_never_the_worse_one():
    rows = [
        measure(-70, low=-71, high=-69),
        measure(-60, channel="right", bound="upper"),
        measure(-65, port="2"),
        measure(-90, "direct"),
    ]
    side = side_by_side(catalogue_of(measures=rows), TERMINAL)
    assert [column.key for column in side.columns] == ["hum"]
    cells = {(row.title, row.where, row.channel): row.cells["hum"] for row in side.rows}
    assert list(cells) == [
        ("Direct", "", "left"), ("Alder", "", WORSE), ("Alder", "", "left"), ("Alder", "", "right"),
        ("Alder", "port 2", "left"),
    ]  # fmt: skip
    worse, bound = cells[("Alder", "", WORSE)], cells[("Alder", "", "right")]
    assert (worse.value, worse.interval, worse.low, worse.high) == ("-70", "-71 to -69", -71, -69)
    assert (bound.value, bound.low, bound.high) == ("< -60.0", None, -60)
    assert bound.note == "at most: noise hides the value"


def test_a_column_holds_one_unit():
    """dBFS of one use must not stand among dBr of others: it is left out where dBr is there."""
    rows = [measure(-70, port="1"), measure(-72, port="2", quantity="hum_level", unit="dBFS")]
    side = side_by_side(catalogue_of(measures=rows))
    assert [column.unit for column in side.columns] == ["dBr"]
    assert [row.port for row in side.rows] == ["1"]


def test_the_severity_is_that_of_the_same_use():
    rows = [measure(-70, port="1"), measure(-90, port="2")]
    finding = Finding(
        id="f", kind="hum", subject="Alder", role="through", quantity="hum_level", port="1", severity="clear",
        sentence="Alder hums.",
    )  # fmt: skip
    side = side_by_side(catalogue_of(measures=rows, findings=[finding]))
    assert [row.cells["hum"].severity for row in side.rows] == ["clear", ""]


def change(value, **fields):
    usual = {
        "subject": "Alder", "role": "through", "quantity": "gain", "channel": "left", "unit": "dB", "picture": "white",
        "contrast": "picture", "reference": {"subject": "Alder", "role": "through", "n_takes": 3, "picture": "black"},
    }  # fmt: skip
    return Change(value=value, **(usual | fields))


def test_dots_beside_a_level_speak_of_the_level():
    """Inverted polarity is told among the findings; a balance that is off has a column of its own."""
    rows = [
        Change(subject="Alder", role="through", quantity=name, contrast="direct", value=0.4, unit="dB", channel="left",
               port=port)
        for name in ("gain", "balance") for port in ("1", "2")
    ]  # fmt: skip
    findings = [
        Finding(id=name, kind="level", subject="Alder", role="through", quantity=name, severity=severity, sentence="",
                port=port)
        for name, severity, port in (
            ("polarity", "strong", "1"), ("balance", "clear", "1"), ("gain", "none", "1"), ("gain", "slight", "2"),
        )
    ]  # fmt: skip
    side = side_by_side(catalogue_of(changes=rows, findings=findings))
    dots = [(row.cells["level"].severity, row.cells["balance"].severity) for row in side.rows]
    assert dots == [("none", "clear"), ("slight", "")]


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"distinguishable": True}, "stands out of the scatter"),
        (
            {"distinguishable": True, "equivalent": True, "margin": 0.3},
            "stands out of the scatter, but is shown to be less than 0.30 dB",
        ),
        ({"distinguishable": False, "equivalent": True, "margin": 0.3}, "shown to be the same within 0.30 dB"),
        (
            {"distinguishable": False, "equivalent": False, "margin": 0.3, "takes_needed": 7},
            "cannot be told apart with so few takes; 7 takes of each would probably do to show that it is less than "
            "0.30 dB",
        ),
        ({"distinguishable": False}, "cannot be told apart"),
        ({}, "not judged: how well it repeats is not known"),
        (
            {"reference": {"picture": "black", "repeatability": "replugging unknown"}},
            "not judged: nothing was unplugged between the takes",
        ),
    ],
)
def test_certainty_is_in_words(fields, words):
    (table,) = change_tables(catalogue_of(changes=[change(0.2, **fields)]), TERMINAL)
    assert table.rows[0].certainty == words


@pytest.mark.parametrize(
    ("fields", "what", "where"),
    [
        ({"port": "2"}, "white picture instead of black", "port 2"),
        (
            {
                "contrast": "condition", "condition": {"supply": "off", "lead": "long"},
                "reference": {"condition": {"supply": "on", "lead": "long"}},
            },
            "supply off instead of on", "white picture, lead long",
        ),
        (
            {"contrast": "fix", "fix": "ferrite", "reference": {"fix": None}}, "with ferrite instead of no fix",
            "white picture",
        ),
        ({"contrast": "port", "port": "2", "reference": {"port": "1"}}, "port 2 instead of port 1", "white picture"),
        (
            {"contrast": "port", "port": "2", "reference": {"port": "the others", "ports": ["1", "3", "4"]}},
            "port 2 against the median of ports 1, 3 and 4", "white picture",
        ),
        ({"contrast": "device", "reference": {"subject": "Birch"}}, "Alder instead of Birch", "white picture"),
        (
            {
                "contrast": "port", "quantity": "port_spread",
                "reference": {"quantity": "gain", "largest": "2", "smallest": "4"},
            },
            "all ports: largest at port 2, smallest at port 4", "white picture",
        ),
    ],
)  # fmt: skip
def test_what_was_changed_is_in_words(fields, what, where):
    other = measure(-60, picture="black", port="9")  # or what is common would not be said
    (table,) = change_tables(catalogue_of(changes=[change(0.2, **fields)], measures=[other]), TERMINAL)
    assert (table.rows[0].what, table.rows[0].where) == (what, where)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"distinguishable": True, "p_value": 0.0123, "p_adjusted": 0.0345}, "p = 0.035, for all together"),
        ({"distinguishable": True, "p_value": 3e-6, "p_adjusted": 1e-5}, "p < 0.0001, for all together"),
        ({"distinguishable": False, "p_value": 0.4}, "p = 0.4"),
        ({"distinguishable": None, "p_value": 0.4}, ""),
    ],
)
def test_the_probability_of_chance_is_the_one_for_all_together(fields, words):
    (table,) = change_tables(catalogue_of(changes=[change(0.2, **fields)]), TERMINAL)
    assert table.rows[0].chance == words


def test_of_both_channels_the_one_that_stands_out_is_given_and_what_stands_out_comes_first():
    rows = [
        change(0.5, distinguishable=False),
        change(0.2, channel="right", distinguishable=True),
        change(9.0, quantity="tone_level"),
        change(0.9, quantity="thd", unit="percent", distinguishable=False, equivalent=False),
    ]
    (table,) = change_tables(catalogue_of(changes=rows), TERMINAL)
    assert [(row.title, row.channel, row.value) for row in table.rows] == [
        ("Gain", "right", "+0.20 dB"), ("Harmonic distortion", "left", "+0.90 %"),
    ]  # fmt: skip
    assert table.counts == "1 stands out, 1 cannot be told apart"


@pytest.mark.parametrize(
    ("uses", "words"),
    [
        ([("1", "white")], "port 1, white picture"),
        ([("1", "white"), ("2", "white"), ("4", "white")], "ports 1, 2 and 4, white picture"),
        ([("1", "white"), ("2", "white"), ("3", "white")], "ports 1 to 3, white picture"),
        ([("1", "white"), ("1", "black")], "port 1, white and black picture"),
        ([("1", "white"), ("2", "white"), ("1", "black"), ("2", "black")], "ports 1 and 2, white and black picture"),
        ([("1", "white"), ("2", "white"), ("3", "black")], "ports 1 and 2, white picture; port 3, black picture"),
    ],
)
def test_several_uses_are_told_in_few_words(uses, words):
    every = [measure(-60, port=port, picture=picture) for port in "1234" for picture in ("white", "black")]
    catalogue = catalogue_of(measures=every)
    assert uses_words(catalogue, [Setup("Alder", port, picture) for port, picture in uses]) == words
    assert uses_words(catalogue, [Setup.of(row) for row in every]) == "in all 8 ways it was used"


def named(results: Results, name: str, bench_id: str) -> Results:
    return msgspec.structs.replace(results, bench=msgspec.structs.replace(results.bench, id=bench_id, name=name))


def test_benches_are_compared_in_nothing_that_depends_on_a_recorder():
    first = Maker().results(measures=[measure(-60, port="1"), measure(-50, port="2"), measure(-80, "direct")], takes=[])
    second = Maker().results(measures=[measure(-40, quantity="hum_level", unit="dBFS")], takes=[])
    table = joint_table([Catalogue(first), Catalogue(second)], ["Attic", "Cellar"])
    assert [column.unit for column in table.columns] == ["dBr"]
    assert [(row.device, row.bench, sorted(row.cells)) for row in table.rows] == [
        ("Alder", "Attic", ["hum"]), ("Alder", "Cellar", []),
    ]  # fmt: skip
    item = table.rows[0].cells["hum"]
    assert (item.cell.number, item.where, item.direct.replace("\u2212", "-")) == (-50, "port 2", "-80.0")
    assert table.left_out == ("Hum",)


def test_a_fix_is_not_the_device():
    rows = [measure(-60), measure(-30, fix="ferrite")]
    (row,) = joint_table([catalogue_of(measures=rows)], ["Attic"]).rows
    assert row.cells["hum"].cell.number == -60


def test_an_archive_says_in_words_that_benches_differ_and_keeps_them_apart():
    benches = [named(fake_results.compare_results(device), "Attic", device) for device in ("Alder", "Birch")]
    root = read_page(render_archive(benches))
    text = root.first("section", id="joint").text
    assert "measured on different benches" in text
    assert "only through their own direct takes" in text
    assert "dBFS" not in root.first("table").text
    names = [element.attributes["id"] for element in root.all() if "id" in element.attributes]
    assert len(names) == len(set(names))
    for number in (1, 2):
        assert "direct-1.wav" in root.first("section", id=f"bench-{number}").text
    assert [link.attributes["href"][1:] for link in root.all("a") if link.attributes["href"][1:] not in names] == []


def test_one_bench_twice_is_refused():
    results = fake_results.compare_results()
    assert same_bench([named(results, "a", "1"), named(results, "b", "2"), named(results, "c", "1")]) == (0, 2)
    with pytest.raises(ValueError, match="0 and 1"):
        render_archive([results, results])


def test_small_multiples_draw_every_port_on_one_scale():
    catalogue = Catalogue(fake_results.bench_results(["Alder", "Birch"], ports=3, pictures=["white"]))
    response = response_multiples(catalogue)
    levels = level_multiples(side_by_side(catalogue))
    assert response is not None
    assert levels is not None
    assert len(response.data["boxes"]["wide"]) == 6
    assert [item["name"] for item in response.data["series"]][:2] == ["Alder, port 1, left", "Alder, port 1, right"]
    for drawing in (*response.drawings, *levels.drawings):
        labels = Counter(re.findall(r'class="tick" text-anchor="end">([^<]+)<', str(drawing)))
        # Two devices with three ports, or with three noises: the same scale stands beside each of six panels.
        assert set(labels.values()) == {6}
        assert len(labels) > 2


def test_one_device_in_one_use_has_no_multiples_and_no_table():
    catalogue = Catalogue(fake_results.compare_results())
    assert response_multiples(catalogue) is None
    side = side_by_side(catalogue)
    assert side.rows == ()
    assert level_multiples(side) is None
