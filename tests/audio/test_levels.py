import numpy as np
import pytest

from humcheck.audio.levels import (
    FLOOR_DBFS,
    amplitude_to_dbfs,
    db_to_power_ratio,
    db_to_ratio,
    dbfs_to_amplitude,
    dbfs_to_power,
    dbfs_to_rms,
    power_to_dbfs,
    ratio_to_db,
    rms_to_dbfs,
)

ONE_SECOND = np.arange(48_000) / 48_000


def mean_square(samples):
    return float(np.mean(samples**2))


def test_full_scale_sine_reads_0_dbfs():
    # AES17: 0 dBFS is the RMS of a sine that just reaches full scale; 997 Hz has whole periods in a second.
    assert power_to_dbfs(mean_square(np.sin(2 * np.pi * 997 * ONE_SECOND))) == pytest.approx(0.0, abs=1e-9)


def test_full_scale_square_wave_reads_plus_3_01_dbfs():
    # AES17: 20 lg sqrt(2) = 3.0103.
    assert power_to_dbfs(mean_square(np.sign(ONE_SECOND - 0.5 + 1e-6))) == pytest.approx(3.0103, abs=1e-4)


# Power sums, elementary: 10 lg(10**(a/10) + 10**(b/10)).
@pytest.mark.parametrize(
    ("levels", "signs", "expected"),
    [
        pytest.param((-80.0, -80.0), (1, 1), -76.9897, id="two equal noises, +3.0103 dB"),
        pytest.param((-80.0, -86.0), (1, 1), -79.0268, id="a second noise 6 dB below"),
        pytest.param((-70.0, -76.0), (1, -1), -71.2563, id="background taken off a total"),
        pytest.param((-60.0, -80.0), (1, 1), -59.9568, id="lines at -60 and -80"),
    ],
)
def test_power_sums(levels, signs, expected):
    total = sum(sign * dbfs_to_power(level) for level, sign in zip(levels, signs, strict=True))
    assert power_to_dbfs(total) == pytest.approx(expected, abs=5e-5)


def test_the_same_level_from_power_rms_and_amplitude():
    for amplitude in (1.0, 0.5, 1e-6):
        level = amplitude_to_dbfs(amplitude)
        assert rms_to_dbfs(amplitude / np.sqrt(2)) == pytest.approx(level, abs=1e-9)
        assert power_to_dbfs(amplitude**2 / 2) == pytest.approx(level, abs=1e-9)


@pytest.mark.parametrize("level", [-399.0, -120.0, -6.0, 0.0, 12.0])
def test_levels_go_there_and_back(level):
    assert power_to_dbfs(dbfs_to_power(level)) == pytest.approx(level)
    assert rms_to_dbfs(dbfs_to_rms(level)) == pytest.approx(level)
    assert amplitude_to_dbfs(dbfs_to_amplitude(level)) == pytest.approx(level)
    assert ratio_to_db(db_to_ratio(level)) == pytest.approx(level)
    assert db_to_power_ratio(level) == pytest.approx(db_to_ratio(level) ** 2)


def test_silence_reads_the_floor_and_comes_back_as_silence():
    assert power_to_dbfs(0.0) == FLOOR_DBFS
    assert power_to_dbfs(-1e-12) == FLOOR_DBFS  # an unbiased estimate of no power may be negative
    assert rms_to_dbfs(0.0) == FLOOR_DBFS
    assert ratio_to_db(0.0) == FLOOR_DBFS
    assert dbfs_to_amplitude(FLOOR_DBFS) == 0.0
    assert dbfs_to_power(-np.inf) == 0.0


def test_a_spoilt_reading_does_not_look_like_silence():
    assert np.isnan(power_to_dbfs(float("nan")))


def test_numbers_give_numbers_and_arrays_give_arrays():
    assert isinstance(power_to_dbfs(0.5), float)
    assert isinstance(dbfs_to_rms(-3.0), float)
    assert power_to_dbfs(np.full((2, 3), 0.5)) == pytest.approx(np.zeros((2, 3)))
    assert ratio_to_db(np.array([-1.0, 10.0])) == pytest.approx([0.0, 20.0])
    assert ratio_to_db(3 + 4j) == pytest.approx(13.9794, abs=1e-4)  # |3 + 4j| = 5
