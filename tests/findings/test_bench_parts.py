"""Loads, bass, hunts, limits, neighbours, what was changed together and what was not tested."""

import math
import re
import time

import pytest
from msgspec.structs import replace

from humcheck.findings import find
from humcheck.findings.bench import whole_bench_findings
from humcheck.findings.bench.loading import source_over_load
from humcheck.findings.index import RowIndex
from humcheck.results import Curve, LimitOutcome, Measure
from tests.findings.made_bench import Day, of_kind
from tests.findings.test_bench_claims import told


@pytest.mark.parametrize("ratio", [0.01, 0.1, 0.5, 1.0, 3.0])
@pytest.mark.parametrize(("before", "now"), [(1, 2), (1, 3), (2, 3)])
def test_source_and_load_follow_from_the_loss(ratio, before, now):
    # Voltage divider of Rs and n loads R in parallel: R/n / (Rs + R/n), with R = 1 and Rs = ratio (Ohm, Kirchhoff).
    levels = [(1 / n) / (ratio + 1 / n) for n in (before, now)]
    loss_db = 20 * math.log10(levels[0] / levels[1])
    assert source_over_load(loss_db, before, now) == pytest.approx(ratio, rel=1e-9)


def test_no_source_loses_more_than_the_number_of_loads():
    # A source of infinite resistance gives a current that n equal loads share: 6.02 dB from one to two (arithmetic).
    assert source_over_load(20 * math.log10(2), 1, 2) is None
    assert source_over_load(7.0, 1, 2) is None
    assert source_over_load(0.0, 1, 2) == 0.0
    assert source_over_load(-0.5, 1, 2) == 0.0


def loaded(loss_db, *, count=3):
    day = Day(11, quantities=("gain", "hum_level")).take(count=3)
    day.take("Cedar", count=count, condition={"outputs": "1"})
    return (
        day.take("Cedar", count=count, condition={"outputs": "2"}, changes={"gain": -loss_db}).take(count=2).results()
    )


def test_a_passive_box_shares_the_signal():
    # 600 ohm into 10 kohm: ratio 0.06, so the loss from one to two loads is 20 lg(1.12 / 1.06) = 0.478 dB.
    (row,) = [row for row in told(loaded(20 * math.log10(1.12 / 1.06))) if row.kind == "loading"]
    assert "With two outputs of Cedar loaded in place of one the level falls by 0.4" in row.sentence
    assert "shares it between its loads" in row.sentence
    low, high = (float(end) for end in re.search(r"between (\d+) % and (\d+) %", row.sentence).groups())
    assert low <= 6.0 <= high <= 12.0
    assert not row.doubts


def test_a_buffered_box_does_not():
    text = of_kind(told(loaded(0.0)), "loading")
    assert "the level stays as it is (within 0.3 dB, shown)" in text
    assert "shares" not in text


def test_a_loss_beyond_sharing_is_not_explained_by_it():
    assert "more than a source can lose" in of_kind(told(loaded(7.0)), "loading")


def test_takes_that_do_not_say_their_loads_count_as_one_with_a_doubt():
    day = Day(12, quantities=("gain",)).take(count=3).take("Cedar", count=3)
    day.take("Cedar", count=3, condition={"outputs": "2"}, changes={"gain": -1.0}).take(count=2)
    (row,) = [row for row in told(day.results()) if row.kind == "loading"]
    assert row.doubts == ["some takes do not say how many outputs were loaded: one is assumed"]


def response(fix, bass_db, *, half_db=0.05):
    hz = [20.0, 41.2, 100.0, 997.0, 20000.0]
    value = [2 * bass_db, bass_db, 0.0, 0.0, 0.0]
    ends = {"low": [one - half_db for one in value], "high": [one + half_db for one in value]}
    more = {"subject": "Alder", "role": "through", "channel": "left", "quantity": "response_delta", "fix": fix}
    return Curve(**more, unit="dB", frequency_hz=hz, value=value, id=f"curve-{fix}", valid_from_hz=20.0, **ends)


def hunted(*steps, count=2, hum_db=30.0, **more):
    day = Day(13, quantities=("hum_level", "hiss_level")).take(count=3)
    day.take("Alder", count=2, changes={"hum_level": hum_db})
    for name, left_db in steps:
        day.take("Alder", count=count, fix=name, changes={"hum_level": left_db})
    return told(day.take(count=3).results(**more), Alder=("hum",))


def test_a_fix_is_told_with_what_it_gains_and_what_it_costs():
    found = hunted(
        ("isolating transformer", 2.0), curves=[response(None, 0.0), response("isolating transformer", -3.0)]
    )
    text = of_kind(found, "fixes")
    assert "Alder with isolating transformer: 2" in text
    assert "less hum" in text
    assert "It costs bass: 3.0 dB less at 41 Hz" in text


