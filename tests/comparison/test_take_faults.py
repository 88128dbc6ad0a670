"""Faults that show only beside other takes; rows as the measuring of single takes leaves them."""

import pytest

from humcheck.comparison.material import MeasuredTake, QuietPart
from humcheck.comparison.take_faults import with_shared_faults
from humcheck.results import Fault, Key, Measure, TakeRow
from humcheck.results.rows import TrackIdentity


def take(name, role="direct", track="silence", *, quiet=False, condition=(), fix=None, faults=(), **levels):
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
        condition=dict(condition),
        fix=fix,
        faults=list(faults),
        track=None if track is None else TrackIdentity(name=track, length="short", layout=1),
    )
    measures = tuple(
        Measure(**key.fields(quantity=quantity, channel=channel), value=value, unit="dBFS", takes=[name])
        for quantity, value in levels.items()
        for channel in ("left", "right")
    )
    part = QuietPart(path=row.file, start=0, stop=1, swapped=False, lines=None) if quiet else None
    return MeasuredTake(row=row, key=key, measures=measures, quiet=part)


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


def test_a_through_take_without_the_track_of_the_direct_ones():
    (_, through) = with_shared_faults([take("d1"), take("t1", "through", None, quiet=True, peak_level=-3.0)])
    (fault,) = through.row.faults
    assert fault.code == "wrong-track"
    assert "hold the track silence" in fault.sentence
    # What it tells without a track stays.
    assert [row.quantity for row in through.measures] == ["peak_level", "peak_level"]


def test_a_through_take_in_which_nothing_plays():
    assert faults_of(take("d1"), take("t1", "through", None, quiet=True)) == {"t1": ["no-sound"]}
    # Too short for a quiet stretch: nobody knows.
    assert faults_of(take("d1"), take("t1", "through", None)) == {"t1": ["wrong-track"]}


@pytest.mark.parametrize(
    "takes",
    [
        pytest.param([take("d1", track=None), take("t1", "through", None)], id="programme"),
        pytest.param([take("d1"), take("d2", track=None), take("t1", "through", None)], id="steady takes besides"),
        pytest.param([take("d1"), take("r1", "recorder", None)], id="recorder"),
        pytest.param([take("d1"), take("t1", "through", None, condition={"driven_port": "2"})], id="bleed"),
        pytest.param([take("d1"), take("t1", "through", None, condition={"event": "plug"})], id="a plug is pulled"),
        pytest.param([take("d1"), take("t1", "through", None, quiet=True, fix="shorted plug")], id="no source"),
        pytest.param(
            [take("d1"), take("t1", "through", None, faults=[Fault(code="unread-markers", sentence="")])], id="told"
        ),
    ],
)
def test_takes_that_need_no_track(takes):
    before = [one.row.faults for one in takes]
    assert [one.row.faults for one in with_shared_faults(takes)] == before


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
