"""The folder for publishing: texts, tables, sheets, names, and what is never overwritten."""

import base64
import csv
import hashlib
import io
import re
import subprocess
import sys

import msgspec
import pytest

from humcheck.audio.writing import MARK, own_output
from humcheck.errors import UnusableCall, WouldOverwrite
from humcheck.report.catalogue import Catalogue
from humcheck.report.publish import Publication, refuse_place, tables_csv
from humcheck.report.publish.markdown import plain
from humcheck.report.publish.names import FileNames, words_of_subjects
from humcheck.report.publish.publication import CONTENTS, Item
from humcheck.report.publish.sheets import sheet_of, sheet_page
from humcheck.report.publish.spoken import clause_words, full_words, noise_title, verdict
from humcheck.report.publish.summary_text import as_markdown, as_text, summary_of
from humcheck.results import Curve, Finding, LimitOutcome, Measure
from tests.report import fake_results

TRICKS = (
    "../../etc/passwd", "..", "", "a/b\\c", "CON", "nul.txt", "x" * 300, "Alder", "ALDER", "alder ", "名前", "\x00",
)  # fmt: skip


def finding(sentence, severity="clear", **fields):
    usual = {"subject": "Alder", "role": "through", "quantity": "hum_level", "kind": "hum", "id": "f"}
    return Finding(sentence=sentence, severity=severity, **(usual | fields))


def with_findings(*findings, measures=()):
    made = fake_results.compare_results()
    return Catalogue(msgspec.structs.replace(made, findings=list(findings), measures=[*made.measures, *measures]))


# Names.


def test_file_names_lead_nowhere_and_are_unique_whatever_the_case():
    names = FileNames()
    made = [names.new("response", text, ending="png") for text in TRICKS]
    made += [names.new(text, ending="html", folder="sheets") for text in TRICKS]
    for name in made:
        assert re.fullmatch(r"(sheets/)?[a-z0-9]+(-[a-z0-9]+)*\.(png|html)", name), name
        # Names that Windows keeps for devices, with any ending ("Naming Files, Paths, and Namespaces", Microsoft Learn;
        # from memory).
        assert not re.match(r"(con|prn|aux|nul|com\d|lpt\d)\.", name.removeprefix("sheets/"))
        assert len(name) < 120
    assert len({name.lower() for name in made}) == len(made)


def test_each_subject_has_one_word_for_all_its_files():
    words = words_of_subjects({"a": "Alder", "b": "ALDER", "c": "名前", "d": "שם"})
    assert words == {"a": "alder", "b": "alder-2", "c": "device-3", "d": "device-4"}


# CSV (RFC 4180).


def read_csv(text):
    assert text.endswith("\r\n")
    assert "\n" not in text.replace("\r\n", "")
    header, *rows = csv.reader(io.StringIO(text, newline=""), strict=True)
    assert {len(row) for row in rows} <= {len(header)}
    return [dict(zip(header, row, strict=True)) for row in rows]


def test_tables_hold_every_row_with_its_full_number():
    results = fake_results.compare_results()
    measures = read_csv(tables_csv.measures_csv(results))
    assert [float(row["value (see unit)"]) for row in measures] == [row.value for row in results.measures]
    assert [row["low, 95 % (see unit)"] for row in measures] == [
        "" if row.low is None else repr(row.low) for row in results.measures
    ]
    assert len(read_csv(tables_csv.changes_csv(results))) == len(results.changes)
    points = read_csv(tables_csv.curves_csv(results))
    assert len(points) == sum(len(curve.value) for curve in results.curves)
    assert float(points[0]["frequency (Hz)"]) == results.curves[0].frequency_hz[0]
    lines = read_csv(tables_csv.lines_csv(results))
    assert [float(row["level (dBFS)"]) for row in lines] == [row.level_dbfs for row in results.lines]
    assert set(lines[0]) >= {"family", "frequency (Hz)", "port", "picture"}


