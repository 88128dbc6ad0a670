"""From a simulated path through files to results: every figure must be the one that the path was given."""

import numpy as np
import pytest
from scipy import stats

from humcheck.simulation import low_corner_hz, response_delta_db
from humcheck.tracks.layouts import layout
from tests.whole_chain.known_paths import bench

CHANNELS = ("left", "right")


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    return bench(tmp_path_factory.mktemp("takes"))


@pytest.fixture(scope="module")
def results(measured):
    return measured[0]


@pytest.fixture(scope="module")
def truths(measured):
    return measured[1]


def measure(results, quantity, channel, role="through"):
    """Return the one row of a quantity."""
    wanted = (role, quantity, channel)
    rows = [row for row in results.measures if (row.role, row.quantity, row.channel) == wanted]
    assert len(rows) == 1, f"{len(rows)} rows of {wanted}"
    return rows[0]


def change(results, quantity, channel):
    rows = [
        row
        for row in results.changes
        if (row.role, row.quantity, row.channel, row.contrast) == ("through", quantity, channel, "direct")
    ]
    assert len(rows) == 1, f"{len(rows)} changes of {quantity}, {channel}"
    return rows[0]


@pytest.mark.parametrize("name", ["direct-1", "direct-2", "through"])
def test_where_the_track_stands(results, truths, name):
    row = next(row for row in results.takes if row.file == f"{name}.wav")
    truth = truths[name]
    # Filters delay the markers by up to a few microseconds: that is part of the offset, and not in the truth.
    assert row.offset_s == pytest.approx(truth.offset_s, abs=5e-6)
    # Goal for drift with unknown filters: 0.001 ppm; the walk of 0.1 ppm a minute decides what "the" drift is.
    assert row.drift_ppm == pytest.approx(truth.drift_ppm, abs=0.02)
    level_dbfs = 20 * np.log10(layout("full", "short").section("level").amplitudes[0])
    assert row.gain_db == pytest.approx(truth.tone_gain_db(level_dbfs)[0], abs=0.003)
    assert row.polarity == truth.polarity[0]
    assert row.channel_map == "straight"
    assert row.track.name == "full"


@pytest.mark.parametrize("index", [0, 1], ids=CHANNELS)
class TestThrough:
    """Figures of the through take, channel by channel."""

    def test_hum(self, results, truths, index):
        # Hum that swells by 5 % is 0.01 dB of its level; ten seconds of ten harmonics are known to 0.02 dB.
        row = measure(results, "hum_level", CHANNELS[index])
        assert row.value == pytest.approx(truths["through"].hum_level_dbfs[index], abs=0.05)

    def test_buzz(self, results, truths, index):
        row = measure(results, "buzz_level", CHANNELS[index])
        assert row.value == pytest.approx(truths["through"].buzz_level_dbfs[index], abs=0.1)

    def test_whistle(self, results, truths, index):
        row = measure(results, "whistle_level", CHANNELS[index])
        assert row.value == pytest.approx(truths["through"].whistle_level_dbfs[index], abs=0.1)

    def test_hiss(self, results, truths, index):
        # 9 s in 20 kHz are 180000 pairs: 0.01 dB; lines take a few bins away.
        row = measure(results, "hiss_level", CHANNELS[index])
        assert row.value == pytest.approx(truths["through"].hiss_level_dbfs[index], abs=0.1)

    def test_gain(self, results, truths, index):
        row = change(results, "gain", CHANNELS[index])
        # The tone that is alone in its channel stands at -6 dBFS.
        true_db = truths["through"].tone_gain_db(-6.0)[index] - truths["direct-1"].gain_db[index]
        assert row.value == pytest.approx(true_db, abs=1e-4)

    def test_crosstalk(self, results, truths, index):
        # The idle channel's sweep, -83 dBFS on the right, passes a twelfth of an octave at 1 kHz in 42 ms; with hiss of
        # -90 dBFS in 20 kHz E/N0 is 10^0.7 x 0.042 x 20000 = 4200, or 0.1 dB. Four of them; half of it on the left.
        row = measure(results, "crosstalk_1k", CHANNELS[index])
        assert row.value == pytest.approx(truths["through"].crosstalk_1k_db[index], abs=(0.2, 0.4)[index])

    def test_distortion(self, results, truths, index):
        row = measure(results, "thd", CHANNELS[index])
        # -1.001 dBFS in the track.
        assert row.value == pytest.approx(truths["through"].thd_percent(-1.001)[index], rel=0.03)

    def test_low_corner(self, results, truths, index):
        # 10 kohm and 1 uF, 15.9155 Hz, re 997 Hz; the direct path's 1.6 Hz is in both.
        true_hz = low_corner_hz(truths["through"], truths["direct-1"], index)
        assert true_hz == pytest.approx(15.91, abs=0.01)
        assert change(results, "low_corner", CHANNELS[index]).value == pytest.approx(true_hz, rel=5e-4)

    def test_response(self, results, truths, index):
        curve = next(
            row
            for row in results.curves
            if (row.quantity, row.channel, row.role) == ("response_delta", CHANNELS[index], "through")
        )
        frequency_hz = np.array(curve.frequency_hz)
        true_db = response_delta_db(truths["through"], truths["direct-1"], frequency_hz)[:, index]
        error = np.array(curve.value) - true_db
        assert curve.frequency_hz[0] <= 20.0
        assert curve.frequency_hz[-1] >= 20e3
        # Goals with hum at -70 dBFS: 0.002 dB RMS and 0.02 dB at worst, at a sweep twice as long.
        inside = (frequency_hz >= 20) & (frequency_hz <= 20e3)
        assert np.sqrt(np.mean(error[inside] ** 2)) < 0.004
        assert np.abs(error[inside]).max() < 0.04


