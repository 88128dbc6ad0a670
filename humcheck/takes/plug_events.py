"""Whether somebody plugged, unplugged or turned a knob while a track played: strong clicks, gaps, jumps in level.

Only what is plain counts, for a run that is left out has to be recorded again: what is weaker is left to the measures.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humcheck.takes.take import Take
from humcheck.tracks.sections import Section

Array = NDArray[np.float64]

#: A click in the quiet part is strong from here on, re the track's full scale as it arrives, and so many times the
#: usual peak. Plugs under signal thump near full scale (common practice, no source); a switch in the house does not.
_CLICK_DB = -30.0
_CLICK_RATIO = 10.0
#: In a sound, a window whose peak is so many times higher, or whose level is so many times lower, than around it.
_BURST_RATIO = 1.6
_GAP_RATIO = 0.1
_ONSET_WINDOWS = 2
#: Level from one marker to the others; a poorly received one must stand out from its noise as well.
_JUMP_DB = 2.0
_CERTAIN_Z = 5.0
#: Share of a chirp's samples that the gain around 1 kHz rests on.
_TONE_SHARE = 0.1

_QUIET_WINDOW_S = 0.005
_SOUND_WINDOW_S = 0.02
#: Tones are steady from end to end; a sweep is compared with half a second about each place.
_AROUND_S = 0.5
#: What rings or settles at the ends of a section is no event.
_EDGE_S = 0.15
_BLOCK_WINDOWS = 1 << 10
#: A gap of so many windows is a plug, a shorter one some lost samples, which the take's faults tell.
_GAP_WINDOWS = 3
#: The level section is left out: a box that selects its input by itself may let the beginning go.
_STEADY_KINDS = ("tone", "imd")


def plug_event(take: Take) -> str | None:
    """Return what happened in a take while its track played, as a clause; None where nothing did.

    Parameters
    ----------
    take : Take
        One that holds a track.
    """
    if take.layout is None or take.alignment is None:
        return None
    jump = _level_jump(take)
    if jump is not None:
        return jump
    full_scale = 10.0 ** (max(take.alignment.gain_db.values(), default=0.0) / 20.0)
    for section in take.layout.sections:
        if not take.has_section(section.name):
            continue
        for index, what in _section_events(take, section, full_scale):
            return f"{what} at {clock_time(index / take.rate_hz)} ({section.name})"
    return None


def clock_time(time_s: float) -> str:
    """Return a time in a recording as ``h:mm:ss``, or ``m:ss`` within the first hour."""
    minutes, seconds = divmod(max(round(time_s), 0), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{seconds:02d}" if hours else f"{minutes}:{seconds:02d}"


def _level_jump(take: Take) -> str | None:
    """Return that the markers do not arrive at one level, and where that begins."""
    assert take.alignment is not None
    for channel in ("left", "right"):
        slots = [slot for slot in take.alignment.slots if slot.channel == channel]
        if len(slots) < 3:
            continue
        # Around 1 kHz, where a filter that bends the chirps' phases does no harm.
        size = np.array([np.linalg.norm(slot.tone_gains) for slot in slots])
        likeness = np.clip([slot.likeness for slot in slots], 1e-6, 1.0)
        samples = np.array([len(slot.residual) for slot in slots])
        noise_db = 20.0 / np.log(10.0) * np.sqrt((1.0 - likeness) / likeness / (_TONE_SHARE * samples))
        level_db = 20.0 * np.log10(np.maximum(size, 1e-12))
        away = np.abs(np.diff(level_db))
        limit = _JUMP_DB + _CERTAIN_Z * np.hypot(noise_db[1:], noise_db[:-1])
        jumps = np.flatnonzero(away > limit)
        if jumps.size:
            first = int(jumps[0])
            times = [clock_time(slot.take_index / take.rate_hz) for slot in slots[first : first + 2]]
            return f"the level jumps by {away[first]:.1f} dB between {times[0]} and {times[1]}"
    return None


def _section_events(take: Take, section: Section, full_scale: float) -> Iterator[tuple[int, str]]:
    """Yield take index and name of each event in one section."""
    floor = full_scale * 10.0 ** (_CLICK_DB / 20.0)
    if section.kind == "quiet":
        found = _windows(take, section, _QUIET_WINDOW_S)
        usual = np.median(found.peak, axis=0)
        strong = (found.peak > _CLICK_RATIO * usual) & (found.peak > floor)
        yield from found.events(strong, "a strong click")
        return
    if section.kind not in (*_STEADY_KINDS, "sweep"):
        return
    found = _windows(take, section, _SOUND_WINDOW_S)
    if len(found.peak) < _GAP_WINDOWS:
        return
    # A channel that is silent meanwhile shows a plug best.
    peak, level = found.peak, found.level
    strong = (peak > _BURST_RATIO * np.max(_around(peak, section), axis=0)) & (peak > floor)
    # A sweep swells where the path has a resonance; a plug hits all at once.
    just_before = np.concatenate([peak[:_ONSET_WINDOWS], peak[:-_ONSET_WINDOWS]])
    yield from found.events(strong & (peak > _BURST_RATIO * just_before), "a strong click")
    usual = np.min(_around(level, section), axis=0)
    yield from found.events(_lasting((level < _GAP_RATIO * usual) & (usual > floor)), "a gap in the sound")


def _lasting(gone: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return where a gap of `_GAP_WINDOWS` begins."""
    whole = np.lib.stride_tricks.sliding_window_view(gone, _GAP_WINDOWS, axis=0).all(axis=-1)
    return np.concatenate([whole, np.zeros((_GAP_WINDOWS - 1, gone.shape[1]), dtype=np.bool_)])


