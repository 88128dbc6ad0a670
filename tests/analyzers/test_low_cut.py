"""Steep cuts of low sound, and ends of the band, found by the markers where a take holds no sweep."""

import numpy as np
import pytest
import soundfile
from scipy import signal

from humcheck.analyzers.take_faults import marker_faults
from humcheck.estimates.marker_response import marker_responses
from humcheck.pipeline.measure import measure_take
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.simulation import ChannelPath, Hum, LinearPath, Mains, PathModel, ground_loop, simulate_take
from humcheck.takes.take import sought_in
from humcheck.tracks.layouts import layout
from tests.takes.memory import MemoryTake

RATE_HZ = 48000
SILENCE = layout("silence", "short")


@pytest.fixture(scope="module")
def played():
    """A silence track through a path with a coupling capacitor, and the hum of a ground loop at -70 dBFS."""
    side = ChannelPath(gain_db=-5.0, low_corners_hz=(8.0,))
    path = PathModel(
        linear=LinearPath(left=side, right=side),
        mains=Mains(frequency_hz=50.02),
        hum=(Hum(amplitudes=ground_loop(-70.0)),),
    )
    return simulate_take(SILENCE, path=path, seed=4).samples


def through(sound, *filters, channels=(0, 1), hiss_dbfs=-85.0):
    """The take through second-order sections in some of its channels, a recorder's hiss after them."""
    made = sound.copy()
    for sections in filters:
        made[:, channels] = signal.sosfilt(sections, made[:, channels], axis=0)
    # A sine of full scale has the RMS 0.707.
    return made + 0.707 * 10.0 ** (hiss_dbfs / 20.0) * np.random.default_rng(2).normal(size=made.shape)


def high_pass(order, corner_hz):
    return signal.butter(order, corner_hz, "high", fs=RATE_HZ, output="sos")


def faults_of(samples, role="direct"):
    return marker_faults(sought_in(MemoryTake(samples, RATE_HZ)), role)


@pytest.mark.parametrize(("order", "corner_hz"), [(2, 300.0), (4, 120.0), (4, 300.0), (8, 150.0)])
def test_a_speech_filter_is_found_and_named(played, order, corner_hz):
    (fault,) = faults_of(through(played, high_pass(order, corner_hz)))
    assert (fault.code, fault.channel) == ("low-cut", None)
    assert "hum_level" in fault.spoils
    said_hz = float(fault.sentence.split(" Hz")[0].rsplit(maxsplit=1)[1])
    # The corner of a Butterworth filter is 3 dB down; points lie a twelfth of an octave (6 %) apart.
    assert said_hz == pytest.approx(corner_hz, rel=0.09)


@pytest.mark.parametrize(
    "filters",
    [
        pytest.param([], id="none"),
        pytest.param([high_pass(1, 60.0)] * 2, id="two coupling capacitors"),
        pytest.param([high_pass(1, 300.0)], id="a capacitor far too small"),
        pytest.param([high_pass(2, 60.0)], id="steep, but below the markers' reach"),
        pytest.param([signal.butter(2, 8000.0, "low", fs=RATE_HZ, output="sos")], id="dull"),
    ],
)
def test_what_circuits_do_is_no_fault(played, filters):
    assert faults_of(through(played, *filters)) == []


def test_noise_makes_no_filter_of_nothing(played):
    for hiss_dbfs in (-60.0, -40.0, -30.0):
        assert faults_of(through(played, hiss_dbfs=hiss_dbfs)) == []


def test_one_channel_alone_is_named(played):
    (fault,) = faults_of(through(played, high_pass(4, 300.0), channels=[1]))
    assert fault.channel == "right"
    assert "in the right channel" in fault.sentence


def test_of_a_through_take_the_device_may_do_it(played):
    (fault,) = faults_of(through(played, high_pass(4, 300.0)), role="through")
    assert fault.spoils == []
    assert "the device itself" in fault.sentence


@pytest.mark.parametrize("limit_hz", [3400.0, 10000.0, 15500.0])
def test_an_end_of_the_band_is_found(played, limit_hz):
    brick = signal.ellip(10, 0.1, 80.0, limit_hz, "low", fs=RATE_HZ, output="sos")
    (fault,) = faults_of(through(played, brick))
    assert fault.code == "band-limit"
    said_hz = 1000.0 * float(fault.sentence.split(" kHz")[0].rsplit(maxsplit=1)[1])
    # An elliptic filter is 20 dB down shortly after its edge.
    assert limit_hz < said_hz < 1.08 * limit_hz


def test_the_response_is_the_filters_within_what_it_claims(played):
    """The capacitor of 8 Hz, the hum and a filter's ringing are not in the model."""
    sections = high_pass(4, 150.0)
    for response in marker_responses(sought_in(MemoryTake(through(played, sections), RATE_HZ))):
        truth = np.abs(signal.sosfreqz(sections, response.frequency_hz, fs=RATE_HZ)[1])
        upper = response.frequency_hz > 100.0
        # 0.5 dB are what windows of 29 ms leave on a slope of 24 dB an octave.
        ratio = response.magnitude / (truth * 10.0 ** (-5.0 / 20.0))
        allowed = 10.0 ** (0.5 / 20.0) - 1.0 + 2.5 * response.sd / response.magnitude
        assert np.all(np.abs(ratio - 1.0)[upper] < allowed[upper])


def test_hum_below_a_speech_filter_is_spoilt(played, tmp_path):
    path = tmp_path / "direct-1.wav"
    soundfile.write(path, through(played, high_pass(4, 300.0)), RATE_HZ, subtype="PCM_24")
    take = measure_take(TakeRequest(path=str(path), role="direct"), "t1", MeasuringSettings(mains_hz=50.0))
    assert "low-cut" in [fault.code for fault in take.row.faults]
    assert all(row.quantity not in ("hum_level", "buzz_level", "noise_level") for row in take.measures)
    reasons = {row.quantity: row.reason for row in take.not_measured}
    assert "speech filter turns hum down" in reasons["hum_level"]
