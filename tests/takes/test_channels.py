"""Wiring, gain and polarity: which take channel holds which track channel."""

import numpy as np
import pytest

from humcheck.simulation.path import PathModel
from humcheck.simulation.recorder import Recorder
from humcheck.simulation.simulate import simulate_take
from humcheck.simulation.transfer import ChannelPath, LinearPath
from humcheck.takes.alignment import align
from humcheck.takes.recognition import find_marker
from humcheck.tracks.layouts import layout
from tests.takes.lazy import LazyTake
from tests.takes.memory import MemoryTake

TRACK = layout("silence", "short")


def routing(gains, *, snr_db=20.0, seed=0, **more):
    take = LazyTake(TRACK, gains=np.array(gains), snr_db=snr_db, seed=seed, **more)
    return align(take, find_marker(take).sighting, TRACK).routing


CASES = [
    pytest.param([[1.0, 0.0], [0.0, 1.0]], "straight", {"left": 0, "right": 1}, id="straight"),
    pytest.param([[1.0, 0.03], [0.03, 1.0]], "straight", {"left": 0, "right": 1}, id="straight, crosstalk -30 dB"),
    pytest.param([[1.0, 0.0], [0.0, 0.2]], "straight", {"left": 0, "right": 1}, id="straight, right 14 dB down"),
    pytest.param([[0.0, 1.0], [1.0, 0.0]], "swapped", {"left": 1, "right": 0}, id="swapped"),
    pytest.param([[0.03, 1.0], [1.0, 0.03]], "swapped", {"left": 1, "right": 0}, id="swapped, crosstalk"),
    pytest.param([[0.5, 0.5], [0.5, 0.5]], "merged", {"left": 0, "right": 1}, id="merged"),
    pytest.param([[0.5, 0.4], [0.0, 0.0]], "merged", {"left": 0, "right": 0}, id="merged into the left"),
    pytest.param([[1.0, 0.0], [0.0, 0.0]], "left-only", {"left": 0}, id="left only"),
    pytest.param([[0.0, 0.0], [1.0, 0.0]], "left-only", {"left": 1}, id="left only, in the right"),
    pytest.param([[0.0, 0.0], [0.0, 1.0]], "right-only", {"right": 1}, id="right only"),
    pytest.param([[1.0, 0.0], [1.0, 0.0]], "mono-source", {"left": 0}, id="left in both"),
    pytest.param([[1.0, 0.0]], "left-only", {"left": 0}, id="mono file, left"),
    pytest.param([[0.0, 1.0]], "right-only", {"right": 0}, id="mono file, right"),
    pytest.param([[0.5, 0.5]], "merged", {"left": 0, "right": 0}, id="mono file, merged"),
]


@pytest.mark.parametrize(("gains", "channel_map", "sources"), CASES)
def test_wiring(gains, channel_map, sources):
    # Every other case inverted.
    sign = 1.0 if len(channel_map) % 2 else -1.0
    found = routing(sign * np.array(gains))
    assert (found.channel_map, found.sources) == (channel_map, sources)
    assert set(found.polarity.values()) == {int(sign)}


@pytest.mark.parametrize("snr_db", [20.0, 60.0])
def test_gain_and_single_inverted_channel(snr_db):
    found = routing([[0.5, 0.0], [0.0, -0.25]], snr_db=snr_db)
    # 6.0206 and 12.0412 dB down. Noise at 20 dB: 1 % of the amplitude over some 600 samples around 1 kHz, 8 markers.
    tolerance_db = 0.15 if snr_db == 20.0 else 0.002
    assert found.gain_db["left"] == pytest.approx(-6.0206, abs=tolerance_db)
    assert found.gain_db["right"] == pytest.approx(-12.0412, abs=2.0 * tolerance_db)
    assert found.polarity == {"left": 1, "right": -1}


def test_gain_is_read_at_the_tone_whatever_a_filter_does_elsewhere():
    dull = ChannelPath(gain_db=-2.0, high_corners_hz=(4000.0,), low_corners_hz=(60.0,))
    simulated = simulate_take(TRACK, path=PathModel(linear=LinearPath(left=dull, right=dull)))
    take = MemoryTake(simulated.samples, 48000)
    found = align(take, find_marker(take).sighting, TRACK)
    # The mean over the band around the tone is not quite its middle.
    assert found.gain_db["left"] == pytest.approx(simulated.truth.gain_db[0], abs=0.05)
    assert found.polarity["left"] == 1


@pytest.mark.parametrize(
    ("channel_map", "n_channels"),
    [("swapped", 2), ("merged", 2), ("right-only", 2), ("straight", 1), ("swapped", 1), ("right-only", 1)],
)
def test_the_simulations_wirings(channel_map, n_channels):
    path = PathModel(linear=LinearPath(channel_map=channel_map), recorder=Recorder(n_channels=n_channels, bits=16))
    take = MemoryTake(simulate_take(TRACK, path=path).samples, 48000)
    sighting = find_marker(take).sighting
    if (channel_map, n_channels) == ("right-only", 1):
        assert sighting is None  # a mono recording of the silent channel
        return
    mono = {"straight": "left-only", "swapped": "right-only"}
    expected = channel_map if n_channels == 2 else mono.get(channel_map, channel_map)
    assert align(take, sighting, TRACK).channel_map == expected
