"""Whistle: lines at the picture's line rate, where the recording reaches that high."""

from __future__ import annotations

from collections.abc import Sequence

from humcheck.analyzers.line_rows import frequency_rows, level_rows, single_lines
from humcheck.estimates.lines import LineEstimate
from humcheck.results import Key, Line, Measure, NotMeasured
from humcheck.results.rows import Channel

HIGHEST_LINE_RATE_HZ = 15_800.0


def whistle_rows(lines: LineEstimate, key: Key, channels: Sequence[Channel]) -> list[Measure | Line | NotMeasured]:
    """Return `whistle_level`, `whistle_frequency` and the lines; parameters as for `hum_rows`."""
    if lines.highest_hz < HIGHEST_LINE_RATE_HZ:
        reason = f"The recording ends at {lines.highest_hz / 1000:.1f} kHz, below the line rates of pictures."
        return [NotMeasured(**key.fields(quantity="whistle_level", channel="both"), reason=reason)]
    rows: list[Measure | Line | NotMeasured] = [*level_rows(lines, "line_rate", "whistle_level", key, channels)]
    for family in lines.of_kind("line_rate")[:1]:
        rows += frequency_rows(family, "whistle_frequency", key, channels)
    rows += single_lines(lines, "line_rate", "whistle_level", key, channels)
    return rows
