"""What is said of a whole bench is what was put into it, and of a bench without any difference nothing is claimed.

Truth is by construction: takes scatter about true values (see `made_bench`), which no sentence knows.
"""

import pytest

from humcheck.findings.bench import whole_bench_findings
from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.index import RowIndex
from humcheck.results import Finding
from tests.findings.made_bench import Day, of_kind

#: Words of confidence that only a shown difference has.
CLAIMED = ("larger than the scatter from take to take (95 %", "at least so much")


_BENCHES = 60


def told(results, **severities):
    found = [
        Finding(
            subject=subject,
            role="through",
            quantity="",
            id=f"{subject}-{kind}",
            kind=kind,
            severity="clear",
            sentence="",
        )
        for subject, kinds in severities.items()
        for kind in kinds
    ]
    return list(whole_bench_findings(RowIndex(results), found))


def empty_bench(seed):
    """Two boxes that do nothing, in many uses, twice each; of every other bench only one says that its supply is on."""
    day = Day(seed, quantities=("hum_level", "hiss_level", "gain")).take(count=2, picture="white")
    for device in ("Alder", "Birch"):
        usual = {"supply": "on"} if seed % 2 and device == "Birch" else {}
        for port in "12":
            day.take(device, port=port, picture="white", count=2, condition=usual)
        for more in ({"condition": {"supply": "off"}}, {"fix": "ferrite ring"}, {"condition": {"outputs": "2"}}):
            day.take(device, port="1", picture="white", count=2, **{"condition": usual} | more)
    return day.take(count=2, picture="white").results()


def test_of_a_bench_without_any_difference_nothing_is_claimed_in_more_than_one_of_twenty():
    claims = [
        [row for row in told(empty_bench(seed)) if row.confidence.startswith(CLAIMED) or row.severity != "none"]
        for seed in range(_BENCHES)
    ]
    # Binomial, 60 benches at 5 %: seven and more would be seen in 3 % of such series.
    assert sum(bool(found) for found in claims) < 7


def test_each_question_by_itself_is_allowed_more_than_the_bench_as_a_whole():
    results = empty_bench(0)
    bench = BenchRows(RowIndex(results))
    # hum, hiss, gain: condition, fix, device and the spread over ports.
    assert bench.n_questions == 12


@pytest.fixture(scope="module")
def show():
    day = Day(3).take(count=3, picture="white")
    for port in "1234":
        day.take("Alder", port=port, picture="white", count=3, changes={"hum_level": 31.0 if port == "4" else 25.0})
    day.take("Alder", port="4", picture="white", count=2, condition={"supply": "off"}, changes={"hum_level": 1.0})
    for port in "1234":
        day.take("Cedar", port=port, picture="white", count=3, changes={"gain": -1.5})
        day.take("Birch", port=port, picture="white", count=3, changes={"buzz_level": 45.0})
        day.take("Birch", port=port, picture="black", count=3)
    return told(day.take(count=2, picture="white").results(), Alder=("hum",), Birch=("buzz",), Cedar=("level",))


def test_the_port_that_hums_most_is_named_with_the_true_size(show):
    text = of_kind(show, "ports", "Alder")
    assert "are not alike in hum: most at port 4" in text
    # 31 dB against 25 dB at the others, within three standard deviations of the means of three takes.
    assert "Port 4 stands out: 6." in text or "Port 4 stands out: 5." in text
    assert "All four ports of Alder pass the sound alike" in text
    assert "level" in text.split("pass the sound alike")[1]


def test_ports_that_noise_does_not_let_compare_are_neither_alike_nor_unlike(show):
    text = of_kind(show, "ports", "Cedar")
    alike, _, unknown = text.split("pass the sound alike")[1].partition("Whether")
    assert "hum" not in alike
    assert "are alike in hum and picture buzz" in unknown
    assert "is not shown" in unknown


def test_hum_that_goes_with_the_supply_comes_in_through_it(show):
    text = of_kind(show, "conditions", "Alder")
    assert "With supply off instead of as usual there is 29." in text or "there is 30." in text
    assert "The hum goes with the supply: the supply, or the earth that it brings, is the way in." in text


