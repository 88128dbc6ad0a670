"""The quiet stretch of a recording that holds no track."""

import numpy as np
import pytest
import soundfile

from humcheck.audio.files import open_take
from humcheck.errors import MeasurementError
from humcheck.takes.quiet import quiet_stretch, quiet_stretches

RATE_HZ = 8000


def written(tmp_path, samples):
    path = tmp_path / "take.wav"
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")
    return open_take(path)


def noise(duration_s, dbfs, seed=1):
    return np.random.default_rng(seed).normal(0, 10 ** (dbfs / 20) / np.sqrt(2), int(duration_s * RATE_HZ))


def test_the_pause_between_two_loud_parts_is_found(tmp_path):
    take = written(tmp_path, np.concatenate([noise(3, -20), noise(4, -80, 2), noise(3, -20, 3)]))
    found = quiet_stretch(take)
    assert found.start / RATE_HZ == pytest.approx(3.0, abs=0.11)
    assert found.stop / RATE_HZ == pytest.approx(7.0, abs=0.11)
    assert not found.covers_all


def test_a_steady_take_is_used_whole_up_to_a_minute(tmp_path):
    found = quiet_stretch(written(tmp_path, noise(70, -80) + 0.01))
    assert found.covers_all
    assert found.start == 0
    assert found.stop == 60 * RATE_HZ


def test_true_zeros_are_not_taken_for_the_paths_noise(tmp_path):
    take = written(tmp_path, np.concatenate([np.zeros(5 * RATE_HZ), noise(3, -70), np.zeros(5 * RATE_HZ)]))
    found = quiet_stretch(take)
    assert found.start / RATE_HZ == pytest.approx(5.0, abs=0.11)


@pytest.mark.parametrize(
    ("samples", "reason"), [(np.zeros(3 * RATE_HZ), "digital silence"), (noise(0.5, -60), "shorter")]
)
def test_what_has_no_quiet_says_why(tmp_path, samples, reason):
    with pytest.raises(MeasurementError, match=reason):
        quiet_stretch(written(tmp_path, samples))


def test_several_pauses_are_found_the_longest_first(tmp_path):
    loud = noise(2, -20)
    take = written(tmp_path, np.concatenate([loud, noise(2, -80, 2), loud, noise(4, -80, 3), loud, noise(1.5, -80, 4)]))
    found = [(one.start / RATE_HZ, one.stop / RATE_HZ) for one in quiet_stretches(take)]
    assert np.array(found) == pytest.approx(np.array([(6.0, 10.0), (2.0, 4.0), (12.0, 13.5)]), abs=0.11)


def test_a_long_steady_take_is_read_all_over(tmp_path):
    found = quiet_stretches(written(tmp_path, noise(601, -80)))
    starts = sorted(one.start / RATE_HZ for one in found)
    assert len(found) == 5
    assert starts[0] == 0.0
    assert starts[-1] == 540.0
    assert all(one.stop - one.start == 60 * RATE_HZ for one in found)
