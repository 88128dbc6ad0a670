"""The made-up bench of the demo: a town library's travelling show of old home computers, with three switch boxes.

Lamp plays the tracks and hisses a little; Kite draws the picture on the shared screen; Otter stands by, connected but
idle, at the next port. Alder joins two earths, so the mains is heard through it; Birch lets the picture into the
sound; Cedar is quiet, but takes level and lets each channel into the other.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from multiprocessing import get_context
from pathlib import Path
from typing import Literal

import numpy as np

from humcheck.simulation import (
    COMPOSITE_SYNC,
    TIMING_312,
    ChannelPath,
    Crosstalk,
    Crystal,
    Hiss,
    Hum,
    LinearPath,
    Mains,
    PathModel,
    Picture,
    PictureLeak,
    Polynomial,
    Recorder,
    TakePlan,
    Truth,
    ground_loop,
    harmonics,
    plan_take,
    rectified,
)
from humcheck.tracks.layouts import layout

Role = Literal["direct", "through", "recorder"]

RATE_HZ = 48000
TRACK_BITS = 24
TRACK_LENGTH = "short"
_RECORDER_TAKE_S = 20.0
#: A home computer's picture: whole lines, 50.08 fields a second beside 50 Hz mains, and sync that a black screen has.
_TIMING = replace(TIMING_312, sync_level=COMPOSITE_SYNC)


@dataclass(frozen=True, kw_only=True)
class DemoTake:
    """One take of the bench, made when it is asked for.

    Attributes
    ----------
    file_name : str
        Name of its file.
    role : str
        ``"direct"``, ``"through"`` or ``"recorder"``.
    device, port, picture, fix : str or None
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
    return [_with_todays_changes(take, seed, index) for index, take in enumerate(_takes())]


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
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as workers:
        return list(workers.map(write_one, wanted))


def _write_one(folder: Path, seed: int, force: bool, index: int) -> Path:
    return demo_takes(seed)[index].write(folder, force=force)


# The bench ----------------------------------------------------------------------------------------------------------

_SOURCE_HUM = Hum(amplitudes=harmonics({1: -97.0, 2: -104.0, 3: -102.0, 5: -110.0}, phase_seed=1), right=0.9)
_RECORDER_HUM = Hum(amplitudes=harmonics({1: -112.0, 3: -118.0}, phase_seed=2), right=1.1)
_RECORDER_HISS = Hiss.both(-101.0)
_LAMP_HISS = Hiss.both(-93.0)
#: What picture and sound leave in each other on the bench itself.
_BENCH_LEAK = PictureLeak(level_dbfs_at_1k=-132.0)
_BENCH_GAIN_DB = -4.0


def _bench_linear(left_db: float = 0.0, right_db: float = 0.0, **more: Crosstalk) -> LinearPath:
    """Return the bench with a box that changes level and crosstalk only."""
    coupling_hz = (1.6,)  # 10 uF into 10 kohm at the recorder
    bleed = {"into_left": Crosstalk.at_1k(-98.0), "into_right": Crosstalk.at_1k(-98.0), **more}
    return LinearPath(
        left=ChannelPath(gain_db=_BENCH_GAIN_DB + left_db, low_corners_hz=coupling_hz),
        right=ChannelPath(gain_db=_BENCH_GAIN_DB - 0.04 + right_db, low_corners_hz=coupling_hz),
        into_left=bleed["into_left"],
        into_right=bleed["into_right"],
    )


def _bench(**changed: object) -> PathModel:
    plain = PathModel(
        player=Crystal(ppm=17.0, walk_ppm=0.1),
        recorder_clock=Crystal(ppm=-26.0, walk_ppm=0.1),
        linear=_bench_linear(),
        mains=Mains(frequency_hz=50.0, wander_mhz=20.0, correlation_s=300.0),
        hum=(_SOURCE_HUM, _RECORDER_HUM),
        hiss=(_RECORDER_HISS, _LAMP_HISS),
    )
    return replace(plain, **changed)  # type: ignore[arg-type]


def _showing(picture: str, *leaks: PictureLeak) -> Picture:
    return Picture.plain(picture, _TIMING, _BENCH_LEAK, *leaks)


def _direct(picture: str) -> PathModel:
    return _bench(picture=_showing(picture))


