"""A real sound server with silent outputs, and its own player and recorder: a path that this project did not write.

The server mixes and resamples on its own clock, into outputs that lead nowhere; what an output plays can be recorded
from its monitor. Nothing outside a temporary folder is touched, and only the processes started here are ended.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

PROGRAMS = ("pulseaudio", "pactl", "paplay", "parecord")
START_TIMEOUT_S = 15.0
#: Long buffers: the tests may run on a busy machine, and nobody listens.
LATENCY_MS = 1500
LEAD_S = 0.5
TAIL_S = 2.5


def missing_programs() -> list[str]:
    """Return which of the programs needed are not installed."""
    return [program for program in PROGRAMS if shutil.which(program) is None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One track played into an output of its own, and recorded from it."""

    name: str
    track: Path
    output_rate_hz: int
    recorder_rate_hz: int


class SoundServer:
    """A running server; made by `sound_server`."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        #: Environment of a program that is to use this server.
        self.environment = os.environ | {
            "PULSE_SERVER": f"unix:{folder / 'socket'}",
            "XDG_RUNTIME_DIR": str(folder),
            "HOME": str(folder),
            "LC_ALL": "C",
        }

    def start(self, runs: Sequence[Run]) -> subprocess.Popen[bytes]:
        """Start the server with one output for each run."""
        modules = [f"module-native-protocol-unix socket={self._folder / 'socket'} auth-anonymous=1"]
        modules += [
            f"module-null-sink sink_name={run.name} format=float32le rate={run.output_rate_hz} channels=2"
            for run in runs
        ]
        command = ["pulseaudio", "-n", "--daemonize=no", "--system=false", "--use-pid-file=no", "--exit-idle-time=-1"]
        command += [
            "--disable-shm=yes",
            "--realtime=no",
            "--high-priority=no",
            f"--resample-method={_best_resampler()}",
        ]
        command += [f"--load={module}" for module in modules]
        log = (self._folder / "server.log").open("wb")
        with log:
            process = subprocess.Popen(command, env=self.environment, stdout=log, stderr=log)
        self._wait_for(process, runs)
        return process

    def play_and_record(self, runs: Sequence[Run], folder: Path) -> dict[str, Path]:
        """Play all tracks at once, each into its own output; return the recordings by run name."""
        paths = {run.name: folder / f"{run.name}.wav" for run in runs}
        recorders = [self._recorder(run, paths[run.name]) for run in runs]
        players: list[subprocess.Popen[bytes]] = []
        try:
            for run in runs:
                _wait_until_it_grows(paths[run.name])
            time.sleep(LEAD_S)
            players = [self._player(run) for run in runs]
            for run, player in zip(runs, players, strict=True):
                if player.wait(timeout=300) != 0:
                    raise RuntimeError(f"the player of {run.name} failed: {self._log()}")
            time.sleep(TAIL_S)
        finally:
            for process in players:
                _end(process, signal.SIGTERM)
            for process in recorders:
                _end(process, signal.SIGINT)  # it completes the file's header
        return paths

    def _recorder(self, run: Run, path: Path) -> subprocess.Popen[bytes]:
        command = ["parecord", f"--device={run.name}.monitor", f"--rate={run.recorder_rate_hz}", "--channels=2"]
        command += ["--format=float32le", "--file-format=wav", f"--latency-msec={LATENCY_MS}", str(path)]
        return subprocess.Popen(command, env=self.environment)

    def _player(self, run: Run) -> subprocess.Popen[bytes]:
        command = ["paplay", f"--device={run.name}", f"--latency-msec={LATENCY_MS}", str(run.track)]
        return subprocess.Popen(command, env=self.environment)

    def _wait_for(self, process: subprocess.Popen[bytes], runs: Sequence[Run]) -> None:
        deadline = time.monotonic() + START_TIMEOUT_S
        while time.monotonic() < deadline:
            if process.poll() is not None:
                raise RuntimeError(f"the sound server ended: {self._log()}")
            listed = subprocess.run(
                ["pactl", "list", "short", "sinks"], env=self.environment, capture_output=True, text=True, check=False
            )
            if all(f"\t{run.name}\t" in listed.stdout for run in runs):
                return
            time.sleep(0.1)
        _end(process, signal.SIGTERM)
        raise RuntimeError(f"the sound server did not come up in {START_TIMEOUT_S} s: {self._log()}")

    def _log(self) -> str:
        return (self._folder / "server.log").read_text(encoding="utf-8", errors="replace")[-2000:]


@contextmanager
def sound_server(runs: Sequence[Run]) -> Iterator[SoundServer]:
    """Start a server with an output for each run, and end it afterwards."""
    # A short path: the name of a socket has room for some hundred characters only.
    with tempfile.TemporaryDirectory(prefix="hum") as name:
        server = SoundServer(Path(name))
        process = server.start(runs)
        try:
            yield server
        finally:
            _end(process, signal.SIGTERM)


def _best_resampler() -> str:
    listed = subprocess.run(["pulseaudio", "--dump-resample-methods"], capture_output=True, text=True, check=True)
    known = listed.stdout.split()
    return next(method for method in ("soxr-vhq", "speex-float-10", "auto") if method in known)


def _wait_until_it_grows(path: Path, timeout_s: float = START_TIMEOUT_S) -> None:
    """A recorder is recording once samples arrive in its file."""
    deadline = time.monotonic() + timeout_s
    while time.monotonic() < deadline:
        if path.exists() and path.stat().st_size > 10000:
            return
        time.sleep(0.05)
    raise RuntimeError(f"nothing was recorded into {path.name} in {timeout_s} s")


def _end(process: subprocess.Popen[bytes], how: signal.Signals) -> None:
    if process.poll() is None:
        process.send_signal(how)
        try:
            process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
