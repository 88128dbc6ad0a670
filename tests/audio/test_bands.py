import numpy as np
import pytest

from humcheck.audio.bands import (
    OCTAVE_RATIO,
    band_edges_hz,
    fractional_octave_centres_hz,
    nominal_third_octave_hz,
    third_octave_centres_hz,
)
from humcheck.audio.levels import power_to_dbfs
from humcheck.audio.spectra import welch_spectrum
from tests.audio.iec61672_table3 import TABLE_3


def test_octave_ratio_is_base_ten():
    assert pytest.approx(1.995262315) == OCTAVE_RATIO  # IEC 61260-1:2014 eq. 1


def test_third_octave_centres_and_edges():
    # IEC 61260-1:2014 eq. 2, 4 and 5, computed: band -13 of the audio range, and the reference band.
    centres = third_octave_centres_hz()
    assert len(centres) == 31
    lower, upper = band_edges_hz(centres)
    at = {round(float(c), 4): i for i, c in enumerate(centres)}
    fifty, thousand = at[50.1187], at[1000.0]
    assert (lower[fifty], upper[fifty]) == pytest.approx((44.6684, 56.2341), abs=5e-5)
    assert (lower[thousand], upper[thousand]) == pytest.approx((891.251, 1122.018), abs=5e-4)
    assert (centres[0], centres[-1]) == pytest.approx((19.9526, 19952.6231), abs=5e-5)


def test_bands_meet_without_gaps():
    lower, upper = band_edges_hz(third_octave_centres_hz())
    assert upper[:-1] == pytest.approx(lower[1:])
    # Relative bandwidth 10**0.05 - 10**-0.05 (computed).
    assert (upper - lower) / third_octave_centres_hz() == pytest.approx(np.full(31, 0.230768), abs=5e-7)


@pytest.mark.parametrize(("n", "nominal"), [(n, row[0]) for n, row in enumerate(TABLE_3, start=10)])
def test_nominal_frequencies_are_the_preferred_ones(n, nominal):
    # ISO 266 nominal frequencies, as printed in IEC 61672-1:2013 table 3.
    assert nominal_third_octave_hz(1000.0 * 10 ** ((n - 30) / 10)) == nominal


def test_bands_of_an_even_number_to_the_octave_straddle_1_khz():
    # IEC 61260-1:2014 eq. 3: G**((2x + 1) / (2b)).
    centres = fractional_octave_centres_hz(900.0, 1100.0, 12)
    assert centres == pytest.approx(1000.0 * OCTAVE_RATIO ** (np.array([-3, -1, 1, 3]) / 24))


@pytest.mark.parametrize("bad", [(0.0, 100.0, 3), (200.0, 100.0, 3), (20.0, 100.0, 0)])
def test_ranges_that_make_no_sense(bad):
    with pytest.raises(ValueError, match=r"range|bands_per_octave"):
        fractional_octave_centres_hz(*bad)


def test_white_noise_in_third_octaves():
    # Computed: the 1 kHz band of white noise over 0-24 kHz lies 10 lg(24000 / 230.768) = 20.1704 dB below the total,
    # and each band 1 dB above the one before it.
    samples = np.random.default_rng(3).standard_normal((60 * 48_000, 1))
    spectrum = welch_spectrum(samples, 48_000, segment_s=1.0)
    centres = third_octave_centres_hz(500.0, 16_000.0)
    edges = zip(*band_edges_hz(centres), strict=True)
    levels = np.array([power_to_dbfs(spectrum.band_power(low, high)[0]) for low, high in edges])
    total = power_to_dbfs(float(np.mean(samples**2)))
    steps = np.arange(len(centres)) - 3.0  # the fourth is 1 kHz
    # Four deviations: 4.34 / sqrt(band * 60 s) dB.
    assert np.all(np.abs(levels - total + 20.1704 - steps) < 4 * 4.34 / np.sqrt(0.2308 * centres * 60))


def test_third_octaves_agree_with_mosqito():
    levels_meter = pytest.importorskip(
        "mosqito.sound_level_meter", reason="mosqito is not installed (extra crosscheck)"
    )
    samples = np.random.default_rng(4).standard_normal((10 * 48_000, 1))
    rms, centres = levels_meter.noct_spectrum(samples[:, 0], 48_000, fmin=200, fmax=12_500)
    spectrum = welch_spectrum(samples, 48_000, segment_s=1.0)
    ours = third_octave_centres_hz(200.0, 12_500.0)
    assert [nominal_third_octave_hz(f) for f in ours] == list(np.ravel(centres))
    powers = [spectrum.band_power(low, high)[0] for low, high in zip(*band_edges_hz(ours), strict=True)]
    difference = 10 * np.log10(np.array(powers) / np.ravel(rms) ** 2)
    # Theirs are third-order filters with the same power bandwidth within some 0.1 dB, ours have straight edges: of
    # the same noise the two see a little different parts, 4.34 / sqrt(band * 10 s) * 0.5 dB or so.
    assert np.all(np.abs(difference) < 0.15 + 3 * 0.5 * 4.34 / np.sqrt(0.2308 * ours * 10))
