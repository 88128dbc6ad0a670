"""The gain of the leak at its place, and how sure it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft

from humcheck.audio.levels import Floats
from humcheck.estimates.footage.matching import leak_spectrum
from humcheck.estimates.footage.place import Place
from humcheck.estimates.footage.search import Fit
from humcheck.estimates.footage.whitening import Complexes, Moments, weights_of, without_steady

#: The leak weighs itself down in the sound's own power: it is taken off, and the power read again.
_ROUNDS = 3
_BLOCKS = 30
#: The tone of the line rate counts if it fits the picture's brightness: chi squared of two numbers, 95 %.
_FITS = 5.99


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gain:
    """Gain of a leak in one channel.

    Attributes
    ----------
    value, sd : float
        Sound over luma at 1 kHz, and its standard uncertainty.
    tone_fits : bool
        Whether the tone at the line rate is as strong as the picture's brightness makes it, and was counted.
    band_power, leak_power : float
        Mean power in the band: of all that is heard, and of a leak of gain 1.
    """

    value: float
    sd: float
    tone_fits: bool
    band_power: float
    leak_power: float


class Template:
    """Short spectra of the leak of gain 1 at its place: the picture, and the tone of its mean brightness."""

    def __init__(self, fit: Fit, place: Place) -> None:
        grid = fit.heard.grid
        self.moments = Moments.of_rate(grid.rate_hz)
        turn = np.exp(-2j * np.pi * np.arange(grid.n_samples // 2 + 1) * place.shift_samples / grid.n_samples)
        every = leak_spectrum(place.lines, grid, fit.heard.pulse) * turn
        rest = leak_spectrum(without_steady(place.lines, grid.n_lines, 1), grid, fit.heard.pulse) * turn
        # The last: the tone a quarter of a cycle later.
        parts = (rest, every - rest, (every - rest) * -1j)
        self.parts = [self.moments.spectra(scipy.fft.irfft(part, grid.n_samples)) for part in parts]
        self.normal = _products(self.parts, self.parts)
        self.whole = [self.parts[0] + self.parts[1]]
        self.normal_whole = _products(self.whole, self.whole)


def gain_of(channel: Floats, template: Template) -> Gain:
    """Return the gain of a picture in a sound as recorded, shape (n_samples,)."""
    heard = template.moments.spectra(channel)
    gains, sd, covariance = _solved(heard, template.parts, template.normal)
    # The tone's phase is known as well as the place is.
    turn = np.array([[-1.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    difference = np.array([gains[1] - gains[0], gains[2]])
    expected = turn @ covariance @ turn.T
    expected[1, 1] += covariance[0, 0]
    fits = bool(difference @ np.linalg.solve(expected, difference) < _FITS)
    if fits:
        gains, sd, _ = _solved(heard, template.whole, template.normal_whole)
    whole = template.whole[0]
    return Gain(
        value=float(gains[0]),
        sd=sd,
        tone_fits=fits,
        band_power=2 * float((heard.real**2 + heard.imag**2).sum()) / len(channel),
        leak_power=2 * float((whole.real**2 + whole.imag**2).sum()) / len(channel),
    )


def _products(some: list[Complexes], others: list[Complexes]) -> list[list[Floats]]:
    return [[2 * (one.real * other.real + one.imag * other.imag) for other in others] for one in some]


def _solved(heard: Complexes, parts: list[Complexes], products: list[list[Floats]]) -> tuple[Floats, float, Floats]:
    """Return gains of parts, the first one's uncertainty, and the covariance that the weights tell."""
    gains = np.zeros(len(parts))
    with_heard = [row[0] for row in _products(parts, [heard])]
    for _ in range(_ROUNDS):
        left = heard - sum(gain * part for gain, part in zip(gains, parts, strict=True))
        weight = weights_of(left)
        covariance = np.linalg.pinv([[np.vdot(weight, product) for product in row] for row in products])
        gains = covariance @ [np.vdot(weight, product) for product in with_heard]
    left = heard - sum(gain * part for gain, part in zip(gains, parts, strict=True))
    slopes = np.stack([(weight * row[0]).sum(axis=1) for row in _products(parts, [left])])
    # What the scatter of blocks says, where it says more than the weights.
    block = max(1, len(left) // _BLOCKS)
    summed = np.add.reduceat(slopes, np.arange(0, slopes.shape[1], block), axis=1)
    robust = covariance @ (summed @ summed.T) @ covariance
    return gains, float(np.sqrt(max(covariance[0, 0], robust[0, 0]))), covariance
