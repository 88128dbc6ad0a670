"""Steady lines of a recording that holds no track: out of its quiet stretches, under its programme, or out of both.

A comb found in a short pause is only believed where the rest of the recording does not speak against it: what is left
of a note in a pause is as steady as hum for a second or two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from humcheck.audio.files import TakeFile
from humcheck.audio.levels import Floats
from humcheck.errors import MeasurementError
from humcheck.estimates.lines import FamilyEstimate, LineEstimate, fit_lines
from humcheck.estimates.lines.section import NOMINALS_HZ
from humcheck.estimates.programme_lines import ProgrammeHum, hum_under_programme
from humcheck.estimates.programme_lines.evidence import LEAST_PRIOR, prior_log_odds
from humcheck.estimates.steadiness import changes
from humcheck.results.rows import Family
from humcheck.takes.quiet import QuietStretch, quiet_stretches

#: Combs that a pause and the whole recording are compared by.
COMBS: tuple[Family, ...] = ("mains", "mains_or_field", "field")
MAINS: tuple[Family, ...] = ("mains", "mains_or_field")
#: A quiet stretch from this length on speaks for itself, if nothing plays in it.
LONG_S = 4.0
#: Distance of two readings of one fundamental, beside their uncertainties: mains wander from pause to pause.
WANDER_HZ = 0.03
#: What hum must be above a bound, as a power ratio, to speak against it.
CLEARLY = 2.0
#: Share of the time of all stretches in which hum must be found.
MOST_OF_TIME = 0.5
NOTHING_QUIET = (
    "Something plays all the time in this recording: of hum and noise only mains hum can be sought under a programme."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingLines:
    """What a recording tells of steady lines.

    Attributes
    ----------
    lines : LineEstimate
        Of the whole recording, as far as it can be read.
    stretch : QuietStretch or None
        The longest stretch in which nothing plays; None where there is none.
    stretch_lines : LineEstimate or None
        Lines of that stretch alone, with their phases.
    reason : str
        Why nothing but hum could be read, where that is so.
    """

    lines: LineEstimate
    stretch: QuietStretch | None
    stretch_lines: LineEstimate | None
    reason: str = ""


def read_recording(file: TakeFile, *, mains_hz: float | None = None) -> RecordingLines:
    """Read the steady lines of a recording that holds no track.

    Parameters
    ----------
    file : TakeFile
        The recording; memory does not grow with its length.
    mains_hz : float, optional
        Nominal mains frequency, if it is known.

    Raises
    ------
    MeasurementError
        If it is digital silence, or too short for anything to be told.
    """
    try:
        stretches = _unchanging(file, quiet_stretches(file))
        reason = NOTHING_QUIET
    except MeasurementError as error:
        stretches, reason = [], error.reason
    read = [_fitted(file, stretch, mains_hz) for stretch in stretches]
    fits = [(stretch, lines) for stretch, lines in zip(stretches, read, strict=True) if lines is not None]
    if not fits:
        return _under_all(file, mains_hz, reason)
    (stretch, first), quiet = fits[0], _together(fits, file.rate_hz)
    usual = all(_where_mains_are(family) for kind in MAINS for family in quiet.of_kind(kind))
    if stretch.covers_all and usual and any(quiet.of_kind(kind) for kind in MAINS):
        return RecordingLines(lines=quiet, stretch=stretch, stretch_lines=first)
    try:
        under = hum_under_programme(file, mains_hz=mains_hz)
    except MeasurementError:
        return RecordingLines(lines=quiet, stretch=stretch, stretch_lines=first)
    long = (stretch.stop - stretch.start) / file.rate_hz >= LONG_S
    trusted = usual and (long or _agree([lines for _, lines in fits]))
    return RecordingLines(lines=_merged(quiet, under, trusted=trusted), stretch=stretch, stretch_lines=first)


def _unchanging(file: TakeFile, stretches: Sequence[QuietStretch]) -> list[QuietStretch]:
    """Return the stretches in which nothing plays, only noise and steady tones."""
    return [one for one in stretches if not changes(file.read(one.start, one.stop), file.rate_hz)]


def _fitted(file: TakeFile, stretch: QuietStretch, mains_hz: float | None) -> LineEstimate | None:
    try:
        return fit_lines(file.read(stretch.start, stretch.stop), file.rate_hz, mains_hz=mains_hz)
    except MeasurementError:
        return None


def _under_all(file: TakeFile, mains_hz: float | None, reason: str) -> RecordingLines:
    """Return what can be told where no stretch is quiet."""
    if file.n_samples / file.rate_hz < 1.0 or "silence" in reason:
        raise MeasurementError(reason)
    under = hum_under_programme(file, mains_hz=mains_hz)
    found = () if under.family is None else (under.family,)
    kinds = {family.kind for family in found}
    bounds: dict[Family, Floats] = {} if "mains" in kinds else {"mains": under.bound}
    if under.family is not None and "mains" not in kinds:
        bounds["mains"] = _most(under.family)
    nominal_hz = mains_hz or (50.0 if under.family is None or under.family.fundamental_hz < 55.0 else 60.0)
    lines = LineEstimate(
        families=found,
        bounds=bounds,
        nominal_hz=nominal_hz,
        duration_s=file.n_samples / file.rate_hz,
    )
    return RecordingLines(lines=lines, stretch=None, stretch_lines=None, reason=reason)


def _together(fits: Sequence[tuple[QuietStretch, LineEstimate]], rate_hz: float) -> LineEstimate:
    """Return the lines of several stretches as one: the longest one's, the hum the mean over those that have it."""
    first = fits[0][1]
    if len(fits) == 1:
        return first
    lengths = np.array([(stretch.stop - stretch.start) / rate_hz for stretch, _ in fits])
    own = [next((f for kind in MAINS for f in lines.of_kind(kind)), None) for _, lines in fits]
    has = np.array([family is not None for family in own])
    if lengths[has].sum() < MOST_OF_TIME * lengths.sum():
        return _without_mains(first, fits)
    best = max((family for family in own if family is not None), key=lambda family: -family.fundamental_sd_hz)
    alike = [
        (family, length)
        for family, length in zip(own, lengths, strict=True)
        if family is not None and abs(family.fundamental_hz - best.fundamental_hz) < 0.5
    ]
    hum = _mean_hum([family for family, _ in alike], np.array([length for _, length in alike]))
    others = tuple(family for family in first.families if family.kind not in MAINS)
    bounds = {kind: bound for kind, bound in first.bounds.items() if kind != hum.kind}
    if hum.kind != "mains":
        bounds["mains"] = _most(hum)
    return replace(first, families=(hum, *others), bounds=bounds)


