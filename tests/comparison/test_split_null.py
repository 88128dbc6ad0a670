"""Null of a split take against what a polynomial leaves of normal noise: closed form."""

import numpy as np
import pytest
import soundfile

from humcheck.comparison.material import MeasuredTake
from humcheck.pipeline.split_null import split_null_rows
from humcheck.results import Key, NotMeasured, TakeRow
from humcheck.results.rows import TrackIdentity

RATE_HZ = 16000
SIGMA = 0.1
SPLIT = {"role": "through", "subject": "Alder", "condition": {"through_channel": "left"}}


def material(rng, seconds=14):
    """Normal noise of 0.1 to 2.5 kHz in bursts with pauses: its third power ends at 7.5 kHz, below half the rate."""
    n = seconds * RATE_HZ
    spectrum = np.fft.rfft(rng.standard_normal(n))
    frequency_hz = np.fft.rfftfreq(n, 1 / RATE_HZ)
    spectrum[(frequency_hz < 100) | (frequency_hz > 2500)] = 0
    samples = np.fft.irfft(spectrum, n)
    samples *= SIGMA / np.std(samples)
    gate = np.tile(np.concatenate([np.ones(RATE_HZ * 3 // 2), np.zeros(RATE_HZ // 2)]), seconds // 2)
    return samples * gate


def linear(samples):
    """Level, delay and two corners of a device, exactly, on the spectrum."""
    frequency_hz = np.fft.rfftfreq(2 * samples.size, 1 / RATE_HZ)
    s = 1j * frequency_hz
    response = 0.7 * s / (s + 15.0) / (1 + s / 5000.0) * np.exp(-2j * np.pi * frequency_hz * 37.3 / RATE_HZ)
    return np.fft.irfft(np.fft.rfft(samples, 2 * samples.size) * response)[: samples.size]


def rows_of(folder, takes):
    """Return the null of takes given as (key, left, right)."""
    measured = []
    for number, (keys, left, right) in enumerate(takes):
        path = folder / f"{number}.wav"
        soundfile.write(path, np.stack([left, right], axis=1), RATE_HZ, subtype="FLOAT")
        key = Key(quantity="", **keys)
        row = TakeRow(
            id=f"t{number}", file=path.name, sha256="", role=key.role, port=key.port, condition=key.condition,
            rate_hz=RATE_HZ, channels=2, sample_format="FLOAT", duration_s=14.0,
        )  # fmt: skip
        measured.append((MeasuredTake(row=row, key=key), str(path)))
    return split_null_rows(measured)


def test_the_null_of_a_bent_curve_is_that_of_the_algebra(tmp_path):
    """x + c2 x^2 + c3 x^3 of normal x with variance v.

    Hermite polynomials of a normal variable are uncorrelated with it at all times (Price's theorem), so that all a
    linear part can follow is (1 + 3 c3 v) x: what is left is 2 c2^2 v^2 + 6 c3^2 v^3, re v. Gates make no difference.
    The take has hum and hiss, of which the filter knows nothing.
    """
    rng = np.random.default_rng(1)
    x = material(rng)
    c2, c3 = 0.006, 0.05
    hum = 10 ** (-95 / 20) * np.sin(2 * np.pi * 50 * np.arange(x.size) / RATE_HZ)
    left, right = (10 ** (-96 / 20) / np.sqrt(2) * rng.standard_normal(x.size) for _ in range(2))
    # Bent before the device's linear part, the gain of which is 0.7 in the middle of the band.
    bent = x + c2 * x**2 + c3 * x**3
    plain = {"subject": "direct", "role": "direct", "condition": {"through_channel": "none"}}
    found, linear_only, direct = rows_of(
        tmp_path,
        [
            (SPLIT | {"port": "1"}, 0.7 * bent + left + hum, x + right),
            (SPLIT | {"port": "2"}, linear(x) + left + hum, x + right),
            (plain, x + left, 0.9 * x + right),
        ],
    )
    truth_db = 10 * np.log10(0.7**2 * (2 * c2**2 * SIGMA**2 + 6 * c3**2 * SIGMA**4))
    # Bursts differ by what chance makes of them: seven seconds of 2.4 kHz of noise hold some 25 000 values.
    assert found.bound is None
    assert found.value == pytest.approx(truth_db, abs=0.5)
    assert found.low < truth_db < found.high
    assert (found.channel, found.condition, found.interval) == ("left", {}, "within")
    # A linear device leaves nothing: noise of both channels, -96 dBFS each, re the direct sound hides it.
    for hidden in (linear_only, direct):
        assert hidden.bound == "upper"
        assert hidden.value < hidden.detail["noise_db"] - 10


def test_other_sound_in_the_other_channel_is_no_null(tmp_path):
    rng = np.random.default_rng(2)
    one, other = material(rng), material(rng)
    (missing,) = rows_of(tmp_path, [(SPLIT, one, other)])
    assert isinstance(missing, NotMeasured)
    assert "do not hold the same sound" in missing.reason
    assert missing.condition == {}


def test_a_take_of_the_track_has_no_null():
    key = Key(quantity="", **SPLIT)
    track = TrackIdentity(name="sweep", length="short", layout=1)
    row = TakeRow(
        id="t1", file="a.wav", sha256="", role="through", condition=key.condition, track=track, rate_hz=RATE_HZ,
        channels=2, sample_format="", duration_s=30.0,
    )  # fmt: skip
    assert split_null_rows([(MeasuredTake(row=row, key=key), "there is no such file")]) == []
