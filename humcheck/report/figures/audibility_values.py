"""What is heard as numbers: for the script that reads values, and for the table below the figure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.report.figures.audibility_panels import HeardPanel
from humcheck.report.figures.figure import ValueTable, distinct_names
from humcheck.report.order import FAMILY_WORDS
from humcheck.report.text import PAGE

_TABLED_TONES = 24


def heard_data(panels: Sequence[HeardPanel], boxes: dict[str, list[list[float]]]) -> dict[str, Any]:
    """Return the curves of every panel for the script; what is not known has no point."""
    series = []
    names = distinct_names([panel.name_parts for panel in panels])
    for panel, name in zip(panels, names, strict=True):
        curves = {
            "hiss": panel.hiss,
            "hiss, direct": panel.direct_hiss,
            "room": panel.room,
            "threshold of hearing": panel.threshold,
            "least that a tone needs to be heard": panel.limit,
        }
        series += [
            _series(f"{name}: {words}", panel.frequency_hz, level)
            for words, level in curves.items()
            if level is not None
        ]
    return {"kind": "curves", "unit": "dB SPL", "decimals": 0, "boxes": boxes, "series": series}


def _series(name: str, frequency_hz: Floats, level_db_spl: Floats) -> dict[str, Any]:
    known = np.isfinite(level_db_spl)
    return {
        "name": name,
        "x": [float(f"{hz:.4g}") for hz in frequency_hz[known]],
        "y": [round(float(level), 1) for level in level_db_spl[known]],
    }


def heard_values(panels: Sequence[HeardPanel]) -> ValueTable | None:
    """Return the tones that are heard best, or come nearest to it, as numbers."""
    rows = []
    names = distinct_names([panel.name_parts for panel in panels])
    for panel, name in zip(panels, names, strict=True):
        best = sorted(panel.through, key=lambda tone: -tone.above_db)
        for tone in best[: max(3, _TABLED_TONES // len(panels))]:
            rows.append(
                (
                    name,
                    FAMILY_WORDS[tone.family],
                    PAGE.with_unit(PAGE.number(tone.frequency_hz, 1), "Hz"),
                    PAGE.with_unit(PAGE.number(tone.level_db_spl, 0), "dB SPL"),
                    PAGE.with_unit(PAGE.number(tone.above_db, 0), "dB"),
                )
            )
    if not rows:
        return None
    headings = ("Where", "Family", "Frequency", "At the ear", "Above what can just be heard")
    return ValueTable(headings=headings, rows=tuple(rows), caption="The tones that are heard best as numbers")
