"""Margins over what can be heard, as rows of results."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from humcheck.findings.audibility.ear import Ear, ear_for, excess
from humcheck.findings.audibility.families import FAMILIES, WHOLE, margin_quantity
from humcheck.findings.audibility.levels import Levels
from humcheck.findings.audibility.listening import ListeningSetting
from humcheck.findings.audibility.parts import Part, part_of, total
from humcheck.results import Measure, NotMeasured, Results, quantity
from humcheck.results.rows import Channel

_ROLES = ("direct", "through", "added", "single")
_SEPARATE: tuple[Channel, ...] = ("left", "right", "mono")
#: One-sided over two-sided 95 % quantile of the normal distribution.
_ONE_SIDED = 1.6448536269514722 / 1.959963984540054
#: Equal tones in both loudspeakers may arrive in step: 3 dB above the sum of their powers.
_IN_STEP = 2.0

NO_FULL_SCALE = (
    "Whether it would be heard depends on how loud full scale is played, and there is no 997 Hz tone here from which "
    "the track's full scale is known."
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
    ear = ear_for(setting.field)
    parts = _parts(ear, levels, use)
    hiss = _hiss_beside(ear, levels, use)
    for name, tonal in (*((family.name, family.tonal) for family in FAMILIES), (WHOLE, False)):
        of_family = {channel: parts[name, channel] for channel in _SEPARATE if (name, channel) in parts}
        made = []
        for channel, (row, part) in of_family.items():
            masker = hiss.get(channel) if tonal else None
            made.append(_row(row, name, channel, setting, part, masker, tonal=tonal))
        yield from made
        if len(made) == 2:
            yield _both(of_family, hiss, made, name, setting, tonal=tonal)


def _parts(ear: Ear, levels: Levels, use: Sequence[Measure]) -> dict[tuple[str, Channel], tuple[Measure, Part]]:
    """Return each family's part, and the whole, by channel, with the level row that it rests on."""
    level_rows = {(row.quantity, row.channel): row for row in use}
    parts: dict[tuple[str, Channel], tuple[Measure, Part]] = {}
    for family in FAMILIES:
        for channel in _SEPARATE:
            row = level_rows.get((family.level, channel))
            part = None if row is None else part_of(ear, levels, family, row)
            if row is not None and part is not None:
                parts[family.name, channel] = row, part
    for channel in _SEPARATE:
        of_channel = [place for place in parts.items() if place[0][1] == channel]
        if ("hiss", channel) in parts:
            parts[WHOLE, channel] = parts["hiss", channel][0], total([part for _, (_, part) in of_channel])
    return parts


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


def _both(
    of_family: dict[Channel, tuple[Measure, Part]],
    hiss: dict[Channel, Part],
    made: Sequence[Measure],
    name: str,
    setting: ListeningSetting,
    *,
    tonal: bool,
) -> Measure:
    """Return the margin of both channels: on headphones that of the worse ear; loudspeakers add up."""
    row = next(iter(of_family.values()))[0]
    if setting.kind == "headphones":
        worse = max(made, key=lambda margin: (margin.bound is None, margin.value))
        return Measure(
            **worse.fields(channel="both"),
            value=worse.value,
            unit=worse.unit,
            low=worse.low,
            high=worse.high,
            bound=worse.bound,
            interval=worse.interval,
            n_takes=worse.n_takes,
            takes=worse.takes,
            detail=worse.detail,
        )
    parts = [part for _, part in of_family.values()]
    together = total(parts) if any(part.seen for part in parts) else _sum_of_hidden(parts)
    if tonal:
        together = Part(
            value=together.value,
            low=together.low,
            high=together.high * _IN_STEP,
            hidden=together.hidden,
            seen=together.seen,
        )
    masker = total([hiss[channel] for channel in of_family if channel in hiss]) if tonal and hiss else None
    return _row(row, name, "both", setting, together, masker, tonal=tonal)


def _sum_of_hidden(parts: Sequence[Part]) -> Part:
    first, second = parts
    return Part(
        value=first.value, low=first.low, high=first.high + second.high, hidden=True, seen=first.seen or second.seen
    )


def _row(
    row: Measure,
    name: str,
    channel: Channel,
    setting: ListeningSetting,
    part: Part,
    masker: Part | None,
    *,
    tonal: bool,
) -> Measure:
    def margin(sound: str, hiss: str, louder_db: float = 0.0) -> tuple[float, float]:
        hidden_by = 0.0 * part.value if masker is None else getattr(masker, hiss)
        return excess(setting, getattr(part, sound), hidden_by, tonal=tonal, louder_db=louder_db)

    shared = row.fields(quantity=margin_quantity(name), channel=channel, listening=setting.name)
    unit = quantity(shared["quantity"]).unit
    spread = setting.uncertainty_db
    if part.hidden:
        nominal, at_hz = margin("high", "low")
        value, _ = margin("high", "low", spread * _ONE_SIDED)
        return Measure(
            **shared,
            value=value,
            unit=unit,
            bound="upper",
            n_takes=row.n_takes,
            takes=row.takes,
            detail={"nominal_db": nominal, "frequency_hz": at_hz},
        )
    value, at_hz = margin("value", "value")
    below = math.hypot(value - margin("low", "high")[0], value - margin("value", "value", -spread)[0])
    above = math.hypot(margin("high", "low")[0] - value, margin("value", "value", spread)[0] - value)
    return Measure(
        **shared,
        value=value,
        unit=unit,
        low=value - below,
        high=value + above,
        interval=row.interval,
        n_takes=row.n_takes,
        takes=row.takes,
        detail={"frequency_hz": at_hz},
    )
