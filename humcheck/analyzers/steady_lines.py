"""Steady lines of digital links, and those of no known family."""

from __future__ import annotations

from collections.abc import Sequence

from humcheck.analyzers.line_rows import level_rows, single_lines
from humcheck.estimates.lines import LineEstimate
from humcheck.results import Key, Line, Measure
from humcheck.results.rows import Channel


def steady_line_rows(lines: LineEstimate, key: Key, channels: Sequence[Channel]) -> list[Measure | Line]:
    """Return `digital_level`, `other_lines_level` and the lines; parameters as for `hum_rows`."""
    rows: list[Measure | Line] = []
    rows += level_rows(lines, "digital", "digital_level", key, channels)
    rows += level_rows(lines, "other", "other_lines_level", key, channels)
    rows += single_lines(lines, "digital", "digital_level", key, channels)
    rows += single_lines(lines, "other", "other_lines_level", key, channels)
    return rows
