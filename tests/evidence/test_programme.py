"""Direct and through of the same music: in step, at one level, at most as loud as the ceiling."""

import numpy as np
import pytest

from humcheck.audio.levels import rms_to_dbfs
from humcheck.audio.writing import write_audio
from humcheck.evidence.loudness import PROGRAMME_CEILING_DBFS
from humcheck.pipeline.compare import TakeRequest, compare_files
from humcheck.pipeline.settings import MeasuringSettings
from tests.evidence.quiet_takes import decoded, rms, steady
from tests.programme_material import music, recorded

RATE_HZ = 48_000
GAIN_DB = -5.3


@pytest.fixture(scope="module")
def excerpts(tmp_path_factory):
    folder = tmp_path_factory.mktemp("music")
    rng = np.random.default_rng(5)
    material = music(12 * RATE_HZ, RATE_HZ, rng)
    direct = recorded(material, lead_samples=3000.3, rng=rng)
    through = recorded(material, lead_samples=17_000.7, rng=rng, gain=-(10 ** (GAIN_DB / 20)), slope=40e-6)
    for name, samples in (("direct", direct), ("through", through)):
        write_audio(folder / f"{name}.wav", samples, RATE_HZ)
    requests = [
        TakeRequest(path=str(folder / "direct.wav"), role="direct"),
        TakeRequest(path=str(folder / "through.wav"), role="through", device="Alder"),
    ]
    return compare_files(requests, MeasuringSettings(), bench_name="Alder", to_hear=True).excerpts


def pair(excerpts):
    sounds = [sound for sound in excerpts.sounds if sound.kind == "programme"]
    assert [sound.role for sound in sounds] == ["direct", "through"]
    return [steady(*decoded(sound.content)) for sound in sounds]


def test_the_level_is_matched(excerpts):
    direct, through = pair(excerpts)
    assert rms_to_dbfs(rms(through)) == pytest.approx(rms_to_dbfs(rms(direct)), abs=0.05)


def test_both_are_in_step_to_a_fraction_of_a_sample(excerpts):
    direct, through = pair(excerpts)
    # The path turns the polarity over, which nobody hears and nothing undoes: the sum is what differs.
    left = rms_to_dbfs(rms(direct + through)) - rms_to_dbfs(rms(direct))
    # A hundredth of a sample would leave -44 dB at 4 kHz; noise at -100 dBFS beside -26 dBFS of music leaves -70.
    assert left.max() < -45


def test_the_caption_says_raise_and_match(excerpts):
    captions = [sound.caption for sound in excerpts.sounds if sound.kind == "programme"]
    assert captions[0].startswith("Direct: the programme, ")
    assert "matched in level (+5.3 dB)" in captions[1]
    assert len({sound.raised_db for sound in excerpts.sounds if sound.kind == "programme"}) == 1


def test_it_is_music_as_loud_as_the_ceiling_allows(excerpts):
    sounds = [sound for sound in excerpts.sounds if sound.kind == "programme"]
    assert len(sounds) == 2
    for sound in sounds:
        peak_dbfs = 20 * np.log10(np.abs(decoded(sound.content)[0]).max())
        assert PROGRAMME_CEILING_DBFS - 8 < peak_dbfs <= PROGRAMME_CEILING_DBFS
