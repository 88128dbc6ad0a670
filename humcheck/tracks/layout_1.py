"""Layout 1 of the tracks. Frozen: recordings of it are kept for years, so a change is a new layout."""

from __future__ import annotations

import math
from collections.abc import Callable

from humcheck.results.rows import TrackIdentity
from humcheck.tracks.markers import MARKER_DBFS, MARKER_S, encode_marker
from humcheck.tracks.sections import Channels, Kind, Layout, Section, TrackChannel

NUMBER = 1

#: Loudest level in a track, 0.001 dB under the promise of -1 dBFS: dither must not lift a sample above it.
TOP_DBFS = -1.001
#: Level of channel tones and sweeps.
COMMON_DBFS = -6.0
#: AES17: the standard frequency, coprime with the usual rates.
TONE_HZ = 997.0
LOW_TONE_DBFS = -60.0
STEP_LEVELS_DBFS = (-60.0, -50.0, -40.0, -30.0, -20.0, -12.0, -6.0, -3.0, -1.0)

GRID_S = 0.25
LEAD_S = 0.5
TAIL_S = 0.5
GAP_S = 0.25
#: Silence after a sweep: what rings on is part of the response.
RING_S = 0.75
TONE_FADE_S = 0.05
STEP_FADE_S = 0.01
STEP_S = 0.75

QUIET_S = {"short": 10.0, "standard": 30.0, "long": 60.0}
SWEEP_S = {"short": 6.0, "standard": 12.0, "long": 12.0}
#: The soft start of a sweep takes the octave below 8 Hz: shorter ones leave a thump (DC) in the short sweep.
SWEEP_LOW_HZ = 4.0
SWEEP_FULL_HZ = 8.0
SWEEP_HIGH_HZ = 23000.0
SWEEP_FADE_OUT_S = 0.01


def build(name: str, length: str, number: int = NUMBER) -> Layout:
    """Return the layout of one track.

    Parameters
    ----------
    name : str
        ``"full"``, ``"sweep"`` or ``"silence"``.
    length : str
        ``"short"``, ``"standard"`` or ``"long"``.
    number : int, optional
        What the markers carry; that of another layout if it has the same sections.
    """
    row = _Row(TrackIdentity(name=name, length=length, layout=number))
    _PARTS[name](row, length)
    return row.finish()


class _Row:
    """Sections laid one after the other on the grid."""

    def __init__(self, identity: TrackIdentity) -> None:
        self._identity = identity
        self._sections: list[Section] = []
        self._next_s = LEAD_S
        self._n_markers = 0

    def add(
        self,
        name: str,
        kind: Kind,
        duration_s: float,
        channels: Channels,
        level_dbfs: float | None = None,
        gap_s: float = GAP_S,
        **more: object,
    ) -> None:
        section = Section(
            name=name,
            kind=kind,
            start_s=self._next_s,
            duration_s=duration_s,
            channels=channels,
            level_dbfs=level_dbfs,
            **more,  # type: ignore[arg-type]
        )
        self._sections.append(section)
        # The small allowance keeps an end that is a rounding error past the grid from costing a step of it.
        self._next_s = GRID_S * math.ceil((section.end_s + gap_s) / GRID_S - 1e-9)

    def marker(self) -> None:
        index = self._n_markers
        self._n_markers += 1
        bits = encode_marker(self._identity, index)
        amplitudes = (_amplitude(MARKER_DBFS),)
        self.add(
            f"marker-{index}",
            "marker",
            MARKER_S,
            "both",
            MARKER_DBFS,
            amplitudes=amplitudes,
            marker_index=index,
            marker_bits=bits,
        )

    def finish(self) -> Layout:
        last_s = self._sections[-1].end_s
        duration_s = GRID_S * math.ceil((last_s + TAIL_S) / GRID_S - 1e-9)
        return Layout(identity=self._identity, sections=tuple(self._sections), duration_s=duration_s)


def _amplitude(level_dbfs: float) -> float:
    return float(10.0 ** (level_dbfs / 20.0))


