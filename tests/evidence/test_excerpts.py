"""Groups of excerpts: matched to a twentieth of a decibel, raised alike and exactly as the captions say."""

import re

import numpy as np
import pytest

from humcheck.audio.levels import rms_to_dbfs
from humcheck.evidence import make_excerpts
from humcheck.evidence.loudness import CEILING_DBFS
from tests.evidence.quiet_takes import BUZZ, HUM, decoded, measured, quiet_samples, rms, steady

LOSS_DB = -3.4


def heard(excerpts, kind, role="through"):
    return next(sound for sound in excerpts.sounds if (sound.kind, sound.role) == (kind, role))


def level_dbfs(content):
    return rms_to_dbfs(rms(steady(*decoded(content))))


@pytest.fixture(scope="module")
def takes(tmp_path_factory):
    """The device loses level, and adds hum and buzz; the source's own hiss is lost with the level."""
    folder = tmp_path_factory.mktemp("takes")
    samples = quiet_samples(1, combs=())
    added = quiet_samples(2, combs=(HUM, BUZZ), noise_dbfs=-300.0)
    through = (samples[::-1] + added) * 10 ** (LOSS_DB / 20)
    return [
        measured(folder / "direct.wav", samples, role="direct", take_id="t1", full_scale_dbfs=-4.0),
        measured(
            folder / "alder.wav", through, device="Alder", take_id="t2", full_scale_dbfs=-4.0 + LOSS_DB, picture="white"
        ),
    ]


@pytest.fixture(scope="module")
def excerpts(takes):
    return make_excerpts(takes)


def test_what_is_played(excerpts):
    assert [(sound.role, sound.kind) for sound in excerpts.sounds] == [
        ("direct", "quiet"), ("through", "quiet"), ("through", "hum"), ("through", "buzz"), ("through", "hiss"),
    ]  # fmt: skip
    assert {sound.group for sound in excerpts.sounds} == {"Alder"}
    assert excerpts.notes == {}


def test_direct_and_through_are_matched_in_level(takes, excerpts):
    """The source's hiss is the same in both once the loss is made good: it is what the match can be seen by."""
    direct = level_dbfs(heard(excerpts, "quiet", "direct").content)
    hiss = level_dbfs(heard(excerpts, "hiss").content)
    np.testing.assert_allclose(hiss, direct, atol=0.05)


def test_the_raise_is_exactly_as_stated(takes, excerpts):
    from humcheck.audio.files import open_take
    from humcheck.evidence.separation import QuietStretch

    raised_db = {sound.raised_db for sound in excerpts.sounds}
    assert len(raised_db) == 1
    for take, role, match_db in zip(takes, ("direct", "through"), (0.0, -LOSS_DB), strict=True):
        sound = heard(excerpts, "quiet", role)
        stated = int(re.search(r"raised by (\d+) dB", sound.caption)[1])
        assert stated == sound.raised_db
        samples, rate_hz = decoded(sound.content)
        file = open_take(take.quiet.path)
        n = int(5.5 * file.rate_hz)
        start = (file.n_samples - n) // 2
        source = QuietStretch(file.read(start, start + n), file.rate_hz).whole()
        change_db = rms_to_dbfs(rms(steady(samples, rate_hz))) - rms_to_dbfs(rms(steady(source, rate_hz)))
        # Rounding adds noise 20 dB below the hiss: 0.04 dB where there is nothing but hiss.
        np.testing.assert_allclose(change_db, stated + match_db, atol=0.05)


