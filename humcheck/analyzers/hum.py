"""Hum: level, frequency and wander of the mains family; and of what may be mains or picture."""

from __future__ import annotations

from collections.abc import Sequence

from humcheck.analyzers.line_rows import frequency_rows, level_rows, single_lines
from humcheck.estimates.lines import LineEstimate
from humcheck.results import Key, Line, Measure, quantity
from humcheck.results.rows import Channel


def hum_rows(lines: LineEstimate, key: Key, channels: Sequence[Channel]) -> list[Measure | Line]:
    """Return `hum_level`, `hum_level_a`, `hum_frequency`, `hum_wander`, `hum_and_buzz_level`, and the lines.

    Parameters
    ----------
    lines : LineEstimate
        Of one quiet section.
    key : Key
        What the take belongs to.
    channels : sequence of str
        Names of the channels.
    """
    rows: list[Measure | Line] = [*level_rows(lines, "mains", "hum_level", key, channels)]
    rows += level_rows(lines, "mains_or_field", "hum_and_buzz_level", key, channels)
    for family in lines.of_kind("mains"):
        rows += frequency_rows(family, "hum_frequency", key, channels)
        if family.wander_hz is not None:
            rows += [
                Measure(
                    **key.fields(quantity="hum_wander", channel=channel),
                    value=1000 * family.wander_hz,
                    unit=quantity("hum_wander").unit,
                )
                for channel in channels
            ]
    rows += single_lines(lines, "mains", "hum_level", key, channels)
    rows += single_lines(lines, "mains_or_field", "hum_and_buzz_level", key, channels)
    return rows
