"""Whether lines under a programme are mains: several harmonics that keep phase and level while the programme changes.

What else makes lines near multiples of 50 or 60 Hz, and how it is told from mains:

- a note or a drum that happens to be tuned there dies away: its own strongest line does not keep its level, however
  steady the weak ones are (a decaying sine stored with too few bits leaves steady odd harmonics);
- voices and bass lines change their pitch: their lines do not keep their phase;
- a loop repeated exactly has lines everywhere at multiples of its own rate: combs around other fundamentals, where no
  mains are, then are as strong;
- a recording that was faded fades its hum too: lines may share one course of level, if they are many and lie where
  mains usually do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import Floats
from humcheck.estimates.lines.evidence import LINE_SHARES, line_log_factor, mixed
from humcheck.estimates.lines.naming import MAINS_SPREAD
from humcheck.estimates.programme_lines.basebands import FLAT_HZ, Basebands
from humcheck.estimates.programme_lines.parts import (
    SEEN,
    STEADY,
    SteadyLevel,
    lines_of,
    steady_level,
    steady_phase,
)
from humcheck.estimates.programme_lines.path import MOST_GAIN, REACH_HZ, STRAY_SHARE, own_orders
from humcheck.estimates.programme_lines.tracking import Track

#: Density of the fundamentals of notes near mains frequencies: one every semitone, each in some tuning, per hertz.
NOTES_PER_HZ = 0.3
#: Steady lines are believed at these log odds, what the frequency says against them taken off; and never beyond this:
#: 0.46 Hz from 50 Hz, 0.23 Hz from 60 Hz.
EVEN_ODDS, LEAST_PRIOR = 9.0, -3.0
#: In a recording shorter than this a line's surroundings are known from few values: so much more for each time that it
#: is shorter.
SHORT_S, SHORT_ODDS = 4.0, 20.0
#: Lines that share a course of level need more, more of them, and a course that is not over at once.
COURSE_ODDS, COURSE_LINES = 14.0, 5
COURSE_PARTS, COURSE_S = 3.0, 2.0
#: Share of the power of all lines of steady phase that must keep to the level.
MOST_OF_POWER = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """How strongly a recording speaks for mains at one fundamental.

    Attributes
    ----------
    log_odds : float
        Against stray sounds that happen to lie at the harmonics.
    believed : bool
        Whether it is enough.
    lines : SteadyLevel
        The lines, with the course of level that was assumed.
    kept : numpy.ndarray of bool, shape (n_orders, n_ch)
        Which of them keep phase and level.
    """

    log_odds: float
    believed: bool
    lines: SteadyLevel
    kept: npt.NDArray[np.bool_]


def weigh(bands: Basebands, track: Track) -> Evidence:
    """Return the evidence of a track, with an even level or with a common course, whichever says more."""
    phase = steady_phase(track.parts)
    prior = prior_log_odds(track.frequency_hz, bands.nominal_hz)
    short = SHORT_ODDS * max(SHORT_S / bands.duration_s - 1.0, 0.0)
    found = []
    for even in (True, False):
        lines = steady_level(track.parts, np.ones(track.parts.middle_s.size)) if even else lines_of(track.parts, phase)
        steady = phase.scatter < STEADY
        kept = steady & (lines.scatter < STEADY)
        odds = _log_odds(bands, np.where(kept, lines.gain, 0.0))
        power = np.where(steady & (lines.gain > SEEN), np.abs(lines.amplitude) ** 2, 0.0)
        whole = float(np.where(kept, power, 0.0).sum()) > MOST_OF_POWER * float(power.sum())
        if even:
            believed = whole and prior > LEAST_PRIOR and odds + min(prior, 0.0) > EVEN_ODDS + short
        else:
            enough = int((kept & (lines.gain > SEEN)).any(axis=1).sum()) >= COURSE_LINES and _lasts(bands, lines)
            believed = whole and enough and odds + prior > COURSE_ODDS + short and prior > 0.0
        found.append(Evidence(log_odds=odds, believed=bool(believed), lines=lines, kept=kept))
    return max(found, key=lambda one: (one.believed, one.log_odds))


def _lasts(bands: Basebands, lines: SteadyLevel) -> bool:
    """Whether a course of level is not over so soon that any phase would seem steady."""
    square = lines.course**2
    parts = float(square.sum() ** 2 / (square**2).sum())
    return parts >= COURSE_PARTS and parts * bands.duration_s / square.size >= COURSE_S


def prior_log_odds(frequency_hz: float, nominal_hz: float) -> float:
    """Return ln of how likely mains have a frequency over how likely a note has it."""
    spread = MAINS_SPREAD[min(MAINS_SPREAD, key=lambda known: abs(known - nominal_hz))]
    offset = frequency_hz - nominal_hz
    density = sum(
        share * np.exp(-0.5 * (offset / sd_hz) ** 2) / (sd_hz * np.sqrt(2 * np.pi)) for share, sd_hz in spread
    )
    return float(np.log(max(density, 1e-300) / NOTES_PER_HZ))


def _log_odds(bands: Basebands, gain: Floats) -> float:
    """Return ln(Bayes factor) of a comb against stray sounds; the strongest line sets the fundamental."""
    own = own_orders(bands)
    factor = mixed(line_log_factor(np.minimum(gain, MOST_GAIN)), 0.5).sum(axis=1)
    cells = max(FLAT_HZ * bands.duration_s, 2.0)
    stray = mixed(factor - np.log(cells), STRAY_SHARE)
    says = [float((mixed(factor[own], share) - stray[own]).sum()) for share in LINE_SHARES]
    strongest = int(bands.orders[own][int(gain[own].max(axis=1).argmax())])
    chance = np.log(max(2 * REACH_HZ * strongest * bands.duration_s, 1.0))
    return float(np.logaddexp.reduce(says) - np.log(len(says)) - chance)