def test_buzz_that_goes_with_a_black_picture_comes_from_it(show):
    text = of_kind(show, "conditions", "Birch")
    assert "The picture buzz comes and goes with the picture" in text
    assert "hum comes and goes" not in text


def test_the_order_of_boxes_has_reasons_and_says_ties(show):
    text = of_kind(show, "ranking")
    assert "Less hum than through Alder: through" in text
    assert "Less picture buzz than through Birch: through" in text
    assert "Closer to the direct level than through Cedar: through" in text
    assert "Alike in hiss within 0.3 dB (shown)" in text
    assert "Cannot be told apart in hum with these takes: Birch and Cedar" in text
    assert "None is best in everything" in text
    order = next(row for row in show if row.kind == "ranking" and row.quantity == "bench")
    assert "Alder: less picture buzz than Birch and closer to the direct level than Cedar." in order.sentence


def test_what_nobody_notices_makes_no_order():
    day = Day(4).take(count=3)
    day.take("Alder", count=3, changes={"hum_level": 3.0}).take("Cedar", count=3).take(count=2)
    found = told(day.results())
    assert "No order of Alder and Cedar is shown" in of_kind(found, "ranking")
    assert "Less hum than through Alder: through Cedar" in of_kind(found, "ranking")
    assert "Nobody would notice that" in of_kind(found, "ranking")


def test_one_box_that_is_better_in_what_counts_adds_least():
    day = Day(5).take(count=3)
    day.take("Alder", count=3, changes={"hum_level": 30.0}).take(
        "Birch", count=3, changes={"buzz_level": 40.0, "hum_level": 20.0}
    )
    found = told(day.take("Cedar", count=3).take(count=2).results(), Alder=("hum",), Birch=("hum", "buzz"))
    assert of_kind(found, "ranking").startswith("Cedar adds least")


def test_a_box_that_is_too_loud_by_as_much_as_another_is_too_soft_is_no_better():
    day = Day(6, quantities=("gain",)).take(count=3)
    day.take("Alder", count=3, changes={"gain": 1.5}).take("Cedar", count=3, changes={"gain": -1.5}).take(count=2)
    text = of_kind(told(day.results(), Alder=("level",), Cedar=("level",)), "ranking")
    assert "Closer to the direct level" not in text
    assert "Cannot be told apart in level" in text


def test_single_takes_make_no_claim_however_large_the_difference():
    day = Day(7).take().take("Alder", port="1").take("Alder", port="2", changes={"hum_level": 20.0})
    found = told(day.take("Birch", port="1", changes={"gain": -3.0}).results(), Alder=("hum",), Birch=("level",))
    assert not any(row.confidence.startswith(CLAIMED) for row in found)
    assert "measured unlike, which is not certain until it is repeated, in hum" in of_kind(found, "ports")
    assert "not certain until it is repeated" in of_kind(found, "ranking")


def test_hidden_hum_is_at_least_so_much_less():
    day = Day(8).take(count=2).take("Alder", count=2, changes={"hum_level": 30.0})
    day.take("Alder", count=2, fix="isolating transformer", hidden=("hum_level",)).take(count=2)
    text = of_kind(told(day.results(), Alder=("hum",)), "fixes")
    assert "Alder with isolating transformer: at least 2" in text
    assert "less hum" in text


def test_every_finding_points_to_rows_that_exist(show):
    ids = [row.id for row in show]
    assert len(set(ids)) == len(ids)
    assert all(row.evidence for row in show if row.kind in ("ports", "conditions", "ranking", "readiness"))


def test_nothing_is_said_of_the_whole_where_there_are_no_rows():
    assert told(Day().results()) == []


def test_ports_that_differ_by_the_margin_are_called_alike_in_no_more_than_one_of_twenty():
    wrong = 0
    for seed in range(_BENCHES):
        day = Day(seed, quantities=("gain",)).take(count=2)
        for port in "123":
            day.take("Alder", port=port, count=3, changes={"gain": -0.3 if port == "2" else 0.0})
        wrong += "pass the sound alike" in of_kind(told(day.take(count=2).results()), "ports")
    # Two one-sided tests at 5 %; binomial as above.
    assert wrong < 7
