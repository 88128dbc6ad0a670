"""A change of tone that is shown to be none, and takes that were plugged only once."""

import math
from dataclasses import replace

import numpy as np
import pytest

from humcheck.comparison.certainty import CertaintySettings
from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.occasions import occasions_of
from humcheck.comparison.port_responses import port_spans
from humcheck.comparison.spans import judged_spans
from humcheck.estimates.sweeps import estimate_response
from humcheck.results import Change, Key, TakeRow


def measured(name, role, plugging):
    row = TakeRow(
        id=name, file=name, sha256="", role=role, plugging=plugging, rate_hz=48000, channels=2, sample_format="PCM_24",
        duration_s=1.0,
    )  # fmt: skip
    subject = "direct" if role == "direct" else "Alder"
    # That there is a response is all that counts here.
    return MeasuredTake(row=row, key=Key(subject=subject, role=role, quantity=""), responses=(None,))


def span(value, *, high=None, bound=None, p_value=0.001, port=None):
    return Change(
        subject="Alder", role="through", quantity="response_span", channel="left", contrast="direct", value=value,
        unit="dB", high=high, low=None if high is None else 0.0, bound=bound, distinguishable=None if bound else True,
        p_value=None if bound else p_value, port=port,
    )  # fmt: skip


def judged(row, pluggings=("1", "2"), margin=0.3):
    takes = [measured(f"d{name}", "direct", None) for name in "12"]
    takes += [measured(f"t{number}", "through", plugging) for number, plugging in enumerate(pluggings)]
    (result,) = judged_spans(
        [row], takes, occasions_of(take.row for take in takes), CertaintySettings(margins={"response_span": margin})
    )
    return result


@pytest.mark.parametrize(
    ("row", "same"),
    [
        (span(0.1, high=0.2), True),
        (span(0.1, high=0.4), False),
        (span(0.25, bound="upper"), True),
        (span(0.35, bound="upper"), False),
    ],
)
def test_the_upper_end_decides(row, same):
    assert judged(row).equivalent is same
    assert judged(row).margin == 0.3


def test_mere_repeats_say_nothing_about_another_plugging():
    row = judged(span(0.1, high=0.2), pluggings=("1", "1", "1"))
    assert (row.equivalent, row.distinguishable) == (None, None)
    assert judged(span(0.1, high=0.2), pluggings=(None, None)).distinguishable is True


def test_many_ports_are_asked_together():
    """Holm 1979, by hand: six questions, the least probability times six, the next times five, ..."""
    ports = [str(number) for number in range(6)]
    rows = [span(0.1, high=0.2, p_value=0.012, port=port) for port in ports[:4]]
    rows += [span(0.4, high=0.5, p_value=0.002, port="4"), span(0.05, bound="upper", port="5")]
    takes = [measured(f"d{name}", "direct", None) for name in "12"]
    for port in ports:
        for number in "12":
            one = measured(f"{port}-{number}", "through", number)
            takes.append(replace(one, key=Key(subject="Alder", role="through", quantity="", port=port)))
    found = judged_spans(rows, takes, occasions_of(take.row for take in takes), CertaintySettings())
    assert [row.p_adjusted for row in found[:5]] == [pytest.approx(0.012 * 5)] * 4 + [pytest.approx(0.002 * 6)]
    assert [row.distinguishable for row in found] == [False] * 4 + [True, None]


def test_a_span_that_noise_makes_has_no_small_probability():
    """Level responses in noise, two takes a side: Boole's bound is reached less often than it says."""
    from humcheck.comparison.response_delta import compare_levels
    from humcheck.comparison.response_figures import span_change
    from tests.estimates.made_responses import made_response

    rng = np.random.default_rng(31)
    key = Key(subject="Alder", role="through", quantity="", channel="left")
    p_values = []
    for _ in range(100):
        ours, theirs = ([made_response(gain_sd=1e-3, rng=rng) for _ in range(2)] for _ in "ab")
        row = span_change(compare_levels(ours, theirs, re_reference=True), key, {}, repeated=True)
        p_values.append(1.0 if row.p_value is None else row.p_value)
    # Binomial: 5 % of 100, three standard deviations of 2.2 %.
    assert np.mean(np.array(p_values) < 0.05) <= 0.05 + 3 * 0.022
    louder = [made_response(gain=lambda f: np.where(f > 5000, 1.03, 1.0), gain_sd=1e-3, rng=rng) for _ in range(3)]
    row = span_change(compare_levels(louder, theirs, re_reference=True), key, {}, repeated=True)
    assert row.p_value < 0.01


