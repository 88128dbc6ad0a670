"""The samples of the track files: peaks, levels, dither, zero."""

from __future__ import annotations

import numpy as np
import pytest

from humcheck.errors import UnusableCall
from humcheck.tracks.layouts import layout
from humcheck.tracks.rendering import BITS, RATES_HZ, render_track, track_blocks
from humcheck.tracks.waveforms import track_waveform
from tests.tracks.measuring import STEP, cut, level_dbfs, tone_amplitude

TRACK = layout("full", "short")


@pytest.fixture(scope="module", params=[(rate, bits) for rate in RATES_HZ for bits in BITS], ids=str)
def rendered(request):
    rate_hz, bits = request.param
    return render_track(TRACK, rate_hz, bits), rate_hz, bits


def section_samples(rendered, name, inset_s=0.25):
    samples, rate_hz, _ = rendered
    section = TRACK.section(name)
    return cut(samples, rate_hz, section.start_s + inset_s, section.end_s - inset_s)


def test_no_sample_above_minus_1_dbfs(rendered):
    samples, rate_hz, _ = rendered
    assert len(samples) == TRACK.duration_s * rate_hz
    assert np.abs(samples).max() <= 10 ** (-1 / 20)


def test_samples_are_whole_steps(rendered):
    samples, _, bits = rendered
    assert np.array_equal(samples / STEP[bits], np.rint(samples / STEP[bits]))


def test_sample_k_is_the_track_at_k_over_rate(rendered):
    samples, rate_hz, bits = rendered
    index = np.random.default_rng(0).integers(0, len(samples), 20000)
    error = samples[index] - track_waveform(TRACK, index / rate_hz, rate_hz)
    zero = TRACK.section("zero")
    outside = ~((index >= zero.start_s * rate_hz) & (index < zero.end_s * rate_hz))
    assert np.abs(error[outside]).max() <= 1.5 * STEP[bits] + 1e-12  # dither of one step, rounding of half a step


@pytest.mark.parametrize(
    ("name", "level"),
    [("level", -1.001), ("tone-left", -6.0), ("tone-right", -6.0), ("full-scale", -1.001), ("minus-60", -60.0)],
)
def test_tones_have_their_levels(rendered, name, level):
    """AES17: full-scale sine = 0 dBFS RMS; 997 Hz. Inset edges leave whole half seconds, so whole half cycles."""
    samples = section_samples(rendered, name)
    driven = {"tone-left": [0], "tone-right": [1]}.get(name, [0, 1])
    noise = 10 ** (level_dbfs_of_dither(rendered[2]) / 10)
    for channel in driven:
        power = 10 ** (level_dbfs(samples[:, channel]) / 10) - noise
        assert 10 * np.log10(power) == pytest.approx(level, abs=2e-3)


@pytest.mark.parametrize(
    ("name", "silent"), [("tone-left", 1), ("tone-right", 0), ("sweep-left", 1), ("sweep-right", 0)]
)
def test_the_other_channel_holds_dither_only(rendered, name, silent):
    samples = section_samples(rendered, name)
    assert level_dbfs(samples[:, silent]) == pytest.approx(level_dbfs_of_dither(rendered[2]), abs=0.05)


def test_steps_have_their_levels(rendered):
    """AES17 levels; in the last half of each step, which holds whole half cycles of 997 Hz."""
    samples, rate_hz, bits = rendered
    steps = TRACK.section("steps")
    noise = 10 ** (level_dbfs_of_dither(bits) / 10)
    nominal = (-60, -50, -40, -30, -20, -12, -6, -3, -1)
    for index, level in enumerate(nominal):
        start_s = steps.start_s + index * steps.step_s
        part = cut(samples, rate_hz, start_s + 0.15, start_s + 0.65)
        power = 10 ** (level_dbfs(part[:, 0]) / 10) - noise
        # 0.001 dB from the top level, and 16-bit dither beats with the -60 dBFS tone.
        assert 10 * np.log10(power) == pytest.approx(level, abs=0.02 if level == -60 else 3e-3)


def level_dbfs_of_dither(bits):
    """Lipshitz, Wannamaker, Vanderkooy, JAES 40 (1992) 355 (from memory): TPDF total q^2/4, q^2/4 computed."""
    return {16: -93.3193, 24: -141.4841}[bits]


def test_quiet_holds_triangular_dither(rendered):
    """Total power q^2/4; derived: rounded, the dither is -1, 0 or 1 step with chances 1/8, 3/4 and 1/8."""
    _, _, bits = rendered
    steps = np.rint(section_samples(rendered, "quiet", inset_s=0.0) / STEP[bits])
    n = steps.size
    # Standard error of a mean square of this three-valued noise: sqrt(3)/sqrt(n), 0.01 dB at n = 9e5; five of them.
    assert level_dbfs(steps * STEP[bits]) == pytest.approx(level_dbfs_of_dither(bits), abs=5 * 4.343 * np.sqrt(3 / n))
    for value, chance in ((-1, 1 / 8), (0, 3 / 4), (1, 1 / 8)):
        assert np.mean(steps == value) == pytest.approx(chance, abs=5 * np.sqrt(chance * (1 - chance) / n))
    assert np.abs(steps).max() == 1


