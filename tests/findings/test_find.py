"""Sentences say what the numbers carry, and no more."""

import msgspec
import numpy as np
import pytest

from humcheck.findings import find
from humcheck.findings.words import weaker_in_words
from humcheck.results import Bench, Change, Curve, Fault, Measure, Results, Settings, TakeRow

UNITS = {"hum_level_rel": "dBr", "hum_level_a_rel": "dBr(A)", "hum_level": "dBFS"}


def measure(quantity, value, *, role="through", channel="left", bound=None, subject="Alder", unit="dBr", **more):
    known = bound is None
    return Measure(
        subject=subject,
        role=role,
        quantity=quantity,
        channel=channel,
        value=value,
        unit=UNITS.get(quantity, unit),
        low=value - 0.1 if known else None,
        high=value + 0.1 if known else None,
        bound=bound,
        id=f"m-{quantity}-{role}-{channel}",
        **more,
    )


def change(quantity, value, *, channel="left", bound=None, distinguishable=None, unit="dB"):
    return Change(
        subject="Alder",
        role="through",
        quantity=quantity,
        channel=channel,
        contrast="direct",
        value=value,
        unit=unit,
        low=None if bound else value - 0.01,
        high=None if bound else value + 0.01,
        bound=bound,
        distinguishable=distinguishable,
        id=f"c-{quantity}-{channel}",
        reference={"n_takes": 1},
    )


def results(measures=(), changes=(), takes=()):
    return Results(
        bench=Bench(id="b", name="bench", created="2026-01-01T00:00:00Z"),
        settings=Settings(),
        humcheck_version="0",
        numbers_version=1,
        created="2026-01-01T00:00:00Z",
        measures=list(measures),
        changes=list(changes),
        takes=list(takes),
    )


def only(found, kind):
    (finding,) = [finding for finding in found if finding.kind == kind]
    return finding


def test_hum_that_is_added_is_told_with_advice_and_the_caution_about_earth():
    found = find(
        results(
            [
                measure("hum_level_rel", -58.0),
                measure("hum_level_rel", -58.4, role="added"),
                measure("hum_level_a_rel", -72.0, role="added"),
            ],
            [change("hum_level", 30.0)],
        )
    )
    finding = only(found, "hum")
    assert finding.severity == "clear"
    assert "adds mains hum" in finding.sentence
    assert "30 dB stronger" in finding.sentence
    assert any("protective earth" in caution for caution in finding.cautions)
    assert finding.evidence
    assert finding.confidence == "from one take: repeatability unknown"


def test_hidden_hum_is_never_called_added():
    found = find(
        results(
            [
                measure("hum_level_rel", -110.0, bound="upper"),
                measure("hum_level_rel", -108.0, role="added", bound="upper"),
            ]
        )
    )
    finding = only(found, "hum")
    assert finding.severity == "none"
    assert "adds no mains hum" in finding.sentence
    assert finding.advice == []


def test_limits_in_sentences_are_rounded_so_that_they_stay_true():
    """A limit of -109.9 dB is not "below -110 dB"; 0.000106 % is not "below 0.00010 %"."""
    found = find(
        results(
            [
                measure("hiss_level_rel", -108.0),
                measure("hiss_level_rel", -109.9, role="added", bound="upper"),
                measure("thd", 0.000106, unit="percent", bound="upper"),
            ]
        )
    )
    assert "below -109 dB" in only(found, "hiss").sentence
    assert "below 0.00011 %" in only(found, "distortion").sentence


def test_much_less_hum_through_a_device_is_asked_about():
    """A cure does that, and so do takes that were exchanged: neither is passed over as "adds no hum"."""
    rows = [
        measure("hum_level_rel", -90.0),
        measure("hum_level_rel", -56.0, subject="direct", role="direct"),
        measure("hum_level_rel", -55.9, role="added", bound="upper"),
    ]
    finding = only([row for row in find(results(rows)) if row.subject == "Alder"], "hum")
    assert "34 dB less mains hum than without it" in finding.sentence
    assert "exchanged" in finding.sentence


def test_a_use_that_nothing_stands_beside_is_said_to_be_unknown():
    rows = [
        measure("hum_level_rel", -57.0),
        measure("hum_level", -60.0),
        measure("hum_level", -94.0, subject="direct", role="direct", channel="mono"),
    ]
    finding = only(find(results(rows)), "not-compared")
    assert finding.sentence.startswith("What Alder adds is not known: the direct recording is mono and the one through")