def test_frequencies(results, truths):
    truth = truths["through"]
    buzz = measure(results, "buzz_frequency", "left")
    assert buzz.value == pytest.approx(truth.buzz_frequency_hz, abs=5e-5)
    whistle = measure(results, "whistle_frequency", "left")
    assert whistle.value == pytest.approx(truth.whistle_frequency_hz, abs=5e-3)
    hum = measure(results, "hum_frequency", "left")
    quiet = next(section for section in layout_sections() if section.name == "quiet")
    # The stretch used begins and ends a little inside the section; 20 mHz of wander over minutes moves that by 0.1 mHz.
    assert hum.value == pytest.approx(truth.hum_frequency_hz(quiet.start_s, quiet.end_s), abs=1e-3)


def layout_sections():
    from humcheck.tracks.layouts import layout

    return layout("full", "short").sections


def test_recorder_has_neither_hum_nor_buzz(results):
    for quantity in ("hum_level", "buzz_level"):
        for channel in CHANNELS:
            assert measure(results, quantity, channel, role="recorder").bound == "upper"


def test_intervals_hold_the_truth_as_often_as_they_say(results, truths):
    """95 % intervals: more misses than one bench in a thousand would show is an interval too small."""
    truth, direct = truths["through"], truths["direct-1"]
    hits = []
    for index, channel in enumerate(CHANNELS):
        expected = {
            "hum_level": truth.hum_level_dbfs,
            "buzz_level": truth.buzz_level_dbfs,
            "whistle_level": truth.whistle_level_dbfs,
            "hiss_level": truth.hiss_level_dbfs,
            "crosstalk_1k": truth.crosstalk_1k_db,
            "thd": truth.thd_percent(-1.001),
        }
        pairs = [(measure(results, name, channel), values[index]) for name, values in expected.items()]
        pairs.append((change(results, "gain", channel), truth.tone_gain_db(-6.0)[index] - direct.gain_db[index]))
        hits += [row.low <= true <= row.high for row, true in pairs if row.low is not None and row.high is not None]
    misses = len(hits) - sum(hits)
    assert misses <= stats.binom.ppf(0.999, len(hits), 0.05), f"{misses} of {len(hits)} intervals miss"
