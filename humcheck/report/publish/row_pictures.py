"""Pictures with a row for each device: noise by family, bleed at 1 kHz, and whether it is heard."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from humcheck.audio.hearing.listening import words_of
from humcheck.report.catalogue import Catalogue, Numbered, Setup, worst
from humcheck.report.figures.frame import Box, Scale, nice_range, tick_text, ticks
from humcheck.report.figures.level_rows import LevelRow, level_rows
from humcheck.report.publish.canvas import (
    CHANNELS,
    DIRECT,
    GRID,
    INK,
    SOFT,
    Canvas,
    shortened,
    shortened_name,
    width_of,
    wrapped,
)
from humcheck.report.publish.frame import EDGE, Explained, footer, heading, legend
from humcheck.report.publish.spoken import also, noise_title, verdict
from humcheck.report.text import PAGE, visible
from humcheck.report.use_words import joined
from humcheck.results import Measure

_MOST_ROWS, _ROOMY_ROWS = 12, 7
_LEGEND = {"single": "in the recording", "direct": "direct, without a device"}
_SHOWN = frozenset({"through", "single", "direct"})
_TENTHS = "Each 20 dB to the left is ten times weaker; 0 dB is as strong as the loudest sound of the track."


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One row: label, second label, the reading, and the control's."""

    name: str
    where: str
    channel: str
    reading: Numbered
    direct: Numbered | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Words:
    """What is said around the rows."""

    title: str
    reading: str
    left: str
    right: str
    unit: str
    zero: str = ""


def row_pictures(catalogue: Catalogue) -> Iterator[tuple[str, str, bytes]]:
    """Yield key, words and PNG of each picture for which there is data."""
    for key, what, names in (
        ("hum", "Hum", ("hum_level", "hum_and_buzz_level")),
        ("buzz", "Buzz", ("buzz_level",)),
        ("whistle", "Whistle", ("whistle_level",)),
        ("hiss", "Hiss", ("hiss_level",)),
    ):
        made = _noise(catalogue, what, names)
        if made is not None:
            yield f"noise-{key}", f"{what.lower()} of all devices, direct beside", made
    settings = dict.fromkeys(row.listening for row in catalogue.results.measures if row.listening is not None)
    for setting in settings:
        made = _heard(catalogue, setting)
        if made is not None:
            yield f"audibility-{setting}", f"whether noise is heard {visible(words_of(setting))} (a prediction)", made


def _noise(catalogue: Catalogue, what: str, names: Sequence[str]) -> bytes | None:
    for name in (f"{base}{ending}" for base in names for ending in ("_rel", "")):
        rows, is_part = _rows(level_rows(catalogue, name)[0])
        # Where nobody has any of it, and nobody asks, a picture of bounds is not worth its place.
        if not rows or (name.startswith("whistle") and all(row.reading.bound is not None for row in rows)):
            continue
        others = also(catalogue, names)
        relative = name.endswith("_rel")
        scale = (
            _TENTHS if relative else "Each 20 dB to the left is ten times weaker; 0 dB is all the recorder can hold."
        )
        shown = " Shown is each device's worst use." if is_part else ""
        words = _Words(
            title=noise_title(catalogue, what, names),
            reading=" ".join(part for part in (scale + shown, others) if part),
            left="weaker",
            right="stronger",
            unit="dB",
        )
        return _draw(catalogue, rows, words)
    return None


def _rows(found: Sequence[LevelRow]) -> tuple[list[_Row], bool]:
    """Return the worse channel of each use, or of each device where there are many; and whether uses are left out."""
    usable = [row for row in found if row.main is not None and not _SHOWN.isdisjoint(row.marks)]
    subjects = dict.fromkeys(row.subject for row in usable)
    by_use: dict[tuple[str, str], list[LevelRow]] = {}
    for row in usable:
        by_use.setdefault((row.subject, row.where), []).append(row)
    if len(subjects) == 1 < len(by_use) <= _MOST_ROWS:
        # One device alone needs no name: its uses are what the rows are about.
        alone = [(_worst_row(rows), where or subject) for (subject, where), rows in by_use.items()]
        return [replace(row, name=name, where="") for row, name in alone], False
    is_part = len(by_use) > _ROOMY_ROWS and len(by_use) > len(subjects)
    if is_part:
        by_use = {(subject, ""): [row for row in usable if row.subject == subject] for subject in subjects}
    chosen = [_worst_row(rows) for rows in by_use.values()]
    if len(chosen) > _MOST_ROWS:
        kept = sorted(chosen, key=lambda row: (row.reading.bound is not None, -row.reading.value))[:_MOST_ROWS]
        chosen = [row for row in chosen if row in kept]
    return chosen, is_part or len(chosen) < len(by_use) or any(row.spread is not None for row in found)


