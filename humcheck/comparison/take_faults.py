"""Faults that only show when takes are set beside each other: a level that was changed, a wrong track, a hidden floor.

Each is told in the row of the take that it is about; what it spoils is taken out of that take's own rows.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import msgspec

from humcheck.analyzers.clicks import EVENT
from humcheck.comparison.driven_ports import is_driven_elsewhere
from humcheck.comparison.material import MeasuredTake
from humcheck.results import Fault, Measure, NotMeasured
from humcheck.takes.faults import no_sound_fault
from humcheck.tracks.layouts import layout_of

#: Plugs moved and put back change a level by hundredths of a decibel, a knob or a second load by more (common practice,
#: no source; a load of 600 ohm on an output of 50 ohm takes 0.7 dB).
_LEVEL_CHANGED_DB = 0.5
#: Levels weaker than this are bleed, not what was connected.
_CONNECTED_DBFS = -45.0
#: Noise this near to the recorder's own is the recorder's; the level could be turned up where its loudest tone leaves
#: this much room.
_OWN_NOISE_DB = 3.0
_ROOM_DBFS = -12.0
_WANTED_DBFS = -4.0
#: A recorder's own hum this near to that of the direct recording decides what can be seen in it.
_OWN_HUM_DB = 6.0
#: Faults that say already why no track was recognised.
_ABOUT_TRACKS = ("unread-markers", "newer-track", "no-sound")
_NEEDS_TRACK = ("gain", "balance", "tone_level", "response_delta", "crosstalk", "thd", "thd_n", "picture_coupling")
_NEEDED_KINDS = {"sweep": "tone and crosstalk", "quiet": "hum and hiss", "steps": "distortion"}


def with_shared_faults(takes: Sequence[MeasuredTake]) -> list[MeasuredTake]:
    """Return the takes with the faults added that only show beside the other takes.

    Parameters
    ----------
    takes : sequence of MeasuredTake
        All takes of a comparison, in the order in which they were made.

    Returns
    -------
    list of MeasuredTake
        In the same order. Codes ``level-changed``, ``wrong-track``, ``no-sound``, ``low-level``, ``recorder-hum``.
    """
    found: dict[str, list[Fault]] = {}
    for of_kind in (_level_changes, _wrong_tracks, _no_tracks, _hidden_by_the_recorder, _recorder_hum):
        for take_id, fault in of_kind(takes):
            found.setdefault(take_id, []).append(fault)
    return [_with(take, found[take.row.id]) if take.row.id in found else take for take in takes]


def _with(take: MeasuredTake, faults: list[Fault]) -> MeasuredTake:
    spoiled = {name: fault.sentence for fault in reversed(faults) for name in fault.spoils}
    lost = [row for row in take.measures if row.quantity in spoiled]
    return replace(
        take,
        row=msgspec.structs.replace(take.row, faults=[*take.row.faults, *faults]),
        measures=tuple(row for row in take.measures if row.quantity not in spoiled),
        not_measured=(
            *take.not_measured,
            *(NotMeasured(**row.fields(), reason=spoiled[row.quantity]) for row in lost),
        ),
    )


def _level_changes(takes: Sequence[MeasuredTake]) -> Iterator[tuple[str, Fault]]:
    """Yield the takes of one key whose level stands apart from that of the others."""
    groups: dict[Any, list[tuple[MeasuredTake, float]]] = {}
    for take in takes:
        level_dbfs = _level(take, "tone_level")
        sound = level_dbfs is not None and level_dbfs > _CONNECTED_DBFS and take.role in ("direct", "through")
        if sound and not is_driven_elsewhere(take):
            assert level_dbfs is not None
            groups.setdefault(take.key.identity(), []).append((take, level_dbfs))
    for group in groups.values():
        yield from _apart(group)


def _apart(group: list[tuple[MeasuredTake, float]]) -> Iterator[tuple[str, Fault]]:
    """Yield who of one key stands apart; of two takes nobody knows which is the right one."""
    if len(group) < 2:
        return
    usual_dbfs = statistics.median(level for _, level in group) if len(group) > 2 else group[0][1]
    away = [(take, level_dbfs - usual_dbfs) for take, level_dbfs in group]
    odd = [(take, by_db) for take, by_db in away if abs(by_db) > _LEVEL_CHANGED_DB]
    # With half of them apart there is no usual level any more.
    clear = len(group) > 2 and 2 * len(odd) < len(group)
    for take, by_db in odd:
        others = "the others of its kind" if len(group) > 2 else group[0][0].row.file
        yield (
            take.row.id,
            Fault(
                code="level-changed",
                sentence=f"The level tone arrives {abs(by_db):.1f} dB {'louder' if by_db > 0 else 'softer'} than in "
                f"{others}: a level control was moved, a plug does not make good contact, or another load (a second "
                "output in use) was there. Bring all back to where it was and record this take again.",
                spoils=["gain", "tone_level"] if clear else [],
            ),
        )


def _wrong_tracks(takes: Sequence[MeasuredTake]) -> Iterator[tuple[str, Fault]]:
    """Yield the through takes whose track holds what no direct take holds."""
    directs = [take for take in takes if take.role == "direct" and take.row.track is not None]
    if not directs:
        return
    known = {kind for take in directs for kind in _kinds(take)}
    tracks = sorted({take.row.track.name for take in directs if take.row.track is not None})
    for take in takes:
        missing = [word for kind, word in _NEEDED_KINDS.items() if kind in _kinds(take) - known]
        if take.role != "through" or take.row.track is None or not missing:
            continue
        yield (
            take.row.id,
            Fault(
                code="wrong-track",
                sentence=f"This take holds the track {take.row.track.name}, the direct recordings only "
                f"{_joined(tracks)}: for {_joined(missing)} there is nothing to set it against. Record the track "
                f"{take.row.track.name} directly, too.",
            ),
        )


def _no_tracks(takes: Sequence[MeasuredTake]) -> Iterator[tuple[str, Fault]]:
    """Yield the through takes in which no track is recognised although all direct takes hold one."""
    directs = [take.row.track for take in takes if take.role == "direct"]
    tracks = sorted({track.name for track in directs if track is not None})
    if not tracks or None in directs:
        return
    for take in takes:
        # What was put in place of a plug, a driven neighbour and a hand at the leads give takes without a track.
        meant = is_driven_elsewhere(take) or EVENT in take.row.condition
        told = any(fault.code in _ABOUT_TRACKS for fault in take.row.faults)
        if take.role != "through" or take.row.track is not None or meant or told:
            continue
        if not _is_silent(take):
            yield take.row.id, _no_track(_joined(tracks))
        elif take.row.fix is None:
            yield (
                take.row.id,
                no_sound_fault(
                    f"this take holds nothing but steady noise, the direct recordings the track {_joined(tracks)}."
                ),
            )


def _no_track(tracks: str) -> Fault:
    return Fault(
        code="wrong-track",
        sentence="No test track is recognised in this take, while the direct recordings hold the track "
        f"{tracks}: only hum and noise of its quiet moments can be set against them. See whether it is the right file, "
        "whether the track was played to its end and the recording ran all the while, and whether its loudest tone "
        "peaks between -12 and -3 dBFS; then record it again.",
        spoils=list(_NEEDS_TRACK),
    )


def _is_silent(take: MeasuredTake) -> bool:
    """Return whether nothing stands out of a take's noise: then it has a quiet stretch, and no peak is told."""
    return take.quiet is not None and all(row.quantity != "peak_level" for row in take.measures)


