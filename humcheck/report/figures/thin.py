"""Fewer points for the same look."""

from __future__ import annotations

import math
from collections.abc import Sequence

from humcheck.report.figures.frame import HIGHEST_HZ, LOWEST_HZ

MOST_POINTS = 300


def audible(frequency_hz: Sequence[float]) -> list[int]:
    """Return the indices of the points from 20 Hz to 20 kHz, which is what figures show."""
    edge = 1 + 1e-6
    return [index for index, hz in enumerate(frequency_hz) if LOWEST_HZ / edge <= hz <= HIGHEST_HZ * edge]


def thinned(frequency_hz: Sequence[float], value: Sequence[float], most: int = MOST_POINTS) -> list[int]:
    """Return at most `most` indices of the audible points, by logarithmic bins of frequency.

    Each bin keeps its smallest and its largest value, so that no peak or notch is lost; the ends are kept.
    """
    kept = audible(frequency_hz)
    if len(kept) <= most:
        return kept
    bins: dict[int, list[int]] = {}
    bins_per_log = (most - 4) / 2 / math.log(HIGHEST_HZ / LOWEST_HZ)
    for index in kept:
        bins.setdefault(int(bins_per_log * math.log(max(1.0, frequency_hz[index] / LOWEST_HZ))), []).append(index)
    chosen = {kept[0], kept[-1]}
    for members in bins.values():
        chosen.add(min(members, key=lambda index: value[index]))
        chosen.add(max(members, key=lambda index: value[index]))
    return sorted(chosen, key=lambda index: frequency_hz[index])


def highest_per_place(places: Sequence[float], value: Sequence[float], spacing: float) -> list[int]:
    """Return the indices that are the highest within each stretch of `spacing` user units."""
    best: dict[int, int] = {}
    for index, place in enumerate(places):
        stretch = int(place / spacing)
        if stretch not in best or value[index] > value[best[stretch]]:
            best[stretch] = index
    return sorted(best.values())
