"""Single figures of a response: how far it departs from level, and where it falls by 3 dB."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Literal

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.comparison.response_delta import Delta, student_t
from humcheck.estimates.sweeps import REFERENCE_HZ
from humcheck.results import Change, NotMeasured
from humcheck.results.rows import Contrast, Key

#: A corner is where half the power is left.
CORNER_DB = float(10.0 * np.log10(0.5))
#: The span is taken where the response can be heard.
AUDIBLE_HZ = (20.0, 20000.0)
NOISE_DRAWS = 400
_TINY = 1e-12
_STEPS = 120

Rows = Change | NotMeasured


def span_change(shape: Delta, key: Key, reference: Mapping[str, Any], *, repeated: bool) -> Rows:
    """Return `response_span`: largest minus smallest response, with what noise alone would give taken off.

    Parameters
    ----------
    shape : Delta
        Response re 997 Hz.
    key : Key
        With the driven channel.
    reference : mapping
        What it is compared with.
    repeated : bool
        Whether both sides have more than one take.

    Notes
    -----
    Noise and structure add about as their squares in a range, so the mean range of noise alone is taken off as a
    square. Where noise alone would reach the range one time in twenty, the figure is an upper bound.
    """
    used = shape.shown & ~shape.hidden & (shape.frequency_hz >= AUDIBLE_HZ[0]) & (shape.frequency_hz <= AUDIBLE_HZ[1])
    if np.count_nonzero(used) < 2:
        return _missing(key, "response_span")
    value_db, sd_db, frequency_hz = shape.value_db[used], shape.sd_db[used], shape.frequency_hz[used]
    top, bottom = int(np.argmax(value_db)), int(np.argmin(value_db))
    raw_db = float(value_db[top] - value_db[bottom])
    noise_db = _noise_ranges(sd_db)
    ends_db = float(np.hypot(sd_db[top], sd_db[bottom]))
    freedom = np.minimum(shape.freedom[used][top], shape.freedom[used][bottom])
    described = dict(reference) | {
        "from_hz": float(frequency_hz[0]),
        "to_hz": float(frequency_hz[-1]),
        "largest_at_hz": float(frequency_hz[top]),
        "smallest_at_hz": float(frequency_hz[bottom]),
        "noise_alone_db": float(np.mean(noise_db)),
    }
    return range_change(
        key.fields(quantity="response_span"),
        "direct",
        raw_db,
        noise_db,
        (ends_db, freedom),
        described,
        lambda: _p_of_range(raw_db, sd_db, shape.freedom[used]),
        repeated=repeated,
    )


def range_change(
    fields: Mapping[str, Any],
    contrast: Contrast,
    raw_db: float,
    noise_db: Floats,
    ends: tuple[float, Floats],
    reference: Mapping[str, Any],
    p_value: Callable[[], float],
    *,
    repeated: bool,
) -> Change:
    """Return the row of a largest difference among many values, noise taken off, or its bound where noise hides it.

    Parameters
    ----------
    fields : mapping
        Key and quantity.
    contrast : str
        What is compared.
    raw_db : float
        The range as measured.
    noise_db : numpy.ndarray, shape (n_draws,)
        Ranges that noise alone would give.
    ends : tuple of float and numpy.ndarray
        Standard uncertainty of the difference of both ends in dB, and its degrees of freedom.
    reference : mapping
        What it is compared with.
    p_value : callable
        Gives the probability of such a range without a difference.
    repeated : bool
        Whether takes were repeated.
    """
    ends_db, freedom = ends
    value_db = float(np.sqrt(max(raw_db**2 - float(np.mean(noise_db)) ** 2, 0.0)))
    told: dict[str, Any] = {**fields, "contrast": contrast, "unit": "dB", "reference": dict(reference)}
    if raw_db <= float(np.quantile(noise_db, 0.95)):
        return Change(**told, value=value_db + float(student_t(0.95, freedom)) * ends_db, bound="upper")
    half_db = float(student_t(0.975, freedom)) * ends_db
    return Change(
        **told,
        value=value_db,
        low=max(value_db - half_db, 0.0),
        high=value_db + half_db,
        p_value=p_value(),
        distinguishable=True if repeated else None,
    )


def corner_change(
    shape: Delta,
    key: Key,
    reference: Mapping[str, Any],
    quantity: Literal["low_corner", "high_corner"],
    *,
    repeated: bool,
) -> Rows:
    """Return where the response has fallen by 3.01 dB re 997 Hz, or a bound where it has not within the valid band.

    Parameters
    ----------
    shape : Delta
        Response re 997 Hz.
    key : Key
        With the driven channel.
    reference : mapping
        What it is compared with.
    quantity : str
        ``"low_corner"`` or ``"high_corner"``.
    repeated : bool
        Whether both sides have more than one take.
    """
    low = quantity == "low_corner"
    used = shape.shown & (shape.frequency_hz < REFERENCE_HZ if low else shape.frequency_hz > REFERENCE_HZ)
    index = np.flatnonzero(used)[:: -1 if low else 1]
    if index.size == 0:
        return _missing(key, quantity)
    fields = key.fields(quantity=quantity)
    below = np.flatnonzero(shape.value_db[index] < CORNER_DB)
    if below.size == 0:
        return Change(
            **fields,
            contrast="direct",
            value=_certain_end_hz(shape, index),
            unit="Hz",
            bound="upper" if low else "lower",
            reference=dict(reference),
        )
    first = int(below[0])
    corner_hz, sd_hz = _crossing(shape, index, first)
    half_hz = float(student_t(0.975, shape.freedom[index[first]])) * sd_hz
    return Change(
        **fields,
        contrast="direct",
        value=corner_hz,
        unit="Hz",
        low=max(corner_hz - half_hz, 0.0),
        high=corner_hz + half_hz,
        reference=dict(reference),
        p_value=_p_of_fall(shape, index),
        distinguishable=True if repeated else None,
    )


def _p_of_range(range_db: float, sd_db: Floats, freedom: Floats) -> float:
    """Return at most how probable such a range is where the response is level.

    A range of r needs a point that is off by r / 2; the probabilities of all points add (Boole's inequality), whatever
    the points have in common.
    """
    return at_most(2.0, range_db / 2 / np.maximum(sd_db, _TINY), freedom)


def _p_of_fall(shape: Delta, index: np.ndarray[Any, np.dtype[np.intp]]) -> float:
    """Return at most how probable it is that noise alone takes any point of these below the corner's level."""
    return at_most(1.0, -CORNER_DB / np.maximum(shape.sd_db[index], _TINY), shape.freedom[index])


def at_most(sides: float, statistic: Floats, freedom: Floats) -> float:
    """Return at most how probable it is that noise alone reaches any of these statistics, on one or both `sides`.

    The probabilities of all of them add. Their standard uncertainties are pooled, so they are wrong by one factor, of a
    chi law: given that they are normal.
    """
    from scipy.special import gammaincinv, ndtr

    shared = float(np.median(freedom))
    if not np.isfinite(shared):
        return float(min(sides * ndtr(-statistic).sum(), 1.0))
    edges = np.concatenate([[0.0], np.geomspace(1e-9, 1.0, _STEPS)])
    middle, weight = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    factor = np.sqrt(2 * gammaincinv(shared / 2, middle) / shared)
    sums = np.minimum(sides * ndtr(-np.outer(factor, statistic)).sum(axis=1), 1.0)
    return float((weight * sums).sum())


def _noise_ranges(sd_db: Floats) -> Floats:
    """Return ranges that noise alone would give; neighbouring points of the series hardly share noise."""
    draws = np.random.default_rng(0).standard_normal((NOISE_DRAWS, sd_db.size)) * sd_db
    return np.asarray(np.ptp(draws, axis=1))


def _crossing(shape: Delta, index: np.ndarray[Any, np.dtype[np.intp]], first: int) -> tuple[float, float]:
    """Return the frequency of the crossing and its standard uncertainty.

    The logarithm of frequency is a cubic in level through two points on either side, where levels fall steadily;
    on one side of a ripple it is a straight line through the two nearest.
    """
    near = index[max(first - 2, 0) : first + 2]
    level_db, log_hz = shape.value_db[near], np.log(shape.frequency_hz[near])
    if near.size < 4 or np.any(np.diff(level_db) >= 0.0) or np.any(shape.hidden[near]):
        near = index[max(first - 1, 0) : first + 1]
        level_db, log_hz = shape.value_db[near], np.log(shape.frequency_hz[near])
    if near.size == 1:
        return float(shape.frequency_hz[near[0]]), float(shape.frequency_hz[near[0]])
    fit = np.polynomial.Polynomial.fit(level_db, log_hz, near.size - 1)
    corner_hz = float(np.exp(fit(CORNER_DB)))
    log_per_db = abs(float(fit.deriv()(CORNER_DB)))
    return corner_hz, corner_hz * log_per_db * float(shape.sd_db[index[first]])


def _certain_end_hz(shape: Delta, index: np.ndarray[Any, np.dtype[np.intp]]) -> float:
    """Return the last frequency, walking away from 997 Hz, down to which the level surely stays above the corner."""
    least_db = shape.value_db[index] - student_t(0.95, shape.freedom[index]) * shape.sd_db[index]
    unsure = np.flatnonzero(least_db < CORNER_DB)
    last = index.size - 1 if unsure.size == 0 else max(int(unsure[0]) - 1, 0)
    return float(shape.frequency_hz[index[last]])


def _missing(key: Key, quantity: str) -> NotMeasured:
    return NotMeasured(**key.fields(quantity=quantity), reason="The valid band of the direct sweep is too narrow.")
