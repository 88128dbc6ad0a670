"""The picture of a video file sought in its sound: the leak that its rows would make, predicted and matched.

A row of brightness b is a pulse of that height, as long as the visible part of a line. A stray capacitance passes on
its slope. Rows follow one another at the line rate, so the leak's spectrum is that of the sequence of rows, repeated at
every multiple of the line rate, times the pulse's. Music is strong below 8 kHz: only what lies above is compared.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from humcheck.audio.levels import Floats
from humcheck.errors import MeasurementError

BAND_HZ = (8000.0, 20000.0)
#: How far sound and picture may lie apart.
REACH_S = 0.5
BLOCK_S = 1.0
SHORTEST_S = 5.0
LONGEST_S = 60.0
#: Spectra are smoothed over this for the weights.
SMOOTH_HZ = 400.0
#: Matches of a sound without the picture stay below, in standard deviations; see the benchmark.
FOUND = 6.0
#: Line rates of the standards, and how far old machines lie beside them.
LINE_RATES_HZ = (15734.2657, 15625.0)
_LINE_REACH = 0.005
#: How far the clocks of sound and of the frames' time stamps may part.
_CLOCK_REACH = 200e-6
#: Half width, in bins, of what is taken out about each multiple of the frame rate.
_STEADY_BINS = 3.0
#: A scene that stands still or scrolls looks alike a field later: so many fields beside the first place are tried.
_MOST_FIELDS = 12
_LOCAL_SHARE = 0.04
#: What a place that is wrong by a field takes from the level.
_PLACE_SD_DB = 0.4
#: Ways of drawing that are tried.
MOST_DRAWINGS = 2
_LINES_PER_FIELD = {15734.2657: (262, 262.5, 263), 15625.0: (312, 312.5, 313)}
#: Rows that a field shows, and the visible share of a line (ITU-R BT.1700 / SMPTE 170M).
_ROWS = {15734.2657: 240, 15625.0: 288}
_ACTIVE = {15734.2657: 52.66e-6, 15625.0: 52.0e-6}
#: What capture devices make of the height: as it was, or a little cut or stretched.
SCALES = (1.0, 0.97, 1.03)

Complexes = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FootageEstimate:
    """How the sound follows the picture.

    Attributes
    ----------
    found : bool
        Whether the changes of the picture are found in the sound: their score exceeds `FOUND` standard deviations.
    line_tone_found : bool
        Whether at least the steady part of the picture is.
    score, full_score : float
        Match of what changes in the picture, and of all of it, in standard deviations.
    lag_s : float
        By how much the sound's picture lies later than the file's time stamps of its frames; it may be wrong by whole
        fields, since most scenes look alike a field later.
    line_rate_hz, lines_per_field, scale : float
        How the picture was drawn; the stretch of its height that matched best.
    level_dbfs, level_sd_db : numpy.ndarray, shape (n_ch,)
        Level at 1 kHz of a luma sine of full swing; -inf and inf where nothing is found.
    bound_dbfs : numpy.ndarray, shape (n_ch,)
        What a leak that is not found may have at most, one-sided 95 %.
    share : numpy.ndarray, shape (n_ch,)
        Share of the power in 8-20 kHz that follows the picture.
    moments_s, moments_dbfs : numpy.ndarray, shape (n_blocks,)
        Beginnings of seconds, and the level of the leak below 20 kHz in each, of the loudest channel.
    """

    found: bool
    line_tone_found: bool
    score: float
    full_score: float
    lag_s: float
    line_rate_hz: float
    lines_per_field: float
    scale: float
    level_dbfs: Floats
    level_sd_db: Floats
    bound_dbfs: Floats
    share: Floats
    moments_s: Floats
    moments_dbfs: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """How a picture is drawn: line rate in the take's clock, lines of a field, and the standard it belongs to."""

    line_rate_hz: float
    lines_per_field: float
    standard_hz: float


