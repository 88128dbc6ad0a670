"""Margins as rows: what they rest on, what moves them, and what does not."""

from dataclasses import replace

import msgspec
import numpy as np
import pytest

from humcheck.audio.hearing.psychoacoustics import threshold_db_spl
from humcheck.findings.audibility import PRESETS, audibility_rows, listening_settings
from humcheck.results import Measure, NotMeasured, quantity
from tests.findings.heard_bench import HALF_DB, results_of, use_rows

HEADPHONES, LIVING_ROOM = PRESETS
QUIET = -190.0  # dBr per Hz: hiss that hides nothing
HUM = [(50.0, -62.0), (150.0, -75.0), (250.0, -80.0)]


def margins(results, settings=PRESETS):
    rows = audibility_rows(results, settings)
    assert all(isinstance(row, Measure) for row in rows)
    return {(row.role, row.quantity, row.listening, row.channel): row for row in rows}


def margin(results, name="audible_margin_hum", setting="headphones", role="through", channel="mono"):
    return margins(results)[role, name, setting, channel]


def hum_at(hz, spl, density=QUIET, **more):
    """A single hum line that stands at a sound pressure level on headphones."""
    return results_of(use_rows({"hum_level": [(hz, spl - HEADPHONES.full_scale_db_spl)]}, density, **more))


@pytest.mark.parametrize("above_db", [-1.0, 1.0])
def test_the_sign_tells_whether_it_is_heard(above_db):
    threshold = threshold_db_spl(np.array([100.0]), "diffuse")[0]
    row = margin(hum_at(100.0, threshold + above_db))
    assert row.value == pytest.approx(above_db, abs=0.03)
    assert row.unit == quantity("audible_margin_hum").unit == "dB"
    assert row.detail["frequency_hz"] == pytest.approx(100.0, rel=0.03)


def test_low_and_high_hold_the_assumed_sound_pressure_and_the_measurement():
    row = margin(hum_at(100.0, 40.0))
    half = np.hypot(HEADPHONES.uncertainty_db, HALF_DB)
    assert HEADPHONES.uncertainty_db >= 6.0
    assert row.low == pytest.approx(row.value - half, abs=0.01)
    assert row.high == pytest.approx(row.value + half, abs=0.01)


def test_volume_does_not_bring_out_what_its_own_hiss_hides():
    # 1 kHz well below the noise of its filter at any volume: both move together, and the interval is narrow.
    density = -80.0 - 10 * np.log10(132.64)
    row = margin(hum_at(1000.0, 100.0 - 95.0, density))
    assert row.value == pytest.approx(-15.0 + 2.64, abs=0.3)  # masking law at 1 kHz: 2.64 dB below the filter's noise
    assert row.high - row.low < 1.5


@pytest.mark.parametrize("gain_db", [-17.3, 6.0])
def test_the_recorders_gain_changes_no_margin(gain_db):
    def bench(scale_dbfs):
        lines = {"hum_level": HUM, "buzz_level": [(59.94, -80.0), (119.88, -85.0)]}
        bounds = {"other_lines_level": -115.0, "digital_level": -120.0}
        return results_of(
            use_rows({"hum_level": HUM[:1]}, -140.0, role="direct", subject="direct", scale_dbfs=scale_dbfs),
            use_rows(lines, -135.0, bounds=bounds, scale_dbfs=scale_dbfs),
        )

    usual, moved = margins(bench(-4.0)), margins(bench(-4.0 + gain_db))
    assert usual.keys() == moved.keys()
    assert len(usual) > 10
    for place, row in usual.items():
        other = moved[place]
        assert (row.bound, other.value) == (other.bound, pytest.approx(row.value, abs=1e-9))
        if row.bound is None:
            assert (other.low, other.high) == (pytest.approx(row.low, abs=1e-9), pytest.approx(row.high, abs=1e-9))


def test_more_hum_is_more_heard_and_more_hiss_hides_it():
    values = [margin(results_of(use_rows({"hum_level": [(150.0, level)]}, -140.0))).value for level in (-80, -70, -60)]
    assert np.all(np.diff(values) > 9.9)
    densities = [QUIET, -130.0, -110.0, -100.0]
    hidden = [margin(results_of(use_rows({"hum_level": HUM}, density))).value for density in densities]
    assert np.all(np.diff(hidden) < 0)
    louder = [
        margins(results_of(use_rows({"hum_level": HUM}, -130.0)), listening_settings([f"headphones={spl}"]))
        for spl in (80, 90, 100, 110)
    ]
    by_volume = [next(iter(rows.values())).value for rows in louder]
    assert np.all(np.diff(by_volume) > 0)