@pytest.mark.parametrize("name", ["=1+1", "+A", "-3 dB pad", "@x", "\t=1", " =1", 'say "hi", Alder', "two\r\nlines"])
def test_no_cell_from_outside_is_a_formula_and_numbers_stay_numbers(name):
    row = Measure(subject=name, role="through", quantity="hum_level", value=-70.5, unit="dBFS")
    results = fake_results.empty_results()
    (made,) = read_csv(tables_csv.measures_csv(msgspec.structs.replace(results, measures=[row])))
    assert not made["subject"].lstrip().startswith(("=", "+", "-", "@"))
    assert made["subject"].startswith("'") == (name.strip()[0] in "=+-@")
    assert float(made["value (see unit)"]) == -70.5


# Texts.


@pytest.mark.parametrize(
    "name",
    [
        "<b>bold</b>", "[click](http://a.example)", "*stars* and _lines_", "`code`", "# head", "a | b", "<http://a.example>",
        "![x](y)", "&lt;", "~~gone~~", "\\*", "http://a.example", "line\n# break", "$x$",
    ],
)  # fmt: skip
def test_markdown_shows_a_name_as_it_is(name):
    # Reference: markdown-it-py, a CommonMark parser.
    from markdown_it import MarkdownIt

    tokens = MarkdownIt("commonmark").enable(["table", "strikethrough"]).parse(f"- **Device {plain(name)}:** hums")
    inline = [child for token in tokens for child in token.children or ()]
    assert {token.type for token in inline} <= {"text", "strong_open", "strong_close", "text_special"}
    said = "".join(token.content for token in inline)
    assert said == f"Device {' '.join(name.split())}: hums"


def test_hostile_results_leave_no_markup_in_the_summary():
    from markdown_it import MarkdownIt

    text = as_markdown(summary_of(Catalogue(fake_results.hostile_results())))
    tokens = MarkdownIt("commonmark").enable("table").parse(text)
    kinds = {token.type for token in tokens} | {child.type for token in tokens for child in token.children or ()}
    assert not kinds & {"html_block", "html_inline", "link_open", "image", "code_inline", "fence", "code_block"}


def test_the_summary_says_what_was_found_how_it_was_measured_and_what_to_mind():
    caution = "Never lift a protective earth."
    catalogue = with_findings(
        finding("Alder adds mains hum: -56 dB.", advice=["Try another outlet."], cautions=[caution]),
        finding("Alder adds no hiss.", "none", kind="hiss", quantity="hiss_level"),
    )
    for text in (as_markdown(summary_of(catalogue)), as_text(summary_of(catalogue))):
        assert MARK in text
        for words in ("Alder adds mains hum: −56 dB.", "Try another outlet.", caution, "hiss", "95 %"):
            assert words in text
        assert "Alder adds no hiss" not in text
    assert max(len(line) for line in as_text(summary_of(catalogue)).splitlines()) <= 100


# Sentences as titles.


def margin(low, high, listening="headphones", channel="both", bound=None):
    value = (low + high) / 2
    ends = {} if bound else {"low": low, "high": high}
    return Measure(
        subject="Alder", role="added", quantity="audible_margin_hum", value=value, unit="dB", channel=channel,
        listening=listening, bound=bound, **ends,
    )  # fmt: skip


def test_a_title_says_what_how_strong_and_where_it_is_heard():
    level = Measure(subject="Alder", role="through", quantity="hum_level_rel", value=-56.2, unit="dBr", channel="left")
    catalogue = with_findings(
        finding("Alder adds mains hum: in the left channel it is then about 660 times weaker."),
        measures=[level, margin(3.0, 19.0), margin(-4.0, 8.0, "living-room")],
    )
    measures = [row for row in catalogue.results.measures if row.quantity != "hum_level_rel" or row is level]
    catalogue = Catalogue(msgspec.structs.replace(catalogue.results, measures=measures))
    title = noise_title(catalogue, "Hum", ("hum_level",))
    assert title == "Alder adds mains hum: −56\u00a0dB re full scale, heard on headphones"


def test_nothing_is_called_heard_that_may_not_be():
    assert verdict(margin(0.1, 16.0)) == "heard"
    assert verdict(margin(-0.1, 16.0)) == "perhaps"
    assert verdict(margin(-20.0, -1.0)) == "not"
    assert verdict(margin(-3.0, -3.0, bound="upper")) == "not"
    # A lower bound below the threshold says nothing of what lies above it.
    assert verdict(margin(-3.0, -3.0, bound="lower")) == "perhaps"


