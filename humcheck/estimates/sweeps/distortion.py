"""Harmonic distortion over frequency from a sweep.

Distortion of order N comes as an impulse response of its own, before the linear one by ``L ln N``.

References
----------
.. [1] A. Farina, AES preprint 5093 (2000). A. Novak, P. Lotton, L. Simon, JAES 63 (2015) 786: in the synchronised form
   of the sweep the shifted sweep is exactly the harmonic.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.sweeps.deconvolution import Floats, SweepLaw
from humcheck.estimates.sweeps.gains import PathBands
from humcheck.estimates.sweeps.windows import RESPONSE, Window, noise_offsets_s, read, window_at, window_kernel

ORDERS = (2, 3, 4, 5)
LOWEST_HZ = 20.0
#: Of the series, one point in so many: third octaves.
EVERY = 4
NOISE_PLACES = 8
#: Share of the distance to the next order that a window may reach.
SHARE_OF_DISTANCE = 0.45


@dataclass(frozen=True, slots=True, kw_only=True)
class Distortion:
    """Distortion of one order.

    Attributes
    ----------
    order : int
        2 to 5.
    frequency_hz : numpy.ndarray, shape (n,)
        Of the fundamental.
    power : numpy.ndarray, shape (n,)
        Power of the harmonic re that of the fundamental, noise taken off: unbiased, so it may be below zero.
    noise_power : numpy.ndarray, shape (n,)
        What noise alone reads, re the fundamental.
    """

    order: int
    frequency_hz: Floats
    power: Floats
    noise_power: Floats


def estimate_distortion(
    bands: PathBands, column: int, frequency_hz: Floats, fundamental_power: Floats
) -> tuple[Distortion, ...]:
    """Return the distortion of each order in one channel.

    Parameters
    ----------
    bands : PathBands
        Of the path.
    column : int
        Row of the driven channel.
    frequency_hz, fundamental_power : numpy.ndarray, shape (n_f,)
        Frequencies of the fundamental, and the squared magnitude of the linear gain there.
    """
    return tuple(_of_order(bands, column, order, frequency_hz, fundamental_power) for order in ORDERS)


def _of_order(bands: PathBands, column: int, order: int, frequency_hz: Floats, fundamental_power: Floats) -> Distortion:
    wanted = np.flatnonzero((frequency_hz >= LOWEST_HZ) & (frequency_hz * order <= bands.tops_hz[-1]))[::EVERY]
    frequency_hz, fundamental_power = frequency_hz[wanted], fundamental_power[wanted]
    power = np.empty(frequency_hz.size)
    noise_power = np.empty(frequency_hz.size)
    for index, harmonic_hz in enumerate((order * frequency_hz).tolist()):
        response = bands.at(harmonic_hz)
        window = _window(harmonic_hz, order, bands.law)
        kernel = window_kernel(harmonic_hz, window, response.rate_hz)
        offsets_s = np.concatenate(
            [[-bands.law.advance_s(order)], noise_offsets_s(harmonic_hz, window, window, bands.law)[:NOISE_PLACES]]
        )
        powers = np.abs(read(response, column, kernel, bands.delay_s + offsets_s)) ** 2
        noise_power[index] = powers[1:].mean()
        power[index] = powers[0] - noise_power[index]
    return Distortion(
        order=order,
        frequency_hz=frequency_hz,
        power=power / fundamental_power,
        noise_power=noise_power / fundamental_power,
    )


def _window(harmonic_hz: float, order: int, law: SweepLaw) -> Window:
    """Return the window for a harmonic, kept off the neighbouring orders."""
    usual = window_at(harmonic_hz, RESPONSE, law)
    most_s = SHARE_OF_DISTANCE * (law.advance_s(order + 1) - law.advance_s(order))
    return Window(early_s=min(usual.early_s, most_s), late_s=min(usual.late_s, most_s))
