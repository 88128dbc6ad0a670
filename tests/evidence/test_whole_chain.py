"""From recordings of a track to files to listen to: matched by the tone, raised as stated, as loud as measured."""

import re

import pytest

from humcheck.audio.levels import rms_to_dbfs
from humcheck.pipeline.compare import TakeRequest, compare_files
from humcheck.pipeline.demo_bench import demo_takes
from humcheck.pipeline.settings import MeasuringSettings
from tests.evidence.quiet_takes import decoded, rms, steady

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def outcome(tmp_path_factory):
    """The demo's box that loses 3.5 dB, on the silence track, beside the direct take of another picture."""
    folder = tmp_path_factory.mktemp("takes")
    made = {take.file_name: take for take in demo_takes(3)}
    requests = [
        TakeRequest(path=str(take.write(folder)), role=take.role, device=take.device, port=take.port,
                    picture=take.picture)
        for take in (made["direct-black-1.wav"], made["cedar-port4-2.wav"])
    ]  # fmt: skip
    return compare_files(requests, MeasuringSettings(mains_hz=50.0), bench_name="Cedar", to_hear=True)


def heard(outcome, kind, role):
    return next(sound for sound in outcome.excerpts.sounds if (sound.kind, sound.role) == (kind, role))


def level(outcome, quantity, role):
    rows = {row.channel: row.value for row in outcome.results.measures if (row.quantity, row.role) == (quantity, role)}
    return [rows["left"], rows["right"]]


def test_the_match_is_the_measured_loss_of_level(outcome):
    gains_db = [row.value for row in outcome.results.changes if row.quantity == "gain" and row.channel != "both"]
    loss_db = -sum(gains_db) / 2
    stated = float(re.search(r"matched in level \(\+([\d.]+) dB\)", heard(outcome, "quiet", "through").caption)[1])
    # The mean of two gains and the gain of the mean power differ by 0.005 dB here; the caption has one decimal.
    assert stated == pytest.approx(loss_db, abs=0.06)
    assert loss_db == pytest.approx(3.5, abs=0.1)


def test_hum_alone_is_as_loud_as_it_was_measured(outcome):
    sound = heard(outcome, "hum", "through")
    stated = float(re.search(r"\(\+([\d.]+) dB\)", heard(outcome, "quiet", "through").caption)[1])
    found = rms_to_dbfs(rms(steady(*decoded(sound.content)))) - sound.raised_db - stated
    # 2 s of it against the mean of 10 s; hum at -94 dBFS beside hiss of -92 dBFS is known to about 0.05 dB.
    assert found == pytest.approx(level(outcome, "hum_level", "through"), abs=0.25)


def test_direct_noise_is_as_loud_as_it_was_measured(outcome):
    sound = heard(outcome, "quiet", "direct")
    found = rms_to_dbfs(rms(steady(*decoded(sound.content)))) - sound.raised_db
    # Measured up to 20 kHz, heard up to 16 kHz: hiss loses up to 0.97 dB, hum nothing.
    measured = level(outcome, "noise_level", "direct")
    assert all(value - 1.0 < one < value + 0.1 for one, value in zip(found, measured, strict=True))
