"""What is wrong with a take, as far as its samples and its alignment show: a sentence each, with what to do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from humcheck.audio.files import TakeFile
from humcheck.results.rows import Channel, Fault
from humcheck.takes.alignment import Alignment
from humcheck.takes.faults_clock import clock_change_faults
from humcheck.takes.faults_repeats import find_repeats, repeat_fault
from humcheck.takes.faults_wiring import wiring_faults
from humcheck.takes.steps import LostSamples
from humcheck.takes.survey import Survey
from humcheck.tracks.layouts import Layout
from humcheck.tracks.sections import Section

#: A track that arrives weaker than this (gain in dB) is what leaks through, not what was passed on.
NO_SOUND_DB = -50.0
_LOW_LEVEL_DBFS = -30.0
_DC_SHARE = 0.003
#: Clocks of players and recorders agree to a per mille (IEC 60958-3, level II), twice if both err.
_WRONG_RATE_PPM = 2500.0
#: Shortest digital silence inside a sound that is called a dropout, in seconds.
_DROPOUT_S = 0.01
#: Lossy coding, and many a source, ends here.
_MAY_BE_CUT_HZ = 15000.0
#: From so many samples on a loss in the quiet breaks the lines of the hum family, not only their frequencies.
_BREAKS_LINES = 10

_LINES = ("hum_frequency", "hum_wander", "buzz_frequency", "whistle_frequency", "whistle_level")
_LINE_LEVELS = ("hum_level", "hum_level_a", "buzz_level", "buzz_level_a", "hum_and_buzz_level", "hiss_level")
_DISTORTION = ("thd", "thd_n", "imd_smpte", "imd_difference")
_RESPONSE = ("response_delta", "response_span", "low_corner", "high_corner")
_CROSSTALK = ("crosstalk", "crosstalk_1k", "crosstalk_worst")
#: What a section is needed for.
_NEEDS: dict[str, tuple[str, ...]] = {
    "tone-left": ("gain", "balance", "polarity", "tone_level"),
    "tone-right": ("gain", "balance", "polarity", "tone_level"),
    "quiet": (*_LINES, *_LINE_LEVELS),
    "sweep-left": (*_RESPONSE, *_CROSSTALK),
    "sweep-right": (*_RESPONSE, *_CROSSTALK),
    "full-scale": ("thd", "thd_n"),
    "minus-60": ("dynamic_range", "dynamic_range_a"),
    "imd-smpte": ("imd_smpte",),
    "imd-difference": ("imd_difference",),
}


def sample_faults(file: TakeFile, found: Survey, channels: Sequence[Channel]) -> Iterator[Fault]:
    """Yield what the samples alone show.

    Parameters
    ----------
    file : TakeFile
        The take.
    found : Survey
        What a pass over it found.
    channels : sequence of str
        Names of its channels in the file's order.
    """
    for note in file.notes:
        yield Fault(code="file", sentence=note)
    for index, channel in enumerate(channels):
        where = "" if channel == "mono" else f" {channel}"
        span = found.clipped_span[index]
        if span is not None:
            yield Fault(
                code="clipping",
                channel=channel,
                start_s=span[0] / file.rate_hz,
                end_s=span[1] / file.rate_hz,
                sentence=f"The{where} channel stays at full scale {found.clipped_runs[index]} times: turn the "
                "recording level down until the loudest tone peaks between -6 and -3 dBFS, and record again.",
                spoils=[*_DISTORTION, "dynamic_range", "dynamic_range_a", "tone_level"],
            )
        if abs(found.mean[index]) > _DC_SHARE:
            yield Fault(
                code="dc",
                channel=channel,
                sentence=f"The{where} channel is offset by {100.0 * found.mean[index]:.1f} % of full scale: "
                "levels are right, but the recorder's input needs attention if it is large.",
            )


def alignment_faults(
    file: TakeFile, layout: Layout, alignment: Alignment, found: Survey, bounds: tuple[int, int]
) -> Iterator[Fault]:
    """Yield what the alignment with the track shows; `bounds` are the take's ends in its file."""
    yield from _level_faults(alignment)
    yield from wiring_faults(alignment.routing, file.n_channels)
    yield from _cut_faults(file.rate_hz, layout, alignment, bounds)
    yield from _clock_faults(file, layout, alignment)
    yield from clock_change_faults(alignment.clock, layout)
    yield from _dropouts(file, layout, alignment, found)


def copy_faults(
    file: TakeFile, bounds: tuple[int, int], layout: Layout | None, alignment: Alignment | None
) -> Iterator[Fault]:
    """Yield the fault of stretches that a recorder wrote twice, in a take with or without a track."""
    repeats = find_repeats(file, *bounds)
    hit: list[Section] = []
    if layout is not None and alignment is not None:
        for repeat in repeats:
            ends = np.array([repeat.start, repeat.start + repeat.n_samples], dtype=np.float64)
            start_s, end_s = alignment.clock.track_time_s(ends)
            hit += [section for section in layout.sections if section.end_s > start_s and section.start_s < end_s]
    fault = repeat_fault(file.rate_hz, repeats, _spoilt(hit))
    if fault is not None:
        yield fault


def no_sound_fault(detail: str) -> Fault:
    """Return the fault of a take through which the track did not come; `detail` says what there is instead."""
    return Fault(
        code="no-sound",
        sentence=f"No sound passes: {detail} Check that the device has its supply and, if it selects its input by "
        "itself, a picture, that the port is the selected one, and that the source plays; then record again.",
    )


