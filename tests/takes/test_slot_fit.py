"""The exact fit of one chirp to sound that leaves it nothing to hold on to."""

import numpy as np
import pytest

from humcheck.takes.chirps import Placement, chirp
from humcheck.takes.slot_fit import fit_slot
from humcheck.takes.take import sought_in
from tests.takes.memory import MemoryTake

N_SAMPLES = 48000


def one_frequency(n_samples):
    return 0.5 * np.sin(2.0 * np.pi * 0.02 * np.arange(n_samples))


SOUNDS = {
    "digital silence": np.zeros,
    "a constant": lambda n_samples: np.full(n_samples, 0.25),
    "one frequency": one_frequency,
    "a frequency that every sample meets alike": lambda n_samples: 0.5 * (-1.0) ** np.arange(n_samples),
    "a single click": lambda n_samples: np.eye(1, n_samples, n_samples // 2)[0],
}


# Of a chirp as fast or as slow as these the band around the tone, 560 to 1600 Hz, holds no sample, one, a few, all.
@pytest.mark.parametrize("samples_per_s", [300.0, 1000.0, 1180.0, 1250.0, 2000.0, 48000.0])
@pytest.mark.parametrize("name", SOUNDS)
def test_any_sound_is_fitted_or_refused(name, samples_per_s):
    for channel in ("left", "right"):
        take = MemoryTake(SOUNDS[name](N_SAMPLES)[:, None], 48000)
        slot = fit_slot(take, 0, channel, 0.0, Placement(1000.3, samples_per_s))
        if name == "digital silence":
            assert slot is None
        elif slot is not None:
            assert np.all(np.isfinite([*slot.gains, *slot.tone_gains, slot.take_index, slot.likeness]))
            assert 0.0 <= slot.likeness <= 1.0


def test_a_chirp_without_the_tones_band_has_no_gain_there():
    # At 1000 samples a second all above 490 Hz is faded out; the rest of the chirp is there and is fitted.
    placed = Placement(100.0, 1000.0)
    sound = chirp("left", placed.time_s(0, 1000), placed.samples_per_s)[:, None]
    slot = fit_slot(MemoryTake(sound, 1000), 0, "left", 0.0, placed)
    assert slot.gains == pytest.approx(1.0, abs=1e-6)
    assert slot.tone_gains == pytest.approx(0.0)


@pytest.mark.parametrize("name", SOUNDS)
def test_a_take_of_it_holds_no_track_and_no_trace_of_one(name):
    take = sought_in(MemoryTake(np.tile(SOUNDS[name](4 * N_SAMPLES)[:, None], 2), 48000))
    assert not take.has_track
    assert take.notes == ()
