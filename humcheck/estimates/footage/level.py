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
#: What stands still counts if it is as strong as what changes: chi squared of one number, 95 %.
_ONE_FITS = 3.84
#: Frames that are less high than this, over a field of the standard, do not show all rows.
_SHOWS_ALL = 0.985


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
    """Short spectra of the leak of gain 1 at its place, in parts."""

    def __init__(self, fit: Fit, place: Place) -> None:
        grid = fit.heard.grid
        self.moments = Moments.of_rate(grid.rate_hz)
        turn = np.exp(-2j * np.pi * np.arange(grid.n_samples // 2 + 1) * place.shift_samples / grid.n_samples)
        every = leak_spectrum(place.lines, grid, fit.heard.pulse) * turn
        rest = leak_spectrum(without_steady(place.lines, grid.n_lines, 1), grid, fit.heard.pulse) * turn
        steady = fit.heard.drawing.lines_per_repeat
        changes = leak_spectrum(without_steady(place.lines, grid.n_lines, steady), grid, fit.heard.pulse) * turn
        # What changes, what stands still, the tone of the mean brightness, and that a quarter of a cycle later.
        parts = (changes, rest - changes, every - rest, (every - rest) * -1j)
        self.parts = [self.moments.spectra(scipy.fft.irfft(part, grid.n_samples)) for part in parts]
        self.shows_all = place.scale >= _SHOWS_ALL

    def joined(self, n_joined: int) -> list[Complexes]:
        """Return the parts, the first ones as one."""
        return [np.asarray(np.sum(self.parts[:n_joined], axis=0)), *self.parts[n_joined:]]


def gain_of(channel: Floats, template: Template) -> Gain:
    """Return the gain of a picture in a sound as recorded, shape (n_samples,).

    What changes always counts. What stands still counts where the frames show all rows and it is as strong: rows that
    are cropped, and pulses of the lines that are no picture, stand still, too.
    """
    heard = template.moments.spectra(channel)
    gains, sd, covariance = _solved(heard, template.parts)
    value, tone_fits = float(gains[0]), False
    spread = covariance[0, 0] + covariance[1, 1] - 2 * covariance[0, 1]
    if template.shows_all and (gains[1] - gains[0]) ** 2 < _ONE_FITS * spread:
        gains, sd, covariance = _solved(heard, template.joined(2))
        value, tone_fits = float(gains[0]), _tone_fits(gains, covariance)
        if tone_fits:
            # The whole: the tone a quarter of a cycle later is no part of it.
            gains, sd, _ = _solved(heard, template.joined(3)[:1])
            value = float(gains[0])
    whole = template.joined(3)[0]
    return Gain(
        value=value,
        sd=sd,
        tone_fits=tone_fits,
        band_power=2 * float((heard.real**2 + heard.imag**2).sum()) / len(channel),
        leak_power=2 * float((whole.real**2 + whole.imag**2).sum()) / len(channel),
    )


def _tone_fits(gains: Floats, covariance: Floats) -> bool:
    turn = np.array([[-1.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    difference = np.array([gains[1] - gains[0], gains[2]])
    expected = turn @ covariance @ turn.T
    # The tone's phase is known as well as the place is.
    expected[1, 1] += covariance[0, 0]
    return bool(difference @ np.linalg.solve(expected, difference) < _FITS)


def _products(some: list[Complexes], others: list[Complexes]) -> list[list[Floats]]:
    return [[2 * (one.real * other.real + one.imag * other.imag) for other in others] for one in some]


def _solved(heard: Complexes, parts: list[Complexes]) -> tuple[Floats, float, Floats]:
    """Return gains of parts, the first one's uncertainty, and the covariance that the weights tell."""
    products = _products(parts, parts)
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