def test_bass_that_is_lost_within_the_curves_own_uncertainty_is_no_cost():
    curves = [response(None, 0.0, half_db=1.0), response("isolating transformer", -0.5, half_db=1.0)]
    assert "bass" not in of_kind(hunted(("isolating transformer", 2.0), curves=curves), "fixes")


def test_a_fix_that_does_nothing_is_said_to_do_nothing():
    text = of_kind(hunted(("new lead", 30.0)), "fixes")
    assert "no worthwhile difference in hiss (shown)" in text
    assert "takes" not in text


def test_fixes_are_ordered_by_what_they_gain_and_those_alike_are_said_to_be():
    text = of_kind(hunted(("ring", 25.0), ("transformer", 5.0), ("other transformer", 5.0)), "fixes")
    order = text.split("by what they are shown to gain: ")[1].split("Which is better of")
    assert order[0].index("transformer") < order[0].index("ring")
    assert "transformer" in order[1].split("is not shown")[0]
    assert "ring" not in order[1].split("is not shown")[0]


def test_the_step_that_took_the_hum_away_is_named():
    steps = (("network unplugged", 30.0), ("charger unplugged", 30.0), ("aerial unplugged", 0.0), ("display off", 0.0))
    text = of_kind(hunted(*steps), "hunt")
    assert "it is number 3, 'aerial unplugged', that takes the hum away" in text
    assert "network unplugged and charger unplugged changed nothing" in text
    assert "stays away in all steps after it" in text


def test_a_step_made_once_only_seems_to_take_the_hum_away():
    steps = (("network unplugged", 30.0), ("aerial unplugged", 0.0), ("display off", 30.0))
    text = of_kind(hunted(*steps, count=1), "hunt")
    assert "that seems to take the hum away" in text
    assert "It is there again with display off" in text


def test_things_changed_together_are_not_taken_apart():
    day = Day(14, quantities=("hum_level",)).take(count=2)
    day.take("Alder", count=2, changes={"hum_level": 30.0})
    day.take("Alder", count=2, condition={"supply": "off", "lead": "short"}).take(count=2)
    found = told(day.results(), Alder=("hum",))
    assert "supply off instead of as usual and lead short instead of as usual" in of_kind(found, "changed-together")
    assert "way in" not in of_kind(found, "conditions")
    one = Day(14, quantities=("hum_level",)).take("Alder").take("Alder", condition={"supply": "off"})
    assert of_kind(told(one.take().results()), "changed-together") == ""


def test_what_was_not_tested_is_told_once():
    day = Day(15, quantities=("hum_level",)).take("Alder", port="1", picture="white").take(picture="white")
    day.take("Birch", port="1", picture="white").take("Birch", port="2", picture="white", condition={"supply": "off"})
    (row,) = [row for row in told(day.results()) if row.kind == "not-tested"]
    assert row.severity == "none"
    for words in (
        "port 2 and supply off with Alder",
        "the recorder alone",
        "a black picture beside the white one",
        "repeats: every take was made once",
        "a second direct recording",
    ):
        assert words in row.sentence
    assert "supply unplugged" not in row.sentence


def test_a_day_that_direct_takes_do_not_bracket_is_said_so():
    day = Day(16, quantities=("hum_level",)).take(count=2).take("Alder", picture="black", count=2)
    assert "the direct path after the last device" in of_kind(told(day.results()), "not-tested")
    assert "the direct path" not in of_kind(told(day.take().results()), "not-tested")


def outcome(quantity, result, **more):
    fields = {"subject": "Alder", "role": "through", "source": "the bench file", "max": -80.0, **more}
    return LimitOutcome(quantity=quantity, outcome=result, **fields)


@pytest.mark.parametrize(
    ("outcomes", "words", "severity"),
    [
        (("pass", "pass"), "Alder keeps to all two limits", "none"),
        (("fail", "pass"), "Alder misses what was set for hum (at most -80 dBFS).", "slight"),
        (("not_measurable", "pass"), "neither shown to keep to nor to miss what was set for hum", "none"),
    ],
)
def test_limits_are_summed_up_for_each_device(outcomes, words, severity):
    rows = [outcome("hum_level", outcomes[0]), outcome("gain", outcomes[1])]
    (row,) = [row for row in told(Day().results(limits=rows)) if row.kind == "limits"]
    assert words in row.sentence
    assert row.severity == severity


