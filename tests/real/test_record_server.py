"""``humcheck record`` on a real sound server, through PortAudio and ALSA: a path that this project did not write.

The server's outputs lead nowhere; what an output plays comes back from its monitor. All recordings run at once, each on
an output of its own: a track played and recorded, one whose server ends, one whose disk takes no more, and one that the
user ends.
"""

from __future__ import annotations

import contextlib
import ctypes.util
import importlib.util
import signal
import subprocess
import sys
import tempfile
import time
import wave
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile

from humcheck.audio.writing import write_audio
from humcheck.takes.take import load_take
from humcheck.tracks.layouts import layout
from humcheck.tracks.writing import write_track
from tests.real.sound_server import Run, missing_programs, sound_server

pytestmark = pytest.mark.slow

RATE_HZ = 48000
NAMES = ("whole", "vanishing", "refusing", "ended")
#: The part of the short silence track that is played: two markers, and the tones between them.
FROM_S, TO_S = 4.6, 11.6
LIMIT_BYTES = 1_000_000

_ALSA = """
pcm.{name}_out {{ type pulse device "{name}" }}
pcm.{name}_in {{ type pulse device "{name}.monitor" }}
pcm.{name} {{ type asym playback.pcm {name}_out capture.pcm {name}_in hint {{ show on }} }}
"""
#: A limit on the size of files makes the disk refuse, whoever runs the tests.
_LIMITED = (
    "import resource, sys\n"
    f"resource.setrlimit(resource.RLIMIT_FSIZE, ({LIMIT_BYTES}, {LIMIT_BYTES}))\n"
    "from humcheck.cli import main\n"
    "sys.exit(main(sys.argv[1:]))\n"
)


@dataclass(frozen=True, slots=True)
class Done:
    path: Path
    status: int
    out: str
    err: str

    @property
    def told(self):
        return " ".join(self.out.split())


def missing():
    plugin = any(
        Path(folder).glob("**/alsa-lib/libasound_module_pcm_pulse.so") for folder in ("/usr/lib", "/usr/lib64")
    )
    return [
        *missing_programs(),
        *([] if importlib.util.find_spec("sounddevice") else ["the extra 'record'"]),
        *([] if ctypes.util.find_library("portaudio") else ["libportaudio2"]),
        *([] if plugin else ["libasound2-plugins"]),
    ]


@pytest.fixture(scope="module")
def track(tmp_path_factory):
    folder = tmp_path_factory.mktemp("track")
    write_track(folder / "silence.wav", layout("silence", "short"), rate_hz=RATE_HZ, bits=24)
    samples, _ = soundfile.read(folder / "silence.wav", start=round(FROM_S * RATE_HZ), stop=round(TO_S * RATE_HZ))
    write_audio(folder / "part.wav", samples, RATE_HZ)
    return folder / "part.wav"


@pytest.fixture(scope="module")
def done(track, tmp_path_factory):
    """The four recordings by name."""
    if missing():
        pytest.skip(f"no sound server to record from: {', '.join(missing())} not installed")
    folder = tmp_path_factory.mktemp("recorded")
    runs = {name: Run(name=name, track=track, output_rate_hz=RATE_HZ, recorder_rate_hz=RATE_HZ) for name in NAMES}
    with contextlib.ExitStack() as started:
        server = started.enter_context(sound_server([runs[name] for name in NAMES if name != "vanishing"]))
        # A server moves what plays to another output when one is taken away: the one that vanishes has its own.
        vanishing = contextlib.ExitStack()
        started.push(vanishing)
        other = vanishing.enter_context(sound_server([runs["vanishing"]]))
        alsa = alsa_environment(started)
        recording = {
            name: start(name, folder, track, (other if name == "vanishing" else server).environment | alsa, started)
            for name in NAMES
        }
        wait_for_seconds(folder, 2.5, recording)
        vanishing.close()
        recording["ended"].send_signal(signal.SIGINT)
        return {name: Done(folder / name / "take.wav", *outcome(process)) for name, process in recording.items()}


