"""Split takes: one channel direct and the other through the device, recorded at once on one clock.

A take with the condition ``through_channel`` (``left``, ``right``, or ``none`` with both direct) was made so. It tells
the delay through the device without any clock in the way. Its hum and crosstalk are those of joined grounds, and are
dropped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.comparison.intervals import Estimate, difference, mean_of_repeats
from humcheck.comparison.material import MeasuredTake
from humcheck.estimates.sweeps import ResponseEstimate
from humcheck.results import Measure, NotMeasured

THROUGH_CHANNEL = "through_channel"
DELAY = "delay"
#: Where the delay is read: above what coupling capacitors turn, below where most recorders end.
BAND_HZ = (1000.0, 8000.0)
_PARTS = 6
#: What the alignment leaves between two sweeps that follow one another, in microseconds.
_ALIGNMENT_US = 0.02
_FEWEST_POINTS = 24


def is_split(take: MeasuredTake) -> bool:
    """Return whether one channel of a take went another way than the other."""
    return THROUGH_CHANNEL in take.row.condition


def emptied(take: MeasuredTake) -> MeasuredTake:
    """Return a split take without its rows: both grounds are joined in it, so its noise is nobody's."""
    return replace(
        take, measures=(), curves=(), traces=(), lines=(), not_measured=(), tones=None, responses=(), quiet=None,
        coded_rows=None,
    )  # fmt: skip


def delay_rows(takes: Sequence[MeasuredTake]) -> list[Measure | NotMeasured]:
    """Return `delay` of every use of a device of which there are split takes.

    Parameters
    ----------
    takes : sequence of MeasuredTake
        All takes of the bench; those with both channels direct give the recorder's own skew.

    Returns
    -------
    list of Measure or NotMeasured
        Mean group delay from 1 to 8 kHz in microseconds, through minus direct, channel ``both``.
    """
    split = [take for take in takes if is_split(take)]
    straight = [take for take in split if take.row.condition[THROUGH_CHANNEL] == "none"]
    skew = _mean([_left_minus_right(take) for take in straight])
    uses: dict[tuple[object, ...], list[MeasuredTake]] = {}
    for take in split:
        if take.role == "through" and take.row.condition[THROUGH_CHANNEL] in ("left", "right"):
            uses.setdefault(take.key.identity("condition"), []).append(take)
    return [_of_use(group, skew) for group in uses.values()]


def _of_use(takes: Sequence[MeasuredTake], skew: Estimate | None) -> Measure | NotMeasured:
    key = takes[0].key
    others = {name: value for name, value in key.condition.items() if name != THROUGH_CHANNEL}
    fields = key.fields(quantity=DELAY, channel="both", condition=others)
    if skew is None:
        reason = (
            "There is no take with both channels direct (through_channel = none): the recorder's own skew is unknown."
        )
        return NotMeasured(**fields, reason=reason)
    delays = [_through_minus_direct(take, skew) for take in takes]
    delay = _mean(delays)
    if delay is None:
        return NotMeasured(**fields, reason="The split takes hold no sweep in both channels that could be read.")
    total = difference(delay, Estimate(value=0.0, standard_uncertainty=skew.standard_uncertainty))
    low, high = total.interval()
    ids = [take.row.id for take in takes]
    return Measure(
        **fields, value=total.value, unit="us", low=low, high=high, interval="between" if len(ids) > 1 else "within",
        n_takes=len(ids), takes=ids, detail={"skew_us": skew.value},
    )  # fmt: skip


def _through_minus_direct(take: MeasuredTake, skew: Estimate) -> Estimate | None:
    apart = _left_minus_right(take)
    if apart is None:
        return None
    sign = 1.0 if take.row.condition[THROUGH_CHANNEL] == "left" else -1.0
    return replace(apart, value=sign * (apart.value - skew.value))


def _mean(estimates: Sequence[Estimate | None]) -> Estimate | None:
    known = [one for one in estimates if one is not None]
    if not known:
        return None
    return mean_of_repeats([one.value for one in known], [one.standard_uncertainty for one in known])


def _left_minus_right(take: MeasuredTake) -> Estimate | None:
    """Return by how much the left channel arrives later than the right one, in microseconds."""
    by_channel = {response.driven: response for response in take.responses}
    left, right = by_channel.get("left"), by_channel.get("right")
    if left is None or right is None:
        return None
    size = min(left.frequency_hz.size, right.frequency_hz.size)
    frequency_hz = left.frequency_hz[:size]
    inside = (frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])
    inside &= left.valid()[:size] & right.valid()[:size]
    if inside.sum() < _FEWEST_POINTS:
        return None
    phase = np.unwrap(np.angle(left.gain.value[:size] / right.gain.value[:size])[inside])
    slope = _jackknifed_slope(frequency_hz[inside], phase, 1.0 / _phase_variance(left, right, size)[inside])
    to_us = -1e6 / (2 * np.pi)
    # The responses are read about their own peaks; their phases still count from the alignment of the take.
    return Estimate(
        value=slope.value * to_us,
        standard_uncertainty=float(np.hypot(slope.standard_uncertainty * abs(to_us), _ALIGNMENT_US)),
    )


def _phase_variance(left: ResponseEstimate, right: ResponseEstimate, size: int) -> Floats:
    shares = [(one.gain.sd[:size] / np.abs(one.gain.value[:size])) ** 2 / 2 for one in (left, right)]
    return np.asarray(np.maximum(shares[0] + shares[1], 1e-16))


def _jackknifed_slope(frequency_hz: Floats, phase: Floats, weight: Floats) -> Estimate:
    """Return the slope of the phase, its uncertainty from leaving out one part of the band after another.

    Points beside each other share noise, and a filter's phase is no straight line: both show in that scatter.
    """
    part = np.digitize(np.log(frequency_hz), np.log(np.geomspace(*BAND_HZ, _PARTS + 1))[1:-1])
    without = [_slope(frequency_hz[part != one], phase[part != one], weight[part != one]) for one in range(_PARTS)]
    variance = (_PARTS - 1) / _PARTS * float(((np.array(without) - np.mean(without)) ** 2).sum())
    return Estimate(value=_slope(frequency_hz, phase, weight), standard_uncertainty=variance**0.5)


def _slope(frequency_hz: Floats, phase: Floats, weight: Floats) -> float:
    centred = frequency_hz - np.average(frequency_hz, weights=weight)
    return float((weight * centred * phase).sum() / (weight * centred**2).sum())
