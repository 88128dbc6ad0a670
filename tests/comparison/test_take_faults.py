"""Faults that show only beside other takes; rows as the measuring of single takes leaves them."""

import pytest

from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.take_faults import with_shared_faults
from humcheck.results import Key, Measure, TakeRow
from humcheck.results.rows import TrackIdentity


def take(name, role="direct", track="silence", **levels):
    subject = {"through": "Alder"}.get(role, role)
    key = Key(subject=subject, role=role, quantity="take")
    row = TakeRow(
        id=name,
        file=f"{name}.wav",
        sha256=name,
        role=role,
        rate_hz=48000,
        channels=2,
        sample_format="WAV 24-bit",
        duration_s=27.0,
        track=None if track is None else TrackIdentity(name=track, length="short", layout=1),
    )
    measures = tuple(
        Measure(**key.fields(quantity=quantity, channel=channel), value=value, unit="dBFS", takes=[name])
        for quantity, value in levels.items()
        for channel in ("left", "right")
    )
    return MeasuredTake(row=row, key=key, measures=measures)


def faults_of(*takes):
    return {one.row.id: [fault.code for fault in one.row.faults] for one in with_shared_faults(takes) if one.row.faults}


def test_repeats_of_one_level_have_none():
    assert faults_of(*(take(f"d{n}", tone_level=-6.0 + 0.1 * n, noise_level=-80.0) for n in range(4))) == {}


def test_the_odd_take_out_loses_its_level():
    takes = [take("d1", tone_level=-6.0), take("d2", tone_level=-6.02), take("d3", tone_level=-6.7)]
    *usual, odd = with_shared_faults(takes)
    assert [one.row.faults for one in usual] == [[], []]
    (fault,) = odd.row.faults
    assert fault.code == "level-changed"
    assert "0.7 dB softer" in fault.sentence
    assert odd.measures == ()
    assert {(row.quantity, row.reason) for row in odd.not_measured} == {("tone_level", fault.sentence)}


def test_of_two_takes_nobody_knows_which_is_right():
    first, second = with_shared_faults([take("d1", tone_level=-6.0), take("d2", tone_level=-9.0)])
    assert first.row.faults == []
    assert second.row.faults[0].spoils == []
    assert "d1.wav" in second.row.faults[0].sentence
    assert second.measures != ()


def test_through_and_direct_may_differ():
    assert faults_of(take("d1", tone_level=-6.0), take("t1", "through", tone_level=-12.0)) == {}


@pytest.mark.parametrize(("direct", "through", "found"), [("silence", "sweep", True), ("full", "sweep", False)])
def test_a_track_that_nobody_recorded_directly(direct, through, found):
    codes = faults_of(take("d1", track=direct), take("t1", "through", track=through))
    assert codes == ({"t1": ["wrong-track"]} if found else {})


@pytest.mark.parametrize(
    ("tone", "noise", "found"), [(-20.0, -84.0, True), (-6.0, -84.0, False), (-20.0, -70.0, False)]
)
def test_noise_that_is_the_recorders_own(tone, noise, found):
    recorder = take("r1", "recorder", None, noise_level=-85.0)
    codes = faults_of(recorder, take("d1", tone_level=tone, noise_level=noise))
    assert codes == ({"d1": ["low-level"]} if found else {})


@pytest.mark.parametrize(("own", "found"), [(-72.0, True), (-80.0, False)])
def test_a_recorder_that_hums(own, found):
    recorder = take("r1", "recorder", None, hum_level=own)
    codes = faults_of(recorder, take("d1", hum_level=-70.0))
    assert codes == ({"r1": ["recorder-hum"]} if found else {})