def _around(level: Array, section: Section) -> tuple[Array, Array]:
    """Return the usual level before and after each window."""
    if section.kind in _STEADY_KINDS:
        usual = np.broadcast_to(np.median(level, axis=0), level.shape)
        return usual, usual
    reach = int(_AROUND_S / _SOUND_WINDOW_S)
    padded = np.pad(level, ((reach, reach), (0, 0)), mode="edge")
    medians = np.median(np.lib.stride_tricks.sliding_window_view(padded, reach, axis=0), axis=-1)
    return medians[: len(level)], medians[reach + 1 : reach + 1 + len(level)]


@dataclass(frozen=True, kw_only=True)
class _Windows:
    """Peak and RMS of windows in a row, shape (n_windows, n_channels), channels in the file's own order."""

    peak: Array
    level: Array
    first: int
    n_window: int

    def events(self, hit: NDArray[np.bool_], what: str) -> Iterator[tuple[int, str]]:
        for window in np.flatnonzero(hit.any(axis=1)):
            yield self.first + int(window) * self.n_window, what


def _windows(take: Take, section: Section, window_s: float) -> _Windows:
    """Read the inside of a section in blocks."""
    assert take.alignment is not None
    ends_s = np.array([section.start_s + section.fade_in_s + _EDGE_S, section.end_s - section.fade_out_s - _EDGE_S])
    first, last = (int(index) for index in take.alignment.clock.take_index(ends_s))
    n_window = max(int(window_s * take.rate_hz), 1)
    peak, level = [np.zeros((0, take.n_channels))], [np.zeros((0, take.n_channels))]
    for _, samples in take.file.blocks(_BLOCK_WINDOWS * n_window, first, last):
        whole = samples[: len(samples) // n_window * n_window].reshape(-1, n_window, samples.shape[1])
        peak.append(np.abs(whole).max(axis=1))
        level.append(np.sqrt(np.einsum("wnc,wnc->wc", whole, whole) / n_window))
    return _Windows(peak=np.concatenate(peak), level=np.concatenate(level), first=first, n_window=n_window)
