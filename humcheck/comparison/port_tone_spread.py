"""Whether all ports of a device pass all frequencies alike, as one figure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.comparison.response_delta import Delta, mean_shape
from humcheck.comparison.response_figures import AUDIBLE_HZ, NOISE_DRAWS, at_most, range_change
from humcheck.estimates.sweeps import ResponseEstimate
from humcheck.results import Change, Key

Takes = Sequence[ResponseEstimate]


@dataclass(frozen=True, slots=True)
class _Ports:
    """Responses of the ports re 997 Hz, shape (n_ports, n_f)."""

    frequency_hz: Floats
    value_db: Floats
    sd_db: Floats
    freedom: Floats


def tone_spread(ports: Mapping[str, Takes], cells: Sequence[Takes], key: Key) -> Change | None:
    """Return `port_spread` of the response: how far any two ports lie apart at any frequency, level as a whole apart.

    Parameters
    ----------
    ports : mapping of str to sequence of ResponseEstimate
        The takes of each port in one channel, two ports or more.
    cells : sequence of sequence of ResponseEstimate
        The takes of every use, whose scatter is pooled.
    key : Key
        Of the device, with the channel.

    Returns
    -------
    Change or None
        Contrast ``port``, the quantity ``response_span`` in its reference, with the frequency and the ports where they
        lie farthest apart, and the port that lies farthest from the median of the others there. The mean spread of
        noise alone is taken off as a square; where noise alone would reach it one time in twenty, it is an upper bound.
        None where the ports have no frequency in common.
    """
    n_points = min(take.frequency_hz.size for takes in ports.values() for take in takes)
    shapes = [mean_shape(takes, cells, n_points) for takes in ports.values()]
    found = _common(shapes)
    if found is None:
        return None
    spread_db = np.ptp(found.value_db, axis=0)
    at = int(np.argmax(spread_db))
    raw_db, names = float(spread_db[at]), list(ports)
    top, bottom = int(np.argmax(found.value_db[:, at])), int(np.argmin(found.value_db[:, at]))
    noise_db = _of_noise(found.sd_db)
    n_takes = min(len(takes) for takes in ports.values())
    reference = {
        "subject": key.subject,
        "role": key.role,
        "n_takes": n_takes,
        "quantity": "response_span",
        "largest": names[top],
        "smallest": names[bottom],
        "n_ports": len(names),
        "ports": names,
        "at_hz": float(found.frequency_hz[at]),
        "from_hz": float(found.frequency_hz[0]),
        "to_hz": float(found.frequency_hz[-1]),
    }
    if len(names) > 2:
        reference["stands_out"] = names[_farthest(found.value_db[:, at])]
    ends_db = float(np.hypot(found.sd_db[top, at], found.sd_db[bottom, at]))
    freedom = np.minimum(found.freedom[top, at], found.freedom[bottom, at])
    return range_change(
        key.fields(quantity="port_spread", port=None),
        "port",
        raw_db,
        noise_db,
        (ends_db, freedom),
        reference,
        lambda: _probability(raw_db, found),
        repeated=n_takes > 1,
    )


def _common(shapes: Sequence[Delta]) -> _Ports | None:
    """Return the responses at the audible frequencies at which every port is heard."""
    first = shapes[0]
    used = np.all([shape.shown & ~shape.hidden for shape in shapes], axis=0)
    used &= (first.frequency_hz >= AUDIBLE_HZ[0]) & (first.frequency_hz <= AUDIBLE_HZ[1])
    if not used.any():
        return None
    rows = [np.array([getattr(shape, name)[used] for shape in shapes]) for name in ("value_db", "sd_db", "freedom")]
    return _Ports(first.frequency_hz[used], *rows)


def _of_noise(sd_db: Floats) -> Floats:
    draws = np.random.default_rng(0).standard_normal((NOISE_DRAWS, *sd_db.shape)) * sd_db
    return np.asarray(np.ptp(draws, axis=1).max(axis=1))


def _farthest(value_db: Floats) -> int:
    """Return which value lies farthest from the median of the others."""
    others = [np.median(np.delete(value_db, index)) for index in range(value_db.size)]
    return int(np.argmax(np.abs(value_db - others)))


def _probability(spread_db: float, ports: _Ports) -> float:
    one, other = np.triu_indices(len(ports.sd_db), 1)
    sd_db = np.maximum(np.hypot(ports.sd_db[one], ports.sd_db[other]), 1e-12)
    return at_most(2.0, (spread_db / sd_db).ravel(), np.minimum(ports.freedom[one], ports.freedom[other]).ravel())
