"""Recordings of the tracks made by a real sound server, once for all tests here."""

from __future__ import annotations

import pytest

from humcheck.tracks.layouts import layout
from humcheck.tracks.writing import write_track
from tests.real.sound_server import Run, missing_programs, sound_server


@pytest.fixture(scope="session")
def server_runs(tmp_path_factory):
    """The runs, with their tracks written: equal rates, another rate of the track, another rate of the recorder."""
    folder = tmp_path_factory.mktemp("played")
    tracks = {
        ("sweep", 44100): folder / "sweep-44100.wav",
        ("sweep", 48000): folder / "sweep-48000.wav",
    }
    for (name, rate_hz), path in tracks.items():
        write_track(path, layout(name, "short"), rate_hz=rate_hz, bits=24)
    return (
        Run(name="equal", track=tracks["sweep", 48000], output_rate_hz=48000, recorder_rate_hz=48000),
        Run(name="track-44100", track=tracks["sweep", 44100], output_rate_hz=48000, recorder_rate_hz=48000),
        Run(name="recorder-44100", track=tracks["sweep", 48000], output_rate_hz=48000, recorder_rate_hz=44100),
    )


@pytest.fixture(scope="session")
def server_takes(server_runs, tmp_path_factory):
    """Recordings by run name. Playing takes the track's real time, half a minute for all of them at once."""
    missing = missing_programs()
    if missing:
        pytest.skip(f"no sound server to play through: {', '.join(missing)} not installed (Debian: pulseaudio)")
    with sound_server(server_runs) as server:
        return server.play_and_record(server_runs, tmp_path_factory.mktemp("recorded"))
