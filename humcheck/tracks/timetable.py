"""The timetable: what plays when in a track file, as JSON for people and other programs.

humcheck itself does not need it: it reads a track's name, length and layout number from the markers.
"""

from __future__ import annotations

import json
from typing import Any

from humcheck.audio.writing import MARK
from humcheck.tracks import markers
from humcheck.tracks.rendering import n_track_samples
from humcheck.tracks.sections import Layout, Section
from humcheck.tracks.waveforms import sweep_time_constant_s

FORMAT = "humcheck-timetable"
FORMAT_VERSION = 1

_CONVENTIONS = {
    "times": "seconds from the first sample of the file; the same at every sampling rate",
    "levels": "dBFS as in AES17: a sine that just reaches full scale reads 0 dBFS",
    "silence": "dithered (triangular, two steps peak to peak) between and during sections, except in 'zero'",
    "sweep": "a sin(2 pi f1 L exp(t/L)), f1 the first of frequencies_hz, L = time_constant_s, t from the start",
    "edges": "all sound fades in and out softly; what lies above 0.49 of the sampling rate is faded out",
}


def timetable(layout: Layout, file_name: str, rate_hz: int, bits: int) -> dict[str, Any]:
    """Return the timetable of a track file as plain values, ready for JSON.

    Parameters
    ----------
    layout : Layout
        Which track.
    file_name : str
        Name of the audio file that it belongs to, without folders.
    rate_hz, bits : int
        Sampling rate and word length of that file.
    """
    identity = layout.identity
    table: dict[str, Any] = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "origin": MARK,
        "file": file_name,
        "track": {"name": identity.name, "length": identity.length, "layout": identity.layout},
        "rate_hz": rate_hz,
        "bits": bits,
        "channels": 2,
        "n_samples": n_track_samples(layout, rate_hz),
        "duration_s": layout.duration_s,
        "conventions": _CONVENTIONS,
        "marker": _marker_parts(),
        "sections": [_entry(section, rate_hz) for section in layout.sections],
    }
    if layout.pictures:
        table["pictures"] = [
            {"name": shown.name, "start_s": shown.start_s, "end_s": shown.end_s} for shown in layout.pictures
        ]
    return table


def timetable_text(layout: Layout, file_name: str, rate_hz: int, bits: int) -> str:
    """Return the timetable as JSON text; parameters as for `timetable`."""
    return json.dumps(timetable(layout, file_name, rate_hz, bits), indent=2, allow_nan=False) + "\n"


def _entry(section: Section, rate_hz: int) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "name": section.name,
        "kind": section.kind,
        "start_s": section.start_s,
        "end_s": section.end_s,
        "start_sample": round(section.start_s * rate_hz),
        "channels": section.channels,
    }
    if section.level_dbfs is not None:
        entry["level_dbfs"] = section.level_dbfs
    if section.frequencies_hz:
        entry["frequencies_hz"] = list(section.frequencies_hz)
    if section.kind == "imd":
        entry["amplitudes"] = list(section.amplitudes)
    if section.kind == "sweep":
        entry["time_constant_s"] = sweep_time_constant_s(section)
    if section.step_levels_dbfs:
        entry["step_levels_dbfs"] = list(section.step_levels_dbfs)
        entry["step_s"] = section.step_s
    if section.fade_in_s:
        entry |= {"fade_in_s": section.fade_in_s, "fade_out_s": section.fade_out_s}
    if section.kind == "marker":
        entry |= {"index": section.marker_index, "code": "".join(map(str, section.marker_bits))}
    return entry


def _marker_parts() -> dict[str, Any]:
    """Where the parts of every marker lie, in seconds from its start."""
    return {
        "left_slot_s": markers.SLOT_OFFSET_S["left"],
        "right_slot_s": markers.SLOT_OFFSET_S["right"],
        "chirp_s": markers.CHIRP_S,
        "chirp_hz": {
            "left": [markers.CHIRP_LOW_HZ, markers.CHIRP_HIGH_HZ],
            "right": [markers.CHIRP_HIGH_HZ, markers.CHIRP_LOW_HZ],
        },
        "code_offset_s": markers.CODE_OFFSET_S,
        "bit_s": markers.BIT_S,
        "bit_hz": {
            "left": [markers.BIT_LOW_HZ, markers.BIT_HIGH_HZ],
            "right": [markers.BIT_HIGH_HZ, markers.BIT_LOW_HZ],
        },
        "code": "name 2, length 2, layout 4, index 5, check 5 bits; 1 = the polarity of the slot's long chirp",
    }