def take_with(gain, port, seed):
    from tests.estimates.swept_path import swept

    one = measured(f"p{port}-{seed}", "through", str(seed))
    key = Key(subject="Alder", role="through", quantity="", port=port)
    return replace(one, key=key, responses=(estimate_response(swept(through=gain, seed=seed), "left"),))


@pytest.fixture(scope="module")
def three_ports():
    from tests.estimates.swept_path import high_pass

    # Elementary: two capacitors with corners f1 < f2: |H1 / H2| at 20 Hz.
    same, other = high_pass(5.0), high_pass(20.0)
    return [take_with(same, "1", 1), take_with(same, "2", 2), take_with(same, "2", 3), take_with(other, "3", 4)]


def test_the_port_with_another_tone_is_the_one_that_differs(three_ports):
    spans = {row.port: row for row in port_spans(three_ports) if row.quantity == "response_span"}
    third = spans["3"]
    assert (third.contrast, third.reference["port"], third.reference["ports"]) == ("port", "the others", ["1", "2"])
    # (1 + (20/20)^2) / (1 + (5/20)^2) = 2 / 1.0625: 2.747 dB; at 997 Hz 0.0017 dB less.
    assert third.value == pytest.approx(10 * math.log10(2 / 1.0625) - 0.0017, abs=0.003)
    assert third.bound is None


def test_like_ports_have_a_bound(three_ports):
    spread, row = port_spans(three_ports[:3])
    assert (spread.quantity, spread.bound, spread.reference["quantity"]) == ("port_spread", "upper", "response_span")
    assert spread.value < 0.005
    assert (row.port, row.reference["port"], row.bound) == ("2", "1", "upper")
    assert row.value < 0.005


def test_the_spread_over_ports_names_frequency_and_port(three_ports):
    (spread,) = [row for row in port_spans(three_ports) if row.quantity == "port_spread"]
    # As above: the capacitor of port 3 takes 2.747 dB more at 20 Hz than those of ports 1 and 2, re 997 Hz.
    assert spread.value == pytest.approx(10 * math.log10(2 / 1.0625) - 0.0017, abs=0.003)
    assert (spread.reference["at_hz"], spread.reference["smallest"], spread.reference["stands_out"]) == (20.0, "3", "3")
    assert spread.port is None
    assert spread.p_value < 1e-6


def test_the_spreads_interval_holds_and_noise_alone_is_a_bound():
    """Four ports, two takes of each; one loses 0.3 dB towards 20 kHz in noise of 0.006 dB a point and take."""
    from humcheck.comparison.port_tone_spread import tone_spread
    from tests.estimates.made_responses import made_response

    rng = np.random.default_rng(12)
    key = Key(subject="Alder", role="through", quantity="", channel="left")

    def falling(frequency_hz):
        return 10 ** (-0.3 / 20 * np.clip(np.log10(frequency_hz / 2000), 0, 1))

    held, bounds = [], 0
    for _ in range(30):
        alike = {port: [made_response(gain_sd=1e-3, rng=rng) for _ in range(2)] for port in "1234"}
        spread = tone_spread(alike, list(alike.values()), key)
        bounds += spread.bound == "upper"
        odd = alike | {"3": [made_response(gain=falling, gain_sd=1e-3, rng=rng) for _ in range(2)]}
        spread = tone_spread(odd, list(odd.values()), key)
        held.append(spread.bound is None and spread.low <= 0.3 <= spread.high and spread.reference["stands_out"] == "3")
    # 95 %, binomial of 30, three standard deviations of 4 %.
    assert np.mean(held) >= 0.95 - 3 * 0.04
    assert bounds >= 30 * (0.95 - 3 * 0.04)


def test_a_spread_of_ports_plugged_once_is_not_judged(three_ports):
    occasions = occasions_of(take.row for take in three_ports)
    rows = judged_spans(port_spans(three_ports), three_ports, occasions, CertaintySettings())
    (spread,) = [row for row in rows if row.quantity == "port_spread"]
    assert (spread.distinguishable, spread.equivalent, spread.reference["repeatability"]) == (None, None, "unknown")
