"""Through against direct, note by note: response, its span and corners, and the crosstalk that the device adds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from humcheck.analyzers.crosstalk import missing_rows, rows_of_gains
from humcheck.comparison.intervals import Estimate
from humcheck.comparison.response_delta import Delta, compare_levels
from humcheck.comparison.response_figures import corner_change, span_change
from humcheck.estimates.sweeps import Gain, ResponseEstimate, mean_gain
from humcheck.results import Curve, NotMeasured
from humcheck.results.rows import Bound, Channel, Key

Take = Sequence[ResponseEstimate]


def response_rows(
    through: Sequence[Take],
    direct: Sequence[Take],
    key: Key,
    *,
    cells: Sequence[Sequence[Take]] = (),
    level: Callable[[str], Estimate | None] = lambda channel: None,
) -> list[Any]:
    """Return what two sets of takes tell about the device between them.

    Parameters
    ----------
    through, direct : sequence of sequences of ResponseEstimate
        For each take, the estimates of its sweeps. Several takes a side are repeats.
    key : Key
        What the through takes belong to.
    cells : sequence of sequences of takes, optional
        The takes of every use of the bench, whose scatter is pooled; without them the two sides alone.
    level : callable, optional
        What is known from elsewhere of the difference of the sides' levels in a channel.

    Returns
    -------
    list of rows
        For each driven channel that both sides have: the curve `response_delta`, and the changes `response_span`,
        `low_corner` and `high_corner`. For each idle channel, unless direct takes are set against each other:
        `crosstalk`, `crosstalk_1k` and `crosstalk_worst` of role ``"added"``, from the complex difference.
        `NotMeasured` where the two sides have no channel in common.
    """
    rows: list[Any] = []
    for channel in _channels(through):
        ours, theirs = _of_channel(through, channel), _of_channel(direct, channel)
        if ours and theirs:
            among = [found for cell in cells if (found := _of_channel(cell, channel))] or [ours, theirs]
            rows += _delta_rows(ours, theirs, Key(**key.fields(channel=channel)), among, level(channel))
            if key.role != "direct":
                rows += _added_crosstalk(ours, theirs, key)
    if not rows:
        reason = "The sweeps through the device and direct have no channel in common."
        rows = [NotMeasured(**key.fields(quantity="response_delta", channel="both"), reason=reason)]
    return rows


def _channels(takes: Sequence[Take]) -> list[Channel]:
    return list(dict.fromkeys(response.driven for take in takes for response in take))


def _of_channel(takes: Sequence[Take], channel: Channel) -> list[ResponseEstimate]:
    """Return the first estimate of one channel from each take that has it."""
    found = (next((response for response in take if response.driven == channel), None) for take in takes)
    return [response for response in found if response is not None]


def _delta_rows(
    through: list[ResponseEstimate],
    direct: list[ResponseEstimate],
    key: Key,
    cells: list[list[ResponseEstimate]],
    level: Estimate | None,
) -> list[Any]:
    delta = compare_levels(through, direct, cells=cells, level=level)
    if not delta.shown.any():
        reason = "The direct sweep does not stand far enough above its noise."
        return [NotMeasured(**key.fields(quantity="response_delta"), reason=reason)]
    shape = compare_levels(through, direct, re_reference=True, cells=cells)
    reference = {"subject": "direct", "role": "direct", "n_takes": len(direct)}
    repeated = len(through) > 1 and len(direct) > 1
    return [
        delta_curve(delta, key),
        span_change(shape, key, reference, repeated=repeated),
        corner_change(shape, key, reference, "low_corner", repeated=repeated),
        corner_change(shape, key, reference, "high_corner", repeated=repeated),
    ]


def delta_curve(delta: Delta, key: Key) -> Curve:
    """Return `response_delta` inside the valid band; where the device passes nothing, its values are upper bounds."""
    low_db, high_db = delta.interval()
    hidden = delta.hidden[delta.shown]
    bound: list[Bound | None] = ["upper" if of_point else None for of_point in hidden.tolist()]
    frequency_hz = delta.frequency_hz[delta.shown]
    return Curve(
        **key.fields(quantity="response_delta"),
        unit="dB",
        frequency_hz=frequency_hz.tolist(),
        value=delta.value_db[delta.shown].tolist(),
        low=low_db[delta.shown].tolist(),
        high=high_db[delta.shown].tolist(),
        bound=bound if hidden.any() else None,
        valid_from_hz=float(frequency_hz[0]),
        valid_to_hz=float(frequency_hz[-1]),
    )


def _added_crosstalk(through: list[ResponseEstimate], direct: list[ResponseEstimate], key: Key) -> list[Any]:
    """Return the device's own crosstalk: through minus direct as complex numbers.

    Both are ratios within one take, so neither levels nor delays between the takes enter.
    """
    idle = through[0].idle
    if idle is None:
        return []
    key = Key(**key.fields(channel=idle, role="added"))
    ours, theirs = _mean_crosstalk(through), _mean_crosstalk(direct)
    if ours is None or theirs is None:
        return list(missing_rows(key, idle, "The direct takes have one channel; crosstalk needs both."))
    n_points = min(ours[0].value.size, theirs[0].value.size)
    valid = through[0].valid()[:n_points]
    for response in (*through[1:], *direct):
        valid = valid & response.valid()[:n_points]
    added = [_difference(one, other, n_points) for one, other in zip(ours, theirs, strict=True)]
    frequency_hz = through[0].frequency_hz[:n_points]
    return list(rows_of_gains(added[0], added[1], frequency_hz, valid, key, n_takes=len(through)))


def _mean_crosstalk(responses: list[ResponseEstimate]) -> tuple[Gain, Gain] | None:
    """Return the mean crosstalk over frequency and at 1 kHz, or None if any take has no idle channel."""
    curves = [response.crosstalk for response in responses if response.crosstalk is not None]
    points = [response.crosstalk_1k for response in responses if response.crosstalk_1k is not None]
    if len(curves) < len(responses) or len(points) < len(responses):
        return None
    n_points = min(gain.value.size for gain in curves)
    return mean_gain([_first(gain, n_points) for gain in curves]), mean_gain(points)


def _difference(minuend: Gain, subtrahend: Gain, n_points: int) -> Gain:
    ours, theirs = _first(minuend, n_points), _first(subtrahend, n_points)
    variance = ours.sd**2 + theirs.sd**2
    # Welch-Satterthwaite; GUM (JCGM 100:2008) G.4.1.
    freedom = variance**2 / (ours.sd**4 / ours.freedom + theirs.sd**4 / theirs.freedom)
    return Gain(
        value=ours.value - theirs.value,
        sd=variance**0.5,
        freedom=freedom,
        noise_sd=(ours.noise_sd**2 + theirs.noise_sd**2) ** 0.5,
    )


def _first(gain: Gain, n_points: int) -> Gain:
    return Gain(
        value=gain.value[:n_points],
        sd=gain.sd[:n_points],
        freedom=gain.freedom[:n_points],
        noise_sd=gain.noise_sd[:n_points],
    )
