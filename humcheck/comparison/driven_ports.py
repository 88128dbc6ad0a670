"""Bleed of ports: the track is played into one port while another is selected, and sought in what comes out.

A take with the condition ``driven_port`` was made so. It is no take of the selected port's own sound: what of it
belongs to a signal is dropped, and only its noise counts as any other's.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from humcheck.comparison.intervals import NORMAL_95, Estimate, mean_of_repeats
from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.occasions import Occasion
from humcheck.comparison.repeats import aggregate_repeats, estimate_of
from humcheck.results import QUANTITIES, Measure, NotMeasured

DRIVEN_PORT = "driven_port"
BLEED = "bleed_1k"
TONE = "tone_level"


def is_driven_elsewhere(take: MeasuredTake) -> bool:
    """Return whether another port than the selected one was played into."""
    return take.role == "through" and DRIVEN_PORT in take.row.condition


def noise_alone(take: MeasuredTake) -> MeasuredTake:
    """Return a take without what belongs to the signal: of a foreign sound it would be no property of this port."""
    return replace(
        take,
        measures=tuple(row for row in take.measures if f"{row.quantity}_rel" in QUANTITIES),
        curves=tuple(row for row in take.curves if row.quantity in ("noise_spectrum", "hiss_spectrum")),
        traces=(),
        not_measured=(),
        tones=None,
        responses=(),
    )


def bleed_rows(takes: Sequence[MeasuredTake], occasions: Mapping[str, Occasion]) -> list[Measure | NotMeasured]:
    """Return `bleed_1k` of each take in which another port is driven, repeats averaged.

    Parameters
    ----------
    takes : sequence of MeasuredTake
        All takes of the bench.
    occasions : mapping of str to Occasion
        By the takes' ids.

    Returns
    -------
    list of Measure or NotMeasured
        For each channel the level of the 997 Hz level tone re the same in the direct takes, or an upper bound.
    """
    direct = [row for take in takes if take.role == "direct" for row in take.measures if row.quantity == TONE]
    received = {
        channel: mean_of_repeats(
            [row.value for row in direct if row.channel == channel],
            [estimate_of(row).standard_uncertainty for row in direct if row.channel == channel],
        )
        for channel in {row.channel for row in direct}
    }
    rows: list[Measure] = []
    missing: list[NotMeasured] = []
    for take in filter(is_driven_elsewhere, takes):
        own = [row for row in take.measures if row.quantity == TONE and row.channel in received]
        rows += [_re_direct(row, received[row.channel]) for row in own]
        if not own:
            reason = "The tone that bleed is counted from is missing in the direct takes or in this one."
            missing.append(NotMeasured(**take.key.fields(quantity=BLEED), reason=reason))
    return [*aggregate_repeats(rows, occasions), *missing]


def _re_direct(row: Measure, received: Estimate) -> Measure:
    fields = row.fields(quantity=BLEED)
    value = row.value - received.value
    if row.bound is not None:
        return Measure(**fields, value=value, unit="dB", bound=row.bound, takes=row.takes)
    half = NORMAL_95 * math.hypot(estimate_of(row).standard_uncertainty, received.standard_uncertainty)
    return Measure(
        **fields, value=value, unit="dB", low=value - half, high=value + half, interval="within", takes=row.takes
    )
