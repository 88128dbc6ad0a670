"""Order and times of the sections."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from humcheck.errors import UnusableCall
from humcheck.results.rows import TrackIdentity
from humcheck.tracks.layouts import CURRENT_LAYOUT, LENGTHS, NAMES, layout, layout_of
from humcheck.tracks.waveforms import track_waveform

GOLDEN = Path(__file__).parent / "golden"
ALL_TRACKS = [pytest.param(name, length, id=f"{name}-{length}") for name in NAMES for length in LENGTHS]


@pytest.mark.parametrize(("name", "length"), ALL_TRACKS)
def test_layout_1_stays_as_it_is(name, length):
    """Frozen: our own earlier output. Takes of layout 1 are read by it for ever; a change is a new layout number."""
    golden = json.loads((GOLDEN / "layout_1.json").read_text(encoding="utf-8"))[f"{name}-{length}"]
    track = layout(name, length, 1)
    assert track.duration_s == golden["duration_s"]
    found = [
        [section.name, section.kind, section.start_s, section.end_s, section.channels, section.level_dbfs]
        for section in track.sections
    ]
    assert found == golden["sections"]
    codes = ["".join(map(str, marker.marker_bits)) for marker in track.markers]
    assert codes == golden["marker_codes"]


def test_the_sound_of_layout_1_stays_as_it_is():
    """Frozen: our own earlier output, at 300 random times; 1e-9 is what other maths libraries may do differently."""
    golden = json.loads((GOLDEN / "waveform_1.json").read_text(encoding="utf-8"))
    sound = track_waveform(layout("full", "short", 1), np.array(golden["time_s"]), 48000.0)
    np.testing.assert_allclose(sound, np.array(golden["sound"]), rtol=0, atol=1e-9)
    assert np.count_nonzero(sound) > 200  # many of the times fall into sound


@pytest.mark.parametrize(("name", "length"), ALL_TRACKS)
class TestEveryTrack:
    def test_sections_lie_in_order_with_silence_between(self, name, length):
        track = layout(name, length)
        ends_s = [0.0, *(section.end_s for section in track.sections)]
        starts_s = [*(section.start_s for section in track.sections), track.duration_s]
        gaps_s = np.subtract(starts_s, ends_s)
        assert gaps_s.min() >= 0.25 - 1e-12
        assert gaps_s[0] >= 0.5  # lead-in
        assert gaps_s[-1] >= 0.5

    @pytest.mark.parametrize("rate_hz", [44100, 48000, 96000])
    def test_starts_are_whole_samples_at_every_rate(self, name, length, rate_hz):
        for section in layout(name, length).sections:
            assert (section.start_s * rate_hz).is_integer()
            assert round(section.end_s * rate_hz) == pytest.approx(section.end_s * rate_hz, abs=1e-6)

    def test_names_are_unique(self, name, length):
        names = [section.name for section in layout(name, length).sections]
        assert len(set(names)) == len(names)

    def test_loud_level_first_marker_last(self, name, length):
        track = layout(name, length)
        assert track.sections[0].kind == "level"
        assert track.sections[0].level_dbfs == max(section.level_dbfs or -999.0 for section in track.sections)
        assert track.sections[1] is track.markers[0]
        assert track.sections[-1] is track.markers[-1]

    def test_clock_is_followed_every_few_seconds_where_there_is_sound(self, name, length):
        """At most 13 s of sound between the markers."""
        track = layout(name, length)
        for before, after in zip(track.markers, track.markers[1:], strict=False):
            between = [section for section in track.sections if before.end_s <= section.start_s < after.start_s]
            if all(section.kind != "quiet" for section in between):
                assert after.start_s - before.end_s <= 13.5

    def test_markers_count_up(self, name, length):
        track = layout(name, length)
        assert [marker.marker_index for marker in track.markers] == list(range(len(track.markers)))
        assert len(track.markers) >= 3

    def test_each_sweep_rings_out(self, name, length):
        track = layout(name, length)
        for sweep in track.sections_of("sweep"):
            following = min(section.start_s for section in track.sections if section.start_s >= sweep.end_s)
            assert following - sweep.end_s >= 0.7


@pytest.mark.parametrize(("length", "quiet_s"), [("short", 10.0), ("standard", 30.0), ("long", 60.0)])
def test_quiet_has_the_promised_length(length, quiet_s):
    assert layout("full", length).section("quiet").duration_s == quiet_s
    assert layout("silence", length).section("quiet").duration_s == quiet_s


def test_full_holds_what_the_others_hold():
    full = {section.name for section in layout("full", "standard").sections}
    for name in ("sweep", "silence"):
        assert {section.name for section in layout(name, "standard").sections} <= full


def test_sweep_covers_hearing_and_more():
    for channel in ("left", "right"):
        low_hz, high_hz = layout("sweep", "short").section(f"sweep-{channel}").frequencies_hz
        assert low_hz <= 8.0
        assert high_hz > 20000.0


def test_standard_full_track_lasts_about_a_minute_and_a_half():
    assert 95.0 <= layout("full", "standard").duration_s <= 110.0


def test_unknown_layout_number_names_the_way_out():
    with pytest.raises(UnusableCall, match="newer version"):
        layout("full", "short", 15)


def test_unknown_name_is_a_programmers_error():
    with pytest.raises(ValueError, match="'fast'"):
        layout("full", "fast")


def test_a_layout_is_found_by_its_identity():
    identity = TrackIdentity(name="silence", length="long", layout=CURRENT_LAYOUT)
    assert layout_of(identity).identity == identity


def test_missing_section_is_named():
    with pytest.raises(KeyError, match="imd-smpte"):
        layout("silence", "short").section("imd-smpte")
    assert not layout("silence", "short").has_section("imd-smpte")
