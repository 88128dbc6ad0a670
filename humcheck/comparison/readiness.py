"""What a bench can resolve, from the scatter of its direct takes, before any device is tried."""

from __future__ import annotations

import math
from collections.abc import Iterable

from humcheck.comparison.changes import SIGNIFICANCE
from humcheck.comparison.equivalence import POWER
from humcheck.comparison.intervals import student_t_quantile
from humcheck.comparison.repeats import estimate_of, repeatability_of
from humcheck.results import Measure, quantity

#: Takes on each side that the figure counts on: what a patient user makes of a port.
TAKES_A_SIDE = 3
#: Of these a bench says what it can resolve.
RESOLVED = ("gain", "hum_level", "buzz_level", "hiss_level")


def resolvable_differences(directs: Iterable[Measure]) -> list[Measure]:
    """Return ``resolvable_...`` of each direct row whose scatter is known.

    Parameters
    ----------
    directs : iterable of Measure
        Direct takes, repeats averaged.

    Returns
    -------
    list of Measure
        In dB: the smallest true difference that a comparison with three replugged takes a side would tell apart at 5 %,
        four times in five. It holds for one comparison by itself, and counts the scatter of the whole day. `detail` has
        the number of takes and the standard deviation of a single take.
    """
    rows = []
    for row in directs:
        known = row.quantity in RESOLVED and row.bound is None and repeatability_of(row) in ("own", "borrowed")
        if not known:
            continue
        estimate = estimate_of(row)
        sd_db = estimate.standard_uncertainty * math.sqrt(row.detail["pluggings"])
        entry = quantity(f"resolvable_{row.quantity}")
        rows.append(
            Measure(
                **row.fields(quantity=entry.name),
                value=smallest_difference(sd_db, estimate.degrees_of_freedom, TAKES_A_SIDE),
                unit=entry.unit,
                n_takes=row.n_takes,
                takes=row.takes,
                detail={"takes_a_side": float(TAKES_A_SIDE), "take_sd": sd_db},
            )
        )
    return rows


def smallest_difference(sd: float, freedom: float, takes_a_side: int) -> float:
    """Return the difference that is told apart at 5 %, two-sided, with a power of 80 %; by the noncentral t.

    Parameters
    ----------
    sd : float
        Standard deviation of a single take.
    freedom : float
        Degrees of freedom of that.
    takes_a_side : int
        Takes on each side.
    """
    from scipy.special import nctdtrinc

    limit = student_t_quantile(1 - SIGNIFICANCE / 2, freedom)
    return float(nctdtrinc(freedom, 1 - POWER, limit)) * sd * math.sqrt(2 / takes_a_side)