@pytest.mark.parametrize(
    ("gain_db", "severity", "words"),
    [(-0.05, "none", "leaves the level"), (-0.6, "slight", "side by side"), (-3.7, "strong", "about 1 dB")],
)
def test_level(gain_db, severity, words):
    finding = only(find(results(changes=[change("gain", gain_db)])), "level")
    assert finding.severity == severity
    assert words in finding.sentence


def test_one_inverted_channel_is_worse_than_two():
    one = find(results([measure("polarity", 1.0), measure("polarity", -1.0, channel="right")]))
    both = find(results([measure("polarity", -1.0), measure("polarity", -1.0, channel="right")]))
    assert only(one, "level").severity == "strong"
    assert only(both, "level").severity == "slight"


def test_bleed_that_noise_hides_is_a_limit():
    row = measure("crosstalk_1k", -104.0, bound="upper", unit="dB")
    finding = only(find(results([row])), "bleed")
    assert finding.severity == "none"
    assert "stays below -104 dB" in finding.sentence


def test_a_take_that_passes_no_sound_comes_first_and_strong():
    take = TakeRow(
        id="t1",
        file="cedar.wav",
        sha256="0",
        role="through",
        device="Cedar",
        rate_hz=48000,
        channels=2,
        sample_format="WAV 24-bit",
        duration_s=60.0,
        faults=[Fault(code="no-sound", sentence="No sound passes.")],
    )
    found = find(
        results([measure("hum_level_rel", -58.0), measure("hum_level_rel", -58.4, role="added")], takes=[take])
    )
    assert found[0].kind == "no-sound"
    assert found[0].severity == "strong"
    assert "supply" in found[0].advice[0]


def test_repeats_that_differ_are_said_to():
    row = msgspec.structs.replace(change("gain", -2.0, distinguishable=True), p_value=0.001)
    assert "larger than the scatter" in only(find(results(changes=[row])), "level").confidence


@pytest.mark.parametrize(
    ("level_dbr", "words"), [(-60.0, "1,000 times"), (-40.0, "100 times"), (-20.0, "10 times"), (-3.0, "as strong as")]
)
def test_decibels_in_words(level_dbr, words):
    # Elementary: 20 dB are a factor of ten.
    assert words in weaker_in_words(level_dbr)


def test_the_page_explains_the_steps_that_findings_use():
    from humcheck.findings.audibility import difference_severity
    from humcheck.findings.audibility.words import MARGIN_DB as used_for_margins
    from humcheck.results.severity import LEVEL_DB, MARGIN_DB, TONE_SPAN_DB

    assert used_for_margins == MARGIN_DB
    for kind, scale in (("level", LEVEL_DB), ("tone", TONE_SPAN_DB)):
        for step in ("slight", "clear", "strong"):
            value = getattr(scale, step)
            assert difference_severity(kind, value) == step
            assert difference_severity(kind, value - 0.01) != step


@pytest.mark.parametrize(
    ("corner_hz", "severity"), [(12.0, "slight"), (5.0, "slight"), (25.0, "clear"), (80.0, "strong")]
)
def test_what_only_the_lowest_notes_lose_weighs_slightly(corner_hz, severity):
    # Elementary: a first-order high-pass takes 10 lg(1 + (corner / f)^2): of 12 Hz 1.3 dB at 20 Hz, 0.4 dB at 40 Hz; of
    # 25 Hz 1.4 dB at 40 Hz; of 80 Hz 7 dB.
    frequency_hz = np.geomspace(20.0, 20000.0, 121)
    loss_db = -10 * np.log10(1 + (corner_hz / frequency_hz) ** 2)
    fields = {"subject": "Alder", "role": "through", "channel": "left", "unit": "dB"}
    curve = Curve(
        id="curve", quantity="response_delta", frequency_hz=frequency_hz.tolist(), value=loss_db.tolist(), **fields
    )
    rows = results(changes=[change("response_span", float(np.ptp(loss_db)))])
    found = find(msgspec.structs.replace(rows, curves=[curve]))
    tone = next(finding for finding in found if finding.kind == "tone")
    assert tone.severity == severity
    assert ("ends of hearing" in tone.sentence) == (severity == "slight")


def test_what_is_told_as_a_sum_is_not_said_to_be_absent_beside_it():
    alone = {"role": "single", "subject": "t1", "unit": "dBFS"}
    rows = [
        measure("hum_level", -50.0, bound="upper", **alone),
        measure("hum_and_buzz_level", -53.0, **alone),
    ]
    sentences = [finding.sentence for finding in find(results(measures=rows)) if finding.kind in ("hum", "buzz")]
    assert len(sentences) == 1
    assert sentences[0].startswith("There is hum or picture buzz")
    assert any("No mains hum" in finding.sentence for finding in find(results(measures=rows[:1])))
