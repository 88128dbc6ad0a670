"""The streams of the sound library, their callbacks called here as the library calls them."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from humcheck.audio.files import open_take
from humcheck.errors import UnusableCall
from humcheck.soundcard import streams
from humcheck.soundcard.devices import Device
from humcheck.soundcard.session import DeviceGone

RATE_HZ = 48000
DEVICE = Device(number=3, name="card\x1b[2J", system="First", n_inputs=2, n_outputs=2, rate_hz=RATE_HZ)
WELL = SimpleNamespace(input_overflow=False, output_underflow=False)


class RefusedError(Exception):
    pass


class EndOfTrack(Exception):
    pass


class FakeStream:
    refuse = False

    def __init__(self, **options):
        if self.refuse:
            raise RefusedError("Invalid sample rate")
        self.options = options
        self.active = True

    def start(self):
        if self.options["device"] == 99:
            raise RefusedError("Device unavailable")

    def abort(self, ignore_errors):
        raise RefusedError("gone")

    def close(self, ignore_errors):
        pass


@pytest.fixture
def library(monkeypatch):
    found = SimpleNamespace(
        InputStream=FakeStream, OutputStream=FakeStream, PortAudioError=RefusedError, CallbackStop=EndOfTrack
    )
    monkeypatch.setattr(streams, "sound_library", lambda: found)
    return found


@pytest.fixture
def source(library):
    return streams.open_input(DEVICE, rate_hz=RATE_HZ, n_channels=2)


def hand_over(source, value=0.0, status=WELL):
    block = np.full((2400, 2), value, dtype=np.float32)
    source._stream.options["callback"](block, len(block), None, status)
    return block


def test_blocks_are_copies_in_order(source):
    for value in (0.25, 0.5):
        hand_over(source, value)[:] = 9.0  # the library uses its buffer again
    assert [float(source.next_block(0.1).samples[0, 0]) for _ in range(2)] == [0.25, 0.5]
    assert source.next_block(0.01) is None


def test_an_overflow_marks_the_block_after_the_loss(source):
    hand_over(source)
    hand_over(source, status=SimpleNamespace(input_overflow=True))
    hand_over(source)
    assert [source.next_block(0.1).lost_before for _ in range(3)] == [False, True, False]


def test_what_waits_for_the_disk_is_bounded_and_what_is_dropped_is_told(source):
    for _ in range(1000):  # 50 s of sound that nobody fetches
        hand_over(source)
    waiting = []
    while (block := source.next_block(0.01)) is not None:
        waiting.append(block.lost_before)
    assert 500 < len(waiting) < 700
    assert not any(waiting)
    hand_over(source)
    assert source.next_block(0.1).lost_before


def play(player, status=WELL):
    """Return all that the player hands over, as the library would ask for it."""
    blocks = []
    while True:
        block = np.full((2400, 2), 77, dtype=np.int32)
        try:
            player._stream.options["callback"](block, len(block), None, status)
        except EndOfTrack:
            return np.concatenate([*blocks, block])
        blocks.append(block)


@pytest.fixture
def track(tmp_path):
    steps = np.random.default_rng(1).integers(-(2**23), 2**23, (12345, 2), dtype=np.int32)
    soundfile.write(tmp_path / "track.wav", steps << 8, RATE_HZ, subtype="PCM_24")
    return steps, open_take(tmp_path / "track.wav")


def test_the_track_is_played_bit_for_bit_between_silences(library, track):
    steps, file = track
    player = streams.open_player(DEVICE, file)
    assert player.duration_s == pytest.approx(12345 / RATE_HZ + 1.0)
    played = play(player)
    before = round(0.5 * RATE_HZ)
    assert not played[:before].any()
    np.testing.assert_array_equal(played[before : before + len(steps)], steps << 8)
    after = played[before + len(steps) :]
    assert len(after) >= 0.5 * RATE_HZ
    assert not after.any()


def test_a_player_is_finished_once_the_card_has_played_what_it_was_given(library, track):
    player = streams.open_player(DEVICE, track[1])
    play(player)
    assert player.alive
    assert not player.finished
    player._stream.options["finished_callback"]()
    assert player.finished


def test_a_player_that_ends_before_its_track_is_gone(library, track):
    player = streams.open_player(DEVICE, track[1])
    player._stream.options["finished_callback"]()
    assert not player.alive
    assert not player.finished


def test_gaps_are_counted(library, track):
    player = streams.open_player(DEVICE, track[1])
    played = play(player, SimpleNamespace(output_underflow=True))
    assert player.gaps == len(played) // 2400 - 1  # none before the first block


@pytest.mark.parametrize(
    "opened",
    [
        lambda track: streams.open_input(DEVICE, rate_hz=RATE_HZ, n_channels=2),
        lambda track: streams.open_player(DEVICE, track),
    ],
    ids=["input", "player"],
)
def test_a_device_that_refuses_is_told_with_the_remedy(library, track, monkeypatch, opened):
    monkeypatch.setattr(FakeStream, "refuse", True)
    with pytest.raises(UnusableCall, match=r"at 48000 Hz \(Invalid sample rate\)") as error:
        opened(track[1])
    assert "--list" in error.value.sentence()
    assert "\x1b" not in error.value.sentence()


def test_a_device_that_does_not_start(library, track):
    taken = Device(number=99, name="card", system="First", n_inputs=2, n_outputs=2, rate_hz=RATE_HZ)
    with pytest.raises(UnusableCall, match="Device unavailable"):
        streams.open_input(taken, rate_hz=RATE_HZ, n_channels=2).start()
    with pytest.raises(DeviceGone, match="Device unavailable"):
        streams.open_player(taken, track[1]).start()


def test_a_device_that_is_gone_is_closed_without_a_word(source):
    source.close()
