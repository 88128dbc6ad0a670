"""Which number stands beside which."""

from __future__ import annotations

from humcheck.report.catalogue import Catalogue, Setup, worst
from humcheck.report.glance import in_short
from humcheck.report.recordings import limits, missing, recordings, spoiled
from humcheck.report.summary import cards
from humcheck.report.tables import group_tables, shown_quantities
from humcheck.report.text import TERMINAL
from humcheck.results import Change, Fault, Finding, Measure
from tests.report import fake_results
from tests.report.fake_results import Maker


def row_of(results, quantity, channel, where=""):
    tables = group_tables(Catalogue(results), TERMINAL)
    blocks = [block for table in tables for block in (*table.main, *table.further) if block.quantity.name == quantity]
    return next(row for block in blocks for row in block.rows if (row.channel, row.where) == (channel, where))


def level(value, role, *, subject="Alder", channel="left", **fields):
    return Measure(
        subject=subject, role=role, channel=channel, quantity="hum_level", value=value, unit="dBFS", **fields
    )


def test_direct_through_added_and_change_stand_in_one_row():
    row = row_of(fake_results.compare_results(), "hum_level", "left")
    assert list(row.cells) == ["direct", "through", "added", "change", "recorder"]
    assert row.cells["through"].value == "-71.3 dBFS"
    assert row.cells["through"].interval == "-71.6 to -71.0"
    assert row.cells["change"].value.endswith(" dB")


def test_the_direct_take_with_the_same_picture_is_the_control():
    measures = [
        level(-90, "direct", subject="direct", picture="black"),
        level(-80, "direct", subject="direct", picture="white"),
        level(-60, "through", picture="white"),
    ]
    results = Maker().results(measures=measures, takes=[])
    assert row_of(results, "hum_level", "left").cells["direct"].value == "-80.0 dBFS"


def test_a_direct_take_of_another_picture_says_so():
    measures = [level(-90, "direct", subject="direct", picture="black"), level(-60, "through", picture="white")]
    results = Maker().results(measures=measures, takes=[])
    assert row_of(results, "hum_level", "left").cells["direct"].detail == "black picture"


def test_the_number_of_takes_is_told():
    measures = [level(-90, "direct", subject="direct", n_takes=3), level(-60, "through", n_takes=2)]
    assert row_of(Maker().results(measures=measures, takes=[]), "hum_level", "left").takes == "2, direct 3"
    changes = [
        Change(subject="A", role="through", channel="left", quantity="gain", contrast="direct", value=0.2, unit="dB")
    ]
    assert row_of(Maker().results(changes=changes, takes=[]), "gain", "left").takes == "–"


def test_a_direct_take_without_picture_serves_all_pictures():
    measures = [level(-90, "direct", subject="direct"), level(-60, "through", picture="white")]
    results = Maker().results(measures=measures, takes=[])
    assert row_of(results, "hum_level", "left").cells["direct"].value == "-90.0 dBFS"


def test_a_direct_row_that_is_nobodys_control_is_still_shown():
    measures = [level(-90, "direct", subject="direct"), level(-60, "through", channel="right")]
    results = Maker().results(measures=measures, takes=[])
    assert row_of(results, "hum_level", "left").title == "Direct"


def test_what_all_recordings_share_is_said_once():
    catalogue = Catalogue(fake_results.bench_results())
    assert catalogue.common == ("supply on",)
    use = Setup(subject="Alder", port="1", picture="white", condition=(("supply", "on"),))
    assert catalogue.where(use) == "port 1, white picture"


def test_the_worst_row_is_a_value_before_a_bound_and_a_channel_before_the_mean():
    rows = [level(-50, "added", bound="upper"), level(-70, "added"), level(-40, "added", channel="both")]
    assert worst(rows).value == -70


def test_the_worst_gain_is_the_largest_in_size():
    changes = [
        Change(subject="A", role="through", quantity="gain", contrast="direct", value=value, unit="dB", channel=channel)
        for value, channel in ((0.2, "left"), (-0.9, "right"))
    ]
    assert worst(changes, by_size=True).value == -0.9


def test_every_row_has_a_definition():
    tables = group_tables(Catalogue(fake_results.bench_results()))
    assert {entry.name for entry in shown_quantities(tables)} >= {"hum_level", "gain", "thd", "port_spread"}


def test_cards_come_with_the_most_serious_finding_first_and_all_seven_numbers():
    (card,) = cards(Catalogue(fake_results.compare_results()), TERMINAL)
    assert card.title == "Alder"
    assert card.verdict == "Strong effect"
    assert [found.severity for found in card.found] == ["strong", "clear", "clear", "slight", "slight", "none", "none"]
    assert [number.label for number in card.numbers] == [
        "Hum added",
        "Buzz added",
        "Hiss added",
        "Level, change",
        "Tone, change",
        "Bleed at 1 kHz",
        "Distortion",
    ]
    assert card.numbers[2].value == "< -101.0 dBr"
    assert card.numbers[2].plain.startswith("less than 1 part in")
    assert card.numbers[0].channel == "left"


