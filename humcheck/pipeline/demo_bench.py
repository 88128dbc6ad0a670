"""The made-up bench of the demo: a town library's travelling show of old home computers, with three switch boxes.

Lamp plays the tracks and hisses a little; Kite draws the picture on the shared screen; Otter stands by, connected but
idle, at the next port. Three cures are tried on Alder, which hums; Birch is taken with other pictures, Cedar with one
output loaded and with two.

The plan is a sparse one: every port three times with the short quiet track, and the full track once where it matters.
"""

from __future__ import annotations

import zlib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from pathlib import Path
from typing import Any, Literal

import numpy as np

from humcheck.pipeline.demo_paths import (
    LOOP_DBFS,
    PORTS,
    WORST_PORT,
    alder_path,
    birch_path,
    cedar_path,
    direct_path,
    recorder_path,
)
from humcheck.pipeline.workers import processes
from humcheck.simulation import PathModel, Recorder, TakePlan, Truth, plan_take
from humcheck.tracks.layouts import layout

Role = Literal["direct", "through", "recorder"]

RATE_HZ = 48000
TRACK_BITS = 24
TRACK_LENGTH = "short"
_RECORDER_TAKE_S = 20.0


@dataclass(frozen=True, kw_only=True)
class DemoTake:
    """One take of the bench, made when it is asked for.

    Attributes
    ----------
    file_name : str
        Name of its file.
    role : str
        ``"direct"``, ``"through"`` or ``"recorder"``.
    device, port, picture, fix, plugging : str or None
        How it was taken, as a bench file says it.
    condition : mapping of str to str
        Further conditions.
    track : str or None
        Name of the track that plays; None for the recorder alone.
    path : PathModel
        The path, this take's own small changes of gain, clock and hum included.
    lead_s, tail_s : float
        What is recorded before and after the track.
    seed : int
        Seed of its noise.
    """

    file_name: str
    role: Role
    device: str | None = None
    port: str | None = None
    picture: str | None = None
    fix: str | None = None
    plugging: str | None = None
    condition: Mapping[str, str] = field(default_factory=dict)
    track: str | None = "full"
    path: PathModel
    lead_s: float = 1.5
    tail_s: float = 1.0
    seed: int = 0

    @cached_property
    def plan(self) -> TakePlan:
        """The take before it is made."""
        if self.track is None:
            return plan_take(None, path=self.path, rate_hz=RATE_HZ, seed=self.seed, duration_s=_RECORDER_TAKE_S)
        return plan_take(
            layout(self.track, TRACK_LENGTH),
            path=self.path,
            rate_hz=RATE_HZ,
            source_bits=TRACK_BITS,
            seed=self.seed,
            lead_s=self.lead_s,
            tail_s=self.tail_s,
        )

    @property
    def truth(self) -> Truth:
        """True values of the take."""
        return self.plan.truth

    def write(self, folder: Path, *, force: bool = False) -> Path:
        """Make the take and write it into a folder."""
        target = folder / self.file_name
        self.plan.simulate().write(target, force=force)
        return target


def demo_takes(seed: int = 1) -> list[DemoTake]:
    """Return the takes of the demo's bench in the order of the day.

    Parameters
    ----------
    seed : int
        Another seed gives another day: clocks, mains, hiss and the small changes between takes differ.
    """
    return [_with_todays_changes(take, seed) for take in plain_takes()]


def write_demo_takes(
    folder: str | Path,
    *,
    seed: int = 1,
    force: bool = False,
    jobs: int = 1,
    file_names: Collection[str] | None = None,
) -> list[Path]:
    """Make the takes of the demo's bench and write them into a folder that exists.

    Parameters
    ----------
    folder : path
        Where to.
    seed : int
        As for `demo_takes`.
    force : bool
        Replace files that are not our own.
    jobs : int
        Number of processes.
    file_names : collection of str, optional
        Only these.

    Returns
    -------
    list of pathlib.Path
        The files, in the order of `demo_takes`.
    """
    takes = demo_takes(seed)
    wanted = [index for index, take in enumerate(takes) if file_names is None or take.file_name in file_names]
    write_one = partial(_write_one, Path(folder), seed, force)
    if jobs == 1:
        return [write_one(index) for index in wanted]
    with processes(jobs) as workers:
        return list(workers.map(write_one, wanted))


def _write_one(folder: Path, seed: int, force: bool, index: int) -> Path:
    return demo_takes(seed)[index].write(folder, force=force)


