"""Margins over what can be heard, as rows of results."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from humcheck.audio.hearing.ear import Ear, ear_for
from humcheck.audio.hearing.listening import ListeningSetting
from humcheck.findings.audibility.families import FAMILIES, WHOLE, margin_quantity
from humcheck.findings.audibility.interval import Margin, Sound, margin_of, together
from humcheck.findings.audibility.levels import Levels
from humcheck.findings.audibility.parts import Part, part_of, total
from humcheck.results import Measure, NotMeasured, Results, quantity
from humcheck.results.rows import Channel

_ROLES = ("direct", "through", "added", "single")
_SEPARATE: tuple[Channel, ...] = ("left", "right", "mono")
_Parts = dict[tuple[str, Channel], tuple[Measure, Part]]

NO_FULL_SCALE = (
    "Whether it would be heard depends on how loud full scale is played, and nothing here tells what full scale is: "
    "neither the track's 997 Hz tone nor any sound louder than the noise itself."
)
NO_HISS = "The spectrum of the hiss, which hides faint tones, is not known here."


def audibility_rows(results: Results, settings: Sequence[ListeningSetting]) -> list[Measure | NotMeasured]:
    """Return the margin of every family, and of the whole, over what can be heard.

    Parameters
    ----------
    results : Results
        With measures, curves and lines; nothing else is looked at.
    settings : sequence of ListeningSetting
        Ways of listening.

    Returns
    -------
    list of Measure or NotMeasured
        For each use, channel, family and setting a margin in dB with the setting's name in ``listening``; where the
        track's full scale is not known, the reason.

    Notes
    -----
    A prediction from stated assumptions. `low` and `high` combine the measurement's 95 % interval with that of the
    sound pressure that full scale stands for; of a family that is hidden the margin is an upper bound.
    """
    levels = Levels(results)
    rows: list[Measure | NotMeasured] = []
    for use in _uses(results):
        reason = _why_not(levels, use)
        if reason:
            rows.append(NotMeasured(**use[0].fields(quantity=margin_quantity(WHOLE), channel="both"), reason=reason))
            continue
        for setting in settings:
            rows += _rows_of_use(levels, use, setting)
    return rows


def _uses(results: Results) -> list[list[Measure]]:
    """Return the level rows of all families, those of one use together."""
    names = {family.level for family in FAMILIES}
    uses: dict[tuple[Any, ...], list[Measure]] = {}
    for row in results.measures:
        if row.role in _ROLES and row.quantity in names and row.channel in _SEPARATE:
            uses.setdefault(row.identity("quantity", "channel"), []).append(row)
    return list(uses.values())


def _why_not(levels: Levels, use: Sequence[Measure]) -> str:
    if any(levels.shift_db(row) is None for row in use):
        return NO_FULL_SCALE
    heard_in = use[0] if use[0].role != "added" else levels.measure(use[0], role="through") or use[0]
    return NO_HISS if levels.bands(heard_in, "hiss_spectrum") is None else ""


def _rows_of_use(levels: Levels, use: Sequence[Measure], setting: ListeningSetting) -> Iterator[Measure]:
    parts = _parts(ear_for(setting.field), levels, use)
    hiss = _hiss_beside(ear_for(setting.field), levels, use)
    for name in (*(family.name for family in FAMILIES), WHOLE):
        rows, sounds = _sounds(name, parts, hiss)
        margins = {channel: margin_of(setting, sound) for channel, sound in sounds.items()}
        if len(margins) == 2:
            margins["both"] = (
                max(margins.values(), key=lambda margin: margin.rank)
                if setting.kind == "headphones"
                else margin_of(setting, together(list(sounds.values())))
            )
        for channel, margin in margins.items():
            row = rows.get(channel, next(iter(rows.values())))
            yield _measure(row, name, channel, setting, margin, _basis(levels, row, setting))


def _parts(ear: Ear, levels: Levels, use: Sequence[Measure]) -> _Parts:
    """Return each family's part by channel, with the level row that it rests on."""
    level_rows = {(row.quantity, row.channel): row for row in use}
    parts: _Parts = {}
    for family in FAMILIES:
        for channel in _SEPARATE:
            row = level_rows.get((family.level, channel))
            part = None if row is None else part_of(ear, levels, family, row)
            if row is not None and part is not None:
                parts[family.name, channel] = row, part
    return parts


def _sounds(name: str, parts: _Parts, hiss: dict[Channel, Part]) -> tuple[dict[Channel, Measure], dict[Channel, Sound]]:
    """Return by channel what is to be heard of a family, or of the whole, and the level row that it rests on."""
    rows: dict[Channel, Measure] = {}
    sounds: dict[Channel, Sound] = {}
    for channel in _SEPARATE:
        place = ("hiss" if name == WHOLE else name, channel)
        if place not in parts:
            continue
        rows[channel], part = parts[place]
        if name == WHOLE:
            places = [(family.name, channel) for family in FAMILIES if family.tonal]
            # What was sought and not found is in the hiss already.
            seen = [parts[place][1] for place in places if place in parts and parts[place][1].seen]
            sounds[channel] = Sound(tones=total(seen) if seen else None, noise=part)
        elif name == "hiss":
            sounds[channel] = Sound(noise=part)
        else:
            sounds[channel] = Sound(tones=part, around=hiss.get(channel))
    return rows, sounds


def _hiss_beside(ear: Ear, levels: Levels, use: Sequence[Measure]) -> dict[Channel, Part]:
    """Return the hiss in which the tones of this use are heard: for what a device adds, that of the through take."""
    family = next(family for family in FAMILIES if family.name == "hiss")
    role = "through" if use[0].role == "added" else use[0].role
    found: dict[Channel, Part] = {}
    for channel in {row.channel for row in use}:
        row = levels.measure(use[0], role=role, quantity=family.level, channel=channel)
        part = None if row is None else part_of(ear, levels, family, row)
        if part is not None:
            found[channel] = part
    return found


def _basis(levels: Levels, row: Measure, setting: ListeningSetting) -> dict[str, float]:
    """Return what full scale is taken to be: the level at which it is recorded, and its sound pressure level."""
    recorded = {"full_scale_dbfs": -(levels.shift_db(row) or 0.0), "full_scale_db_spl": setting.full_scale_db_spl}
    return recorded | ({"re_peak": 1.0} if levels.rests_on_peak(row) else {})


def _measure(
    row: Measure,
    name: str,
    channel: Channel,
    setting: ListeningSetting,
    margin: Margin,
    basis: dict[str, float],
) -> Measure:
    key = row.fields(quantity=margin_quantity(name), channel=channel, listening=setting.name)
    is_value = margin.low is not None
    return Measure(
        **key,
        value=margin.value,
        unit=quantity(key["quantity"]).unit,
        low=margin.low,
        high=margin.high,
        bound=None if is_value else "upper",
        interval=(row.interval or "within") if is_value else None,
        n_takes=row.n_takes,
        takes=row.takes,
        detail={"frequency_hz": margin.frequency_hz} | basis,
    )
