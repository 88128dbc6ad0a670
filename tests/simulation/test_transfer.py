"""The linear path as it stands in a take: tones sent through, read by least squares."""

import numpy as np
import pytest

from humcheck.simulation import (
    ChannelPath,
    Crosstalk,
    Crystal,
    LinearPath,
    PathModel,
    Polynomial,
    Recorder,
    low_corner_hz,
    response_delta_db,
    simulate_take,
)
from humcheck.simulation.components import corner_hz
from tests.simulation.reading import decibels, lines, sine

RATE_HZ = 48000
FLOAT = Recorder(bits=None)


def sent_through(linear, frequency_hz, left=1.0, right=0.0):
    """Return complex amplitudes in both channels for a sine that drives them with factors `left` and `right`."""
    source = sine(frequency_hz, 4.0, RATE_HZ, left=0.5 * left, right=0.5 * right)
    take = simulate_take(source, path=PathModel(linear=linear, recorder=FLOAT), lead_s=0.0, tail_s=0.0)
    # A sine at time 0 is -j in the cosine convention.
    piece = take.samples[RATE_HZ : 3 * RATE_HZ]
    return lines(piece, RATE_HZ, [frequency_hz])[0] * np.exp(-2j * np.pi * frequency_hz) * 2j


@pytest.mark.parametrize("frequency_hz", [20.0, 997.0, 15000.0])
def test_first_order_filters_are_the_analogue_ones(frequency_hz):
    low_hz, high_hz = corner_hz(10e3, 1e-6), 20e3
    linear = LinearPath(left=ChannelPath(gain_db=-6.0, low_corners_hz=(low_hz,), high_corners_hz=(high_hz,)))
    # 1/sqrt(1 + (fc/f)^2) and 1/sqrt(1 + (f/fc)^2), with their phases, by hand; no digital filter bends them.
    expected = 10 ** (-6 / 20) / (1 - 1j * low_hz / frequency_hz) / (1 + 1j * frequency_hz / high_hz)
    assert abs(sent_through(linear, frequency_hz)[0] / expected - 1) < 1e-6


def test_crosstalk_of_10_pf_into_909_ohm():
    stray = Crosstalk(capacitance_f=10e-12, victim_ohm=10e3 / 11)
    linear = LinearPath(into_right=stray)
    for frequency_hz, expected_db in ((1000.0, -84.864), (2000.0, -78.844), (15625.0, -60.988)):
        idle, driven = sent_through(linear, frequency_hz)[[1, 0]]
        assert decibels(idle / driven) == pytest.approx(expected_db, abs=1e-3)
    assert not sent_through(linear, 1000.0, left=0.0, right=1.0)[0] > 1e-9


def test_crosstalk_by_a_shared_return_is_flat():
    linear = LinearPath(into_left=Crosstalk(shared=-1e-4))
    for frequency_hz in (100.0, 10_000.0):
        idle, driven = sent_through(linear, frequency_hz, left=0.0, right=1.0)
        assert idle / driven == pytest.approx(-1e-4, abs=1e-9)


def test_crosstalk_given_by_its_level_at_1k():
    stray = Crosstalk.at_1k(-70.0)
    assert decibels(stray.ratio(np.array([1000.0]))[0]) == pytest.approx(-70.0, abs=1e-9)
    # R 2 pi f C = 10^(-70/20) / sqrt(1 - 10^-7): the corner lies at 3162.3 kHz.
    assert stray.corner_hz == pytest.approx(3162.277e3, rel=1e-5)


def test_polarity():
    linear = LinearPath(right=ChannelPath(polarity=-1))
    found = sent_through(linear, 997.0, left=1.0, right=1.0)
    assert found == pytest.approx([1.0, -1.0], abs=1e-6)


@pytest.mark.parametrize(
    ("channel_map", "expected"),
    [
        ("straight", (1.0, 0.2)),
        ("swapped", (0.2, 1.0)),
        ("merged", (0.6, 0.6)),
        ("mono-source", (0.6, 0.6)),
        ("left-only", (1.0, 0.0)),
        ("right-only", (0.0, 0.2)),
        ("none", (0.0, 0.0)),
    ],
)
def test_wiring(channel_map, expected):
    found = sent_through(LinearPath(channel_map=channel_map), 997.0, left=1.0, right=0.2)
    assert found == pytest.approx(expected, abs=1e-6)


