"""The course of a recording: when the track starts, when the recording ends, and what is kept if something fails."""

from __future__ import annotations

import itertools
import tracemalloc

import numpy as np
import pytest

from humcheck.soundcard.meter import LevelMeter
from humcheck.soundcard.session import FIRST_BLOCK_S, GONE_AFTER_S, LEAD_S, TAIL_S, run_session
from humcheck.soundcard.writer import TakeWriter
from tests.soundcard.fakes import BLOCK, RATE_HZ, FakePlayer, FakeSource, ListWriter

TRACK = np.random.default_rng(3).uniform(-0.9, 0.9, (4 * RATE_HZ + 123, 2))


def course(source, player=None, writer=None, **options):
    writer = writer or ListWriter()
    phases = []
    recorded = run_session(
        source,
        writer,
        LevelMeter(RATE_HZ, source.n_channels),
        player=player,
        show=lambda progress: phases.append((progress.phase, progress.left_s)),
        clock=itertools.count(step=0.1).__next__,
        **options,
    )
    return recorded, writer, phases


def test_the_recording_begins_before_and_ends_after_the_track():
    player = FakePlayer(TRACK)
    recorded, writer, phases = course(FakeSource(player, gain=1.0, noise=0.0, delay=777), player)
    assert recorded.ending.kind == "done"
    assert (recorded.n_lost, recorded.n_gaps) == (0, 0)
    take = writer.samples
    assert recorded.n_samples == len(take)
    start = int(np.flatnonzero(take.any(axis=1))[0])
    assert start >= LEAD_S * RATE_HZ
    np.testing.assert_array_equal(take[start : start + len(TRACK)], TRACK.astype(np.float32))
    assert len(take) - (start + len(TRACK)) >= RATE_HZ  # a second after its last sound
    assert [phase for phase, _ in itertools.groupby(phases, key=lambda shown: shown[0])] == ["lead", "track", "tail"]


def test_the_countdown_runs_to_zero():
    player = FakePlayer(TRACK)
    _, _, phases = course(FakeSource(player), player)
    left_s = [left for _, left in phases]
    assert left_s[0] == pytest.approx(LEAD_S + player.duration_s + TAIL_S, abs=0.1)
    assert left_s[-1] == pytest.approx(0.0, abs=0.1)
    assert all(later <= earlier + 0.1 for earlier, later in itertools.pairwise(left_s))


def test_alone_it_records_to_the_sample():
    recorded, writer, _ = course(FakeSource(n_channels=1), seconds=1.2345)
    assert recorded.ending.kind == "done"
    assert writer.samples.shape == (round(1.2345 * RATE_HZ), 1)


def test_the_user_ends_it():
    asked = itertools.count()
    recorded, writer, phases = course(FakeSource(), stop=lambda: next(asked) >= 10)
    assert recorded.ending.kind == "stopped"
    assert len(writer.samples) == recorded.n_samples == 10 * BLOCK
    assert phases[-1] == ("alone", None)


def test_lost_blocks_are_counted_but_for_those_before_the_first_sample():
    recorded, _, _ = course(FakeSource(events={0: "lost", 5: "lost", 9: "lost"}), seconds=1.0)
    assert recorded.n_lost == 2


@pytest.mark.parametrize("how", ["dead", "silent"])
def test_a_device_that_vanishes_costs_nothing_recorded_before(how):
    player = FakePlayer(TRACK)
    recorded, writer, _ = course(FakeSource(player, events={30: how}), player)
    assert recorded.ending.kind == "input-gone"
    assert recorded.ending.reason
    assert len(writer.samples) == recorded.n_samples == 30 * BLOCK


def test_the_first_block_may_be_late():
    """Some sound systems take seconds to wake; later in the course so long a silence means that the device is gone."""
    source = FakeSource()
    waits = round((FIRST_BLOCK_S + GONE_AFTER_S) / 2 / 0.1)
    late = iter([None] * waits)
    first = source.next_block
    source.next_block = lambda timeout_s: next(late, "over") and first(timeout_s)
    recorded, _, _ = course(source, seconds=0.5)
    assert recorded.ending.kind == "done"


def test_a_device_that_never_speaks_is_given_up():
    recorded, writer, _ = course(FakeSource(events={0: "silent"}), seconds=0.5)
    assert recorded.ending.kind == "input-gone"
    assert writer.blocks == []


def test_a_full_disk_ends_it():
    recorded, writer, _ = course(FakeSource(), writer=ListWriter(most=7), seconds=5.0)
    assert (recorded.ending.kind, recorded.ending.reason) == ("disk-full", "the disk is full")
    assert recorded.n_samples == 7 * BLOCK == len(writer.samples)


@pytest.mark.parametrize("fault", [{"gone_at": RATE_HZ}, {"fails": True}, {"stuck": True}])
def test_a_player_that_fails_ends_it(fault):
    player = FakePlayer(TRACK, **fault)
    recorded, writer, _ = course(FakeSource(player), player)
    assert recorded.ending.kind == "player-gone"
    assert len(writer.samples) >= LEAD_S * RATE_HZ


def test_gaps_in_the_playing_are_told():
    player = FakePlayer(TRACK, gaps=2)
    recorded, _, _ = course(FakeSource(player), player)
    assert recorded.n_gaps == 2


def test_ten_times_the_length_takes_the_same_memory(tmp_path):
    def peak_bytes(seconds):
        tracemalloc.start()
        try:
            with TakeWriter(tmp_path / "take.wav", rate_hz=RATE_HZ, n_channels=2) as writer:
                course(FakeSource(), writer=writer, seconds=seconds)
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    peak_bytes(0.5)  # what is loaded once
    assert peak_bytes(20.0) < peak_bytes(2.0) + 200_000
