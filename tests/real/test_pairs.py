"""Two recordings of one event that others made: their shifts, and where there is no certain answer.

The recordings come from public packages (see `fetch_open_data.py`). What they should give was measured once with other
means; where that is in doubt it is measured again here, plainly.
"""

from __future__ import annotations

import numpy as np
import pytest

from humcheck.errors import MeasurementError
from humcheck.estimates.programme import fit_programme
from humcheck.takes.programme import align_programme
from tests.real.open_data import open_data_file

h5py = pytest.importorskip("h5py", reason="reads the open recordings; in the extra `crosscheck`")

AXES = ("channel_1", "channel_2", "channel_3")
SENSOR_RATE_HZ = 1000.0


def sensor_channels(name, device=0):
    """Return the channels of one device as columns between -1 and 1, the mean taken off."""
    with h5py.File(open_data_file("biosignalsnotebooks", name)) as file:
        raw = file[list(file)[device]]["raw"]
        channels = {key: np.asarray(raw[key], dtype=float).ravel() for key in raw if key.startswith("channel")}
    return {key: column_of(values) for key, values in channels.items()}


def column_of(values):
    centred = values - values.mean()
    return (centred / np.abs(centred).max())[:, None]


def plain_lags(short, long, near, starts, length):
    """Return the lags near `near` at which stretches correlate best, to a sample, and the stretches' middles."""
    lags = np.arange(near - 60, near + 61)
    best = []
    for start in starts:
        stretch = short[start : start + length, 0] - short[start : start + length, 0].mean()
        others = [long[start + lag : start + lag + length, 0] for lag in lags]
        likeness = [stretch @ (other - other.mean()) / np.std(other) for other in others]
        best.append(lags[int(np.argmax(likeness))])
    return np.array(best, dtype=float), np.array(starts) + length / 2


@pytest.fixture(scope="module")
def accelerations():
    """Two devices strapped together and shaken, each on its own clock, started one after the other."""
    return sensor_channels("sync_acc_2.h5"), sensor_channels("sync_acc_1.h5")


@pytest.mark.parametrize("axis", AXES)
def test_shaken_sensors_are_shifted_by_17604_samples_and_drift(accelerations, axis):
    """Stated for this pair: 17604 samples by the peak of the whole correlation, on all axes.

    Found again plainly it is that to a sample, by axis, for it belongs to the moment of the steepest slopes: stretches
    of 2 s show that the clocks differ by 0.05 % and that no straight line lies between them. The tolerance is how far
    those stretches' own lags stray from a line while the devices are shaken, half a sample for their steps, and twice
    the uncertainty that the answer states.
    """
    short, long = (device[axis] for device in accelerations)
    found = align_programme(short, long, SENSOR_RATE_HZ)
    lags, middles = plain_lags(short, long, 17604, range(4000, 12001, 1000), 2000)
    slope, lag_at_0 = np.polyfit(middles, lags, 1)
    tolerance = np.abs(lags - lag_at_0 - slope * middles).max() + 0.5 + 2 * found.offset_sd_samples
    assert tolerance < 2.0
    np.testing.assert_allclose(found.index_of(middles) - middles, lags, rtol=0, atol=tolerance)
    size = len(short) + len(long)
    product = np.fft.rfft(long[:, 0], size) * np.conj(np.fft.rfft(short[:, 0], size))
    whole = int(np.argmax(np.fft.irfft(product, size)))
    assert whole == pytest.approx(17604, abs=1)
    slopes = np.diff(short[:, 0]) ** 2
    steepest = float(np.average(np.arange(len(slopes)), weights=slopes))
    assert found.index_of(steepest) - steepest == pytest.approx(whole, abs=tolerance)


@pytest.mark.parametrize("axis", AXES)
def test_the_other_way_round_is_the_other_way_round(accelerations, axis):
    """The long take first; at the same moment the shift is the same but for its sign."""
    short, long = (device[axis] for device in accelerations)
    there, back = align_programme(short, long, SENSOR_RATE_HZ), align_programme(long, short, SENSOR_RATE_HZ)
    assert back.index_of(there.index_of(8000.0)) == pytest.approx(8000.0, abs=0.5)