def test_the_neighbour_that_is_heard_most_is_named():
    def bleed(port, driven, value, bound=None):
        more = {"subject": "Cedar", "role": "through", "quantity": "bleed_1k", "channel": "left", "unit": "dB"}
        condition = {"driven port": driven}
        return Measure(**more, port=port, condition=condition, value=value, bound=bound, id=f"bleed-{port}-{driven}")

    results = Day().results()
    results.measures.extend([bleed("1", "2", -62.0), bleed("1", "3", -80.0), bleed("2", "1", -70.0, "upper")])
    (row,) = [row for row in whole_bench_findings(RowIndex(results), []) if row.quantity == "bleed_1k"]
    assert "most is heard in port 1 (driven port 2), in the left channel: -62 dB at 1 kHz" in row.sentence
    # -62 dB is a factor of 10^(62/20) = 1259 (arithmetic).
    assert "1,300 times weaker" in row.sentence
    assert row.evidence[0].measure == "bleed-1-2"


def test_readiness_is_told_from_the_direct_takes():
    text = of_kind(told(Day(17).take(count=4).results()), "readiness")
    assert text.startswith("This bench, with three takes of each, replugged, would tell apart a difference of")
    assert "of level" in text


@pytest.mark.parametrize("left_db", [(0.0, 30.0, 10.0), (0.0, 10.0, 30.0)], ids=["between", "after them"])
def test_cures_that_stand_side_by_side_are_no_hunt(left_db):
    steps = zip(("transformer", "same socket strip", "ferrite ring"), left_db, strict=True)
    assert of_kind(hunted(*steps), "hunt") == ""


def test_a_sum_of_hum_and_buzz_says_nothing_of_ports_at_which_they_are_known_apart():
    # What is left where the buzz is known by itself is no measure of the port at which the two are not told apart.
    day = Day(18, quantities=("hum_and_buzz_level", "buzz_level")).take(count=3)
    for port, left in (("1", 30.0), ("2", 0.0), ("3", 0.0)):
        changes = {"hum_and_buzz_level": left, "buzz_level": 30.0}
        day.take("Birch", port=port, count=3, changes=changes, hidden=("buzz_level",) if port == "1" else ())
    assert "hum or picture buzz" not in of_kind(told(day.take(count=2).results()), "ports")
    alone = Day(18, quantities=("hum_and_buzz_level",)).take(count=3)
    for port, left in (("1", 30.0), ("2", 0.0), ("3", 0.0)):
        alone.take("Birch", port=port, count=3, changes={"hum_and_buzz_level": left})
    text = of_kind(told(alone.take(count=2).results()), "ports")
    assert "are not alike in hum or picture buzz: most at port 1" in text


def used_results():
    day = Day(21, quantities=("hum_level", "gain")).take(count=2)
    for port in "12":
        for more in ({}, {"condition": {"outputs": "2"}}, {"fix": "ring"}):
            day.take("Alder", port=port, count=2, **more).take("Cedar", port=port, count=2, **more)
    return day.take(count=2).results()


def used(**conditions):
    day = Day(19, quantities=("hum_level",)).take(count=2)
    for device, condition in conditions.items():
        day.take(device, count=2, condition=condition, changes={"hum_level": 30.0 if device == "Alder" else 0.0})
    return of_kind(told(day.take(count=2).results(), Alder=("hum",)), "ranking")


def test_devices_that_were_never_used_alike_have_no_order():
    text = used(Alder={"supply": "on"}, Cedar={"supply": "off"})
    assert "no two of them were recorded in the same use" in text
    assert "Alder alone with supply on; Cedar alone with supply off" in text


def test_devices_of_which_one_says_less_are_ordered_with_a_caveat():
    text = used(Alder={"supply": "on"}, Cedar={"outputs": "1"})
    assert text.startswith("Cedar adds least")
    assert "They were not used quite alike (Alder with supply on; Cedar with outputs 1)" in text
    assert "not used quite alike" not in used(Alder={"supply": "on"}, Cedar={"supply": "on"})


def test_a_bench_of_a_hundred_takes_is_judged_in_well_under_a_second():
    day = Day(20, channels=("left", "right")).take(count=4, picture="white")
    for device in ("Alder", "Birch", "Cedar"):
        for port in "12345678":
            day.take(device, port=port, picture="white", count=2).take(device, port=port, picture="black", count=2)
    results = day.results()
    assert len(results.takes) == 100
    started = time.process_time()
    find(results)
    # Measured 0.05 s; what grew with the square of the takes would cost many times that.
    assert time.process_time() - started < 1.0


@pytest.mark.parametrize(
    "reference",
    [{"subject": ["x"]}, {"condition": 3}, {"condition": {"supply": 1}}, {"n_takes": "x"}, {"port": {}}, {}],
)
def test_a_results_file_may_hold_any_reference(reference):
    results = used_results()
    spoilt = [replace(row, reference=reference) for row in results.changes]
    assert all(row.sentence for row in find(replace(results, changes=spoilt)))