def _worst_row(rows: Sequence[LevelRow]) -> _Row:
    readings = [row.main for row in rows if row.main is not None]
    reading = worst(readings)
    assert reading is not None  # rows without one are left out before
    own = next(row for row in rows if row.main is reading)
    return _Row(
        name=own.subject,
        where=own.where,
        channel=own.channel,
        reading=reading,
        direct=None if own.marks.get("direct") is reading else own.marks.get("direct"),
    )


def _heard(catalogue: Catalogue, setting: str) -> bytes | None:
    """Return the picture of one way of listening: what each device adds, over what can just be heard."""
    rows = []
    for role, subjects in (("added", catalogue.devices), ("single", catalogue.singles)):
        for subject in subjects:
            margins = catalogue.measures("audible_margin", role, subject)
            margins = margins or catalogue.measures("audible_margin", "through", subject)
            both = [row for row in margins if row.listening == setting and row.channel in ("both", "mono")]
            reading = worst(both) or worst([row for row in margins if row.listening == setting])
            if isinstance(reading, Measure):
                rows.append(_heard_row(catalogue, reading))
    if not rows:
        return None
    place = visible(words_of(setting))
    kept = sorted(rows, key=lambda row: -row.reading.value)[:_MOST_ROWS]
    words = _Words(
        title=_heard_title(rows, place),
        reading="A prediction, for a quiet passage: nobody knows how loud you listen, so each bar says where it lies. "
        "Shown is what each device adds, in its worst use.",
        left="not heard",
        right="heard",
        unit="dB above what can just be heard",
        zero="just heard",
    )
    return _draw(catalogue, [row for row in rows if row in kept], words)


def _heard_row(catalogue: Catalogue, reading: Measure) -> _Row:
    """Return a row with the noise that is heard most as its second label."""
    parts: dict[str, float] = {}
    for family in ("hum", "buzz", "hum_and_buzz", "whistle", "digital", "other", "hiss"):
        for row in catalogue.measures(f"audible_margin_{family}", reading.role, reading.subject):
            if Setup.of(row) == Setup.of(reading) and row.channel == reading.channel:
                parts[family.replace("_", " ")] = row.value
    mostly = f"mostly {max(parts, key=lambda name: parts[name])}" if parts and verdict(reading) != "not" else ""
    where = ", ".join(part for part in Setup.of(reading).parts[:-1] if part not in catalogue.common)
    return _Row(
        name=catalogue.title(reading.subject),
        where=", ".join(part for part in (mostly, where) if part),
        channel=reading.channel,
        reading=reading,
        direct=None,
    )


def _heard_title(rows: Sequence[_Row], place: str) -> str:
    by_verdict: dict[str, list[str]] = {}
    for row in rows:
        assert isinstance(row.reading, Measure)
        by_verdict.setdefault(verdict(row.reading), []).append(row.name)
    opening = f"{place[:1].upper()}{place[1:]}"
    if "heard" not in by_verdict and "perhaps" not in by_verdict:
        return f"{opening}: no added noise would be heard"
    told: list[str] = []
    for kind, words in (("heard", "would be heard"), ("perhaps", "perhaps")):
        names = by_verdict.get(kind, [])
        if names:
            whose = joined(names) if len(names) <= 3 else f"{len(names)} of {len(rows)} devices"
            told.append(f"{words} from {whose}" if told else f"noise from {whose} {words}")
    if "heard" not in by_verdict:
        whose = told[0].removesuffix(" perhaps")
        return f"{opening}: {whose} would perhaps be heard"
    return f"{opening}: {', '.join(told)}"


def _draw(catalogue: Catalogue, rows: Sequence[_Row], words: _Words) -> bytes:
    canvas = Canvas()
    top = heading(canvas, words.title, words.reading)
    box = Box(640, top + (44 if words.zero else 16), 920, 838 - top - (44 if words.zero else 16))
    low, high, step = _ends(rows, zero=bool(words.zero))
    scale = Scale(low, high, box.x, box.right)
    _axis(canvas, box, scale, step, words)
    height = min(150.0, box.height / len(rows))
    first = box.y + (box.height - height * len(rows)) / 2
    for index, row in enumerate(rows):
        _row(canvas, row, first + (index + 0.5) * height, height, box, scale)
    legend(canvas, _legend(rows, words), 978)
    footer(canvas, catalogue)
    return canvas.png()


def _ends(rows: Sequence[_Row], *, zero: bool) -> tuple[float, float, float]:
    values = [0.0] if zero else []
    for row in rows:
        values.append(row.reading.value)
        values += [end for end in (row.reading.low, row.reading.high) if end is not None]
        values += [] if row.direct is None else [row.direct.value]
    # An arrow needs room to its left.
    return nice_range(min(values) - 8, max(values) + 5, least_span=40, most_ticks=6)


