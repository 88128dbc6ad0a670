"""Flat tops of the level tone: sound that was cut off before its level was turned down, however soft it arrives.

A recorder that clips shows samples at full scale; an input that clips before a level control shows none. The harmonics
tell: a sine whose tops are cut off at an angle ``a`` from their middle loses ``cos(t) - cos(a)`` there, whose Fourier
coefficients reach far up and change sign together. Orders 2 and 3, which any bent curve makes, are left out.

References
----------
.. [1] Fourier series of a clipped sine, derived here: ``(1/pi)`` times the integral of ``(cos t - cos a) cos(n t)``
   from ``-a`` to ``a``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats, amplitude_to_dbfs
from humcheck.errors import MeasurementError
from humcheck.estimates.tones.take_tones import SETTLE_S, TONE_HZ
from humcheck.results.rows import Channel, Fault
from humcheck.takes.take import Take

_ORDERS = np.arange(4.0, 16.0)
_TOP_SHARE = 0.44
_ANGLES = np.linspace(0.08, 1.2, 57)
#: Both tops, the upper, the lower.
_SIDES = ((1.0, 1.0), (1.0, 0.0), (0.0, 1.0))
#: The harmonics agree with those of a cut this well (0.97 of their size in phase, 1 being all), and stand out of their
#: noise by this much in power. A curve that bends smoothly (tanh, up to 5 % of harmonics) reaches 0.9.
_LIKENESS = 0.96
_POWER_RATIO = 12.0
#: What a cut of this leaves out is below 0.01 % of the tone: not worth a word.
_LEAST_DB = 0.05
_BIN_STEPS = 12
_FEWEST_ORDERS = 6

_SPOILS = ["tone_level", "thd", "thd_n", "imd_smpte", "imd_difference", "dynamic_range", "dynamic_range_a"]


@dataclass(frozen=True, slots=True)
class FlatTops:
    """A tone whose tops are cut off: by how much, in dB, and the peak level at which, in dBFS."""

    channel: Channel
    cut_db: float
    at_dbfs: float


def flat_top_faults(take: Take) -> list[Fault]:
    """Return the fault of a level tone with cut tops: code ``overload``, for one channel or both."""
    if take.layout is None or not take.layout.has_section("level"):
        return []
    section = take.layout.section("level")
    inside_s = section.fade_in_s + SETTLE_S
    try:
        audio = take.section("level", before_s=-inside_s, after_s=-section.fade_out_s - 0.02)
    except MeasurementError:
        return []
    time_s = audio.track_time_s()
    found = [
        one
        for index, channel in enumerate(audio.channels)
        if (one := flat_tops(audio.samples[:, index], time_s, float(audio.rate_hz), channel)) is not None
    ]
    if not found:
        return []
    most = max(found, key=lambda one: one.cut_db)
    only = most.channel if len(found) < len(audio.channels) else None
    where = "" if only is None else f" in the {only} channel"
    start_s = audio.start_index / audio.rate_hz
    return [
        Fault(
            code="overload",
            channel=only,
            start_s=start_s,
            end_s=start_s + len(audio.samples) / audio.rate_hz,
            sentence=f"The loud tone from {start_s:.1f} s on is cut off{where}, by {most.cut_db:.1f} dB at "
            f"{most.at_dbfs:.1f} dBFS: an input was overloaded before its level was turned down. Turn the source (not "
            "the recording level) down by 6 dB and record again.",
            spoils=list(_SPOILS),
        )
    ]


def flat_tops(sound: Floats, time_s: Floats, rate_hz: float, channel: Channel) -> FlatTops | None:
    """Return how a tone of 997 Hz is cut off, None where it is not.

    Parameters
    ----------
    sound : numpy.ndarray, shape (n_samples,)
        The tone, steady.
    time_s : numpy.ndarray, shape (n_samples,)
        Track time of each sample.
    rate_hz : float
        Sampling rate.
    channel : str
        Named in the result.
    """
    orders = _ORDERS[_TOP_SHARE * rate_hz > _ORDERS * TONE_HZ]
    if orders.size < _FEWEST_ORDERS:
        return None
    tone, harmonics, noise_power = _harmonics(sound, time_s, orders)
    if abs(tone) == 0.0:
        return None
    relative = harmonics / abs(tone) * np.exp(-1j * orders * np.angle(tone))
    if np.sum(np.abs(harmonics) ** 2) < _POWER_RATIO * orders.size * noise_power:
        return None
    # All shapes at once: angles by sides by orders.
    shapes = -np.array([_cut(angle, orders, sides) for angle in _ANGLES for sides in _SIDES])
    size = np.sqrt(np.sum(shapes**2, axis=1))
    noise_share = noise_power * orders.size / max(float(np.sum(np.abs(harmonics) ** 2)), 1e-300)
    likeness = (shapes @ relative.real) / (size * np.linalg.norm(relative)) / np.sqrt(1.0 - min(noise_share, 0.5))
    # A small cut scales with its angle: among shapes alike, the one of the right size.
    scale = (shapes @ relative.real) / size**2
    misfit = np.sum(np.abs(relative - shapes) ** 2, axis=1)
    best = int(np.argmin(misfit))
    angle = float(_ANGLES[best // len(_SIDES)])
    cut_db = -20.0 * float(np.log10(np.cos(angle)))
    if likeness[best] < _LIKENESS or not 0.5 < scale[best] < 2.0 or cut_db < _LEAST_DB:
        return None
    peak = float(np.quantile(np.abs(sound), 0.99))
    return FlatTops(channel=channel, cut_db=cut_db, at_dbfs=amplitude_to_dbfs(peak))


def _cut(angle: float, orders: Floats, sides: tuple[float, float]) -> Floats:
    """Return the harmonics of what is cut off, re the fundamental that is left."""
    upper = _coefficients(angle, np.concatenate([[1], orders]))
    signs = np.concatenate([[1.0], np.where(orders % 2.0 == 1.0, 1.0, -1.0)])
    removed = sides[0] * upper + sides[1] * signs * upper
    return np.asarray(removed[1:] / (1.0 - removed[0]))


def _coefficients(angle: float, orders: Floats) -> Floats:
    n = np.asarray(orders, dtype=np.float64)
    # Integral of cos t cos nt and of cos a cos nt from -a to a, over pi.
    below = np.where(n == 1.0, angle, np.sin((n - 1.0) * angle) / np.maximum(n - 1.0, 1e-9))
    product = below + np.sin((n + 1.0) * angle) / (n + 1.0)
    return np.asarray((product - 2.0 * np.cos(angle) * np.sin(n * angle) / n) / np.pi)


def _harmonics(sound: Floats, time_s: Floats, orders: Floats) -> tuple[complex, np.ndarray, float]:
    """Return the amplitudes of tone and harmonics, and the variance of one from noise beside them."""
    weight = np.hanning(len(sound) + 2)[1:-1]
    weight /= weight.sum()
    turn = np.exp(-2j * np.pi * TONE_HZ * (time_s - time_s[0]))
    folded = sound * weight
    tone = 2.0 * complex(folded @ turn)
    harmonics, beside = [], []
    aside = np.exp(-2j * np.pi * _BIN_STEPS / (time_s[-1] - time_s[0]) * (time_s - time_s[0]))
    spin = turn**3
    for _ in orders:
        spin = spin * turn
        harmonics.append(2.0 * (folded @ spin))
        beside += [2.0 * (folded @ (spin * aside)), 2.0 * (folded @ (spin * np.conj(aside)))]
    # The median of an exponential distribution is ln 2 of its mean; hum beside a harmonic does not count.
    noise_power = float(np.median(np.abs(beside) ** 2) / np.log(2.0))
    return tone, np.array(harmonics), noise_power