def _without_mains(first: LineEstimate, fits: Sequence[tuple[QuietStretch, LineEstimate]]) -> LineEstimate:
    """Return lines without a comb that most of the time is not there; it is bounded by what was seen of it."""
    seen = [_most(family) for _, lines in fits for kind in MAINS for family in lines.of_kind(kind)]
    bounds = [lines.bounds["mains"] for _, lines in fits if "mains" in lines.bounds]
    kept = tuple(family for family in first.families if family.kind not in MAINS)
    return replace(first, families=kept, bounds={**first.bounds, "mains": np.max([*seen, *bounds], axis=0)})


def _mean_hum(families: Sequence[FamilyEstimate], lengths: Floats) -> FamilyEstimate:
    """Return one family for several stretches: means over time, with what they scatter."""
    best = max(families, key=lambda family: int(family.detected.sum()))
    if len(families) == 1:
        return best
    share = lengths / lengths.sum()
    frequency_hz = np.array([family.fundamental_hz for family in families])
    power = np.stack([family.power for family in families])
    mean_hz, mean_power = float(share @ frequency_hz), share @ power
    scatter = np.sqrt(share @ (power - mean_power) ** 2 / (len(families) - 1))
    sd_hz = np.sqrt(share**2 @ np.array([family.fundamental_sd_hz for family in families]) ** 2)
    own_wander = share @ np.array([(family.wander_hz or 0.0) ** 2 for family in families])
    wander_hz = float(np.sqrt(own_wander + share @ (frequency_hz - mean_hz) ** 2))
    wanders = any(family.wander_hz is not None for family in families)
    return replace(
        best,
        kind="mains" if any(family.kind == "mains" for family in families) else best.kind,
        fundamental_hz=mean_hz,
        fundamental_sd_hz=float(sd_hz),
        wander_hz=wander_hz if wanders else None,
        frequency_hz=best.frequency_hz * (mean_hz / best.fundamental_hz),
        power=mean_power,
        power_sd=np.hypot(np.sqrt(share**2 @ np.stack([family.power_sd for family in families]) ** 2), scatter),
    )


