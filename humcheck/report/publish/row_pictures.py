"""Pictures of noise by family, a row for each device, and of whether it is heard."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from humcheck.audio.hearing.listening import words_of
from humcheck.report.catalogue import Catalogue, worst
from humcheck.report.figures.level_rows import LevelRow, level_rows
from humcheck.report.publish.heard_pictures import heard_picture
from humcheck.report.publish.row_drawing import MOST_ROWS, Row, Words, draw_rows
from humcheck.report.publish.spoken import also, noise_title
from humcheck.report.text import visible

_ROOMY_ROWS = 7
_SHOWN = frozenset({"through", "single", "direct"})
_TENTHS = "Each 20 dB to the left is ten times weaker; 0 dB is as strong as the loudest sound of the track."


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
        made = heard_picture(catalogue, setting)
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
        words = Words(
            title=noise_title(catalogue, what, names),
            reading=" ".join(part for part in (scale + shown, others) if part),
            left="weaker",
            right="stronger",
            unit="dB",
        )
        return draw_rows(catalogue, rows, words)
    return None


def _rows(found: Sequence[LevelRow]) -> tuple[list[Row], bool]:
    """Return the worse channel of each use, or of each device where there are many; and whether uses are left out."""
    usable = [row for row in found if row.main is not None and not _SHOWN.isdisjoint(row.marks)]
    subjects = dict.fromkeys(row.subject for row in usable)
    by_use: dict[tuple[str, str], list[LevelRow]] = {}
    for row in usable:
        by_use.setdefault((row.subject, row.where), []).append(row)
    if len(subjects) == 1 < len(by_use) <= MOST_ROWS:
        # One device alone needs no name: its uses are what the rows are about.
        alone = [(_worst_row(rows), where or subject) for (subject, where), rows in by_use.items()]
        return [replace(row, name=name, where="") for row, name in alone], False
    is_part = len(by_use) > _ROOMY_ROWS and len(by_use) > len(subjects)
    if is_part:
        by_use = {(subject, ""): [row for row in usable if row.subject == subject] for subject in subjects}
    chosen = [_worst_row(rows) for rows in by_use.values()]
    if len(chosen) > MOST_ROWS:
        kept = sorted(chosen, key=lambda row: (row.reading.bound is not None, -row.reading.value))[:MOST_ROWS]
        chosen = [row for row in chosen if row in kept]
    return chosen, is_part or len(chosen) < len(by_use) or any(row.spread is not None for row in found)


def _worst_row(rows: Sequence[LevelRow]) -> Row:
    readings = [row.main for row in rows if row.main is not None]
    reading = worst(readings)
    assert reading is not None  # rows without one are left out before
    own = next(row for row in rows if row.main is reading)
    return Row(
        name=own.subject,
        where=own.where,
        channel=own.channel,
        reading=reading,
        direct=None if own.marks.get("direct") is reading else own.marks.get("direct"),
    )