def test_the_room_hides_what_headphones_bring_out():
    results = results_of(use_rows({"hum_level": [(100.0, -62.0)]}, QUIET))
    assert margin(results).low > 0
    # 90 - 62 = 28 dB SPL, 1.5 dB above the threshold in quiet, in a room of 30 dB(A).
    room = margin(results, setting="living-room")
    assert room.value < 0
    rows = margins(results, (replace(LIVING_ROOM, room_nr=None),))
    assert rows["through", "audible_margin_hum", "living-room", "mono"].value == pytest.approx(1.5, abs=0.05)


def test_the_whole_is_heard_no_less_than_any_family():
    lines = {"hum_level": HUM, "buzz_level": [(59.94, -70.0), (599.4, -95.0)], "whistle_level": [(15625.0, -50.0)]}
    rows = margins(results_of(use_rows(lines, -125.0)))
    for setting in ("headphones", "living-room"):
        whole = rows["through", "audible_margin", setting, "mono"]
        families = [row for (_, name, heard, _), row in rows.items() if heard == setting and name != "audible_margin"]
        assert len(families) == 4
        assert whole.value >= max(row.value for row in families)


@pytest.mark.parametrize("setting", ["headphones", "living-room"])
def test_hum_alone_is_the_whole(setting):
    rows = margins(results_of(use_rows({"hum_level": HUM}, QUIET)))
    whole, hum = (rows["through", name, setting, "mono"] for name in ("audible_margin", "audible_margin_hum"))
    assert (whole.value, whole.low, whole.high) == pytest.approx((hum.value, hum.low, hum.high), abs=1e-6)


def test_a_family_that_was_not_found_has_an_upper_bound_wherever_it_may_hide():
    bound_dbr = -112.0
    row = margin(results_of(use_rows({}, -140.0, bounds={"hum_level": bound_dbr})))
    assert (row.bound, row.low, row.high) == ("upper", None, None)
    # The limit holds for the loudest that full scale may be, one-sided 95 %: 1.645 / 1.960 of the uncertainty.
    louder = (replace(HEADPHONES, full_scale_db_spl=100.0 + 0.8392 * HEADPHONES.uncertainty_db),)
    for hz in (50.0, 350.0, 1050.0, 3150.0, 6000.0):
        found = margins(results_of(use_rows({"hum_level": [(hz, bound_dbr)]}, -140.0)), louder)
        assert row.value >= found["through", "audible_margin_hum", "headphones", "mono"].value


def test_families_that_cannot_be_told_apart_are_each_at_most_the_sum():
    sums = {"hum_and_buzz_level": [(50.0, -60.0), (150.0, -70.0)]}
    total = -59.586  # power sum of -60 and -70 dB (elementary)
    rows = margins(results_of(use_rows(sums, QUIET, bounds={"hum_level": total, "buzz_level": total})))
    both = rows["through", "audible_margin_hum_and_buzz", "headphones", "mono"]
    for name in ("audible_margin_hum", "audible_margin_buzz"):
        alone = rows["through", name, "headphones", "mono"]
        assert alone.bound == "upper"
        assert both.value < alone.value < both.high + 1.0
    # The sum counts once in the whole.
    whole = rows["through", "audible_margin", "headphones", "mono"]
    assert whole.value == pytest.approx(both.value, abs=0.1)


def added_bench(direct_lines, through_lines, added_dbr, *, added_bound=None, direct_density=-150.0, density=-150.0):
    direct = use_rows({"hum_level": direct_lines}, direct_density, role="direct", subject="direct", half=1e-6)
    through = use_rows({"hum_level": through_lines}, density, half=1e-6)
    added = use_rows({}, density, role="added")
    for suffix, value in (("", added_dbr - 4.0), ("_rel", added_dbr)):
        known = {} if added_bound else {"low": value - 1, "high": value + 1}
        key = {"subject": "Alder", "role": "added", "channel": "mono"}
        added["measures"].append(
            Measure(**key, quantity=f"hum_level{suffix}", value=value, unit="dB", bound=added_bound, **known)
        )
    added["curves"].clear()
    return results_of(direct, through, added)


def test_what_a_device_adds_is_heard_within_the_range_that_unknown_phase_leaves():
    rng = np.random.default_rng(5)
    hz = np.array([50.0, 100.0, 150.0, 160.0, 450.0])
    certain = (replace(HEADPHONES, uncertainty_db=0.0),)
    for _ in range(20):
        own, direct = (10 ** (rng.uniform(-70, -50, 5) / 20) * np.exp(2j * np.pi * rng.random(5)) for _ in range(2))
        through = own + direct

        def lines(amplitudes):
            return list(zip(hz.tolist(), (20 * np.log10(np.abs(amplitudes))).tolist(), strict=True))

        rows = margins(added_bench(lines(direct), lines(through), -60.0), certain)
        added = rows["added", "audible_margin_hum", "headphones", "mono"]
        truth = margins(results_of(use_rows({"hum_level": lines(own)}, -150.0)), certain)
        true_value = truth["through", "audible_margin_hum", "headphones", "mono"].value
        assert added.low <= true_value + 0.01
        assert added.high >= true_value - 0.01