def _merged(quiet: LineEstimate, under: ProgrammeHum, *, trusted: bool) -> LineEstimate:
    """Return what quiet stretches and the whole recording tell together.

    Parameters
    ----------
    quiet : LineEstimate
        Of the quiet stretches.
    under : ProgrammeHum
        Of the whole recording.
    trusted : bool
        Whether the quiet stretches are long enough to speak for themselves.
    """
    hum = next((family for kind in MAINS for family in quiet.of_kind(kind)), None)
    if hum is not None and under.family is not None and _same(hum, under.family):
        better = min(hum, under.family, key=lambda family: family.fundamental_sd_hz)
        kind: Family = "mains" if "mains" in (hum.kind, under.family.kind) else hum.kind
        both = replace(hum, kind=kind, fundamental_hz=better.fundamental_hz, fundamental_sd_hz=better.fundamental_sd_hz)
        return _with_hum(quiet, both)
    if under.family is not None and any(_same(family, under.family) for family in quiet.of_kind("field")):
        return quiet  # the pause knows the picture's comb; under the programme its notes are counted too
    if hum is None and under.family is not None:
        bound = quiet.bounds.get("mains")
        # Hum that a pause does not have comes and goes with the programme: a note.
        if under.even and bound is not None and bool((under.family.power > CLEARLY * bound).all()):
            return quiet
        return _with_hum(quiet, under.family)
    if hum is not None and not trusted:
        return _without(quiet, under)
    if hum is None and "mains" in quiet.bounds:
        return replace(quiet, bounds={**quiet.bounds, "mains": np.minimum(quiet.bounds["mains"], under.bound)})
    return quiet


def _where_mains_are(family: FamilyEstimate) -> bool:
    """Whether a frequency is one that mains have: a steady note of a synthesiser is as steady as they are."""
    nominal_hz = min(NOMINALS_HZ, key=lambda known: abs(known - family.fundamental_hz))
    return prior_log_odds(family.fundamental_hz, nominal_hz) > LEAST_PRIOR


def _agree(readings: Sequence[LineEstimate]) -> bool:
    """Whether several pauses hold the same hum: what is left of a note in one is not left of another in the next."""
    hums = [family for lines in readings for kind in MAINS for family in lines.of_kind(kind)]
    return len(hums) > 1 and all(
        _same(hums[0], other) and bool((np.abs(np.log(other.power / hums[0].power)) < np.log(CLEARLY)).all())
        for other in hums[1:]
    )


def _same(one: FamilyEstimate, other: FamilyEstimate) -> bool:
    sd_hz = float(np.hypot(one.fundamental_sd_hz, other.fundamental_sd_hz))
    return abs(one.fundamental_hz - other.fundamental_hz) < WANDER_HZ + 3 * sd_hz


def _with_hum(quiet: LineEstimate, hum: FamilyEstimate) -> LineEstimate:
    """Return the lines with this family in place of the mains found, bounds to match."""
    kept = tuple(family for family in quiet.families if family.kind not in MAINS and not _same(family, hum))
    bounds = {kind: bound for kind, bound in quiet.bounds.items() if kind != hum.kind}
    if hum.kind != "mains":
        bounds["mains"] = _most(hum)
    return replace(quiet, families=(hum, *kept), bounds=bounds)


def _without(quiet: LineEstimate, under: ProgrammeHum) -> LineEstimate:
    """Return the lines of a pause without combs that the whole recording does not confirm: they are bounds."""
    kept = tuple(family for family in quiet.families if family.kind not in COMBS)
    seen = np.sum([_most(family) for family in quiet.families if family.kind in COMBS], axis=0)
    bounds = dict(quiet.bounds)
    for kind in ("mains", "field"):
        bounds[kind] = np.maximum(bounds.get(kind, seen), seen)
    return replace(quiet, families=kept, bounds=bounds)


def _most(family: FamilyEstimate) -> Floats:
    """Return the one-sided 95 % bound of a family's power."""
    return np.asarray(family.power + 1.6448536269514722 * family.power_sd)