def test_clauses_end_where_a_figure_does_not_and_name_the_device():
    catalogue = with_findings()
    said = finding("Alder, port 1 lowers the level by 3.71 dB (left -3.31 dB): more than listeners notice.", port="1")
    assert full_words(catalogue, said) == "Alder lowers the level by 3.71\u0020dB, more than listeners notice"
    said = finding("Through Alder, port 1 one channel is heard in the other: -58 dB at 1 kHz.", port="1")
    assert clause_words(catalogue, said) == "Through Alder one channel is heard in the other"
    odd = msgspec.structs.replace(said, subject="A: (b). C", sentence="A: (b). C adds hiss: much. More.", port=None)
    assert clause_words(catalogue, odd) == "A: (b). C adds hiss"


def test_what_a_changed_bench_may_have_done_is_not_laid_at_the_devices_door():
    said = finding(
        "Alder lowers the level by 0.51 dB (left). That is not the device's alone, because the bench was not the same."
    )
    assert clause_words(with_findings(), said) == "Alder lowers the level by 0.51 dB, on a changed bench"


def test_no_effect_is_said_only_where_it_was_judged():
    assert noise_title(with_findings(), "Hum", ("hum_level",)) == "Hum: how strong it is"
    nothing = with_findings(finding("Alder adds no mains hum that could be measured.", "none"))
    assert noise_title(nothing, "Hum", ("hum_level",)) == "Hum: no effect found in Alder"


# Sheets.


def limited(*limits, **rows):
    return Catalogue(msgspec.structs.replace(fake_results.compare_results(), limits=list(limits), **rows))


def limit(outcome, channel="left", quantity="gain", **fields):
    key = {"subject": "Alder", "role": "through", "picture": "white", "source": "the bench file"}
    return LimitOutcome(quantity=quantity, channel=channel, outcome=outcome, **(key | fields))


def test_a_sheet_has_no_script_and_a_policy_that_fits_its_style():
    page = sheet_page(limited(limit("pass", min=-1.0, max=1.0)), "Alder")
    assert "<script" not in page
    assert MARK in page[:400]
    style = re.search(r"<style>(.*?)</style>", page, re.S).group(1)
    digest = base64.b64encode(hashlib.sha256(style.encode("utf-8")).digest()).decode("ascii")
    # Content Security Policy Level 3, 2.3.1: the hash is that of the element's content.
    assert f"style-src &#39;sha256-{digest}&#39;" in page or f"style-src 'sha256-{digest}'" in page
    assert "@page { size: A4;" in style


def test_a_sheet_gives_the_worst_outcome_and_marks_the_channel_that_failed():
    sheet = sheet_of(limited(limit("pass", min=-1.0, max=1.0), limit("fail", "right", min=-1.0, max=1.0)), "Alder")
    assert sheet.outcome == "fail"
    assert "1 of 2" in sheet.verdict
    (row,) = sheet.rows
    assert row.words == "✗ fail"
    assert [value.sign for value in row.values] == ["✓ ", "✗ "]
    assert sheet_of(limited(limit("pass", max=1.0)), "Alder").verdict == "✓ All limits are met"
    open_one = sheet_of(limited(limit("pass", max=1.0), limit("not_measurable", "right", max=1.0)), "Alder")
    assert open_one.outcome == "not_measurable"


def test_of_a_curve_the_sheet_names_the_point_furthest_outside():
    curve = Curve(
        subject="Alder", role="through", quantity="response_delta", channel="left", picture="white", unit="dB",
        frequency_hz=[100.0, 1000.0, 10000.0], value=[-2.0, 0.0, 1.5], low=[-2.1, -0.1, 1.4], high=[-1.9, 0.1, 1.6],
    )  # fmt: skip
    # Allowed -1.8 to 1.0: outside by 0.2 dB at 100 Hz and by 0.5 dB at 10 kHz.
    judged = limit("fail", quantity="response_delta", min=-1.8, max=1.0)
    (row,) = sheet_of(limited(judged, curves=[curve]), "Alder").rows
    assert row.values[0].text == "left 1.50\u00a0dB at 10\u00a0kHz"
    assert row.values[0].interval == "1.40 to 1.60"


