"""The track through real lossy codecs and back: it is recognised, keeps its time and level, and its lost top is said.

What a codec does is measured beside it without the program: plain noise for where its band ends, a plain tone for its
level. The codecs are those of ffmpeg.
"""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import signal

from humcheck.analyzers.band_limit import AUDIBLE_TO_HZ, band_limit_faults, response_band_limit, spectrum_band_limit
from humcheck.audio.files import open_take
from humcheck.audio.spectra import welch_spectrum
from humcheck.errors import UnusableTake
from humcheck.estimates.sweeps import AFTER_S, BEFORE_S, REFERENCE_HZ, estimate_response, index_of
from humcheck.takes.take import load_take
from humcheck.tracks.layouts import layout
from humcheck.tracks.writing import write_track

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="ffmpeg is not installed (Debian: ffmpeg)"),
]

RATE_HZ = 48000
TONE_S = 2.0
#: Half a step of the twelfth-octave series at which responses are read.
HALF_STEP = 10 ** (1 / 80) - 1


@dataclass(frozen=True)
class Codec:
    name: str
    ending: str
    options: tuple[str, ...]

    def __str__(self):
        return self.name


CODECS = (
    Codec("MP3 128", "mp3", ("-c:a", "libmp3lame", "-b:a", "128k")),
    Codec("MP3 320", "mp3", ("-c:a", "libmp3lame", "-b:a", "320k")),
    Codec("AAC 128", "m4a", ("-c:a", "aac", "-b:a", "128k")),
    Codec("Vorbis", "ogg", ("-c:a", "libvorbis", "-q:a", "4")),
    Codec("Opus 128", "opus", ("-c:a", "libopus", "-b:a", "128k")),
)


@dataclass(frozen=True)
class Coded:
    """What came back: the track's compressed file, and as WAV the track and the plain sounds."""

    codec: Codec
    compressed: Path
    track: Path
    plain: Path


def ffmpeg(*arguments):
    subprocess.run(["ffmpeg", "-v", "error", "-nostdin", "-y", *map(str, arguments)], check=True, timeout=120)


def through(codec, source, folder):
    """Return the compressed file and what it decodes to."""
    compressed = folder / f"{source.stem}.{codec.ending}"
    decoded = folder / f"{source.stem}-decoded.wav"
    ffmpeg("-i", source, *codec.options, compressed)
    ffmpeg("-i", compressed, "-c:a", "pcm_s24le", decoded)
    return compressed, decoded


@pytest.fixture(scope="module")
def sources(tmp_path_factory):
    """The track, and a file of 2 s of a 997 Hz tone and 6 s of white noise, both well below full scale."""
    folder = tmp_path_factory.mktemp("sources")
    write_track(folder / "track.wav", layout("full", "short"), rate_hz=RATE_HZ, bits=24)
    tone = 0.5 * np.sin(2 * np.pi * REFERENCE_HZ * np.arange(round(TONE_S * RATE_HZ)) / RATE_HZ)
    noise = np.random.default_rng(1).normal(0, 0.05, (6 * RATE_HZ, 2))
    plain = np.concatenate([np.repeat(tone[:, None], 2, axis=1), noise])
    soundfile.write(folder / "plain.wav", plain, RATE_HZ, subtype="PCM_24")
    return folder / "track.wav", folder / "plain.wav"


@pytest.fixture(scope="module")
def all_coded(sources, tmp_path_factory):
    coded = {}
    for codec in CODECS:
        folder = tmp_path_factory.mktemp("coded")
        compressed, track = through(codec, sources[0], folder)
        coded[codec] = Coded(codec, compressed, track, through(codec, sources[1], folder)[1])
    return coded


@pytest.fixture(scope="module", params=CODECS, ids=str)
def coded(request, all_coded):
    return all_coded[request.param]


@pytest.fixture(scope="module")
def take(coded):
    return load_take(coded.track)


@pytest.fixture(scope="module")
def responses(take):
    return [
        estimate_response(take.section(f"sweep-{channel}", BEFORE_S, AFTER_S), channel) for channel in ("left", "right")
    ]