def test_nothing_exceeds_the_ceiling_and_everything_starts_softly(excerpts):
    for sound in excerpts.sounds:
        samples, rate_hz = decoded(sound.content)
        assert np.abs(samples).max() <= 10 ** (CEILING_DBFS / 20)
        assert rms(samples[: rate_hz // 20]).max() < 0.05 * rms(steady(samples, rate_hz)).max()
        assert 3.4 < len(samples) / rate_hz < 4.6


def test_the_loudest_comes_up_to_the_ceiling(excerpts):
    samples, _ = decoded(heard(excerpts, "quiet").content)
    assert 20 * np.log10(np.abs(samples).max()) > CEILING_DBFS - 3


def test_decoded_parts_add_up_to_the_decoded_whole(excerpts):
    whole, rate_hz = decoded(heard(excerpts, "quiet").content)
    parts = [decoded(heard(excerpts, kind).content)[0] for kind in ("hum", "buzz", "hiss")]
    # Parts end sooner, and fade out there; all start at the same moment.
    n = len(parts[0]) - rate_hz // 2
    left = whole[rate_hz:n] - sum(part[rate_hz:n] for part in parts)
    # Derived: the roundings of whole and hiss, each 20 dB below the hiss, those of hum and buzz at -86 dBFS each.
    hiss_dbfs = level_dbfs(heard(excerpts, "hiss").content).max()
    assert rms_to_dbfs(rms(left)).max() < hiss_dbfs - 16


def test_captions_say_what_is_heard(excerpts):
    captions = [sound.caption for sound in excerpts.sounds]
    raised = f"raised by {excerpts.sounds[0].raised_db:.0f} dB"
    assert captions == [
        f"Direct: the quiet section, {raised}.",
        f"Through Alder: the quiet section, {raised}, matched in level (+3.4 dB).",
        f"The hum alone, through Alder, {raised}.",
        f"The picture buzz alone, through Alder, {raised}.",
        f"What is left when all steady tones are taken away: hiss, through Alder, {raised}.",
    ]


def test_without_a_tone_levels_are_not_matched_and_that_is_said(tmp_path):
    takes = [
        measured(tmp_path / "d.wav", quiet_samples(1, combs=()), role="direct", take_id="t1"),
        measured(tmp_path / "b.wav", quiet_samples(2, combs=(HUM,)), device="Birch", take_id="t2"),
    ]
    made = make_excerpts(takes)
    assert "not matched in level: the tone of both takes is not known" in heard(made, "quiet").caption


def test_a_click_is_turned_down_and_that_is_said(tmp_path):
    samples = quiet_samples(3, combs=(HUM,))
    samples[4 * 48_000 : 4 * 48_000 + 20] = 0.5
    made = make_excerpts([measured(tmp_path / "single.wav", samples, role="single")])
    sound = heard(made, "quiet", "single")
    assert sound.caption.endswith("Its loudest moments are turned down.")
    assert sound.group == "single.wav"
    assert np.abs(decoded(sound.content)[0]).max() <= 10 ** (CEILING_DBFS / 20)


def test_several_uses_of_a_device_share_one_raise(tmp_path):
    direct = measured(
        tmp_path / "d.wav",
        quiet_samples(1, combs=()),
        role="direct",
        take_id="t1",
        full_scale_dbfs=-4.0,
        picture="white",
    )
    keys = [
        ((HUM,), {"picture": "white"}),
        ((BUZZ,), {"picture": "black"}),
        ((), {"picture": "white", "fix": "transformer"}),
        ((), {"picture": "white", "condition": {"supply": "off"}}),
        ((), {"picture": "white", "port": "2"}),
    ]
    uses = [
        measured(
            tmp_path / f"{n}.wav",
            quiet_samples(n + 2, combs=combs),
            device="Alder",
            take_id=f"t{n + 2}",
            full_scale_dbfs=-4.0,
            **key,
        )
        for n, (combs, key) in enumerate(keys)
    ]
    made = make_excerpts([direct, *uses, uses[0]])
    whole = [sound for sound in made.sounds if sound.kind == "quiet"]
    assert len({sound.raised_db for sound in made.sounds}) == 1
    assert [sound.caption.partition(":")[0] for sound in whole] == [
        "Direct (white picture)", "Through Alder (white picture)", "Through Alder (black picture)",
        "Through Alder (white picture, with transformer)",
    ]  # fmt: skip
    assert made.notes == {"Alder": "2 more ways of using it were measured but are not played here."}
    assert "the hum alone, through alder (white picture)" in heard(made, "hum").caption.lower()


def test_what_does_not_fit_is_left_out_and_said(takes, tmp_path):
    others = [
        measured(tmp_path / f"{name}.wav", quiet_samples(5 + n, combs=(HUM,)), device=name, take_id=f"t{3 + n}",
                 full_scale_dbfs=-4.0)
        for n, name in enumerate(["Birch", "Cedar"])
    ]  # fmt: skip
    made = make_excerpts([*takes, *others], budget_bytes=700_000)
    assert sum(len(sound.content) for sound in made.sounds) <= 700_000
    assert [sound.group for sound in made.sounds if sound.kind == "quiet"] == ["Alder", "Alder", "Birch", "Birch"]
    assert "Left out, to keep the page small: Cedar." in made.notes["Birch"]


def test_a_recording_that_went_away_is_left_out(tmp_path):
    take = measured(tmp_path / "gone.wav", quiet_samples(1), role="single")
    (tmp_path / "gone.wav").unlink()
    assert make_excerpts([take]).sounds == ()


def test_direct_takes_alone_are_the_bench(tmp_path):
    take = measured(tmp_path / "d.wav", quiet_samples(1, combs=(HUM,)), role="direct", full_scale_dbfs=-4.0)
    made = make_excerpts([take])
    assert [(sound.group, sound.kind) for sound in made.sounds] == [
        ("The bench without a device", kind) for kind in ("quiet", "hum", "hiss")
    ]


def test_what_holds_no_steady_tone_is_not_taken_apart(tmp_path):
    made = make_excerpts([measured(tmp_path / "s.wav", quiet_samples(1, combs=()), role="single")])
    assert [sound.kind for sound in made.sounds] == ["quiet"]


def test_too_short_to_be_heard(tmp_path):
    take = measured(tmp_path / "s.wav", quiet_samples(1, duration_s=0.9), role="single")
    assert make_excerpts([take]).sounds == ()
