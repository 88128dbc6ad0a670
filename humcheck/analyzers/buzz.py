"""Buzz: level and frequency of the family at the picture's field rate."""

from __future__ import annotations

from collections.abc import Sequence

from humcheck.analyzers.line_rows import frequency_rows, level_rows, single_lines
from humcheck.estimates.lines import LineEstimate
from humcheck.results import Key, Line, Measure
from humcheck.results.rows import Channel


def buzz_rows(lines: LineEstimate, key: Key, channels: Sequence[Channel]) -> list[Measure | Line]:
    """Return `buzz_level`, `buzz_level_a`, `buzz_frequency`, and the lines; parameters as for `hum_rows`.

    Of two pictures the frequency is that of the stronger one.
    """
    rows: list[Measure | Line] = [*level_rows(lines, "field", "buzz_level", key, channels)]
    fields = sorted(lines.of_kind("field"), key=lambda family: -float(family.power.sum()))
    if fields:
        rows += frequency_rows(fields[0], "buzz_frequency", key, channels)
    rows += single_lines(lines, "field", "buzz_level", key, channels)
    return rows
