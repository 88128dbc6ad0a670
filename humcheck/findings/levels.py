"""A-weighted levels of what has no A-weighted row of its own."""

from __future__ import annotations

import math

from humcheck.audio.weighting import a_weighting_db
from humcheck.findings.index import Use
from humcheck.results import Measure

_FAMILY = {
    "hum_and_buzz_level": "mains_or_field",
    "whistle_level": "line_rate",
    "digital_level": "digital",
    "other_lines_level": "other",
}


def weighted_dbr(use: Use, quantity: str, row: Measure) -> float:
    """Return the A-weighted level of a noise on the scale of `row`; from its lines where there is no such row.

    Parameters
    ----------
    use : Use
        What the row belongs to.
    quantity : str
        Level of the noise, without suffix.
    row : Measure
        Its level as judged; what is returned is on the same scale (dBr or dBFS).
    """
    name = f"{quantity}_a_rel" if row.quantity.endswith("_rel") else f"{quantity}_a"
    weighted = use.measures(name, row.role).get(row.channel)
    if weighted is not None:
        return weighted.value
    return row.value + _weighting_db(use, quantity, row.channel)


def _weighting_db(use: Use, quantity: str, channel: str) -> float:
    """Return by how much A-weighting changes the level of the lines found; 0 where there are none."""
    lines = [line for line in use.lines([_FAMILY.get(quantity, "")]) if line.channel == channel and line.bound is None]
    if not lines:
        return 0.0
    plain = [10 ** (line.level_dbfs / 10) for line in lines]
    gains = [10 ** (float(a_weighting_db(line.frequency_hz)) / 10) for line in lines]
    return 10 * math.log10(math.fsum(p * g for p, g in zip(plain, gains, strict=True)) / math.fsum(plain))
