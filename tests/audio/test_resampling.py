import numpy as np
import pytest

from humcheck.audio.resampling import resample


@pytest.mark.parametrize(("from_hz", "to_hz"), [(44_100, 48_000), (48_000, 44_100), (96_000, 48_000)])
def test_a_tone_stays_the_tone_that_it_was(from_hz, to_hz):
    # The tone at the other rate is known exactly; sample 0 keeps its time. -150 dB: soxr's very high quality.
    def tone(rate_hz):
        return np.sin(2 * np.pi * 997.0 * np.arange(rate_hz) / rate_hz)[:, None] * np.array([1.0, 0.5])

    got = resample(tone(from_hz), from_hz, to_hz)
    assert abs(len(got) - to_hz) <= 1
    middle = slice(to_hz // 4, 3 * to_hz // 4)
    error = got[middle] - tone(to_hz)[middle]
    assert 20 * np.log10(np.std(error) / np.sqrt(0.5)) < -150.0


def test_nothing_to_do_gives_a_copy():
    samples = np.ones((10, 2))
    same = resample(samples, 48_000, 48_000)
    assert np.array_equal(same, samples)
    assert same is not samples
    with pytest.raises(ValueError, match="shape"):
        resample(np.ones(10), 48_000, 44_100)
