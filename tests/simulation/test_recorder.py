"""What the recorder does on purpose and by accident."""

import numpy as np
import pytest

from humcheck.simulation import (
    Dropout,
    GainControl,
    NoiseGate,
    PathModel,
    Recorder,
    Splice,
    simulate_take,
)
from tests.simulation.reading import decibels, lines, sine

RATE_HZ = 48000


def record(source, recorder, **more):
    return simulate_take(source, path=PathModel(recorder=recorder), lead_s=0.0, tail_s=0.0, **more)


def test_clipped_sine():
    # A sine clipped at 0.8 of its peak: fundamental 0.895912, third harmonic 0.081859 of it (textbook closed form,
    # h1 = (2/pi)(theta + c sqrt(1 - c^2)), theta = arcsin c).
    take = record(sine(500.0, 4.0, RATE_HZ), Recorder(bits=None, clip_dbfs=20 * np.log10(0.8)))
    found = np.abs(lines(take.samples[RATE_HZ : 3 * RATE_HZ, :1], RATE_HZ, [500.0, 1500.0]))[:, 0]
    # 96 points a period: the corners fall between them, a part in a thousand of the harmonic.
    assert found[0] == pytest.approx(0.895912, rel=1e-3)
    assert found[1] / found[0] == pytest.approx(0.081859, rel=5e-3)
    assert np.abs(take.samples).max() == pytest.approx(0.8, rel=1e-12)


def test_full_scale_is_the_limit_of_every_word():
    loud = record(sine(500.0, 1.0, RATE_HZ) * 1.5, Recorder(bits=16))
    assert loud.samples.max() == 1 - 2.0**-15
    assert loud.samples.min() == -1.0
    steps = loud.samples * 2**15
    assert np.array_equal(steps, np.rint(steps))


def test_dc_offset():
    take = record(np.zeros((RATE_HZ, 2)), Recorder(bits=None, dc=(0.01, -0.002)))
    assert take.samples.mean(axis=0) == pytest.approx([0.01, -0.002], rel=1e-9)


def test_mono_keeps_the_left_channel():
    take = record(sine(500.0, 1.0, RATE_HZ, left=0.5, right=0.1), Recorder(bits=None, n_channels=1))
    assert take.samples.shape == (RATE_HZ, 1)
    assert np.abs(take.samples).max() == pytest.approx(0.5, rel=1e-3)


@pytest.mark.parametrize("count", [1, 30, 1000, -7])
def test_lost_and_inserted_samples(count):
    whole = record(sine(500.0, 2.0, RATE_HZ), Recorder(bits=None))
    take = record(sine(500.0, 2.0, RATE_HZ), Recorder(bits=None, splices=(Splice(at_s=1.0, count=count),)))
    assert take.samples.shape[0] == 2 * RATE_HZ - count
    assert np.array_equal(take.samples[:RATE_HZ], whole.samples[:RATE_HZ])
    assert np.array_equal(take.samples[-RATE_HZ // 2 :], whole.samples[-RATE_HZ // 2 :])
    # What stood at 1.5 s now stands `count` samples earlier; the truth says so.
    assert take.truth.take_index(np.array([0.5, 1.5])) == pytest.approx([0.5 * RATE_HZ, 1.5 * RATE_HZ - count])


def test_two_losses_add_up():
    splices = (Splice(at_s=0.5, count=10), Splice(at_s=1.5, count=-4))
    take = record(sine(500.0, 2.0, RATE_HZ), Recorder(bits=None, splices=splices))
    moved = take.truth.take_index(np.array([0.25, 1.0, 1.75])) - np.array([0.25, 1.0, 1.75]) * RATE_HZ
    assert moved == pytest.approx([0.0, -10.0, -6.0], abs=1e-6)
    assert take.samples.shape[0] == 2 * RATE_HZ - 6


def test_dropout_is_digital_silence():
    take = record(sine(500.0, 2.0, RATE_HZ), Recorder(dropouts=(Dropout(start_s=1.0, duration_s=0.02),)))
    assert not take.samples[RATE_HZ : RATE_HZ + 960].any()
    assert take.samples[RATE_HZ + 960 + 24].any()


def test_gain_control_brings_soft_and_loud_together():
    source = np.concatenate([sine(500.0, 4.0, RATE_HZ) * 0.5, sine(500.0, 8.0, RATE_HZ) * 0.05])
    take = record(source, Recorder(bits=None, gain_control=GainControl(target_dbfs=-12.0, most_gain_db=30.0)))

    def level(start_s):
        piece = take.samples[round(start_s * RATE_HZ) : round((start_s + 0.5) * RATE_HZ), :1]
        return decibels(lines(piece, RATE_HZ, [500.0])[0, 0])

    # 20 dB apart in the source; a level detector on a steady sine ends on its target.
    assert level(3.0) == pytest.approx(-12.0, abs=0.1)
    assert level(11.0) == pytest.approx(-12.0, abs=0.2)
    # After the step down it needs its release time.
    assert level(4.5) < -20


def test_gate_turns_down_what_is_soft():
    source = np.concatenate([sine(500.0, 2.0, RATE_HZ) * 0.5, sine(500.0, 2.0, RATE_HZ) * 1e-3])
    gated = record(source, Recorder(bits=None, gate=NoiseGate(threshold_dbfs=-50.0, reduction_db=30.0)))
    piece = slice(3 * RATE_HZ, 3 * RATE_HZ + RATE_HZ // 2)
    assert decibels(lines(gated.samples[piece, :1], RATE_HZ, [500.0])[0, 0]) == pytest.approx(-90.0, abs=1e-3)
    loud = slice(RATE_HZ, RATE_HZ + RATE_HZ // 2)
    assert decibels(lines(gated.samples[loud, :1], RATE_HZ, [500.0])[0, 0]) == pytest.approx(-6.0206, abs=1e-3)
