"""Kill what writes, at random moments, and say what was found: ``python -m tests.hostile.killed_writer FOLDER ROUNDS``.

Every output has two versions, which a child process writes in turn, over and over, with the program's own writers. Each
round kills the child somewhere in it. A file must then be one version or the other, byte by byte, or not there yet.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

from humcheck.audio.writing import LEFTOVER_PREFIX, MARK, write_audio, write_whole
from humcheck.evidence import Excerpts, write_folder
from humcheck.evidence.sounds import Sound
from humcheck.pipeline.cache import KeptTakes
from humcheck.pipeline.measure import measure_take
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.report.publish.publication import Item, Publication
from humcheck.results import RESULTS_MARK, Key

Writer = Callable[[Path, int], object]


def main() -> int:
    folder, rounds = Path(sys.argv[1]), int(sys.argv[2])
    source = folder / "take.wav"
    soundfile.write(source, np.random.default_rng(0).normal(0, 0.1, (8000, 2)), 8000)
    writers = _writers(source)
    versions = []
    for version in (0, 1):
        place = folder / f"version-{version}"
        place.mkdir()
        _write_all(writers, place, version)
        versions.append(_content(place))
    chance, place, torn, n_seen = random.Random(1), folder / "killed", [], 0
    place.mkdir()
    for _ in range(rounds):
        _killed(writers, place, chance.uniform(0.0, 0.04))
        for name, content in _content(place).items():
            n_seen += 1
            if content not in (version.get(name) for version in versions):
                torn.append(name)
    leftovers = list(place.rglob(f"{LEFTOVER_PREFIX}*"))
    for path in leftovers:
        os.utime(path, (time.time() - 7200, time.time() - 7200))
    _write_all(writers, place, 0)  # the next run
    remaining = [path.name for path in place.rglob(f"{LEFTOVER_PREFIX}*")]
    whole = _content(place) == versions[0]
    found = {"torn": torn, "seen": n_seen, "leftovers": len(leftovers), "remaining": remaining, "whole": whole}
    print(json.dumps(found))
    return 0


def _writers(source: Path) -> list[Writer]:
    text = [f"<!-- {MARK} -->" + letter * 400_000 for letter in "ab"]
    saved = [f"{{{RESULTS_MARK}, {letter * 300_000}}}" for letter in "cd"]
    sounds = [np.random.default_rng(seed).normal(0, 0.1, (30_000, 2)) for seed in (1, 2)]
    excerpts = [Excerpts(sounds=tuple(_sound(number, letter) for number in range(3))) for letter in "ef"]
    published = [Publication(tuple(Item(name, "", f"{MARK} {letter * 50_000}") for name in _NAMES)) for letter in "gh"]
    request, settings = TakeRequest(path=str(source), role="single"), MeasuringSettings(mains_hz=50.0)
    take = measure_take(request, "t1", settings)
    return [
        lambda place, version: write_whole(place / "page.html", text[version]),
        lambda place, version: write_whole(place / "results.json", saved[version], mark=RESULTS_MARK),
        lambda place, version: write_audio(place / "track.wav", sounds[version], 48000),
        lambda place, version: write_folder(excerpts[version], place / "results.json"),
        lambda place, version: published[version].write(place / "figures"),
        lambda place, version: KeptTakes(place / "bench.measured").keep(take, request, settings),
    ]


_NAMES = ("card.png", "summary.md", "measures.csv", "CONTENTS.txt")


def _write_all(writers: list[Writer], place: Path, version: int) -> None:
    for write in writers:
        write(place, version)


def _killed(writers: list[Writer], place: Path, after_s: float) -> None:
    child = os.fork()
    if child == 0:
        version = 0
        while True:
            _write_all(writers, place, version)
            version = 1 - version
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)


def _content(place: Path) -> dict[str, bytes]:
    files = (path for path in place.rglob("*") if path.is_file() and not path.name.startswith(LEFTOVER_PREFIX))
    return {str(path.relative_to(place)): path.read_bytes() for path in files}


def _sound(number: int, letter: str) -> Sound:
    return Sound(
        group="Alder",
        kind=("quiet", "hum", "hiss")[number],
        role="through",
        key=Key(subject="Alder", role="through", quantity=""),
        caption="",
        raised_db=0.0,
        level_dbfs=-30.0,
        content=f"fLaC {MARK} {letter * 60_000}".encode(),
    )


if __name__ == "__main__":
    sys.exit(main())