def _start(row: _Row) -> None:
    _tone(row, "level", "level", 4.0, "both", TOP_DBFS)
    row.marker()
    _tone(row, "tone-left", "tone", 2.0, "left", COMMON_DBFS)
    _tone(row, "tone-right", "tone", 2.0, "right", COMMON_DBFS)
    row.marker()


def _tone(row: _Row, name: str, kind: Kind, duration_s: float, channels: Channels, level_dbfs: float) -> None:
    row.add(
        name,
        kind,
        duration_s,
        channels,
        level_dbfs,
        frequencies_hz=(TONE_HZ,),
        amplitudes=(_amplitude(level_dbfs),),
        fade_in_s=TONE_FADE_S,
        fade_out_s=TONE_FADE_S,
    )


def _quiet(row: _Row, length: str) -> None:
    row.add("quiet", "quiet", QUIET_S[length], "none")
    row.marker()
    row.add("zero", "zero", 2.0, "none")


def _steps(row: _Row) -> None:
    # The top step is -1 dBFS by name; like all loud parts it stays the hair below that dither needs.
    levels_dbfs = tuple(min(level_dbfs, TOP_DBFS) for level_dbfs in STEP_LEVELS_DBFS)
    row.add(
        "steps",
        "steps",
        STEP_S * len(levels_dbfs),
        "both",
        max(levels_dbfs),
        frequencies_hz=(TONE_HZ,),
        amplitudes=(_amplitude(max(levels_dbfs)),),
        fade_in_s=STEP_FADE_S,
        fade_out_s=STEP_FADE_S,
        step_levels_dbfs=levels_dbfs,
        step_s=STEP_S,
    )


def _sweep(row: _Row, channel: TrackChannel, length: str) -> None:
    duration_s = SWEEP_S[length]
    time_constant_s = duration_s / math.log(SWEEP_HIGH_HZ / SWEEP_LOW_HZ)
    row.add(
        f"sweep-{channel}",
        "sweep",
        duration_s,
        channel,
        COMMON_DBFS,
        gap_s=RING_S,
        frequencies_hz=(SWEEP_LOW_HZ, SWEEP_HIGH_HZ),
        amplitudes=(_amplitude(COMMON_DBFS),),
        fade_in_s=time_constant_s * math.log(SWEEP_FULL_HZ / SWEEP_LOW_HZ),
        fade_out_s=SWEEP_FADE_OUT_S,
    )


def _pair(row: _Row, name: str, frequencies_hz: tuple[float, float], shares: tuple[float, float]) -> None:
    peak = _amplitude(TOP_DBFS)
    row.add(
        name,
        "imd",
        2.0,
        "both",
        TOP_DBFS,
        frequencies_hz=frequencies_hz,
        amplitudes=(peak * shares[0], peak * shares[1]),
        fade_in_s=TONE_FADE_S,
        fade_out_s=TONE_FADE_S,
    )


def _sweeps(row: _Row, length: str) -> None:
    _sweep(row, "left", length)
    row.marker()
    _sweep(row, "right", length)
    row.marker()


def _full(row: _Row, length: str) -> None:
    _start(row)
    _quiet(row, length)
    _steps(row)
    row.marker()
    _sweeps(row, length)
    _tone(row, "full-scale", "tone", 3.0, "both", TOP_DBFS)
    _tone(row, "minus-60", "tone", 4.0, "both", LOW_TONE_DBFS)
    row.marker()
    _pair(row, "imd-smpte", (60.0, 7000.0), (0.8, 0.2))  # SMPTE RP120: amplitudes 4:1
    _pair(row, "imd-difference", (19000.0, 20000.0), (0.5, 0.5))  # IEC 60268-3: difference frequency, 1:1
    row.marker()


def _sweep_track(row: _Row, length: str) -> None:
    _start(row)
    _sweeps(row, length)


def _silence_track(row: _Row, length: str) -> None:
    _start(row)
    _quiet(row, length)
    row.marker()


_PARTS: dict[str, Callable[[_Row, str], None]] = {"full": _full, "sweep": _sweep_track, "silence": _silence_track}