def test_many_limits_stay_on_one_page_failures_first():
    limits = [
        limit("fail" if port == 7 else "pass", channel, port=str(port), picture=picture, max=1.0, quantity=name)
        for port in range(8) for picture in ("black", "white") for channel in ("left", "right")
        for name in ("gain", "hum_level", "hiss_level")
    ]  # fmt: skip
    sheet = sheet_of(limited(*limits), "Alder")
    assert [row.outcome for row in sheet.rows] == ["fail"] * 3 + ["pass"] * 3
    assert "12 of 96" in sheet.verdict  # 1 port x 2 pictures x 2 channels x 3 quantities


# Writing.


def publication(*names):
    items = [Item(name, "a file", f"{MARK}: {name}") for name in names]
    index = "".join(f"{item.name}  a file\n" for item in items)
    return Publication((*items, Item(CONTENTS, "index", f"{MARK}\n{index}")))


def test_what_is_not_our_own_is_refused_before_anything_is_written(tmp_path):
    folder = tmp_path / "figures"
    folder.mkdir()
    (folder / "response-alder.png").write_bytes(b"mine")
    made = publication("card.png", "response-alder.png")
    with pytest.raises(WouldOverwrite, match=r"response-alder\.png"):
        made.write(folder)
    assert [path.name for path in folder.iterdir()] == ["response-alder.png"]
    made.write(folder, force=True)
    assert own_output(folder / "response-alder.png")


def test_a_later_run_takes_away_its_own_older_files_and_no_others(tmp_path):
    folder = tmp_path / "figures"
    publication("card.png", "response-alder.png", "sheets/alder.html").write(folder)
    outside = tmp_path / "outside.txt"
    outside.write_text(MARK)
    (folder / "notes.txt").write_text(f"{MARK}, as I wrote")
    (folder / "response-birch.png").write_bytes(b"not marked")
    with open(folder / CONTENTS, "a", encoding="utf-8") as index:
        index.write("../outside.txt  a trick\nresponse-birch.png  listed, but not ours\n\n")
    publication("card.png").write(folder)
    left = sorted(path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file())
    assert left == [
        "figures/CONTENTS.txt", "figures/card.png", "figures/notes.txt", "figures/response-birch.png", "outside.txt",
    ]  # fmt: skip


def test_a_folder_that_cannot_be_is_told_before_any_work(tmp_path):
    (tmp_path / "file").write_text("mine")
    with pytest.raises(UnusableCall, match="in the way"):
        refuse_place(tmp_path / "file")
    with pytest.raises(UnusableCall, match="folder does not exist"):
        refuse_place(tmp_path / "missing" / "figures")
    (tmp_path / "summary.md").write_text("mine")
    with pytest.raises(WouldOverwrite, match=r"summary\.md"):
        refuse_place(tmp_path)
    refuse_place(tmp_path, force=True)


def test_who_asks_for_no_pictures_loads_nothing_that_draws(tmp_path):
    from humcheck.results import results_to_json

    saved = tmp_path / "saved.json"
    saved.write_text(results_to_json(fake_results.inspect_results()), encoding="utf-8")
    code = (
        "import sys; from humcheck.cli import main\n"
        f"status = main(['report', {str(saved)!r}, '--out', {str(tmp_path / 'page.html')!r}])\n"
        "print(status, 'matplotlib' in sys.modules, 'humcheck.report.publish' in sys.modules, file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert done.stderr.strip() == "0 False False"


def test_findings_about_fixes_and_limits_are_told_but_give_no_picture_its_title():
    catalogue = with_findings(
        finding("Alder with a ferrite: perhaps 3 dB less hum.", "none", kind="fixes"),
        finding("Alder misses what was set for hum.", "strong", kind="limits"),
        finding("Alder adds mains hum: -60 dB.", "slight"),
    )
    assert noise_title(catalogue, "Hum", ("hum_level",)).startswith("Alder adds mains hum")
    text = as_text(summary_of(catalogue))
    assert "- Also: Alder with a ferrite" in text
    assert "Alder misses what was set" in text
    assert "No effect found on" not in text
