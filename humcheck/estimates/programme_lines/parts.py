"""Lines compared between parts of the recording: hum goes on while notes, drums and voices come and go."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.estimates.lines.spectrum import Complexes
from humcheck.estimates.programme_lines.basebands import Basebands, Indices
from humcheck.estimates.programme_lines.beside import TINY, line_at_middle

#: Shortest part, number of parts of a short recording, and length and number of parts of a long one.
SHORTEST_S = 0.5
FEWEST, SHORT = 4, 8
LONG_S, LONG_PART_S, MOST = 16.0, 2.0, 300
#: Changes of a line below this share of its power are no reason to trust one part more than another.
TRUSTED_SHARE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """Complex amplitude of each line in each part.

    Attributes
    ----------
    middle_s : numpy.ndarray, shape (n_parts,)
        Middle of each part.
    amplitude : numpy.ndarray, shape (n_orders, n_ch, n_parts)
        Against the phase of the fundamental.
    variance : numpy.ndarray, shape (n_orders, n_ch, n_parts)
        E|error|^2 that the sound beside the line makes.
    """

    middle_s: Floats
    amplitude: Complexes
    variance: Floats


def read_parts(bands: Basebands, turned: Complexes) -> Parts:
    """Return the lines of each part of bands that were turned by the phase of the fundamental."""
    edges = _edges(bands)
    lengths = np.diff(edges)
    shape = (*turned.shape[:2], lengths.size)
    middle_s, amplitude, variance = np.empty(lengths.size), np.empty(shape, dtype=np.complex128), np.empty(shape)
    for length in np.unique(lengths):  # two at most: all parts of one length are read at once
        same = np.flatnonzero(lengths == length)
        places = edges[same, np.newaxis] + np.arange(length)
        taper = np.hanning(length + 2)[np.newaxis, 1:-1]
        amplitude[:, :, same], variance[:, :, same] = line_at_middle(turned[:, :, places], taper, bands.rate_hz)
        middle_s[same] = bands.time_s[places].mean(axis=1)
    return Parts(middle_s=middle_s, amplitude=amplitude, variance=np.maximum(variance, TINY))


def _edges(bands: Basebands) -> Indices:
    """Return where the parts begin, and where the last one ends."""
    duration_s = bands.duration_s
    if duration_s < LONG_S:
        number = int(np.clip(duration_s / SHORTEST_S, FEWEST, SHORT))
    else:
        number = int(np.clip(duration_s / LONG_PART_S, SHORT, MOST))
    return np.linspace(0, bands.time_s.size, number + 1).astype(np.int64)


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyPhase:
    """What each line is if its phase is steady and its level is free.

    Attributes
    ----------
    direction : numpy.ndarray, shape (n_orders, n_ch)
        Its phase, as a unit number.
    level : numpy.ndarray, shape (n_orders, n_ch, n_parts)
        Its amplitude in each part; below zero where the phase is the opposite.
    scatter : numpy.ndarray, shape (n_orders, n_ch)
        Power across that phase, noise taken off, as a share of the line's.
    """

    direction: Complexes
    level: Floats
    scatter: Floats


def steady_phase(parts: Parts) -> SteadyPhase:
    """Return the steady phase of every line, and how steady it is."""
    power = np.abs(parts.amplitude) ** 2
    weight = 1.0 / (parts.variance + TRUSTED_SHARE * power)
    direction = np.exp(0.5j * np.angle((weight * parts.amplitude**2).sum(axis=2)))
    along = (parts.amplitude * direction.conj()[:, :, np.newaxis]).real
    sign = np.where((np.sqrt(weight) * along).sum(axis=2) < 0, -1.0, 1.0)
    direction, along = direction * sign, along * sign[:, :, np.newaxis]
    across = (parts.amplitude * direction.conj()[:, :, np.newaxis]).imag
    weight = 1.0 / (parts.variance + TRUSTED_SHARE * along**2)
    excess = (weight * (2 * across**2 - parts.variance)).sum(axis=2)
    line = (weight * np.maximum(along**2 - 0.5 * parts.variance, 0.0)).sum(axis=2)
    return SteadyPhase(direction=direction, level=along, scatter=np.maximum(excess, 0.0) / np.maximum(line, TINY))


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyLevel:
    """What each line is if its level follows one course that is common to all.

    Attributes
    ----------
    course : numpy.ndarray, shape (n_parts,)
        That course, its mean square 1.
    amplitude, variance : numpy.ndarray, shape (n_orders, n_ch)
        Amplitude of each line and E|error|^2.
    scatter : numpy.ndarray, shape (n_orders, n_ch)
        Power of what is left, noise taken off, as a share of the line's.
    """

    course: Floats
    amplitude: Complexes
    variance: Floats
    scatter: Floats

    @property
    def gain(self) -> Floats:
        """Power over noise, shape (n_orders, n_ch)."""
        return np.abs(self.amplitude) ** 2 / self.variance


def steady_level(parts: Parts, course: Floats) -> SteadyLevel:
    """Return the lines as they fit a course best; parts that fit badly are trusted less."""
    amplitude, weight = np.zeros(parts.amplitude.shape[:2], dtype=np.complex128), 1.0 / parts.variance
    for _ in range(4):
        amplitude = (weight * course * parts.amplitude).sum(axis=2) / (weight * course**2).sum(axis=2)
        model = np.abs(amplitude[:, :, np.newaxis] * course) ** 2
        weight = 1.0 / (parts.variance + TRUSTED_SHARE * model)
    norm = (weight * course**2).sum(axis=2)
    variance = np.maximum((weight**2 * course**2 * parts.variance).sum(axis=2) / norm**2, TINY)
    left = np.abs(parts.amplitude - amplitude[:, :, np.newaxis] * course) ** 2 - parts.variance
    power = np.maximum(np.abs(amplitude) ** 2 - variance, TINY)
    scatter = np.maximum((weight * left).sum(axis=2), 0.0) / (power * norm)
    return SteadyLevel(course=course, amplitude=amplitude, variance=variance, scatter=scatter)


def common_course(parts: Parts, phase: SteadyPhase, which: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> Floats:
    """Return the course of level that the chosen lines have in common, shape (n_parts,), its mean square 1.

    Every line has about the same say, however strong it is.
    """
    level = np.maximum(phase.level[which], 0.0)
    variance = parts.variance[which]
    if not level.size:
        return np.ones(parts.middle_s.size)
    says = np.minimum(level**2 / variance, 100.0)
    usual = np.sqrt((level**2).mean(axis=1, keepdims=True)) + np.sqrt(TINY)
    course = np.exp((says * np.log(np.maximum(level / usual, 1e-6))).sum(axis=0) / np.maximum(says.sum(axis=0), TINY))
    return np.asarray(course / np.sqrt((course**2).mean()))


#: A line counts as steady where its scatter is below this share of its power, and as seen above this gain.
STEADY, SEEN = 0.3, 10.0


def lines_of(parts: Parts, phase: SteadyPhase) -> SteadyLevel:
    """Return the lines with the course of level that the ones of steady phase have in common."""
    even = steady_level(parts, np.ones(parts.middle_s.size))
    return steady_level(parts, common_course(parts, phase, (phase.scatter < STEADY) & (even.gain > SEEN)))