def find_footage(samples: Floats, rate_hz: float, rows: Floats, times_s: Floats) -> FootageEstimate:
    """Seek the picture in the sound.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_ch)
        Sound of the file, full scale = 1; a minute at most is used.
    rate_hz : float
        Sampling rate.
    rows : numpy.ndarray, shape (n_frames, n_rows)
        Brightness of the rows of each frame, 0-1.
    times_s : numpy.ndarray, shape (n_frames,)
        When each frame was captured, from the first sample.

    Raises
    ------
    MeasurementError
        If it is too short, the recording does not reach the line rate, or no line rate can be read.
    """
    samples = samples[: int(LONGEST_S * rate_hz)]
    if len(samples) < SHORTEST_S * rate_hz or len(times_s) < 2:
        raise MeasurementError(f"Sound and picture are too short to be compared: {SHORTEST_S:.0f} s are needed.")
    if rate_hz < 2.1 * max(LINE_RATES_HZ):
        raise MeasurementError("The recording does not reach the picture's line rate, near which it would be heard.")
    sounding = samples[:, samples.std(axis=0) > 0]
    if not sounding.shape[1]:
        raise MeasurementError("The recording is digital silence.")
    matches = []
    for drawing in read_drawings(sounding, rate_hz, times_s)[:MOST_DRAWINGS]:
        for scale in SCALES:
            fields = fields_of(rows, times_s, drawing, len(samples) / rate_hz, scale)
            matches.append((_matched(sounding, rate_hz, fields, drawing), drawing, scale))
            if matches[-1][0].score > 1.5 * FOUND:
                break
        if matches[-1][0].score > 1.5 * FOUND:
            break
    match, drawing, scale = max(matches, key=lambda one: one[0].score)
    return _measured(samples, rate_hz, match, drawing, scale, _early_s(times_s, drawing, len(samples) / rate_hz))


def read_drawings(samples: Floats, rate_hz: float, times_s: Floats) -> list[Drawing]:
    """Return how the picture may be drawn, the likeliest first: line tones that go with the frames' rate.

    Raises
    ------
    MeasurementError
        If no standard picture has such a frame rate.
    """
    power, bin_hz = _line_spectrum(samples, rate_hz)
    frame_hz = (len(times_s) - 1) / float(times_s[-1] - times_s[0])
    found: list[tuple[float, Drawing]] = []
    for standard_hz, per_field in _LINES_PER_FIELD.items():
        for lines, frames_per_field in itertools.product(per_field, (1.0, 2.0)):
            expected_hz = frame_hz * frames_per_field * lines
            if abs(expected_hz / standard_hz - 1) > _LINE_REACH:
                continue
            first, last = (int(expected_hz * (1 + side * _CLOCK_REACH) / bin_hz) for side in (-1, 1))
            part = power[first:last]
            peak = int(part[1:-1].argmax()) + 1
            below, at, above = np.log(part[peak - 1 : peak + 2])
            line_hz = (first + peak + 0.5 * (below - above) / (below - 2 * at + above)) * bin_hz
            drawing = Drawing(line_rate_hz=float(line_hz), lines_per_field=float(lines), standard_hz=standard_hz)
            found.append((float(part[peak] / np.median(part)), drawing))
    if not found:
        raise MeasurementError("The file's frame rate is that of no standard picture, so its lines cannot be placed.")
    found.sort(key=lambda pair: -pair[0])
    return [drawing for _, drawing in found]


