"""Paths of the demo's bench: Lamp, the recorder, and the three boxes, each with the fault that it is known for.

Alder joins two earths, so the mains is heard through it; Birch lets the picture into the sound, the more the farther
the port lies from the output; Cedar is quiet and alike at all ports, but takes level, the more so with a second output
loaded, and lets each channel into the other.
"""

from __future__ import annotations

from dataclasses import replace

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
    ground_loop,
    harmonics,
    rectified,
)

#: A home computer's picture: whole lines, 50.08 fields a second beside 50 Hz mains, and sync that a black screen has.
_TIMING = replace(TIMING_312, sync_level=COMPOSITE_SYNC)
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


def recorder_path() -> PathModel:
    """Return the recorder with its input terminated."""
    return _bench(hum=(_RECORDER_HUM,), hiss=(_RECORDER_HISS,))


#: The port next to the output is the first; the farthest is the hardest case.
PORTS = ("1", "2", "3", "4")
WORST_PORT = PORTS[-1]
#: What each cure leaves of the loop through Alder, in dBFS at the mains frequency.
LOOP_DBFS = {None: -62.0, "isolating transformer": -96.0, "same socket strip": -78.0, "clip-on ferrite": -62.2}


def alder_path(port: str, fix: str | None = None, supply: str = "on") -> PathModel:
    """Return the box that joins two earths; an isolating transformer takes most of that away, and some bass."""
    nearer_db = 0.8 * (int(port) - int(WORST_PORT))
    loop = Hum(amplitudes=ground_loop(LOOP_DBFS[fix] + nearer_db, n_harmonics=17, fall_db=5.0, phase_seed=3), right=0.8)
    hums = [_SOURCE_HUM, _RECORDER_HUM, loop]
    if supply == "on":
        hums.append(Hum(amplitudes=rectified(-94.0, n_harmonics=20)))
    linear = _bench_linear(-0.1, -0.1)
    if fix == "isolating transformer":
        linear = replace(
            linear,
            left=replace(linear.left, gain_db=linear.left.gain_db - 0.4, low_corners_hz=(1.6, 18.0)),
            right=replace(linear.right, gain_db=linear.right.gain_db - 0.4, low_corners_hz=(1.6, 18.0)),
        )
    return _bench(linear=linear, hum=tuple(hums), picture=_showing("white"))


def birch_path(port: str, picture: str) -> PathModel:
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
    nearer_db = 3.0 * (int(port) - int(WORST_PORT))
    leaks = (
        PictureLeak(level_dbfs_at_1k=-71.0 + nearer_db, right=0.7),
        PictureLeak(level_dbfs_at_1k=-86.0 + nearer_db, kind="shared", right=0.7),
    )
    return _bench(
        linear=linear,
        distortion=Polynomial(coefficients=(2e-4, 3e-4)),
        hiss=(_RECORDER_HISS, _LAMP_HISS, Hiss.both(-95.0)),
        picture=_showing(picture, *leaks),
    )


def cedar_path(outputs: str = "1", picture: str = "white") -> PathModel:
    """Return the box without a supply: resistors that cost level, and wires side by side."""
    shared_db = 0.0 if outputs == "1" else -3.1
    linear = _bench_linear(
        -3.3 + shared_db,
        -3.7 + shared_db,
        into_left=Crosstalk(capacitance_f=150e-12),
        into_right=Crosstalk(capacitance_f=220e-12),
    )
    return _bench(linear=linear, picture=_showing(picture))


def direct_path(picture: str) -> PathModel:
    """Return the bench without a box."""
    return _bench(picture=_showing(picture))