def test_devices_in_short_are_named_with_what_is_heard_why_and_what_to_try():
    said = in_short(cards(Catalogue(fake_results.bench_results())))
    assert [card.title for card, _, _ in said] == ["Alder", "Birch", "Cedar"]
    card, found, words = said[0]
    assert found is card.told[0]
    assert words.startswith(found.parts[0].partition(": ")[0])
    assert words.endswith(f"Try first: {found.advice[0]}")
    assert in_short(cards(Catalogue(fake_results.compare_results()))) == []


def test_what_a_fault_spoils_is_told_by_complaint_where_it_is_much():
    many = Fault(
        code="agc", sentence="", spoils=["hum_level", "hum_level_a_rel", "hiss_level", "gain", "thd", "hum_level_rel"]
    )
    assert spoiled(many) == "hum, hiss, level and balance, distortion"


def test_the_key_number_is_the_worst_set_up_and_says_which():
    card = cards(Catalogue(fake_results.bench_results(["Alder"], ports=3)), TERMINAL)[0]
    assert card.numbers[0].where == "port 3, black picture"


def test_findings_of_one_kind_in_many_set_ups_are_folded():
    card = cards(Catalogue(fake_results.bench_results(["Alder"], ports=3)), TERMINAL)[0]
    assert len(card.found) == 7
    # The same sentence of all uses is told once; a second sentence of one kind is folded under the first.
    assert {found.where for found in card.found} == {"in all 6 ways it was used"}
    assert all(found.elsewhere == () for found in card.found)


def test_findings_that_differ_in_words_are_folded_and_those_that_differ_in_numbers_are_told_once():
    findings = [
        Finding(
            id=f"f{port}", kind="hum", subject="Alder", role="through", quantity="hum_level", port=port,
            severity="clear" if port != "3" else "none", picture="white",
            sentence=f"Alder, port {port} adds hum of -5{port} dB." if port != "3" else "Alder, port 3 adds no hum.",
        )
        for port in ("1", "2", "3", "4")
    ]  # fmt: skip
    measures = [level(-60, "through", port=port, picture="white") for port in ("1", "2", "3", "4")]
    (found,) = cards(Catalogue(Maker().results(findings=findings, measures=measures, takes=[])), TERMINAL)[0].found
    assert found.sentence == "Alder adds hum of -51 dB."
    assert found.where == "ports 1, 2 and 4; the figures are those of port 1"
    assert [(other.where, other.sentence) for other in found.elsewhere] == [("port 3", "Alder, port 3 adds no hum.")]


def test_faults_of_takes_are_not_folded():
    findings = [
        Finding(
            id=f"take-{n}", kind="take", subject="Alder", role="through", quantity="take", severity="clear",
            sentence=f"take {n} is clipped",
        )
        for n in range(3)
    ]  # fmt: skip
    results = Maker().results(findings=findings, measures=[level(-60, "through")], takes=[])
    assert len(cards(Catalogue(results))[0].found) == 3


def test_a_device_without_findings_is_not_judged():
    results = Maker().results(measures=[level(-60, "through")], takes=[])
    assert cards(Catalogue(results))[0].verdict == "Not judged"


def test_reasons_are_said_where_a_number_is_missing():
    (card,) = cards(Catalogue(fake_results.inspect_results()))
    gain = next(number for number in card.numbers if number.group.key == "level")
    assert not gain.measured
    assert "direct take" in gain.plain


def test_missing_quantities_with_one_reason_share_a_line():
    results = fake_results.compare_results()
    rows = [row for row in results.not_measured for _ in range(2)]
    assert len(missing(Catalogue(fake_results.Maker().results(not_measured=rows, takes=[])))) == 2


def test_recordings_tell_faults_clock_and_path():
    rows = recordings(Catalogue(fake_results.compare_results()), TERMINAL)
    faulty = next(row for row in rows if row.faults)
    assert "61.20 to 61.20 s" in faulty.faults[0]
    assert "Spoils: Null residual, Delay." in faulty.faults[0]
    assert any("ppm" in text for text in faulty.clock)
    assert rows[-1].clock == ()


def test_limits_are_in_words():
    catalogue = Catalogue(fake_results.bench_results())
    assert [limit.outcome for limit in limits(catalogue)] == ["not met", "met", "met"]
    assert limits(catalogue, TERMINAL)[0].limit == "at most -80.0 dBFS"
