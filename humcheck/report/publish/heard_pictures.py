"""Pictures of what is heard, one for each way of listening: what each device adds, over what can just be heard."""

from __future__ import annotations

from collections.abc import Sequence

from humcheck.audio.hearing.listening import words_of
from humcheck.report.catalogue import Catalogue, Setup, worst
from humcheck.report.publish.row_drawing import MOST_ROWS, Row, Words, draw_rows
from humcheck.report.publish.spoken import verdict
from humcheck.report.text import visible
from humcheck.report.use_words import joined
from humcheck.results import Measure


def heard_picture(catalogue: Catalogue, setting: str) -> bytes | None:
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
    kept = sorted(rows, key=lambda row: -row.reading.value)[:MOST_ROWS]
    words = Words(
        title=_heard_title(rows, place),
        reading="A prediction, for a quiet passage: nobody knows how loud you listen, so each bar says where it lies. "
        "Shown is what each device adds, in its worst use.",
        left="not heard",
        right="heard",
        unit="dB above what can just be heard",
        zero="just heard",
    )
    return draw_rows(catalogue, [row for row in rows if row in kept], words)


def _heard_row(catalogue: Catalogue, reading: Measure) -> Row:
    """Return a row with the noise that is heard most as its second label."""
    parts: dict[str, float] = {}
    for family in ("hum", "buzz", "hum_and_buzz", "whistle", "digital", "other", "hiss"):
        for row in catalogue.measures(f"audible_margin_{family}", reading.role, reading.subject):
            if Setup.of(row) == Setup.of(reading) and row.channel == reading.channel:
                parts[family.replace("_", " ")] = row.value
    mostly = f"mostly {max(parts, key=lambda name: parts[name])}" if parts and verdict(reading) != "not" else ""
    where = ", ".join(part for part in Setup.of(reading).parts[:-1] if part not in catalogue.common)
    return Row(
        name=catalogue.title(reading.subject),
        where=", ".join(part for part in (mostly, where) if part),
        channel=reading.channel,
        reading=reading,
        direct=None,
    )


def _heard_title(rows: Sequence[Row], place: str) -> str:
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