def _recorder() -> PathModel:
    return _bench(hum=(_RECORDER_HUM,), hiss=(_RECORDER_HISS,))


def _alder(*, isolated: bool = False) -> PathModel:
    """Return the box that joins two earths; an isolating transformer takes most of that away, and some bass."""
    loop_dbfs = -96.0 if isolated else -62.0
    loop = Hum(amplitudes=ground_loop(loop_dbfs, n_harmonics=17, fall_db=5.0, phase_seed=3), right=0.8)
    ripple = Hum(amplitudes=rectified(-94.0, n_harmonics=20))
    linear = _bench_linear(-0.1, -0.1)
    if isolated:
        linear = replace(
            linear,
            left=replace(linear.left, gain_db=linear.left.gain_db - 0.4, low_corners_hz=(1.6, 18.0)),
            right=replace(linear.right, gain_db=linear.right.gain_db - 0.4, low_corners_hz=(1.6, 18.0)),
        )
    return _bench(linear=linear, hum=(_SOURCE_HUM, _RECORDER_HUM, loop, ripple), picture=_showing("white"))


def _birch(picture: str) -> PathModel:
    """Return the box with the picture line beside the sound line, and an amplifier that turns the sign over."""
    linear = LinearPath(
        left=ChannelPath(
            gain_db=_BENCH_GAIN_DB + 0.5, polarity=-1, low_corners_hz=(1.6, 12.0), high_corners_hz=(38e3,)
        ),
        right=ChannelPath(
            gain_db=_BENCH_GAIN_DB + 0.4, polarity=-1, low_corners_hz=(1.6, 12.0), high_corners_hz=(38e3,)
        ),
        into_left=Crosstalk.at_1k(-82.0),
        into_right=Crosstalk.at_1k(-80.0),
    )
    leaks = (
        PictureLeak(level_dbfs_at_1k=-71.0, right=0.7),
        PictureLeak(level_dbfs_at_1k=-86.0, kind="shared", right=0.7),
    )
    return _bench(
        linear=linear,
        distortion=Polynomial(coefficients=(2e-4, 3e-4)),
        hiss=(_RECORDER_HISS, _LAMP_HISS, Hiss.both(-95.0)),
        picture=_showing(picture, *leaks),
    )


def _cedar() -> PathModel:
    """Return the box without a supply: resistors that cost level, and wires side by side."""
    linear = _bench_linear(
        -3.3,
        -3.7,
        into_left=Crosstalk(capacitance_f=150e-12),
        into_right=Crosstalk(capacitance_f=220e-12),
    )
    return _bench(linear=linear, picture=_showing("white"))


def _takes() -> list[DemoTake]:
    def through(device: str, file_name: str, path: PathModel, **more: str) -> DemoTake:
        keys = {"port": "1", "picture": "white", **more}
        return DemoTake(file_name=file_name, role="through", device=device, path=path, **keys)  # type: ignore[arg-type]

    def direct(file_name: str, picture: str = "white", track: str = "full") -> DemoTake:
        return DemoTake(file_name=file_name, role="direct", picture=picture, track=track, path=_direct(picture))

    return [
        direct("direct-1.wav"),
        direct("direct-black.wav", "black", track="silence"),
        through("Alder", "alder-1.wav", _alder()),
        through("Alder", "alder-2.wav", _alder(), track="silence"),
        through("Alder", "alder-isolated.wav", _alder(isolated=True), track="silence", fix="isolating transformer"),
        through("Birch", "birch-1.wav", _birch("white")),
        through("Birch", "birch-2.wav", _birch("white"), track="silence"),
        through("Birch", "birch-black.wav", _birch("black"), track="silence", picture="black"),
        through("Cedar", "cedar-1.wav", _cedar()),
        through("Cedar", "cedar-2.wav", _cedar(), track="silence"),
        direct("direct-2.wav"),
        DemoTake(file_name="recorder.wav", role="recorder", track=None, path=_recorder()),
        direct("direct-rows.wav", "rows", track="silence"),
        through("Birch", "birch-rows.wav", _birch("rows"), track="silence", picture="rows"),
    ]


def _with_todays_changes(take: DemoTake, seed: int, index: int) -> DemoTake:
    """Return the take with what changes from one take to the next on a real bench: a little of everything."""
    rng = np.random.default_rng([seed, index])
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