def _line_spectrum(samples: Floats, rate_hz: float) -> tuple[Floats, float]:
    """Return the power spectrum of all of the sound, quiet seconds weighing more, and the width of its bins."""
    block = round(0.25 * rate_hz)
    n_used = len(samples) // block * block
    n_fft = scipy.fft.next_fast_len(2 * n_used, real=True)
    window = np.hanning(n_used)
    power = np.zeros(n_fft // 2 + 1)
    for channel in samples.T:
        blocks = channel[:n_used].reshape(-1, block)
        spectra = np.abs(scipy.fft.rfft(blocks * np.hanning(block), axis=1)) ** 2
        near = slice(int(14000 * block / rate_hz), int(17500 * block / rate_hz))
        weight = 1.0 / (np.median(spectra[:, near], axis=1) + 1e-30)
        whole = scipy.fft.rfft((blocks * weight[:, np.newaxis]).ravel() * window, n_fft)
        power += np.abs(whole) ** 2 / float((weight**2).sum())
    return power, rate_hz / n_fft


def fields_of(rows: Floats, times_s: Floats, drawing: Drawing, duration_s: float, scale: float = 1.0) -> Floats:
    """Return the rows of each field drawn during the sound, shape (n_fields, rows of a field), repeats where none came.

    Fields count from the first sample; `scale` is the picture's height as captured over that as drawn.
    """
    field_hz = drawing.line_rate_hz / drawing.lines_per_field
    _, frame = _frames_of_fields(times_s, field_hz, duration_s)
    n_rows = _ROWS[drawing.standard_hz]
    centre = (np.arange(n_rows) + 0.5) / n_rows
    place = np.clip(((centre - 0.5) * scale + 0.5) * rows.shape[1] - 0.5, 0, rows.shape[1] - 1)
    low = np.floor(place).astype(int)
    high, part = np.minimum(low + 1, rows.shape[1] - 1), place - low
    drawn = rows[:, low] * (1 - part) + rows[:, high] * part
    return np.asarray(drawn[frame], dtype=np.float64)


def _frames_of_fields(times_s: Floats, field_hz: float, duration_s: float) -> tuple[Floats, NDArray[np.intp]]:
    """Return when each field starts, the first with the sound, and the frame that stands for it."""
    wanted_s = np.arange(int(np.ceil(duration_s * field_hz)) + 1) / field_hz
    # A frame stands until the next; half a field's slack keeps jitter of the stamps from choosing a neighbour.
    frame = np.searchsorted(times_s, wanted_s + 0.5 / field_hz, side="right") - 1
    return wanted_s, np.clip(frame, 0, len(times_s) - 1)


def _early_s(times_s: Floats, drawing: Drawing, duration_s: float) -> float:
    """Return by how much the frames' stamps lie before the fields that they stand for."""
    wanted_s, frame = _frames_of_fields(times_s, drawing.line_rate_hz / drawing.lines_per_field, duration_s)
    return float(np.median(wanted_s - times_s[frame]))


@dataclass(slots=True, eq=False, kw_only=True)
class _Match:
    score: float
    full_score: float
    lag: int
    leak: Floats
    change: Floats


def _matched(samples: Floats, rate_hz: float, fields: Floats, drawing: Drawing) -> _Match:
    leak = predicted_leak(fields, drawing, rate_hz, len(samples))
    change = predicted_leak(fields - fields.mean(axis=0), drawing, rate_hz, len(samples))
    score = _correlate(_without_steady(samples, rate_hz, drawing), change, rate_hz)
    full = _correlate(samples, leak, rate_hz)
    at = int(np.abs(score).argmax())
    field = rate_hz * drawing.lines_per_field / drawing.line_rate_hz
    return _Match(
        score=float(np.abs(score[at]) / max(1.0, _scatter(score))),
        full_score=float(np.abs(full).max()),
        lag=_best_of_fields(np.abs(full), at, field) - len(score) // 2,
        leak=leak,
        change=change,
    )


def _scatter(score: Floats) -> float:
    """Return the standard deviation of matches at wrong places: more than 1 where another picture is heard."""
    scatter = float(1.4826 * np.median(np.abs(score)))
    # Changes of another picture have heavier tails than noise: they must be outdone by half as much again.
    return scatter if scatter < 1.5 else 1.5 * scatter


def _best_of_fields(full: Floats, near: int, field: float) -> int:
    """Return the place of the best match of all the picture, whole fields and a part of a line from a place."""
    local = round(_LOCAL_SHARE * field)
    best = near
    for step in range(-_MOST_FIELDS, _MOST_FIELDS + 1):
        low = max(round(near + step * field) - local, 0)
        part = full[low : max(round(near + step * field) + local + 1, 0)]
        if part.size and part.max() > full[best]:
            best = low + int(part.argmax())
    return best


def predicted_leak(fields: Floats, drawing: Drawing, rate_hz: float, n_samples: int) -> Floats:
    """Return the leak of a stray capacitance that passes 1 kHz by a gain of 1, shape (n_samples,).

    The frame's first row is drawn at the first sample; what is not shown is black.
    """
    n_fields, n_rows = fields.shape
    first = np.rint(np.arange(n_fields) * drawing.lines_per_field).astype(int)
    n_lines = int(np.ceil(n_samples / rate_hz * drawing.line_rate_hz)) + 1
    # A length in lines that is whole in samples, too, or the clocks would part.
    longer = n_lines + np.arange(2000)
    length = longer * rate_hz / drawing.line_rate_hz
    choice = int(np.abs(length - np.rint(length)).argmin())
    n_lines, n_audio = int(longer[choice]), round(length[choice])
    line = np.zeros(n_lines)
    index = first[:, np.newaxis] + np.arange(n_rows)
    inside = index < n_lines
    line[index[inside]] = fields[inside]
    spectrum = scipy.fft.fft(line)
    order = np.arange(n_audio // 2 + 1)
    frequency_hz = order * (drawing.line_rate_hz / n_lines)
    active_s = _ACTIVE[drawing.standard_hz]
    pulse = active_s * np.sinc(frequency_hz * active_s) * np.exp(-1j * np.pi * frequency_hz * active_s)
    leak = scipy.fft.irfft(spectrum[order % n_lines] * pulse * (1j * frequency_hz / 1000.0), n_audio) * rate_hz
    return np.asarray(leak[:n_samples])


def _without_steady(samples: Floats, rate_hz: float, drawing: Drawing) -> Floats:
    """Return the sound without what repeats with every frame: the picture's mean would match by chance."""
    n_fft = scipy.fft.next_fast_len(len(samples), real=True)
    spectrum = scipy.fft.rfft(samples, n_fft, axis=0)
    repeat_hz = drawing.line_rate_hz / drawing.lines_per_field
    repeat_hz /= 1 if drawing.lines_per_field.is_integer() else 2
    place = np.arange(len(spectrum)) * (rate_hz / n_fft) / repeat_hz
    near = np.abs(place - np.rint(place)) * repeat_hz * n_fft / rate_hz < _STEADY_BINS
    spectrum[near] = 0
    return np.asarray(scipy.fft.irfft(spectrum, n_fft, axis=0)[: len(samples)])


def _correlate(samples: Floats, template: Floats, rate_hz: float) -> Floats:
    """Return the match at every lag from -REACH_S to REACH_S, in standard deviations: all blocks and channels."""
    reach, block = round(REACH_S * rate_hz), round(BLOCK_S * rate_hz)
    n_fft = scipy.fft.next_fast_len(block + 2 * reach, real=True)
    padded = np.concatenate([np.zeros(reach), template, np.zeros(reach)])
    total = np.zeros((samples.shape[1], n_fft))
    energy = np.zeros(samples.shape[1])
    for start in range(0, len(samples) - block + 1, block):
        expected = scipy.fft.rfft(padded[start : start + block + 2 * reach], n_fft)
        share = block / (block + 2 * reach)
        for index, channel in enumerate(samples[start : start + block].T):
            heard = scipy.fft.rfft(channel, n_fft)
            weight = _weights(channel, rate_hz, n_fft)
            total[index] += scipy.fft.irfft(np.conj(expected) * heard * weight, n_fft)
            energy[index] += 2 * share * float((np.abs(expected) ** 2 * weight).sum()) / n_fft
    # The correlation's variance without a leak is its expected height with a leak of gain 1.
    scores = total / np.sqrt(np.maximum(energy, 1e-300))[:, np.newaxis]
    strongest = scores[int(np.abs(scores).max(axis=1).argmax())]
    # The template begins earlier by the reach: its lags lie before the first place.
    return np.concatenate([strongest[-2 * reach :], strongest[:1]])


def _weights(channel: Floats, rate_hz: float, n_fft: int) -> Floats:
    """Return one over the power spectrum of a block per sample, smoothed, zero outside the band."""
    spectrum = np.abs(scipy.fft.rfft(channel * np.hanning(len(channel)), n_fft)) ** 2 / (0.375 * len(channel))
    width = max(1, round(SMOOTH_HZ * n_fft / rate_hz))
    summed = np.concatenate([[0.0], np.cumsum(spectrum)])
    low = np.clip(np.arange(spectrum.size) - width // 2, 0, spectrum.size)
    high = np.clip(low + width, 0, spectrum.size)
    smooth = (summed[high] - summed[low]) / np.maximum(high - low, 1)
    frequency_hz = np.arange(spectrum.size) * (rate_hz / n_fft)
    inside = (frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])
    return np.where(inside, 1.0 / np.maximum(smooth, 1e-30), 0.0)


def _measured(
    samples: Floats, rate_hz: float, match: _Match, drawing: Drawing, scale: float, early_s: float
) -> FootageEstimate:
    found = match.score > FOUND
    leak, part = _placed(samples, _shifted(match.leak, match.lag), rate_hz)
    n_channels = samples.shape[1]
    gain, sd, power, own = (np.zeros(n_channels) for _ in range(4))
    for index, channel in enumerate(samples.T):
        if channel.std() == 0:
            continue
        # The leak weighs itself down in its own spectrum: it is taken off before the weights are read again.
        for _ in range(3):
            gain[index], sd[index], power[index], own[index] = _gain(channel, leak, gain[index], rate_hz)
    level = np.full(n_channels, -np.inf)
    level_sd = np.full(n_channels, np.inf)
    heard = found & (np.abs(gain) > 2 * sd) & (sd > 0)
    level[heard] = 20 * np.log10(np.abs(gain[heard]) / 2)
    level_sd[heard] = np.hypot(20 / np.log(10) * sd[heard] / np.abs(gain[heard]), _PLACE_SD_DB)
    unseen = (np.abs(gain) if found else 0.0) + (1.645 if found else FOUND + 1.645) * sd
    block = round(BLOCK_S * rate_hz)
    strongest = float(np.abs(gain[heard]).max()) if heard.any() else 0.0
    blocks = strongest * leak[: len(leak) // block * block].reshape(-1, block)
    return FootageEstimate(
        found=found,
        line_tone_found=match.full_score > FOUND,
        score=match.score,
        full_score=match.full_score,
        lag_s=(match.lag + part) / rate_hz + early_s,
        line_rate_hz=drawing.line_rate_hz,
        lines_per_field=drawing.lines_per_field,
        scale=scale,
        level_dbfs=level,
        level_sd_db=level_sd,
        bound_dbfs=20 * np.log10(np.maximum(unseen, 1e-12) / 2),
        share=np.where(heard, np.minimum(own / np.maximum(power, 1e-300), 1.0), 0.0),
        moments_s=np.asarray(np.arange(len(blocks)) * BLOCK_S, dtype=np.float64),
        moments_dbfs=10 * np.log10(np.maximum(2 * (blocks**2).mean(axis=1), 1e-20)),
    )


def _placed(samples: Floats, leak: Floats, rate_hz: float) -> tuple[Floats, float]:
    """Return the leak moved by the part of a sample that fits best, and that part."""
    n_fft = scipy.fft.next_fast_len(len(leak), real=True)
    spectrum = scipy.fft.rfft(leak, n_fft)
    turn = -2j * np.pi * np.arange(len(spectrum)) / n_fft
    best = (-1.0, leak, 0.0)
    for part in np.arange(-0.5, 0.51, 0.125):
        moved = scipy.fft.irfft(spectrum * np.exp(turn * part), n_fft)[: len(leak)]
        fits = [_gain(channel, moved, 0.0, rate_hz) for channel in samples.T if channel.std() > 0]
        strength = max((abs(gain) / sd for gain, sd, _, _ in fits if sd > 0), default=0.0)
        best = max(best, (strength, moved, float(part)), key=lambda one: one[0])
    return best[1], best[2]


def _shifted(template: Floats, lag: int) -> Floats:
    moved = np.zeros_like(template)
    if lag >= 0:
        moved[lag:] = template[: len(template) - lag]
    else:
        moved[:lag] = template[-lag:]
    return moved


def _gain(channel: Floats, leak: Floats, taken_off: float, rate_hz: float) -> tuple[float, float, float, float]:
    """Return the leak's gain and its standard uncertainty, and the power in the band: of all, and of the leak."""
    block = round(BLOCK_S * rate_hz)
    n_fft = scipy.fft.next_fast_len(block, real=True)
    inner = energy = power = own = 0.0
    for start in range(0, len(channel) - block + 1, block):
        part, expected = channel[start : start + block], leak[start : start + block]
        weight = _weights(part - taken_off * expected, rate_hz, n_fft)
        window = np.hanning(block)
        spectrum, wanted = scipy.fft.rfft(part * window, n_fft), scipy.fft.rfft(expected * window, n_fft)
        inner += float((np.conj(wanted) * spectrum * weight).real.sum())
        energy += float((np.abs(wanted) ** 2 * weight).sum())
        power += float((np.abs(spectrum) ** 2)[weight > 0].sum())
        own += float((np.abs(wanted) ** 2)[weight > 0].sum())
    if energy <= 0:
        return 0.0, 0.0, power, 0.0
    gain = inner / energy
    # Noise of a block weighs twice in a Hann window's overlap of bins: its fourth power over its square.
    sd = float(np.sqrt(0.5 * block * _HANN_SPREAD / energy))
    return gain, sd, power, gain**2 * own


#: Mean fourth power over mean square of a Hann window: what correlated bins cost.
_HANN_SPREAD = 35 / 128 / (3 / 8)
