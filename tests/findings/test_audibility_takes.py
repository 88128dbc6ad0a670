"""Audibility of whole takes: from files to margins, whatever the recorder's gain."""

import pytest
import soundfile

from humcheck.pipeline.compare import TakeRequest, compare_files, inspect_files
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.simulation import ChannelPath, Crystal, Hiss, Hum, LinearPath, Mains, PathModel, harmonics, simulate_take
from humcheck.tracks.layouts import layout

SOURCE = LinearPath(left=ChannelPath(gain_db=-4.0), right=ChannelPath(gain_db=-4.1))


def path(hum_dbfs):
    return PathModel(
        player=Crystal(ppm=11.0),
        recorder_clock=Crystal(ppm=-23.0),
        linear=SOURCE,
        mains=Mains(frequency_hz=50.02, wander_mhz=20.0),
        hum=(Hum(amplitudes=harmonics({1: hum_dbfs, 3: hum_dbfs - 6.0, 5: hum_dbfs - 12.0})),),
        hiss=(Hiss.both(-93.0),),
    )


@pytest.fixture(scope="module")
def takes(tmp_path_factory):
    folder = tmp_path_factory.mktemp("takes")
    for name, hum_dbfs in (("direct", -105.0), ("through", -62.0)):
        simulate_take(layout("silence", "short"), path=path(hum_dbfs), seed=5, lead_s=0.8).write(folder / f"{name}.wav")
        samples, rate_hz = soundfile.read(folder / f"{name}.wav")
        soundfile.write(folder / f"{name}-low.wav", 10 ** (-9.3 / 20) * samples, rate_hz, subtype="DOUBLE")
    return folder


def compared(folder, ending):
    requests = [
        TakeRequest(path=str(folder / f"direct{ending}.wav"), role="direct"),
        TakeRequest(path=str(folder / f"through{ending}.wav"), role="through", device="Alder"),
    ]
    return compare_files(requests, MeasuringSettings(mains_hz=50.0), bench_name="Alder").results


def by_place(results):
    rows = [row for row in results.measures if row.quantity.startswith("audible_margin")]
    return {(row.role, row.quantity, row.listening, row.channel): row for row in rows}


def test_the_recorders_gain_changes_no_margin(takes):
    usual, low = by_place(compared(takes, "")), by_place(compared(takes, "-low"))
    assert usual.keys() == low.keys()
    for place, row in usual.items():
        assert low[place].bound == row.bound
        # The same samples, scaled: what is left is rounding in long sums.
        assert low[place].value == pytest.approx(row.value, abs=0.002), place


def test_hum_of_the_device_is_heard_and_that_of_the_bench_is_not(takes):
    results = compared(takes, "")
    margins = by_place(results)
    # Truth: 50 Hz at -58 dBr is 42 dB SPL, 2 dB below its threshold; 150 Hz at 36 dB SPL, 17 dB above; 250 Hz at 30 dB
    # SPL, 18.6 dB above (ISO 226: 18.9 dB at 150 Hz, interpolated, and 11.4 dB at 250 Hz).
    through = margins["through", "audible_margin_hum", "headphones", "left"]
    assert through.value == pytest.approx(18.6, abs=0.5)
    assert margins["direct", "audible_margin_hum", "headphones", "left"].high < 0
    assert margins["added", "audible_margin_hum", "headphones", "left"].low > 0
    assert results.settings.listening[0].startswith("headphones: ")
    assert any("Heard on headphones in quiet passages" in finding.sentence for finding in results.findings)


def test_a_track_inspected_alone_counts_from_its_own_tone(takes):
    request = TakeRequest(path=str(takes / "through.wav"), role="single")
    alone = by_place(inspect_files([request], MeasuringSettings(mains_hz=50.0)).results)
    through = by_place(compared(takes, ""))["through", "audible_margin_hum", "headphones", "left"]
    own = alone["single", "audible_margin_hum", "headphones", "left"]
    assert own.value == pytest.approx(through.value, abs=0.05)