def test_hum_that_is_not_told_apart_from_the_benchs_own_is_at_most_the_sum():
    rows = margins(added_bench(HUM, HUM, -56.0, added_bound="upper"))
    added = rows["added", "audible_margin_hum", "headphones", "mono"]
    alone = rows["through", "audible_margin_hum", "headphones", "mono"]
    # T + D of two equal lines is 6.02 dB above one; the sound pressure adds its one-sided share.
    assert added.bound == "upper"
    assert added.value == pytest.approx(alone.value + 6.02 + 0.8392 * HEADPHONES.uncertainty_db, abs=0.1)


def test_added_hiss_is_the_difference_of_powers():
    # 3.01 dB more through than direct: the device's own is as strong as the direct one.
    rows = margins(added_bench(HUM, HUM, -60.0, direct_density=-130.0, density=-126.99))
    direct = rows["direct", "audible_margin_hiss", "headphones", "mono"]
    added = rows["added", "audible_margin_hiss", "headphones", "mono"]
    assert added.value == pytest.approx(direct.value, abs=0.05)
    assert added.low < direct.low


def test_headphones_go_by_the_worse_ear_and_loudspeakers_add_up():
    left = use_rows({"hum_level": HUM}, -130.0, channel="left")
    right = use_rows({"hum_level": [(hz, level - 10) for hz, level in HUM]}, -130.0, channel="right")
    rows = margins(results_of(left, right))
    by_channel = {
        (heard, channel): row.value for (_, name, heard, channel), row in rows.items() if name == "audible_margin_hum"
    }
    assert by_channel["headphones", "both"] == by_channel["headphones", "left"] > by_channel["headphones", "right"]
    # Power sum of 0 and -10 dB; the hiss of both loudspeakers adds 3 dB, but the room hides more than it.
    together = by_channel["living-room", "both"] - by_channel["living-room", "left"]
    assert together == pytest.approx(0.41, abs=0.1)


def test_lines_of_several_takes_are_as_strong_as_their_mean():
    rows = use_rows({"hum_level": [(100.0, -60.0)]}, QUIET)
    rows["measures"] = [
        row
        if row.quantity.startswith("hiss")
        else msgspec.structs.replace(row, value=row.value + 2.0, low=row.low, high=row.high + 4.0, n_takes=3)
        for row in rows["measures"]
    ]
    one = margin(hum_at(100.0, 40.0))
    three = margin(results_of(rows))
    assert three.value == pytest.approx(one.value + 2.0, abs=0.01)
    assert three.n_takes == 3


def without_scale(rows):
    return rows | {"measures": [row for row in rows["measures"] if not row.quantity.endswith("_rel")]}


def test_without_a_tone_and_without_other_sound_nothing_is_said():
    rows = audibility_rows(results_of(without_scale(use_rows({"hum_level": HUM}, -130.0, role="single"))), PRESETS)
    assert [type(row) for row in rows] == [NotMeasured]
    assert rows[0].quantity == "audible_margin"
    assert "full scale" in rows[0].reason


@pytest.mark.parametrize("gain_db", [0.0, -21.0])
def test_other_material_counts_from_its_own_loudest_peak(gain_db):
    rows = without_scale(use_rows({"hum_level": HUM}, -130.0, role="single", scale_dbfs=-4.0 + gain_db))
    peak = Measure(
        subject="Alder", role="single", channel="mono", quantity="peak_level", value=-4.0 + gain_db, unit="dBFS"
    )
    rows["measures"].append(peak)
    row = margin(results_of(rows), role="single")
    tone = margin(results_of(use_rows({"hum_level": HUM}, -130.0)))
    assert row.value == pytest.approx(tone.value, abs=1e-9)
    assert row.detail["re_peak"] == 1.0


def test_without_a_spectrum_of_the_hiss_the_reason_is_given():
    rows = use_rows({"hum_level": HUM}, -130.0)
    rows["curves"] = [row for row in rows["curves"] if row.quantity != "hiss_spectrum"]
    found = audibility_rows(results_of(rows), PRESETS)
    assert [type(row) for row in found] == [NotMeasured]
    assert "hiss" in found[0].reason