def _level_faults(alignment: Alignment) -> Iterator[Fault]:
    loudest_db = max(alignment.gain_db.values(), default=None)
    if loudest_db is None:
        return
    if loudest_db < NO_SOUND_DB:
        yield no_sound_fault(f"the track arrives only as leakage, {-loudest_db:.0f} dB below its own level.")
    elif loudest_db - 1.0 < _LOW_LEVEL_DBFS:
        yield Fault(
            code="low-level",
            sentence=f"The loudest tone arrives at only {loudest_db - 1.0:.0f} dBFS: turn the source or the recording "
            f"level up by about {-5.0 - loudest_db + 1.0:.0f} dB and record again.",
        )


def _cut_faults(rate_hz: float, layout: Layout, alignment: Alignment, bounds: tuple[int, int]) -> Iterator[Fault]:
    starts = alignment.clock.take_index(np.array([section.start_s for section in layout.sections]))
    ends = alignment.clock.take_index(np.array([section.end_s for section in layout.sections]))
    before = [s for s, index in zip(layout.sections, starts, strict=True) if index < bounds[0] - 0.5]
    after = [s for s, index in zip(layout.sections, ends, strict=True) if index > bounds[1] + 0.5]
    if before:
        missing_s = bounds[0] / rate_hz - alignment.offset_s
        yield Fault(
            code="cut-start",
            sentence=f"The recording starts {missing_s:.1f} s into the track and misses {_names(before)}: "
            "start recording before the track.",
            spoils=_spoilt(before),
        )
    if after:
        missing_s = float(ends[-1] - bounds[1]) / rate_hz
        yield Fault(
            code="cut-end",
            sentence=f"The recording ends {missing_s:.1f} s before the track's last sound and misses {_names(after)}: "
            "let it run until the track is over.",
            spoils=_spoilt(after),
        )


def _clock_faults(file: TakeFile, layout: Layout, alignment: Alignment) -> Iterator[Fault]:
    if abs(alignment.drift_ppm) > _WRONG_RATE_PPM:
        runs_hz = file.rate_hz * (1.0 + alignment.drift_ppm * 1e-6)
        yield Fault(
            code="wrong-rate",
            sentence=f"The recording says {file.rate_hz} Hz but the track in it runs as at {runs_hz:.0f} Hz: player, "
            "recorder or a conversion on the way disagree about the rate. Set all to the same and record again.",
            spoils=[*_LINES, *_LINE_LEVELS],
        )
    for lost in alignment.lost:
        yield _loss(lost, layout, alignment)


def _loss(lost: LostSamples, layout: Layout, alignment: Alignment) -> Fault:
    n_samples = abs(lost.count)
    ends_s = alignment.clock.track_time_s(np.array([lost.start_s, lost.end_s]) * alignment.clock.rate_hz)
    hit = [section for section in layout.sections if section.end_s > ends_s[0] and section.start_s < ends_s[1]]
    spoils = _spoilt(hit)
    if n_samples < _BREAKS_LINES:
        spoils = [name for name in spoils if name not in _LINE_LEVELS]
    what = f"{n_samples} sample{'s were' if n_samples > 1 else ' was'} {'lost' if lost.count > 0 else 'inserted'}"
    where = f"at {lost.start_s:.3f} s" if lost.place_index is not None else "somewhere between two markers"
    return Fault(
        code="lost-samples" if lost.count > 0 else "inserted-samples",
        start_s=lost.start_s,
        end_s=lost.end_s,
        sentence=f"{what} {where}: close other programs, use a larger recording buffer, record the sound without "
        "keeping pace with a picture, and record again.",
        spoils=spoils,
    )


def _dropouts(file: TakeFile, layout: Layout, alignment: Alignment, found: Survey) -> Iterator[Fault]:
    sounding = [s for s in layout.sections if s.kind not in ("quiet", "zero", "marker")]
    hit: list[Section] = []
    spans: list[tuple[float, float]] = []
    for section in sounding:
        if min(section.frequencies_hz, default=0.0) > _MAY_BE_CUT_HZ:
            continue  # gone for good, with all that lies so high: no dropout
        edge_s = max(section.fade_in_s, section.fade_out_s, 0.02)
        low, high = alignment.clock.take_index(np.array([section.start_s + edge_s, section.end_s - edge_s]))
        for start, stop in found.silences:
            first, last = max(start, low), min(stop, high)
            if last - first >= _DROPOUT_S * file.rate_hz:
                hit.append(section)
                spans.append((first / file.rate_hz, last / file.rate_hz))
    if spans:
        total_s = sum(end - start for start, end in spans)
        yield Fault(
            code="dropout",
            start_s=spans[0][0],
            end_s=spans[-1][1],
            sentence=f"The sound is missing for {total_s:.2f} s in {_names(hit)}: check leads and plugs, close other "
            "programs, and record again.",
            spoils=_spoilt(hit),
        )


def _names(sections: Sequence[Section]) -> str:
    names = list(dict.fromkeys(section.name for section in sections if section.kind != "marker")) or ["a marker"]
    return ", ".join(names[:-1]) + (" and " if len(names) > 1 else "") + names[-1]


def _spoilt(sections: Sequence[Section]) -> list[str]:
    return list(dict.fromkeys(name for section in sections for name in _NEEDS.get(section.name, ())))
