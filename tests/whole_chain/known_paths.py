"""Takes through paths whose every figure is known, written as files, measured as anybody's."""

from __future__ import annotations

from dataclasses import replace

from humcheck.pipeline.compare import TakeRequest, compare_files
from humcheck.pipeline.settings import MeasuringSettings
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
    ground_loop,
    harmonics,
    rectified,
    simulate_take,
)
from humcheck.tracks.layouts import layout

SOURCE_HUM = Hum(amplitudes=harmonics({1: -92.0, 2: -99.0, 3: -97.0, 5: -104.0}, phase_seed=5), right=0.9)

DIRECT = PathModel(
    player=Crystal(ppm=21.0, walk_ppm=0.1),
    recorder_clock=Crystal(ppm=-34.0, walk_ppm=0.1),
    delay_s=2e-6,
    linear=LinearPath(
        left=ChannelPath(gain_db=-4.0, low_corners_hz=(1.6,)),
        right=ChannelPath(gain_db=-4.1, low_corners_hz=(1.6,)),
        into_left=Crosstalk.at_1k(-96.0),
        into_right=Crosstalk.at_1k(-94.0),
    ),
    mains=Mains(frequency_hz=50.013, wander_mhz=20.0, correlation_s=300.0),
    hum=(SOURCE_HUM,),
    hiss=(Hiss.both(-94.0),),
)

_THROUGH_CHANNEL = ChannelPath(polarity=-1, low_corners_hz=(1.6, 15.9155), high_corners_hz=(60e3,))

#: What no estimator is built for: hum that swells, harmonics up to 1 kHz, sync pulses, clocks that wander.
THROUGH = replace(
    DIRECT,
    linear=LinearPath(
        left=replace(_THROUGH_CHANNEL, gain_db=-5.5),
        right=replace(_THROUGH_CHANNEL, gain_db=-6.1),
        into_left=Crosstalk(capacitance_f=100e-12),
        into_right=Crosstalk(capacitance_f=47e-12),
    ),
    distortion=Polynomial(coefficients=(5e-4, 4e-4)),
    hum=(
        SOURCE_HUM,
        Hum(amplitudes=ground_loop(-70.0, n_harmonics=19, fall_db=4.0, phase_seed=6), right=0.7),
        Hum(amplitudes=rectified(-82.0, n_harmonics=20), modulation=0.05, modulation_hz=0.3),
    ),
    picture=Picture.plain(
        "white",
        replace(TIMING_312, sync_level=COMPOSITE_SYNC),
        PictureLeak(level_dbfs_at_1k=-94.0, right=0.6),
        PictureLeak(level_dbfs_at_1k=-96.0, kind="shared"),
    ),
    hiss=(Hiss.both(-94.0), Hiss(left_dbfs=-90.0, right_dbfs=-92.0)),
)

RECORDER = PathModel(hiss=(Hiss.both(-104.0),), recorder_clock=DIRECT.recorder_clock)


def bench(folder):
    """Write two direct takes, one through take at another rate, and the recorder's own; return results and truths."""
    track = layout("full", "short")
    coarse = replace(THROUGH, recorder=Recorder(bits=16))
    takes = {
        "direct-1": simulate_take(track, path=DIRECT, seed=11, lead_s=1.3),
        "direct-2": simulate_take(track, path=DIRECT, seed=12, lead_s=0.7),
        "through": simulate_take(track, path=coarse, seed=13, lead_s=2.1, rate_hz=44100, source_rate_hz=48000),
        "recorder": simulate_take(None, path=RECORDER, seed=14, duration_s=15.0),
    }
    requests = []
    for name, take in takes.items():
        take.write(folder / f"{name}.wav")
        role = name.split("-")[0]
        device = "Alder" if role == "through" else None
        picture = None if role == "recorder" else "white"
        requests.append(TakeRequest(path=str(folder / f"{name}.wav"), role=role, device=device, picture=picture))
    outcome = compare_files(requests, MeasuringSettings(mains_hz=50.0), bench_name="known paths")
    assert not outcome.problems
    return outcome.results, {name: take.truth for name, take in takes.items()}
