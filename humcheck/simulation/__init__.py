"""An honest audio path made of its parts, for the demo, the tests and the benchmarks.

It shares no model with the estimators: the track is rendered as its file is, played through analogue filters, heard
by another clock, disturbed, and recorded. `simulate_take` returns the samples and their true values.
"""

from humcheck.simulation.clocks import Crystal
from humcheck.simulation.distortion import Polynomial
from humcheck.simulation.mains import Hum, Mains, bursts, ground_loop, harmonics, rectified
from humcheck.simulation.noise import Hiss
from humcheck.simulation.path import FrameComb, PathModel, SteadyTone
from humcheck.simulation.raster import (
    COMPOSITE_SYNC,
    TIMING_262,
    TIMING_312,
    TIMING_525,
    TIMING_625,
    Picture,
    PictureLeak,
    RasterTiming,
)
from humcheck.simulation.recorder import Dropout, GainControl, NoiseGate, Recorder, Splice
from humcheck.simulation.simulate import SimulatedTake, TakePlan, plan_take, simulate_take
from humcheck.simulation.transfer import ChannelPath, Crosstalk, LinearPath
from humcheck.simulation.truth import Truth, low_corner_hz, response_delta_db

__all__ = [
    "COMPOSITE_SYNC",
    "TIMING_262",
    "TIMING_312",
    "TIMING_525",
    "TIMING_625",
    "ChannelPath",
    "Crosstalk",
    "Crystal",
    "Dropout",
    "FrameComb",
    "GainControl",
    "Hiss",
    "Hum",
    "LinearPath",
    "Mains",
    "NoiseGate",
    "PathModel",
    "Picture",
    "PictureLeak",
    "Polynomial",
    "RasterTiming",
    "Recorder",
    "SimulatedTake",
    "Splice",
    "SteadyTone",
    "TakePlan",
    "Truth",
    "bursts",
    "ground_loop",
    "harmonics",
    "low_corner_hz",
    "plan_take",
    "rectified",
    "response_delta_db",
    "simulate_take",
]