def test_dither_is_white_and_its_channels_are_independent(rendered):
    _, _, bits = rendered
    left, right = section_samples(rendered, "quiet", inset_s=0.0).T / (STEP[bits] / 2)
    five_errors = 5 / np.sqrt(len(left))
    assert abs(np.mean(left * right)) < five_errors
    for lag in (1, 2, 3, 10):
        assert abs(np.mean(left[lag:] * left[:-lag])) < five_errors
    assert abs(left.mean()) < five_errors


def test_dither_makes_the_error_independent_of_the_tone(rendered):
    """Lipshitz et al. 1992: total error power stays q^2/4 under a signal, and does not correlate with it."""
    samples, rate_hz, bits = rendered
    tone = TRACK.section("minus-60")
    index = np.arange(round(tone.start_s * rate_hz), round(tone.end_s * rate_hz))
    clean = track_waveform(TRACK, index / rate_hz, rate_hz)
    error = samples[index] - clean
    assert level_dbfs(error) == pytest.approx(level_dbfs_of_dither(bits), abs=0.05)
    correlation = np.mean(error * clean) / (error.std() * clean.std())
    assert abs(correlation) < 5 / np.sqrt(error.size)


def test_true_zero_is_zero(rendered):
    samples, rate_hz, _ = rendered
    zero = TRACK.section("zero")
    assert not cut(samples, rate_hz, zero.start_s, zero.end_s).any()
    assert cut(samples, rate_hz, zero.start_s - 0.1, zero.start_s).any()
    assert cut(samples, rate_hz, zero.end_s, zero.end_s + 0.1).any()


def test_no_player_finds_digital_zero_elsewhere(rendered):
    """Runs of zeros outside the true-zero section: chance 0.75 a sample, so a run of 5 ms has one of 1e-27."""
    samples, rate_hz, _ = rendered
    zero = TRACK.section("zero")
    for part in (samples[: round(zero.start_s * rate_hz)], samples[round(zero.end_s * rate_hz) :]):
        for channel in part.T:
            places = np.flatnonzero(channel)
            runs = np.diff(np.concatenate([[-1], places, [len(channel)]])) - 1
            assert runs.max() < 0.005 * rate_hz


def test_smpte_pair_is_four_to_one(rendered):
    """SMPTE RP120 (number from memory): 60 Hz and 7 kHz, amplitudes 4:1 = 12.04 dB."""
    second = section_samples(rendered, "imd-smpte", inset_s=0.5)
    for channel in second.T:
        low, high = (tone_amplitude(channel, rendered[1], hz) for hz in (60.0, 7000.0))
        assert 20 * np.log10(low / high) == pytest.approx(12.0412, abs=1e-3)
        assert 20 * np.log10(low + high) == pytest.approx(-1.001, abs=1e-3)


def test_difference_pair_is_one_to_one(rendered):
    """IEC 60268-3 difference frequency: 19 and 20 kHz (pair from memory), equal amplitudes."""
    second = section_samples(rendered, "imd-difference", inset_s=0.5)
    for channel in second.T:
        low, high = (tone_amplitude(channel, rendered[1], hz) for hz in (19000.0, 20000.0))
        assert 20 * np.log10(low / high) == pytest.approx(0.0, abs=1e-3)
        assert 20 * np.log10(low + high) == pytest.approx(-1.001, abs=1e-3)


def test_no_direct_voltage_in_the_file(rendered):
    """Mean of the file within five standard errors of the dither, plus what the sweep's start may leave."""
    samples, _, bits = rendered
    sweep = 10 ** (-85 / 20) * TRACK.section("sweep-left").duration_s / TRACK.duration_s
    assert np.abs(samples.mean(axis=0)).max() < 5 * STEP[bits] / 2 / np.sqrt(len(samples)) + sweep


def test_the_same_call_gives_the_same_samples():
    track = layout("silence", "short")
    first, second = (np.concatenate(list(track_blocks(track, 44100, 16))) for _ in range(2))
    np.testing.assert_array_equal(first, second)


def test_left_and_right_tracks_of_other_kinds_have_other_dither():
    """Two tracks must not share a noise that could be taken for a common signal."""
    one = render_track(layout("silence", "short"), 44100, 16)[:20000]
    other = render_track(layout("sweep", "short"), 44100, 16)[:20000]
    assert not np.array_equal(one, other)


@pytest.mark.parametrize(("rate_hz", "bits"), [(32000, 24), (48000, 20)])
def test_other_rates_and_word_lengths_are_refused(rate_hz, bits):
    with pytest.raises(UnusableCall, match="take one of"):
        track_blocks(TRACK, rate_hz, bits)