def _kinds(take: MeasuredTake) -> set[str]:
    track = take.row.track
    if track is None:
        return set()
    return {str(section.kind) for section in layout_of(track).sections} & set(_NEEDED_KINDS)


def _hidden_by_the_recorder(takes: Sequence[MeasuredTake]) -> Iterator[tuple[str, Fault]]:
    """Yield the direct takes whose noise is the recorder's own although they could be louder."""
    own_dbfs = _of_recorder(takes, "noise_level")
    if own_dbfs is None:
        return
    for take in takes:
        noise_dbfs, tone_dbfs = _level(take, "noise_level"), _level(take, "tone_level")
        if take.role != "direct" or noise_dbfs is None or tone_dbfs is None or tone_dbfs > _ROOM_DBFS:
            continue
        if noise_dbfs - own_dbfs < _OWN_NOISE_DB:
            yield (
                take.row.id,
                Fault(
                    code="low-level",
                    sentence=f"The noise of this take is the recorder's own ({own_dbfs:.0f} dBFS) and its loudest tone "
                    f"reaches only {tone_dbfs:.0f} dBFS: soft hum and hiss drown in the recorder. Turn the source up, "
                    f"or the recording level, by about {_WANTED_DBFS - tone_dbfs:.0f} dB, and record everything again.",
                ),
            )


def _recorder_hum(takes: Sequence[MeasuredTake]) -> Iterator[tuple[str, Fault]]:
    """Yield the recorder's takes whose hum is as strong as that of the direct recordings."""
    direct_dbfs = [
        level for take in takes if take.role == "direct" and (level := _level(take, "hum_level")) is not None
    ]
    if not direct_dbfs:
        return
    for take in takes:
        own_dbfs = _level(take, "hum_level") if take.role == "recorder" else None
        if own_dbfs is not None and own_dbfs > statistics.median(direct_dbfs) - _OWN_HUM_DB:
            yield (
                take.row.id,
                Fault(
                    code="recorder-hum",
                    sentence=f"The recorder hums by itself, at {own_dbfs:.0f} dBFS, nearly as much as the direct "
                    "recording does: run it from its battery or another supply, away from transformers, with a short "
                    "lead, and record everything again. Never take off a protective earth to do so.",
                ),
            )


def _of_recorder(takes: Sequence[MeasuredTake], quantity: str) -> float | None:
    levels = [_level(take, quantity) for take in takes if take.role == "recorder"]
    return min((level for level in levels if level is not None), default=None)


def _level(take: MeasuredTake, quantity: str) -> float | None:
    """Return the loudest channel of a level that was measured; bounds do not count."""
    rows: list[Measure] = [row for row in take.measures if row.quantity == quantity and row.bound is None]
    return max((row.value for row in rows), default=None)


def _joined(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