def alsa_environment(started):
    folder = Path(started.enter_context(tempfile.TemporaryDirectory(prefix="hum")))
    lines = ["</usr/share/alsa/alsa.conf>", *(_ALSA.format(name=name) for name in NAMES)]
    (folder / "alsa.conf").write_text("\n".join(lines), encoding="utf-8")
    return {"ALSA_CONFIG_PATH": str(folder / "alsa.conf")}


def start(name, folder, track, environment, started):
    (folder / name).mkdir()
    program = ["-c", _LIMITED] if name == "refusing" else ["-m", "humcheck"]
    playing = ["--rate", str(RATE_HZ)] if name == "ended" else ["--play", str(track)]
    process = subprocess.Popen(
        [sys.executable, *program, "record", "take.wav", "--device", name, *playing],
        env=environment, cwd=folder / name, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    started.callback(end, process)
    return process


def end(process):
    if process.poll() is None:
        process.kill()
    process.communicate()


def outcome(process):
    out, err = process.communicate(timeout=60)
    return process.returncode, out, err


def wait_for_seconds(folder, seconds, recording):
    """Wait until the two that are to be interrupted have recorded so much: their hidden files grow meanwhile."""
    wanted = seconds * RATE_HZ * 2 * 3
    deadline = time.monotonic() + 30.0
    while time.monotonic() < deadline:
        sizes = [max((path.stat().st_size for path in (folder / name).iterdir()), default=0) for name in NAMES[1::2]]
        if min(sizes) > wanted:
            return
        for name in NAMES[1::2]:
            assert recording[name].poll() is None, recording[name].communicate()
        time.sleep(0.1)
    raise RuntimeError("nothing was recorded in 30 s")


def test_the_track_comes_back_bit_for_bit(done, track):
    """24 bits go through ALSA and the server's 32-bit floats unchanged."""
    take = load_take(done["whole"].path)
    assert (take.track.name, take.track.length) == ("silence", "short")
    assert take.alignment.lost == ()
    assert abs(take.alignment.drift_ppm) < 0.01
    start = (take.alignment.offset_s + FROM_S) * RATE_HZ
    assert start == pytest.approx(round(start), abs=1e-3)
    played, _ = soundfile.read(track)
    np.testing.assert_array_equal(take.file.read(round(start), round(start) + len(played)), played)


def test_the_recording_begins_before_and_ends_after_the_track(done, track):
    take, _ = soundfile.read(done["whole"].path)
    sounding = np.flatnonzero(take.any(axis=1))
    assert sounding[0] > 1.0 * RATE_HZ
    assert len(take) - sounding[-1] > 1.0 * RATE_HZ


def test_nothing_was_lost_and_what_is_missing_is_said(done):
    """Only part of the track was played: it is recognised, and not fit to be used for that reason alone."""
    whole = done["whole"]
    assert whole.err == ""
    assert whole.out.startswith("Start low")
    assert "Highest peak: left -6.0 dBFS, right -6.0 dBFS." in whole.told
    assert "sound was lost" not in whole.told
    assert "Do not use this take: it has the faults named above. Put that right and record again." in whole.told
    assert whole.status == 2


@pytest.mark.parametrize(
    ("name", "said", "at_least_s"),
    [
        ("vanishing", "the device that records is gone", 2.4),
        ("refusing", "the disk takes no more", 0.99 * LIMIT_BYTES / (6 * RATE_HZ)),
        ("ended", "stopped", 2.4),
    ],
)
def test_what_was_recorded_until_then_is_kept_and_said(done, name, said, at_least_s):
    recorded = done[name]
    with wave.open(str(recorded.path)) as file:  # the standard library's own reader
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (2, 3, RATE_HZ)
        length_s = file.getnframes() / RATE_HZ
        assert len(file.readframes(file.getnframes())) == file.getnframes() * 6
    assert at_least_s <= length_s < 8.0
    assert f"take.wav: {said}; the {length_s:.1f} s recorded until then are kept." in recorded.told
    assert recorded.err == ""
    assert recorded.status == 2
    assert [path.name for path in recorded.path.parent.iterdir()] == ["take.wav"]