def test_two_light_sensors_under_a_flickering_lamp_are_refused():
    """One step of light, and for the rest flicker that fits again and again: the second peak is 0.4 % lower."""
    one, other = (sensor_channels("sync_cable_light.h5", device)["channel_1"] for device in (0, 1))
    with pytest.raises(MeasurementError, match="repeats itself"):
        align_programme(one, other, SENSOR_RATE_HZ)


def speech(name):
    return np.fromfile(open_data_file("codec2-examples", name), dtype="<i2")[:, None] / 32768.0


def test_an_excerpt_of_speech_is_found_to_the_sample():
    """hts2.raw is hts.raw from sample 48000 on, bit for bit (checked); 0.001 samples for resampling by sinc."""
    excerpt, whole = speech("hts2.raw"), speech("hts.raw")
    np.testing.assert_array_equal(whole[48000 : 48000 + len(excerpt)], excerpt)
    found = align_programme(excerpt, whole, 8000.0)
    assert found.offset_samples == pytest.approx(48000.0, abs=1e-3)
    assert found.drift_ppm == pytest.approx(0.0, abs=1e-3)
    back = align_programme(whole, excerpt, 8000.0)
    assert back.index_of(48000.0) == pytest.approx(0.0, abs=1e-3)


def head_responses(azimuth_deg):
    """Return the impulse responses to the near (left) and the far ear of a dummy head, in the plane of the ears."""
    with h5py.File(open_data_file("libmysofa1", "MIT_KEMAR_normal_pinna.sofa")) as file:
        azimuth, elevation = np.asarray(file["SourcePosition"])[:, :2].T
        index = int(np.argmin(np.abs(azimuth - azimuth_deg) + np.abs(elevation)))
        return np.asarray(file["Data.IR"])[index]


EARS = [  # azimuth in degrees, far ear behind near ear in us, near over far in dB (whole band): measured once
    (0, 0.0, 0.0),
    (30, 255.0, 8.45),
    (60, 513.0, 13.94),
    (90, 723.0, 11.79),
]
EAR_RATE_HZ = 44100.0


@pytest.mark.parametrize(("azimuth_deg", "delay_us", "level_db"), EARS)
def test_the_ears_of_a_dummy_head(azimuth_deg, delay_us, level_db):
    """White noise through both ears' responses; the far ear is the take through a device, the near one is direct.

    Delay: 2 us, for what is stated to 1 us is the peak of a correlation, and the tool fits phases over frequency; a
    wrong sample would be 23 us. Level: over 100 Hz-10 kHz, which follows from the responses by algebra; noise of 6 s in
    that band holds 60 000 independent values, so that the mean of anything over it scatters by about 0.02 dB.
    """
    near, far = head_responses(azimuth_deg)
    assert 10 * np.log10(np.sum(near**2) / np.sum(far**2)) == pytest.approx(level_db, abs=0.01)
    source = 0.1 * np.random.default_rng(azimuth_deg).normal(size=round(6 * EAR_RATE_HZ))
    direct, through = (np.convolve(source, response)[:, None] for response in (near, far))
    alignment = align_programme(direct, through, EAR_RATE_HZ)
    fit = fit_programme(direct[:, 0], through[:, 0], EAR_RATE_HZ, alignment)
    for offset_samples in (alignment.offset_samples, fit.offset_samples):
        assert offset_samples / EAR_RATE_HZ * 1e6 == pytest.approx(delay_us, abs=2.0)
    assert fit.gain_db == pytest.approx(-_band_level_db(near, far), abs=0.06)
    assert fit.polarity == 1
    assert fit.drift_ppm == pytest.approx(0.0, abs=0.01)


def _band_level_db(near, far):
    """Return the ratio of energies from 100 Hz to 10 kHz."""
    frequency_hz = np.fft.rfftfreq(8192, 1 / EAR_RATE_HZ)
    inside = (frequency_hz >= 100.0) & (frequency_hz <= 10000.0)
    energy = [np.sum(np.abs(np.fft.rfft(response, 8192)[inside]) ** 2) for response in (near, far)]
    return float(10 * np.log10(energy[0] / energy[1]))
