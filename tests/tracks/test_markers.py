"""The marker: its code word and its chirps."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import correlate

from humcheck.results.rows import TrackIdentity
from humcheck.tracks import markers
from humcheck.tracks.layouts import layout
from humcheck.tracks.markers import LENGTHS, N_BITS, NAMES, decode_marker, encode_marker
from humcheck.tracks.waveforms import bit_chirp, marker_chirp, section_waveform

identities = st.builds(
    TrackIdentity, name=st.sampled_from(NAMES), length=st.sampled_from(LENGTHS), layout=st.integers(1, 15)
)
indices = st.integers(0, 31)
RATE_HZ = 48000


@settings(deadline=None)
@given(identity=identities, index=indices)
def test_what_is_encoded_is_decoded(identity, index):
    assert decode_marker(encode_marker(identity, index)) == (identity, index)


@settings(deadline=None)
@given(identity=identities, index=indices)
def test_any_one_or_two_wrong_bits_are_noticed(identity, index):
    """Derived: the generator x^5 + x^2 + 1 is primitive of order 31, so words up to 31 bits differ in 3 places."""
    word = encode_marker(identity, index)
    for wrong in [*combinations(range(N_BITS), 1), *combinations(range(N_BITS), 2)]:
        assert decode_marker([bit ^ (place in wrong) for place, bit in enumerate(word)]) is None


@settings(deadline=None)
@given(identity=identities, index=indices)
def test_the_check_is_the_remainder_of_a_division(identity, index):
    """Derived: with the start value, five ones, in front, the word divides by x^5 + x^2 + 1 over GF(2)."""
    remainder = int("11111" + "".join(map(str, encode_marker(identity, index))), 2)
    for shift in reversed(range(N_BITS)):
        if remainder >> shift + 5 & 1:
            remainder ^= 0b100101 << shift
    assert remainder == 0


@settings(deadline=None)
@given(st.lists(st.integers(0, 1), min_size=N_BITS, max_size=N_BITS))
def test_a_word_that_is_accepted_is_one_that_is_sent(bits):
    decoded = decode_marker(bits)
    assert decoded is None or list(encode_marker(*decoded)) == bits


@pytest.mark.parametrize("bit", [0, 1])
def test_a_constant_polarity_is_no_word(bit):
    assert decode_marker([bit] * N_BITS) is None


def test_an_inverted_word_is_no_word_of_a_known_track():
    """A slot whose long chirp was missed must not be read upside down."""
    for name in NAMES:
        for length in LENGTHS:
            for marker in layout(name, length).markers:
                assert decode_marker([1 - bit for bit in marker.marker_bits]) is None


@pytest.mark.parametrize(
    ("identity", "index"),
    [
        (TrackIdentity(name="full", length="short", layout=16), 0),
        (TrackIdentity(name="full", length="short", layout=1), 32),
        (TrackIdentity(name="full", length="short", layout=1), -1),
        (TrackIdentity(name="fast", length="short", layout=1), 0),
    ],
)
def test_what_does_not_fit_is_refused(identity, index):
    with pytest.raises(ValueError, match="fit|must be one of"):
        encode_marker(identity, index)


def test_a_word_of_another_length_is_refused():
    with pytest.raises(ValueError, match="18"):
        decode_marker([0, 1])


def test_left_and_right_chirps_are_told_apart():
    """Derived: chirps of opposite slope correlate as 1/sqrt(2 T B), here -39.5 dB, plus Fresnel ripple of 1.4 dB."""
    time_s = np.arange(round(markers.CHIRP_S * RATE_HZ)) / RATE_HZ
    up = marker_chirp("left", time_s, RATE_HZ)
    down = marker_chirp("right", time_s, RATE_HZ)
    crossed = np.abs(correlate(up, down)).max() / np.sqrt(up @ up * (down @ down))
    assert 20 * np.log10(crossed) < -38.0


def test_code_chirps_are_not_taken_for_long_ones():
    time_s = np.arange(round(markers.CHIRP_S * RATE_HZ)) / RATE_HZ
    for channel in ("left", "right"):
        long = marker_chirp(channel, time_s, RATE_HZ)
        short = bit_chirp(channel, time_s, RATE_HZ)
        assert np.abs(correlate(long, short)).max() / (long @ long) < 0.05


def test_right_chirps_are_left_ones_backwards():
    """So both channels are measured alike; the sign is free."""
    time_s = np.linspace(1e-4, markers.CHIRP_S - 1e-4, 997)
    up = marker_chirp("left", time_s, RATE_HZ)
    np.testing.assert_allclose(marker_chirp("right", markers.CHIRP_S - time_s, RATE_HZ), -up, rtol=0, atol=1e-9)


def test_chirps_start_and_end_softly():
    step_s = 1e-6
    for chirp, duration_s in ((marker_chirp, markers.CHIRP_S), (bit_chirp, markers.BIT_S)):
        for channel in ("left", "right"):
            edges = chirp(channel, np.array([0.0, step_s, duration_s - step_s, duration_s]), RATE_HZ)
            assert np.abs(edges).max() < 1e-12
            assert not chirp(channel, np.array([-1e-9, duration_s + 1e-9]), RATE_HZ).any()


@pytest.mark.parametrize("name", NAMES)
def test_every_marker_says_its_track_in_both_channels(name):
    track = layout(name, "standard")
    time_s = np.arange(round(markers.MARKER_S * RATE_HZ)) / RATE_HZ
    for index, marker in enumerate(track.markers):
        for channel in ("left", "right"):
            sound = section_waveform(marker, marker.start_s + time_s, channel, RATE_HZ)
            assert decode_marker(read_code(sound, channel)) == (track.identity, index)


def read_code(sound, channel):
    """Read the code by correlation with the short chirp, polarity against the long one."""
    slot = round(markers.SLOT_OFFSET_S[channel] * RATE_HZ)
    n_long, n_bit = round(markers.CHIRP_S * RATE_HZ), round(markers.BIT_S * RATE_HZ)
    long = marker_chirp(channel, np.arange(n_long) / RATE_HZ, RATE_HZ)
    short = bit_chirp(channel, np.arange(n_bit) / RATE_HZ, RATE_HZ)
    sign = np.sign(long @ sound[slot : slot + n_long])
    first = slot + round(markers.CODE_OFFSET_S * RATE_HZ)
    return [
        int(sign * (short @ sound[place : place + n_bit]) > 0) for place in range(first, first + N_BITS * n_bit, n_bit)
    ]


def test_the_slots_take_turns():
    """Left and right never sound together, and both fit into the marker."""
    marker = layout("full", "short").markers[0]
    time_s = np.arange(-480, round(markers.MARKER_S * 96000) + 480) / 96000
    left = section_waveform(marker, marker.start_s + time_s, "left", 96000.0)
    right = section_waveform(marker, marker.start_s + time_s, "right", 96000.0)
    assert not np.any((left != 0) & (right != 0))
    assert np.all(time_s[right != 0] >= markers.SLOT_OFFSET_S["right"])
    assert markers.SLOT_OFFSET_S["right"] + markers.SLOT_S <= markers.MARKER_S


def test_long_chirps_are_the_same_in_all_markers():
    track = layout("full", "standard")
    time_s = np.arange(round(markers.CHIRP_S * RATE_HZ)) / RATE_HZ
    for channel in ("left", "right"):
        offset_s = markers.SLOT_OFFSET_S[channel]
        template = marker_chirp(channel, time_s, RATE_HZ)
        for marker in track.markers:
            sound = section_waveform(marker, marker.start_s + offset_s + time_s, channel, RATE_HZ)
            # Times near 100 s are known to 1.4e-14 s in double precision: 2e-9 rad at 18 kHz.
            np.testing.assert_allclose(sound, template, rtol=0, atol=2e-9)
