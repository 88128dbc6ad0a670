"""The sound read line by line, and its match with the rows of a picture at every lag."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from humcheck.audio.levels import Floats
from humcheck.estimates.footage.clock import ACTIVE_S, Drawing, Grid
from humcheck.estimates.footage.fields import Fields
from humcheck.estimates.footage.whitening import BAND_HZ, Complexes

#: How far sound and picture may lie apart.
REACH_S = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pulse:
    """What a row of full brightness leaves in the sound, by frequency, in the band.

    Attributes
    ----------
    first : int
        First bin of the grid's spectrum.
    response : numpy.ndarray, shape (n_bins,), complex
        For a leak that passes 1 kHz by a gain of 1 and rises by 6 dB per octave; the row begins at sample 0.
    """

    first: int
    response: Complexes


def pulse_of(grid: Grid, drawing: Drawing, band_hz: tuple[float, float] = BAND_HZ) -> Pulse:
    """Return the pulse of a row on a grid."""
    bin_hz = grid.rate_hz / grid.n_samples
    first, last = (int(edge / bin_hz) + 1 for edge in band_hz)
    frequency_hz = np.arange(first, last) * bin_hz
    active_s = ACTIVE_S[drawing.standard_hz]
    shape = active_s * np.sinc(frequency_hz * active_s) * np.exp(-1j * np.pi * frequency_hz * active_s)
    return Pulse(first=first, response=np.asarray(shape * (1j * frequency_hz / 1000.0) * grid.rate_hz))


def lines_of_fields(fields: Fields, n_lines: int, shift: int = 0) -> Floats:
    """Return the brightness of each line of the grid, black where nothing is shown, shape (n_lines,)."""
    line = np.zeros(n_lines)
    index = fields.first_line[:, np.newaxis] + np.arange(fields.rows.shape[1]) + shift
    inside = (index >= 0) & (index < n_lines)
    line[index[inside]] = fields.rows[inside]
    return line


def leak_spectrum(lines: Complexes, grid: Grid, pulse: Pulse) -> Complexes:
    """Return the spectrum of the leak of lines on the grid of samples, in the pulse's band.

    Parameters
    ----------
    lines : numpy.ndarray, shape (n_lines // 2 + 1,)
        Spectrum of the brightness of lines.
    """
    every = whole(lines, grid.n_lines)
    order = np.arange(pulse.first, pulse.first + len(pulse.response))
    spectrum = np.zeros(grid.n_samples // 2 + 1, dtype=np.complex128)
    spectrum[order] = every[order % grid.n_lines] * pulse.response
    return spectrum


def whole(half: Complexes, n_lines: int) -> Complexes:
    """Return all bins of a real sequence's spectrum."""
    return np.concatenate([half, np.conj(half[1 : n_lines - len(half) + 1][::-1])])


def folded(spectrum: Complexes, pulse: Pulse, n_lines: int) -> Complexes:
    """Return the spectrum of the sound sampled once a line, matched to the pulse, shape (n_lines,)."""
    part = spectrum[pulse.first : pulse.first + len(pulse.response)] * np.conj(pulse.response)
    lines = np.zeros(n_lines, dtype=np.complex128)
    at = np.arange(pulse.first, pulse.first + len(part)) % n_lines
    # The band is narrower than the line rate: no line's bin is met twice.
    lines[at] = part
    return lines


def match_at_lines(sound: Complexes, changes: Complexes) -> NDArray[np.float64]:
    """Return the squared size of the match at every lag in lines, round the grid, shape (n_lines,).

    The size of a complex match does not depend on which part of a line the lag has.
    """
    match = scipy.fft.ifft(sound * np.conj(whole(changes, sound.size)))
    return np.asarray(match.real**2 + match.imag**2)
