"""The summary on the terminal: 80 columns, no colour, nothing from outside interpreted."""

from __future__ import annotations

import io

import pytest

from humcheck.report.terminal import print_results, summary_text
from tests.report import fake_results

CASES = {
    "compare": fake_results.compare_results,
    "bench": fake_results.bench_results,
    "inspect": fake_results.inspect_results,
    "mono": lambda: fake_results.inspect_results("mono"),
    "direct only": fake_results.direct_only_results,
    "empty": fake_results.empty_results,
}


@pytest.mark.parametrize("make", CASES.values(), ids=CASES.keys())
@pytest.mark.parametrize("width", [60, 80, 100])
def test_no_line_is_longer_than_the_terminal(make, width):
    assert max(len(line) for line in summary_text(make(), width=width).splitlines()) <= width


@pytest.mark.parametrize("make", CASES.values(), ids=CASES.keys())
def test_plain_text_without_colour_codes_or_spaces_at_the_end(make):
    text = summary_text(make())
    assert text.isascii()
    assert "\x1b" not in text
    assert text.endswith("\n")
    assert not any(line != line.rstrip() for line in text.splitlines())


def test_findings_come_before_numbers_and_reasons():
    text = summary_text(fake_results.compare_results())
    assert text.startswith("Alder: strong effect\n  Strong  Alder adds mains hum")
    places = [text.index(mark) for mark in ("Strong ", "Direct", "Recordings:", "Not measured:")]
    assert places == sorted(places)
    assert "< -121.4 dBFS" in text


def test_many_numbers_give_way_to_key_numbers():
    text = summary_text(fake_results.bench_results())
    assert "Hum added             -67.6 dBr (port 2, black picture, left)" in text
    assert "The report has a table of all numbers." in text
    alone = summary_text(fake_results.bench_results(), has_report=False)
    assert "A report (humcheck inspect TAKE --out FILE.html) has a table of all numbers." in alone
    assert "Hum, Alder, left: at most -80.0 dBFS, not met" in text


def test_names_are_neither_markup_nor_control_characters():
    text = summary_text(fake_results.hostile_results())
    assert "[/red] [bold]markup[/bold]" in text
    assert "\\x1b[31mescape\\x07" in text
    assert not any(ord(character) < 32 and character != "\n" for character in text)
    assert "\u202e" not in text
    assert "\udcff" not in text


def test_a_terminal_of_another_code_page_gets_escapes():
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding="cp1252", newline="\n")
    print_results(fake_results.compare_results("名前 ünïcode"), stream, width=80)
    stream.flush()
    assert "\\u540d\\u524d ünïcode: strong effect".encode("cp1252") in raw.getvalue()


def test_nothing_measured_is_said():
    assert summary_text(fake_results.empty_results()) == "Nothing was measured.\n"