def _through(device: str, words: str, number: int, path: PathModel, **more: Any) -> DemoTake:
    """Return one take through a box; the first of those at the worst port with a white picture plays the full track."""
    keys = {"port": WORST_PORT, "picture": "white", "track": "silence", **more}
    name = f"{device.lower()}-{words}-{number}.wav"
    return DemoTake(file_name=name, role="through", device=device, path=path, plugging=f"{words}-{number}", **keys)


def _direct(number: int, picture: str = "white", track: str = "full") -> DemoTake:
    name = f"direct-{number}.wav" if picture == "white" else f"direct-{picture}-{number}.wav"
    path = direct_path(picture)
    return DemoTake(
        file_name=name, role="direct", picture=picture, track=track, path=path, plugging=f"{picture}-{number}"
    )


def _alder_takes() -> Iterator[DemoTake]:
    on = {"condition": {"supply": "on"}}
    for port in PORTS:
        for number in _REPEATS:
            track = "full" if (port, number) == (WORST_PORT, 1) else "silence"
            yield _through("Alder", f"port{port}", number, alder_path(port), port=port, track=track, **on)
    for number in _REPEATS:
        path = alder_path(WORST_PORT, supply="off")
        yield _through("Alder", "unplugged", number, path, condition={"supply": "off"})
    for fix in filter(None, LOOP_DBFS):
        for number in _REPEATS:
            track = "full" if number == 1 else "silence"
            words = fix.split()[0].lower()
            yield _through("Alder", words, number, alder_path(WORST_PORT, fix), fix=fix, track=track, **on)


def _birch_takes() -> Iterator[DemoTake]:
    for port in PORTS:
        for number in _REPEATS:
            track = "full" if (port, number) == (WORST_PORT, 1) else "silence"
            yield _through("Birch", f"port{port}", number, birch_path(port, "white"), port=port, track=track)
    for number in _REPEATS:
        yield _through("Birch", "black", number, birch_path(WORST_PORT, "black"), picture="black")
    yield _through("Birch", "rows", 1, birch_path(WORST_PORT, "rows"), picture="rows")


def _cedar_takes() -> Iterator[DemoTake]:
    one, two = ({"condition": {"outputs": number}} for number in ("1", "2"))
    for port in PORTS:
        for number in _REPEATS:
            track = "full" if (port, number) == (WORST_PORT, 1) else "silence"
            yield _through("Cedar", f"port{port}", number, cedar_path(), port=port, track=track, **one)
    for number in _REPEATS:
        yield _through("Cedar", "loaded", number, cedar_path("2"), **two)
    for number in _REPEATS:
        yield _through("Cedar", "black", number, cedar_path(picture="black"), picture="black", **one)


#: Takes of each use: what three can tell, and no more.
_REPEATS = (1, 2, 3)


def plain_takes() -> list[DemoTake]:
    """Return the day, direct takes first, last and between the boxes, without the small changes from take to take."""
    return [
        _direct(1),
        _direct(1, "black", "silence"),
        _direct(1, "rows", "silence"),
        *_alder_takes(),
        _direct(2, track="silence"),
        *_birch_takes(),
        _direct(3, track="silence"),
        _direct(2, "black", "silence"),
        *_cedar_takes(),
        _direct(4),
        DemoTake(file_name="recorder.wav", role="recorder", track=None, path=recorder_path()),
    ]


def _with_todays_changes(take: DemoTake, seed: int) -> DemoTake:
    """Return the take with what changes from one take to the next on a real bench: a little of everything."""
    rng = np.random.default_rng([seed, zlib.crc32(take.file_name.encode())])
    path = take.path
    gain_db = rng.normal(0.0, 0.01)
    hum_factor = float(np.exp(rng.normal(0.0, 0.03)))
    linear = replace(
        path.linear,
        left=replace(path.linear.left, gain_db=path.linear.left.gain_db + gain_db),
        right=replace(path.linear.right, gain_db=path.linear.right.gain_db + gain_db),
    )
    path = replace(
        path,
        player=replace(path.player, ppm=path.player.ppm + rng.normal(0.0, 0.3)),
        recorder_clock=replace(path.recorder_clock, ppm=path.recorder_clock.ppm + rng.normal(0.0, 0.3)),
        linear=linear,
        hum=tuple(replace(hum, left=hum.left * hum_factor, right=hum.right * hum_factor) for hum in path.hum),
        recorder=Recorder(bits=24),
    )
    lead_s, tail_s = rng.uniform(0.6, 2.5), rng.uniform(0.6, 1.5)
    return replace(take, path=path, lead_s=lead_s, tail_s=tail_s, seed=int(rng.integers(2**31)))