def noise_band_limit_hz(path):
    """Return where the spectrum of the noise lies 20 dB below its middle for good: no part of the program in it."""
    samples, rate_hz = soundfile.read(path)
    noise = samples[round((TONE_S + 0.5) * rate_hz) : -rate_hz // 2, 0]
    frequency_hz, density = signal.welch(noise, rate_hz, nperseg=8192)
    middle = np.median(density[(frequency_hz > 500.0) & (frequency_hz < 5000.0)])
    return float(frequency_hz[np.nonzero(density > middle / 100.0)[0][-1]])


def tone_gain_db(path):
    """Return the gain of the tone, by projection over whole periods in its middle second."""
    samples, rate_hz = soundfile.read(path)
    middle = samples[rate_hz // 2 : rate_hz // 2 + rate_hz, 0]
    turn = np.exp(-2j * np.pi * REFERENCE_HZ * np.arange(rate_hz) / rate_hz)
    return float(20 * np.log10(2 * np.abs(np.mean(middle * turn)) / 0.5))


def test_the_track_is_recognised_and_in_order(take):
    assert (take.track.name, take.track.length, take.track.layout) == ("full", "short", 1)
    assert take.alignment.channel_map == "straight"
    assert take.alignment.polarity == {"left": 1, "right": 1}
    assert take.alignment.lost == ()


def test_its_time_is_kept(take):
    """A codec delays by what its frames need, below 0.1 s, and has no clock: drift that there seems to be is noise."""
    assert abs(take.alignment.offset_s) < 0.1
    assert abs(take.alignment.drift_ppm) < 0.01


def test_its_level_is_the_codecs(coded, responses):
    """The gain of a plain tone through the same codec (one of them scales by 0.95); 0.1 dB for its noise."""
    for response in responses:
        gain_db = 20 * np.log10(np.abs(response.gain.value[index_of(REFERENCE_HZ)]))
        assert gain_db == pytest.approx(tone_gain_db(coded.plain), abs=0.1)


def test_the_end_of_the_band_is_where_noise_ends(coded, responses):
    expected_hz = noise_band_limit_hz(coded.plain)
    limits = [response_band_limit(response, RATE_HZ) for response in responses]
    if expected_hz >= AUDIBLE_TO_HZ:
        assert limits == [None, None]
        return
    for limit in limits:
        assert limit.cause == "edge"
        assert limit.limit_hz == pytest.approx(expected_hz, rel=HALF_STEP)
    (fault,) = band_limit_faults(limits, "direct")
    assert "lossy coding" in fault.sentence


def test_some_codecs_here_end_below_20_khz_and_some_above(all_coded):
    """So that the test above checks both."""
    ends = [noise_band_limit_hz(coded.plain) < AUDIBLE_TO_HZ for coded in all_coded.values()]
    assert any(ends)
    assert not all(ends)


def test_the_end_shows_in_the_spectrum_of_any_sound(coded):
    """Noise that is no track; the steepest of these edges is 100 Hz wide and the bands that are compared are 100 Hz."""
    samples, rate_hz = soundfile.read(coded.plain, always_2d=True)
    found = spectrum_band_limit(welch_spectrum(samples[round(2.5 * rate_hz) :], rate_hz, segment_s=0.2))
    expected_hz = noise_band_limit_hz(coded.plain)
    if expected_hz >= AUDIBLE_TO_HZ:
        assert found is None
    else:
        assert found.limit_hz == pytest.approx(expected_hz, abs=300.0)


def test_the_compressed_file_is_read_directly_where_it_can_be(coded, take):
    if coded.codec.ending == "m4a" and importlib.util.find_spec("av") is None:
        with pytest.raises(UnusableTake, match="humcheck\\[video\\]"):
            open_take(coded.compressed)
        return
    direct = load_take(coded.compressed)
    assert direct.track == take.track
    assert direct.rate_hz == RATE_HZ
    # Both decoders give the same samples, but for what they take off at the start, and rounding.
    assert abs(direct.alignment.offset_s) < 0.1
    assert direct.alignment.drift_ppm == pytest.approx(take.alignment.drift_ppm, abs=0.001)
    assert direct.alignment.gain_db["left"] == pytest.approx(take.alignment.gain_db["left"], abs=0.001)
