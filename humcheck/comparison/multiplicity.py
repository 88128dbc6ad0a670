"""Many questions at once: probabilities that hold for a whole family of changes.

A bench of eight ports under four conditions asks hundreds of questions, and one in twenty comes out "different" by
chance. Holm's procedure keeps the chance of a single false "different" in a family at 5 % or below, whatever the
changes have in common [1]_.

A family is what one reads as one question: all changes of one contrast, of one role, about one subject of `FAMILIES`
(hum, buzz, hiss, tone, ...), over all uses and channels. Different questions are not corrected for each other. Changes
of single takes, which are never told apart, do not count among those that may be.

References
----------
.. [1] S. Holm, A simple sequentially rejective multiple test procedure, Scand. J. Stat. 6, 1979.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.results import Change

#: The question that a quantity belongs to.
FAMILIES = {
    "hum_level": "hum",
    "hum_level_a": "hum",
    "hum_and_buzz_level": "hum",
    "buzz_level": "buzz",
    "buzz_level_a": "buzz",
    "whistle_level": "buzz",
    "picture_coupling": "buzz",
    "hiss_level": "hiss",
    "hiss_level_a": "hiss",
    "noise_level": "noise",
    "noise_level_a": "noise",
    "noise_level_468": "noise",
    "noise_level_ccir_rms": "noise",
    "digital_level": "tones",
    "other_lines_level": "tones",
    "crosstalk_1k": "crosstalk",
    "crosstalk_worst": "crosstalk",
    "thd": "distortion",
    "thd_n": "distortion",
    "imd_smpte": "distortion",
    "imd_difference": "distortion",
    "response_span": "tone",
    "low_corner": "tone",
    "high_corner": "tone",
    "dynamic_range": "dynamic range",
    "dynamic_range_a": "dynamic range",
}


def family_of(change: Change) -> tuple[str, str, str, str]:
    """Return the family of a change: contrast, role, kind of figure, question."""
    name = str(change.reference.get("quantity", change.quantity))
    kind = "spread" if change.quantity == "port_spread" else "difference"
    return change.contrast, change.role, kind, question_of(name)


def question_of(name: str) -> str:
    """Return the question that a quantity belongs to."""
    return FAMILIES.get(name, name)


def adjusted_in_families(
    changes: Sequence[Change], p_values: Floats, may_differ: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
) -> Floats:
    """Return Holm's probabilities; what is never told apart takes no part in the family of what may be."""
    families: dict[tuple[str, ...], list[int]] = {}
    for index, change in enumerate(changes):
        families.setdefault(family_of(change), []).append(index)
    adjusted = np.empty(p_values.shape)
    for members in families.values():
        adjusted[members] = holm(p_values[members])
        claims = [index for index in members if may_differ[index]]
        adjusted[claims] = holm(p_values[claims])
    return adjusted


def holm(p_values: Sequence[float] | Floats) -> Floats:
    """Return Holm's adjusted probabilities, in the order given."""
    p = np.asarray(p_values, dtype=np.float64)
    order = np.argsort(p, kind="stable")
    raised = np.minimum(np.maximum.accumulate(p[order] * np.arange(p.size, 0, -1)), 1.0)
    adjusted = np.empty_like(raised)
    adjusted[order] = raised
    return adjusted