def _axis(canvas: Canvas, box: Box, scale: Scale, step: float, words: _Words) -> None:
    for value in ticks(scale.low, scale.high, step):
        x = scale(value)
        canvas.line([x, x], [box.y, box.bottom], GRID, 2)
        canvas.text(x, box.bottom + 40, tick_text(value, step), 29, color=SOFT, align="center")
    canvas.text(box.right + 60, box.bottom + 40, "dB", 29, color=SOFT)
    if words.zero:
        x = scale(0.0)
        canvas.line([x, x], [box.y - 8, box.bottom], INK, 4)
        canvas.text(x, box.y - 22, words.zero, 30, bold=True, align="center")
        for side, text in ((-1, f"{words.left} ←"), (1, f"→ {words.right}")):
            at = x + side * (width_of(words.zero, 30, bold=True) / 2 + 30)
            canvas.text(at, box.y - 22, text, 30, color=SOFT, align="right" if side < 0 else "left")


def _row(canvas: Canvas, row: _Row, y: float, height: float, box: Box, scale: Scale) -> None:
    roomy = height >= 82
    size = min(44.0, 0.62 * height) if not roomy else min(44.0, 0.46 * height)
    room = box.x - EDGE - 36
    second = ", ".join(part for part in (row.where, row.channel if row.channel in ("left", "right") else "") if part)
    if roomy and second:
        lines = wrapped(second, 28, room, 2 if height > 100 else 1)
        lift = 14 if len(lines) > 1 else 0
        canvas.text(EDGE, y - 2 - lift, shortened_name(row.name, size, room), size, bold=True)
        for number, line in enumerate(lines):
            canvas.text(EDGE, y + 32 - lift + 34 * number, line, 28, color=SOFT)
    else:
        name = shortened_name(row.name, size, room)
        canvas.text(EDGE, y + 0.36 * size, name, size, bold=True)
        left = room - width_of(name, size, bold=True) - 16
        if left > 80:
            canvas.text(EDGE + room - left, y + 0.36 * size, shortened(second, 26, left), 26, color=SOFT)
    canvas.line([box.x, box.right], [y, y], GRID, 2)
    color = CHANNELS.get(row.channel, INK)
    if row.direct is not None and row.direct.bound is None and row.reading.bound is None:
        canvas.line([scale(row.direct.value), scale(row.reading.value)], [y, y], color, 5)
    half = min(17.0, 0.3 * height)
    if row.direct is not None:
        _place(canvas, row.direct, y, scale, DIRECT, half * 1.25, filled=False)
    _place(canvas, row.reading, y, scale, color, half, filled=True)
    _numbers(canvas, row, y, size, roomy, box)


def _numbers(canvas: Canvas, row: _Row, y: float, size: float, roomy: bool, box: Box) -> None:
    x = box.right + 34
    value = _number(row.reading)
    beside = "" if row.direct is None else f"direct {_number(row.direct)}"
    if roomy and beside:
        canvas.text(x, y - 2, value, size, bold=True)
        canvas.text(x, y + 32, shortened(beside, 28, canvas.width - x - 20), 28, color=SOFT)
    else:
        canvas.text(x, y + 0.36 * size, value, size, bold=True)


def _number(reading: Numbered) -> str:
    sign = {"upper": "<\u00a0", "lower": ">\u00a0"}.get(reading.bound or "", "")
    return f"{sign}{PAGE.number(reading.value, 0)}\u00a0dB"


def _place(canvas: Canvas, reading: Numbered, y: float, scale: Scale, color: str, half: float, *, filled: bool) -> None:
    x = scale(reading.value)
    if reading.bound is not None:
        canvas.arrow(x, y, half * 0.9, color, left=reading.bound == "upper")
        return
    if filled and reading.low is not None and reading.high is not None:
        start, end = scale(reading.low), scale(reading.high)
        canvas.rectangle(start, y - 0.55 * half, max(2.0, end - start), 1.1 * half, color)
    canvas.marks([x], [y], "circle", half, color, filled=filled)


def _legend(rows: Sequence[_Row], words: _Words) -> list[Explained]:
    channels = dict.fromkeys(row.channel for row in rows)
    items = []
    if any(row.direct is not None for row in rows):
        items.append(Explained("circle", DIRECT, "direct, without the device", filled=False))
    role = getattr(rows[0].reading, "role", "through")
    what = "what it adds" if role == "added" else _LEGEND.get(role, "through the device")
    for channel in channels:
        told = f"{what}, {channel}" if channel in ("left", "right") and len(channels) > 1 else what
        items.append(Explained("circle", CHANNELS.get(channel, INK), told))
    bounds = [row.reading for row in rows] + [row.direct for row in rows if row.direct is not None]
    if any(reading.bound == "upper" for reading in bounds):
        items.append(Explained("arrow", SOFT, "at most this: not found"))
    return items
