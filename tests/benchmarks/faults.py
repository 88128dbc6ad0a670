"""Faults of takes: for each the least size that is found in 95 % of takes, and false alarms over clean takes.

Each take is a short track through a path drawn at random: gain, hiss, hum, drift, corners, a picture that leaks, word
length, rates. The fault is done to the sound before the recorder rounds it, by code that the search for it does not
share.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from humcheck.analyzers.take_faults import marker_faults, sweep_faults, tone_faults
from humcheck.errors import MeasurementError
from humcheck.estimates.sweeps import AFTER_S, BEFORE_S, estimate_response
from humcheck.estimates.tones import measure_tones
from humcheck.results.rows import Fault
from humcheck.simulation import (
    TIMING_625,
    ChannelPath,
    Crosstalk,
    Crystal,
    Dropout,
    GainControl,
    Hiss,
    Hum,
    LinearPath,
    Mains,
    NoiseGate,
    PathModel,
    Picture,
    PictureLeak,
    Polynomial,
    Recorder,
    Splice,
    ground_loop,
    simulate_take,
)
from humcheck.simulation.faults import (
    clip_then_lower,
    repeat_buffer,
    resample_poorly,
    steep_low_cut,
    suppress_noise,
    through_codec,
    widen,
)
from humcheck.simulation.raster import picture_rows
from humcheck.takes.take import sought_in
from humcheck.tracks.layouts import layout
from tests.benchmarks.table import Row
from tests.takes.memory import MemoryTake

FOUND_SHARE = 0.95
N_CLEAN = 300
N_TRIALS = 20
#: Mono takes say that a channel is missing: so it is.
ALLOWED = {"channel-missing", "mono"}
Sound = np.ndarray[Any, np.dtype[np.float64]]


@dataclass(frozen=True)
class Clean:
    """A take without fault, not yet rounded."""

    sound: Sound
    rate_hz: int
    bits: int
    track: str
    gain_db: float
    seed: int

    def section_s(self, name: str, share: float) -> float:
        """Return a moment of a section, in seconds of the take (drift left out of account)."""
        section = layout(self.track, "short").section(name)
        return 1.25 + section.start_s + share * section.duration_s


@dataclass(frozen=True)
class Case:
    """One fault: `do` makes it of a size; `sizes` fall, `target` is what must be found, as `code` or as `or_code`."""

    code: str
    what: str
    unit: str
    sizes: tuple[float, ...]
    target: float
    do: Callable[[Clean, float, np.random.Generator], Any]
    tracks: tuple[str, ...] = ("silence", "sweep")
    path: Callable[[float], dict[str, Any]] | None = None
    only_rate_hz: int | None = None
    in_quick: bool = True
    or_code: str | None = None


def run(quick: bool) -> list[Row]:
    """Return the table; `quick` looks for most faults, at their target size alone, in one take."""
    rows = [_false_alarms(2 if quick else N_CLEAN), *_mix_ups(1 if quick else N_TRIALS)]
    return rows + [_smallest(case, quick) for case in CASES if case.in_quick or not quick]


def codes_of(clean: Clean, sound: Sound | None = None, *, rate_hz: int | None = None, **recorder: Any) -> list[Fault]:
    """Return all faults found in a take, rounded as its recorder does."""
    rng = np.random.default_rng([clean.seed, 7])
    rate = rate_hz or clean.rate_hz
    made = Recorder(**({"bits": clean.bits, "n_channels": 2} | recorder))
    source = clean.sound if sound is None else sound
    recorded = made.record(source.T.copy(), clean.rate_hz, rng).T
    return faults_in(recorded, rate)


def faults_in(samples: Sound, rate_hz: int) -> list[Fault]:
    """Return all faults of recorded samples, as measuring them finds them."""
    take = sought_in(MemoryTake(np.ascontiguousarray(samples), rate_hz))  # type: ignore[arg-type]
    faults = list(take.faults)
    if not take.has_track:
        return [*faults, Fault(code="no-track", sentence="")]
    faults += tone_faults(take, measure_tones(take))
    assert take.layout is not None
    if not take.layout.sections_of("sweep"):
        return faults + marker_faults(take, "direct")
    responses = []
    for driven in ("left", "right"):
        try:
            responses.append(estimate_response(take.section(f"sweep-{driven}", BEFORE_S, AFTER_S), driven))
        except MeasurementError:
            continue
    return faults + sweep_faults(responses, rate_hz, "direct")


@lru_cache(maxsize=24)
def _kept_take(seed: int, track: str, rate_hz: int | None) -> Clean:
    return clean_take(seed, track, rate_hz)


def clean_take(seed: int, track: str, rate_hz: int | None = None, **path: Any) -> Clean:
    """Return a take of a track through a random path, with nothing wrong."""
    rng = np.random.default_rng([seed, 11])
    rate = rate_hz or int(rng.choice([44100, 48000, 96000], p=[0.35, 0.5, 0.15]))
    gain_db = float(rng.uniform(-18.0, -0.5))
    sign = int(rng.choice([-1, 1]))
    sides = [
        ChannelPath(
            gain_db=gain_db + float(rng.uniform(-0.3, 0.3)),
            polarity=sign,
            low_corners_hz=tuple(rng.uniform(1.0, 25.0, rng.integers(0, 3))),
            high_corners_hz=tuple(rng.uniform(15e3, 80e3, rng.integers(0, 2))),
        )
        for _ in range(2)
    ]
    across = [Crosstalk.at_1k(float(rng.uniform(-95.0, -55.0))) for _ in range(2)]
    leak = PictureLeak(
        level_dbfs_at_1k=float(rng.uniform(-110.0, -75.0)), kind=str(rng.choice(["capacitive", "shared"]))
    )
    bent = float(rng.uniform(0.0, 0.003))
    settings = {
        "player": Crystal(ppm=float(rng.uniform(-300.0, 300.0)), walk_ppm=0.1),
        "linear": LinearPath(left=sides[0], right=sides[1], into_left=across[0], into_right=across[1]),
        "distortion": Polynomial(coefficients=(bent * float(rng.uniform(-1, 1)), bent * float(rng.uniform(-1, 1)))),
        "mains": Mains(frequency_hz=50.0 + float(rng.uniform(-0.05, 0.05))),
        "hum": (Hum(amplitudes=ground_loop(float(rng.uniform(-95.0, -50.0)))),),
        "picture": Picture(rows=picture_rows(str(rng.choice(["white", "top-half"])), TIMING_625.n_rows), leaks=(leak,))
        if rng.random() < 0.6
        else None,
        "hiss": (
            Hiss.both(float(rng.uniform(-100.0, -80.0)), colour=str(rng.choice(["white", "pink"], p=[0.7, 0.3]))),
        ),
        "recorder": Recorder(bits=None),
    }
    simulated = simulate_take(
        layout(track, "short"),
        path=PathModel(**(settings | path)),
        rate_hz=rate,
        seed=seed,
        source_bits=int(rng.choice([16, 24])),
        source_rate_hz=rate if rate != 96000 else 48000,
    )
    return Clean(simulated.samples, rate, int(rng.choice([16, 24])), track, gain_db, seed)


def _false_alarms(n: int) -> Row:
    alarms: list[str] = []
    n_alarms = 0
    for seed in range(n):
        track = ("silence", "sweep", "silence", "sweep", "full")[seed % 5]
        clean = clean_take(seed, track)
        mono = seed % 7 == 3
        found = {fault.code for fault in codes_of(clean, n_channels=1 if mono else 2)} - (ALLOWED if mono else set())
        n_alarms += bool(found)
        alarms += [f"{code} (take {seed}, {track})" for code in sorted(found)]
    return Row(
        figure="false alarms",
        condition="clean takes: all that is random, one in seven mono",
        reached=n_alarms,
        target=0,
        unit="takes",
        n=n,
        passed=n_alarms == 0,
        note=", ".join(alarms[:12]),
    )


def _smallest(case: Case, quick: bool) -> Row:
    """Return the least size from which on all sizes are found in 95 % of takes."""
    n = 1 if quick else N_TRIALS
    sizes = (case.target,) if quick else case.sizes
    takes = [_take_for(case, 1000 + seed) for seed in range(n)] if case.path is None else []
    least, notes = float("inf"), []
    for size in sizes:
        others: dict[str, int] = {}
        hits = 0
        for seed in range(n):
            clean = takes[seed] if takes else _take_for(case, 1000 + seed, size)
            found = case.do(clean, size, np.random.default_rng([seed, 5]))
            codes = {fault.code for fault in found}
            hits += case.code in codes or case.or_code in codes
            for code in codes - {case.code}:
                others[code] = others.get(code, 0) + 1
        notes.append(f"{size:g}: {hits / n:.0%}" + "".join(f", also {code} {count}" for code, count in others.items()))
        if hits < FOUND_SHARE * n:
            break
        least = size
    return Row(
        figure=f"{case.code}: least size",
        condition=case.what,
        reached=least,
        target=case.target,
        unit=case.unit,
        n=n,
        passed=least <= case.target
        if case.sizes[0] > case.sizes[-1]
        else least >= case.target and least < float("inf"),
        note="; ".join(notes),
    )


def _take_for(case: Case, seed: int, size: float | None = None) -> Clean:
    track = case.tracks[seed % len(case.tracks)]
    if case.path is None or size is None:
        return _kept_take(seed, track, case.only_rate_hz)
    return clean_take(seed, track, case.only_rate_hz, **case.path(size))


def _repeat(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    recorded = Recorder(bits=clean.bits).record(clean.sound.T.copy(), clean.rate_hz, rng).T
    # Not where two silent sections of the track meet digital zero: a copied buffer of nothing is nothing.
    place = int(
        clean.section_s(str(rng.choice(["level", "tone-left", "tone-right"])), float(rng.uniform(0.1, 0.9)))
        * clean.rate_hz
    )
    return faults_in(repeat_buffer(recorded, place, int(size)), clean.rate_hz)


def _clipping(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    peak_db = 20.0 * np.log10(np.abs(clean.sound).max())
    return codes_of(clean, clean.sound * 10.0 ** ((size - peak_db) / 20.0))


def _clipped_lowered(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    return codes_of(clean, clip_then_lower(clean.sound, size, float(rng.uniform(3.0, 12.0))))


def _low_level(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    return codes_of(clean, clean.sound * 10.0 ** ((-size - clean.gain_db) / 20.0))


def _gain_control(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    return codes_of(clean, gain_control=GainControl(target_dbfs=clean.gain_db - 1.0 - size, most_gain_db=0.0))


def _random_gate(clean: Clean, size: float, rng: np.random.Generator) -> NoiseGate:
    quiet = int(clean.section_s("quiet", 0.5) * clean.rate_hz)
    rms = float(np.sqrt(np.mean(clean.sound[quiet : quiet + clean.rate_hz] ** 2)))
    threshold_dbfs = 20.0 * np.log10(rms) + 3.0 + float(rng.uniform(6.0, 15.0))
    return NoiseGate(threshold_dbfs=threshold_dbfs, reduction_db=size, hold_s=float(rng.uniform(0.05, 1.0)))


def _gate(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    return codes_of(clean, gate=_random_gate(clean, size, rng))


def _gate_each(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    one = Recorder(bits=None, n_channels=1, gate=_random_gate(clean, size, rng))
    sides = [one.record(clean.sound[:, [side]].T.copy(), clean.rate_hz, rng)[0] for side in range(2)]
    return codes_of(clean, np.stack(sides, axis=1), bits=24)


def _suppressed(clean: Clean, most_db: float, rng: np.random.Generator) -> Sound:
    """Subtract the noise as one of several suppressors would."""
    start = int(clean.section_s("quiet", float(rng.uniform(0.1, 0.8))) * clean.rate_hz)
    learnt = clean.sound[start : start + clean.rate_hz]
    n_frame = int(rng.choice([256, 512, 1024, 2048]))
    return suppress_noise(clean.sound, most_db, learnt, n_frame=n_frame, learnt_times=float(rng.uniform(1.0, 2.0)))


def _suppress_plainly(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    start = int(clean.section_s("quiet", 0.3) * clean.rate_hz)
    return codes_of(clean, suppress_noise(clean.sound, size, clean.sound[start : start + clean.rate_hz]), bits=24)


def _suppress(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    # With 16 bits the dither fills the holes.
    return codes_of(clean, _suppressed(clean, size, rng), bits=24)


def _mix_ups(n: int) -> list[Row]:
    """Return how often noise suppression is called coding, and the other way round, with no word of the other."""
    suppressed = {f"{most_db:g} dB": _suppressor(most_db) for most_db in _SUPPRESSED_DB}
    coded = {f"{one[1].lower()} {one[2]:g}": _coder(*one) for one in _CODED}
    rows = []
    for name, makers in (("noise suppression", suppressed), ("lossy coding", coded)):
        counts = {condition: _counted(name, make, n) for condition, make in makers.items()}
        wrong = sum(count.get("wrong", 0) for count in counts.values())
        row = Row(
            figure=f"{name} named wrongly",
            condition=", ".join(makers),
            reached=wrong,
            target=0,
            unit="takes",
            n=n * len(makers),
            passed=wrong == 0,
            note="; ".join(
                f"{condition}: " + ", ".join(f"{word} {times}" for word, times in sorted(count.items()))
                for condition, count in counts.items()
            ),
        )
        rows.append(row)
    return rows


def _suppressor(most_db: float) -> Callable[[Clean, np.random.Generator], list[Fault]]:
    return lambda clean, rng: _suppress(clean, most_db, rng)


def _coder(file_format: str, subtype: str, level: float) -> Callable[[Clean, np.random.Generator], list[Fault]]:
    do = _codec(file_format, subtype)
    return lambda clean, rng: do(clean, level, rng)


def _counted(name: str, make: Callable[[Clean, np.random.Generator], list[Fault]], n: int) -> dict[str, int]:
    words = [
        _told(make(_kept_take(1000 + seed, "silence", 48000), np.random.default_rng([seed, 13])), name)
        for seed in range(n)
    ]
    return {word: words.count(word) for word in set(words)}


def _told(faults: list[Fault], name: str) -> str:
    """Return whether faults name a cause, it or another one, another one, or none."""
    faults = [fault for fault in faults if fault.code in ("noise-suppression", "lossy-coding", "gate", "undithered")]
    if not faults:
        return "nothing"
    (fault,) = faults
    if name not in fault.sentence:
        return "wrong"
    if fault.code == "noise-suppression" or "less likely noise suppression" in fault.sentence:
        return "told" if fault.code == name.replace(" ", "-") else "wrong"
    return "either"


def _codec(file_format: str, subtype: str) -> Callable[[Clean, float, np.random.Generator], list[Fault]]:
    def do(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
        return faults_in(through_codec(clean.sound, clean.rate_hz, file_format, subtype, size), clean.rate_hz)

    return do


def _brick(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    spectrum = np.fft.rfft(clean.sound, axis=0)
    spectrum[int(size * 1000.0 * len(clean.sound) / clean.rate_hz) :] = 0.0
    return codes_of(clean, np.fft.irfft(spectrum, len(clean.sound), axis=0))


def _resample(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    made = resample_poorly(clean.sound, 48000 / 44100, int(size))
    return codes_of(Clean(made, 48000, clean.bits, clean.track, clean.gain_db, clean.seed))


def _lost(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    at_s = clean.section_s("tone-left", float(rng.uniform(0.1, 0.9)))
    return codes_of(clean, splices=(Splice(at_s=at_s, count=int(size)),))


def _dropout(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    at_s = clean.section_s("tone-left", float(rng.uniform(0.1, 0.8)))
    return codes_of(clean, dropouts=(Dropout(start_s=at_s, duration_s=size / 1000.0),))


def _offset(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    return codes_of(clean, clean.sound * 0.9, dc=(0.0, size / 100.0))


def _matrix(gains: Callable[[float], list[list[float]]]) -> Callable[[Clean, float, np.random.Generator], list[Fault]]:
    def do(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
        return codes_of(clean, clean.sound @ np.array(gains(size)).T)

    return do


def _widen(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    return codes_of(clean, widen(clean.sound, 10.0 ** (size / 20.0)))


def _cut_start(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    begin = int((clean.section_s("level", 0.0) + size) * clean.rate_hz)
    return codes_of(clean, clean.sound[begin:])


def _cut_end(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    last = layout(clean.track, "short").sections[-1]
    end = int((1.25 + last.end_s - size) * clean.rate_hz)
    return codes_of(clean, clean.sound[:end])


def _low_cut(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    return codes_of(clean, steep_low_cut(clean.sound, clean.rate_hz, size, 2))


def _speech_filter(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    return codes_of(clean, steep_low_cut(clean.sound, clean.rate_hz, size, 4))


def _wrong_rate(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    return codes_of(clean, rate_hz=int(size))


def _same(clean: Clean, size: float, rng: np.random.Generator) -> list[Fault]:
    return codes_of(clean)


#: Least gain of a suppressor in dB; libsndfile's codecs, each with compression levels.
_SUPPRESSED_DB = (10.0, 15.0, 20.0, 40.0)
_CODED = (
    ("MP3", "MPEG_LAYER_III", 0.3),
    ("MP3", "MPEG_LAYER_III", 0.5),
    ("OGG", "VORBIS", 0.3),
    ("OGG", "VORBIS", 0.5),
    ("OGG", "OPUS", 0.8),
    ("OGG", "OPUS", 0.95),
)

CASES = (
    Case("clipping", "at full scale", "dB over", (3.0, 1.0, 0.5, 0.2, 0.1, 0.05), 0.2, _clipping),
    Case(
        "overload",
        "clipped, then turned down by 3 to 12 dB",
        "dB cut off",
        (3.0, 1.0, 0.5, 0.2, 0.1, 0.06),
        0.2,
        _clipped_lowered,
    ),
    Case(
        "low-level", "track's full scale arrives so far below 0 dBFS", "dB", (40.0, 35.0, 32.0, 31.0), 31.0, _low_level
    ),
    Case(
        "automatic-gain",
        "limiter of 50 ms and 1.5 s",
        "dB",
        (10.0, 3.0, 1.0, 0.5, 0.2),
        1.0,
        _gain_control,
        tracks=("full",),
        in_quick=False,
    ),
    Case(
        "gate",
        "noise gate over both channels, hold 0.05 to 1 s",
        "dB",
        (30.0, 10.0, 6.0, 4.0, 3.0),
        6.0,
        _gate,
        tracks=("silence",),
    ),
    # A picture's lines may hide the noise beside the channel's own tone, and the other channel is closed.
    Case(
        "gate",
        "one over each channel, 24 bits, no picture",
        "dB",
        (30.0, 10.0, 6.0, 4.0, 3.0),
        6.0,
        _gate_each,
        tracks=("silence",),
        path=lambda _: {"picture": None},
        in_quick=False,
    ),
    Case(
        "noise-suppression",
        "spectral subtraction of what was learnt, 24 bits; by its name, or as this or lossy coding",
        "dB",
        (40.0, 20.0, 10.0, 6.0, 4.0),
        10.0,
        _suppress_plainly,
        tracks=("silence",),
        or_code="lossy-coding",
    ),
    # Taking off twice what was learnt turns nearly all bins down alike: at 10 dB the texture stays that of noise.
    Case(
        "noise-suppression",
        "the same in frames of 256 to 2048, once to twice what was learnt",
        "dB",
        (40.0, 20.0, 10.0, 6.0, 4.0),
        20.0,
        _suppress,
        tracks=("silence",),
        or_code="lossy-coding",
    ),
    Case(
        "lossy-coding",
        "MP3, compression level (0.5: about 70 kbit/s)",
        "of 1",
        (0.9, 0.7, 0.5, 0.3, 0.1, 0.0),
        0.3,
        _codec("MP3", "MPEG_LAYER_III"),
        only_rate_hz=48000,
    ),
    Case(
        "lossy-coding",
        "Vorbis, compression level (0.5: about 120 kbit/s)",
        "of 1",
        (0.9, 0.7, 0.5, 0.3, 0.1, 0.0),
        0.3,
        _codec("OGG", "VORBIS"),
        only_rate_hz=48000,
    ),
    Case(
        "lossy-coding",
        "Opus, compression level (0.7: about 160 kbit/s)",
        "of 1",
        (0.98, 0.95, 0.9, 0.8, 0.7, 0.5),
        0.8,
        _codec("OGG", "OPUS"),
        only_rate_hz=48000,
        in_quick=False,
    ),
    Case(
        "band-limit",
        "brick wall",
        "kHz, highest",
        (8.0, 12.0, 16.0, 18.0, 19.0),
        18.0,
        _brick,
        tracks=("sweep",),
        in_quick=False,
    ),
    Case(
        "low-cut",
        "second-order high-pass, corner",
        "Hz",
        (300.0, 150.0, 100.0, 80.0, 70.0),
        100.0,
        _low_cut,
        tracks=("sweep",),
    ),
    Case(
        "low-cut",
        "fourth-order high-pass, corner, by the markers",
        "Hz",
        (300.0, 200.0, 150.0, 120.0, 110.0),
        200.0,
        _speech_filter,
        tracks=("silence",),
    ),
    Case(
        "resampled",
        "44.1 to 48 kHz through so many points, most",
        "points",
        (2.0, 4.0, 8.0, 16.0),
        2.0,
        _resample,
        only_rate_hz=44100,
    ),
    Case(
        "wrong-rate",
        "48 kHz take with another rate in its header",
        "Hz",
        (44100.0,),
        44100.0,
        _wrong_rate,
        only_rate_hz=48000,
    ),
    Case("repeated-buffer", "in a tone", "samples", (4096.0, 1024.0, 256.0, 128.0, 64.0), 128.0, _repeat),
    Case("lost-samples", "in a tone", "samples", (100.0, 10.0, 3.0, 1.0), 3.0, _lost),
    Case("inserted-samples", "in a tone", "samples", (100.0, 10.0, 3.0, 1.0), 3.0, lambda c, s, r: _lost(c, -s, r)),
    Case("dropout", "in a tone", "ms", (100.0, 30.0, 15.0, 10.0), 30.0, _dropout),
    Case(
        "drift-changes",
        "steady change of the clock",
        "ppm a minute",
        (100.0, 30.0, 15.0, 10.0, 7.0),
        15.0,
        _same,
        path=lambda size: {"player": Crystal(ppm=50.0, ppm_per_minute=size)},
    ),
    Case("dc", "offset of one channel", "% of full scale", (3.0, 1.0, 0.5, 0.35), 0.5, _offset),
    Case(
        "channel-missing",
        "right channel softer by",
        "dB",
        (80.0, 60.0, 50.0, 42.0),
        50.0,
        _matrix(lambda s: [[1, 0], [0, 10 ** (-s / 20)]]),
    ),
    Case(
        "swapped",
        "crosstalk besides",
        "dB",
        (-60.0, -20.0, -6.0),
        -20.0,
        _matrix(lambda s: [[10 ** (s / 20), 1], [1, 10 ** (s / 20)]]),
    ),
    Case(
        "mono",
        "channels merged, the other one softer by",
        "dB",
        (0.0, 3.0, 6.0, 9.0),
        6.0,
        _matrix(lambda s: [[0.5, 0.5 * 10 ** (-s / 20)], [0.5 * 10 ** (-s / 20), 0.5]]),
    ),
    Case("inverted", "right against left", "", (1.0,), 1.0, _matrix(lambda s: [[1, 0], [0, -1]])),
    Case(
        "widened",
        "each channel in the other one, inverted",
        "dB",
        (-3.0, -6.0, -12.0, -20.0, -26.0, -29.0),
        -20.0,
        _widen,
    ),
    Case("difference-only", "no common contact", "dB", (0.0, -0.5, -1.0), 0.0, _widen),
    Case("cut-start", "of the level tone", "s", (3.0, 1.0, 0.2, 0.05), 0.2, _cut_start),
    Case("cut-end", "of the last marker", "s", (0.9, 0.3, 0.1, 0.02), 0.1, _cut_end),
    Case(
        "mutes-on-zero",
        "player's hiss over that of the rest",
        "dB",
        (30.0, 20.0, 10.0, 6.0),
        10.0,
        _same,
        tracks=("silence",),
        path=lambda size: {"hiss": (Hiss.both(-96.0),), "source_hiss": Hiss.both(-96.0 + size)},
    ),
)
