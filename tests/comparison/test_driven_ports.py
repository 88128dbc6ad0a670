"""Sound of a driven neighbour at the selected port, and the delay of a split take, from takes with known paths."""

import math

import pytest

from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.split_takes import delay_rows
from humcheck.pipeline.compare import compare_files
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.results import Key, NotMeasured, TakeRow
from humcheck.simulation import ChannelPath, Crystal, Hiss, LinearPath, PathModel, simulate_take
from humcheck.tracks.layouts import layout

SETTINGS = MeasuringSettings(mains_hz=50.0)


def compared(folder, takes, track):
    """Return the results of takes of a track, given as (name, request keys, left path, right path)."""
    requests = []
    for seed, (name, keys, left, right) in enumerate(takes):
        path = PathModel(
            player=Crystal(ppm=20.0),
            recorder_clock=Crystal(ppm=-15.0),
            linear=LinearPath(left=left, right=right),
            hiss=(Hiss.both(-95.0),),
        )
        take = simulate_take(layout(track, "short"), path=path, rate_hz=48000, source_bits=24, seed=seed)
        take.write(folder / f"{name}.wav")
        requests.append(TakeRequest(path=str(folder / f"{name}.wav"), **keys))
    return compare_files(requests, SETTINGS, bench_name="bench").results


DIRECT = ("direct", {"role": "direct"})


def test_a_driven_neighbour_is_measured_re_its_own_direct_level(tmp_path):
    plain = ChannelPath(gain_db=-3.0, low_corners_hz=(1.6,))
    port = {"role": "through", "device": "Alder", "port": "1"}
    # 200 pF into 909.09 ohm: 20 lg(2 pi f R C) re the source at 997 Hz, by hand; and far below the noise.
    by_hand = 20 * math.log10(2 * math.pi * 997 * 10e3 / 11 * 200e-12)
    weak = ChannelPath(gain_db=-3.0, series_capacitance_f=200e-12)
    hidden = ChannelPath(gain_db=-150.0)
    results = compared(
        tmp_path,
        [
            (*DIRECT, plain, plain),
            ("alder", port, plain, plain),
            ("neighbour", {**port, "condition": {"driven_port": "2"}}, weak, weak),
            ("far", {**port, "condition": {"driven_port": "4"}}, hidden, hidden),
        ],
        "silence",
    )
    bleed = {(row.condition["driven_port"], row.channel): row for row in results.measures if row.quantity == "bleed_1k"}
    for channel in ("left", "right"):
        near, far = bleed["2", channel], bleed["4", channel]
        assert near.bound is None
        assert near.value == pytest.approx(by_hand, abs=0.05)
        # One draw of noise: three standard deviations, where the interval is 1.96 of them either way.
        assert abs(near.value - by_hand) < 3 / 1.96 * (near.high - near.low) / 2
        # Hiss of -95 dBFS over 24 kHz leaves -137 dBFS in a second (Hann: 1.5 Hz), re the tone at -4 dBFS that is
        # -133 dB; what stands out of a thousand such with 95 % must be some 14 dB stronger (ln of 1e7, by algebra).
        assert far.bound == "upper"
        assert far.value == pytest.approx(-119, abs=2)
    # A foreign sound is no gain, tone or balance of this port.
    foreign = [row for row in (*results.changes, *results.curves) if "driven_port" in row.condition]
    assert {row.quantity for row in foreign} <= {"noise_spectrum", "hiss_spectrum"} | {
        name for name in (row.quantity for row in foreign) if name.endswith(("_level", "_a", "_468", "_rms"))
    }


def test_the_delay_of_a_split_take_is_that_of_the_filter_in_it(tmp_path):
    plain = ChannelPath(gain_db=-3.0, low_corners_hz=(1.6,))
    # First-order low-pass at 20 kHz: group delay 1/(2 pi fc) / (1 + (f/fc)^2), 7.96 us at the bottom, 6.86 us at 8 kHz.
    filtered = ChannelPath(gain_db=-3.0, low_corners_hz=(1.6,), high_corners_hz=(20e3,))
    # The recorder's own skew, for which a slower left channel stands.
    skewed = ChannelPath(gain_db=-3.0, low_corners_hz=(1.6,), high_corners_hz=(60e3,))
    filtered_and_skewed = ChannelPath(gain_db=-3.0, low_corners_hz=(1.6,), high_corners_hz=(20e3, 60e3))
    alder = {"role": "through", "device": "Alder", "port": "1"}
    results = compared(
        tmp_path,
        [
            (*DIRECT, plain, plain),
            ("both-direct", {"role": "direct", "condition": {"through_channel": "none"}}, skewed, plain),
            ("split", {**alder, "condition": {"through_channel": "left"}}, filtered_and_skewed, plain),
            ("other", {**alder, "port": "2", "condition": {"through_channel": "right"}}, skewed, filtered),
        ],
        "sweep",
    )
    delays = {row.port: row for row in results.measures if row.quantity == "delay"}
    highest, lowest = (1e6 / (2 * math.pi * 20e3) / (1 + (f_hz / 20e3) ** 2) for f_hz in (1000.0, 8000.0))
    for port in ("1", "2"):
        assert lowest < delays[port].value < highest
        assert delays[port].low < 0.5 * (lowest + highest) < delays[port].high
        assert delays[port].high - delays[port].low < 1.0
        assert delays[port].condition == {}
    # Split takes join the grounds: their hum and crosstalk are nobody's.
    assert not [row for row in results.measures if "through_channel" in row.condition]
    assert not [row for row in results.curves if "through_channel" in row.condition]


def test_without_a_take_of_the_recorders_skew_there_is_no_delay():
    key = Key(subject="Alder", role="through", quantity="", condition={"through_channel": "left"})
    row = TakeRow(
        id="t1", file="a.wav", sha256="", role="through", device="Alder", condition=key.condition, rate_hz=48000,
        channels=2, sample_format="", duration_s=30.0,
    )  # fmt: skip
    (missing,) = delay_rows([MeasuredTake(row=row, key=key)])
    assert isinstance(missing, NotMeasured)
    assert "skew" in missing.reason
    assert missing.condition == {}