def test_merging_before_and_after_unlike_channels_differs():
    unlike = {"left": ChannelPath(gain_db=-6.0206), "right": ChannelPath()}
    merged = sent_through(LinearPath(**unlike, channel_map="merged"), 997.0, left=1.0, right=0.0)
    mono = sent_through(LinearPath(**unlike, channel_map="mono-source"), 997.0, left=1.0, right=0.0)
    # Half of what the left channel passes in both; half of the source through each channel.
    assert merged == pytest.approx([0.25, 0.25], abs=1e-5)
    assert mono == pytest.approx([0.25, 0.5], abs=1e-5)


def test_neighbour_heard_through_a_stray_capacitance():
    bleed = ChannelPath(series_capacitance_f=1e-12, series_load_ohm=10e3 / 11)
    found = sent_through(LinearPath(left=bleed, right=bleed), 1000.0, left=1.0, right=1.0)
    assert decibels(found) == pytest.approx([-104.864] * 2, abs=1e-3)


def test_player_clock_moves_the_tone_under_the_filter():
    # Played 0.1 % fast, a 20 Hz tone is at 20.02 Hz when it meets the capacitor.
    linear = LinearPath(left=ChannelPath(low_corners_hz=(20.0,)))
    path = PathModel(linear=linear, player=Crystal(ppm=1000.0), recorder=FLOAT)
    take = simulate_take(sine(20.0, 6.0, RATE_HZ), path=path, lead_s=0.0, tail_s=-0.5)
    found = np.abs(lines(take.samples[RATE_HZ : 5 * RATE_HZ], RATE_HZ, [20.02])[0])
    # At 20 Hz it would be 0.707107, at 20.02 Hz 0.707460.
    assert found[0] / found[1] == pytest.approx(1 / np.sqrt(1 + (20.0 / 20.02) ** 2), rel=2e-5)


def test_truth_of_response_and_crosstalk():
    direct = PathModel(linear=LinearPath(left=ChannelPath(low_corners_hz=(2.0,))))
    through = PathModel(
        linear=LinearPath(left=ChannelPath(gain_db=-3.0, low_corners_hz=(2.0, 20.0)), into_right=Crosstalk.at_1k(-80.0))
    )
    silence = np.zeros((480, 2))
    of_direct = simulate_take(silence, path=direct).truth
    of_through = simulate_take(silence, path=through).truth
    delta = response_delta_db(of_through, of_direct, np.array([20.0, 20e3]))
    # The capacitor that both have cancels; 3.0103 dB at the corner.
    assert delta[:, 0] == pytest.approx([-3.0 - 3.0103, -3.0], abs=1e-4)
    assert delta[:, 1] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert of_through.crosstalk_1k_db == pytest.approx([-400.0, -80.0], abs=1e-9)
    assert of_through.balance_db == pytest.approx(-3.0017, abs=2e-4)  # and 10 lg(1 + (20/997)^2) = 0.0017 dB


def test_corner_of_one_capacitor_more():
    silence = np.zeros((480, 2))
    direct = simulate_take(silence, path=PathModel(linear=LinearPath(left=ChannelPath(low_corners_hz=(1.6,))))).truth
    linear = LinearPath(left=ChannelPath(gain_db=-2.0, low_corners_hz=(1.6, 15.9155)))
    through = simulate_take(silence, path=PathModel(linear=linear)).truth
    # Half the power of 997 Hz, where the capacitor itself passes 1 / (1 + r), r = (15.9155/997)^2:
    # 1 + (fc/f)^2 = 2 (1 + r), so f = fc / sqrt(1 + 2 r) = 15.9155 x 0.999745.
    assert low_corner_hz(through, direct, 0) == pytest.approx(15.9155 * 0.999745, rel=1e-6)
    with pytest.raises(ValueError, match="not 3.01 dB down"):
        low_corner_hz(through, direct, 1)


def test_tone_gain_of_a_bent_curve():
    path = PathModel(
        linear=LinearPath(left=ChannelPath(gain_db=-6.0206)), distortion=Polynomial(coefficients=(0.01, -0.04))
    )
    truth = simulate_take(np.zeros((480, 2)), path=path).truth
    # x - 0.04 x^3 of an amplitude a: a (1 - 0.03 a^2); a = 0.5 and 1 for a full-scale tone.
    expected = [-6.0206 + decibels(1 - 0.03 * 0.25), decibels(1 - 0.03)]
    assert truth.tone_gain_db(0.0) == pytest.approx(expected, abs=1e-5)
    assert truth.gain_db == pytest.approx([-6.0206, 0.0], abs=1e-9)
