"""Mains hum under a programme: found or not, its frequency, its lines, or the bound of what may hide."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.files import TakeFile
from humcheck.audio.levels import Floats
from humcheck.errors import MeasurementError
from humcheck.estimates.lines.naming import DECIDED, prior_log_odds
from humcheck.estimates.lines.result import FamilyEstimate
from humcheck.estimates.lines.section import NOMINALS_HZ
from humcheck.estimates.programme_lines.basebands import Basebands, cut_basebands
from humcheck.estimates.programme_lines.beside import TINY, line_spectrum
from humcheck.estimates.programme_lines.evidence import Evidence, weigh
from humcheck.estimates.programme_lines.parts import SEEN, read_parts, steady_level
from humcheck.estimates.programme_lines.path import best_path, frames_of, other_starts
from humcheck.estimates.programme_lines.tracking import MUSIC_FACTOR, Track, fit_track, turned_by
from humcheck.results.rows import Family

#: Shortest recording in which lines can be told from what stands beside them.
SHORTEST_S = 1.2
#: A long recording is read in spans, so that memory does not grow with it.
SPAN_S = 600.0
#: Fundamentals, relative to the mains', at which no mains are: combs there show what the programme makes by chance.
#: None of them has more than a few harmonics in common with the mains.
CONTROLS = (0.93, 0.945, 1.055, 1.07)
#: Log odds by which mains must beat the combs of the controls.
AHEAD = 4.0
#: Range about the nominal frequency that the bound covers, and the quietest share of frames that it rests on.
BOUNDED_HZ, BOUND_STEP_HZ, QUIET_FRAMES = 0.2, 0.01, 0.25
ONE_SIDED_95 = 1.6448536269514722
#: Scatter of a line, as a share of its power, from which on it says nothing more about its mean.
MOST_SCATTER = 1.0
#: Largest uncertainty, as a share of the lines that stand out, of a line that is counted though it does not.
WORTH = 0.05
#: Frames this much quieter than the median are gaps of a gate or codec, in which no hum passes either.
GAP_SHARE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgrammeHum:
    """What a recording tells of mains hum under its programme.

    Attributes
    ----------
    family : FamilyEstimate or None
        The hum, if it was found; of a kind that is open where a picture might have the same frequency.
    log_odds : float
        How strongly the recording speaks for it.
    even : bool
        Whether its level stays the same through the recording.
    bound : numpy.ndarray, shape (n_ch,)
        One-sided 95 % bound of the mean square of steady hum, harmonics to the 40th.
    """

    family: FamilyEstimate | None
    log_odds: float
    even: bool
    bound: Floats


def hum_under_programme(file: TakeFile, *, mains_hz: float | None = None) -> ProgrammeHum:
    """Seek mains hum in a recording in which something plays.

    Parameters
    ----------
    file : TakeFile
        The recording; memory does not grow with its length.
    mains_hz : float, optional
        Nominal mains frequency; both 50 and 60 Hz are tried where it is not given.

    Raises
    ------
    MeasurementError
        If the recording is shorter than 1.2 s.
    """
    duration_s = file.n_samples / file.rate_hz
    if duration_s < SHORTEST_S:
        raise MeasurementError(
            f"The recording lasts {duration_s:.1f} s: hum under a programme cannot be told from it in less than "
            f"{SHORTEST_S} s."
        )
    nominals_hz = NOMINALS_HZ if mains_hz is None else (mains_hz,)
    edges = np.linspace(0, file.n_samples, max(1, int(np.ceil(duration_s / SPAN_S))) + 1).astype(int)
    spans = [
        _of_span(file, int(start), int(stop), nominals_hz) for start, stop in zip(edges[:-1], edges[1:], strict=True)
    ]
    return _together(spans)


def _of_span(file: TakeFile, start: int, stop: int, nominals_hz: tuple[float, ...]) -> ProgrammeHum:
    bands = cut_basebands(file, start, stop, nominals_hz)
    best: tuple[Evidence, Track, Basebands] | None = None
    for nominal_hz in nominals_hz:
        sought = bands[nominal_hz][1]
        evidence, track = _best_track(sought)
        if evidence.believed and (best is None or evidence.log_odds > best[0].log_odds):
            best = evidence, track, bands[nominal_hz][0]
    bound = np.max([_bound(bands[nominal_hz][0]) for nominal_hz in nominals_hz], axis=0)
    if best is None or best[0].log_odds < _chance_combs(file, start, stop, best[2].nominal_hz) + AHEAD:
        return ProgrammeHum(family=None, log_odds=-np.inf, even=True, bound=bound)
    even = bool(np.ptp(best[0].lines.course) == 0.0)
    return ProgrammeHum(family=_family(*best), log_odds=best[0].log_odds, even=even, bound=bound)


def _chance_combs(file: TakeFile, start: int, stop: int, nominal_hz: float) -> float:
    """Return the log odds of the best comb where no mains are."""
    controls_hz = [nominal_hz * ratio for ratio in CONTROLS]
    found = cut_basebands(file, start, stop, controls_hz)
    return max(_best_track(found[hz][1])[0].log_odds for hz in controls_hz)


def _best_track(bands: Basebands) -> tuple[Evidence, Track]:
    """Return the track with the most evidence, of fits from several starts."""
    path = best_path(bands)
    tracks = [fit_track(bands, start) for start in (path, *other_starts(bands, path))]
    return max(((weigh(bands, track), track) for track in tracks), key=lambda one: (one[0].believed, one[0].log_odds))


def _family(evidence: Evidence, track: Track, plain: Basebands) -> FamilyEstimate:
    """Return the family as it stands in the channels themselves."""
    parts = read_parts(plain, turned_by(plain, track.phase))
    lines = steady_level(parts, evidence.lines.course)
    kept = np.asarray(evidence.kept.any(axis=1))
    detected = kept[:, np.newaxis] & (lines.gain > SEEN)
    power = np.abs(lines.amplitude) ** 2
    unbiased = 0.5 * (power - lines.variance)
    alone = 0.5 * np.sqrt(2 * power * lines.variance + lines.variance**2)
    # Where a note covers a harmonic nothing is known of it. Lines that do not stand out count with their unbiased
    # estimate as long as that is worth anything beside those that do.
    heard = np.where(detected, unbiased, 0.0).sum(axis=0)
    counted = detected | (kept[:, np.newaxis] & (alone < WORTH * heard))
    mean_square = np.where(counted, unbiased, 0.0)
    own = np.where(counted, alone, 0.0)
    # What a line swells and fades beyond the noise makes its mean uncertain too.
    scatter = np.minimum(lines.scatter, MOST_SCATTER)
    swell = np.where(detected, mean_square, 0.0) * 2 * np.sqrt(scatter / parts.middle_s.size)
    sd = MUSIC_FACTOR * np.hypot(own, swell)
    whole = mean_square.sum(axis=0)
    n_channels = mean_square.shape[1]
    return FamilyEstimate(
        kind=_kind(track, plain.nominal_hz),
        fundamental_hz=track.frequency_hz,
        fundamental_sd_hz=track.sd_hz,
        wander_hz=track.wander_hz,
        harmonics=tuple(plain.orders.tolist()),
        sidebands=(0,) * plain.orders.size,
        frequency_hz=np.asarray(plain.orders * track.frequency_hz, dtype=np.float64),
        mean_square=mean_square,
        mean_square_sd=sd,
        covariance=np.zeros((n_channels, 0, 0)),
        detected=detected,
        amplitude=lines.amplitude,
        power=whole,
        power_sd=np.sqrt((sd**2).sum(axis=0)),
    )


def _kind(track: Track, nominal_hz: float) -> Family:
    """Return the name of the comb: mains wander; a steady one may be a picture's where pictures lie."""
    odds = prior_log_odds(track.frequency_hz, nominal_hz)
    if track.wander_hz is not None or odds > DECIDED:
        return "mains"
    return "field" if odds < -DECIDED else "mains_or_field"


def _bound(bands: Basebands) -> Floats:
    """Return the bound of a steady comb: what a quiet quarter of the frames leaves room for at every harmonic."""
    grid_hz = np.arange(-BOUNDED_HZ, BOUNDED_HZ + BOUND_STEP_HZ / 2, BOUND_STEP_HZ)
    frames = frames_of(bands.time_s)
    power = np.array([float((np.abs(bands.values[:, :, frame]) ** 2).mean()) for frame in frames])
    room = [
        _room(bands, frame, grid_hz)
        for frame, loud in zip(frames, power > GAP_SHARE * np.median(power), strict=True)
        if loud
    ]
    if not room:
        return np.zeros(bands.values.shape[1])
    quiet = np.quantile(np.stack(room), QUIET_FRAMES, axis=0, method="higher")
    return np.asarray(quiet.sum(axis=0).max(axis=1))


def _room(bands: Basebands, frame: slice, grid_hz: Floats) -> Floats:
    """Return the largest mean square that each line may have in a frame, shape (n_orders, n_ch, n_grid)."""
    values = bands.values[:, :, frame]
    taper = np.broadcast_to(np.hanning(values.shape[2] + 2)[1:-1], values.shape)
    spectrum = line_spectrum(values, taper, bands.rate_hz)
    n_bins = spectrum.amplitude.shape[2]
    offset = np.round(bands.orders[:, np.newaxis] * grid_hz / spectrum.bin_hz).astype(np.int64)
    places = np.clip(offset + spectrum.middle, 0, n_bins - 1)[:, np.newaxis]
    shape = (*values.shape[:2], grid_hz.size)
    amplitude = np.take_along_axis(np.abs(spectrum.amplitude), np.broadcast_to(places, shape), axis=2)
    variance = np.take_along_axis(spectrum.variance, np.broadcast_to(places, shape), axis=2)
    return np.asarray(0.5 * (amplitude + ONE_SIDED_95 * np.sqrt(variance / 2)) ** 2)


def _together(spans: list[ProgrammeHum]) -> ProgrammeHum:
    """Return the spans of a long recording as one, the hum of the best span's nominal frequency."""
    bound = np.mean([span.bound for span in spans], axis=0)
    best = max(spans, key=lambda span: span.log_odds)
    if best.family is None:
        return ProgrammeHum(family=None, log_odds=best.log_odds, even=True, bound=bound)
    families = [
        span.family
        for span in spans
        if span.family is not None and abs(span.family.fundamental_hz - best.family.fundamental_hz) < 1.0
    ]
    return ProgrammeHum(
        family=families[0] if len(families) == 1 else _mean_family(families),
        log_odds=best.log_odds,
        even=all(span.even for span in spans),
        bound=bound,
    )


def _mean_family(families: list[FamilyEstimate]) -> FamilyEstimate:
    """Return the mean of the families of several spans; how they differ is part of its uncertainty."""
    number = len(families)
    frequency_hz = np.array([family.fundamental_hz for family in families])
    mean_square = np.stack([family.mean_square for family in families])
    sd = np.sqrt(np.sum([family.mean_square_sd**2 for family in families], axis=0)) / number
    sd = np.hypot(sd, mean_square.std(axis=0, ddof=1) / np.sqrt(number))
    power = np.stack([family.power for family in families])
    power_sd = np.sqrt(np.sum([family.power_sd**2 for family in families], axis=0)) / number
    best = families[0]
    mean_hz = float(frequency_hz.mean())
    return FamilyEstimate(
        kind="mains",  # a picture's rate does not change from one ten minutes to the next
        fundamental_hz=mean_hz,
        fundamental_sd_hz=float(np.hypot(np.mean([f.fundamental_sd_hz for f in families]) / np.sqrt(number), TINY)),
        wander_hz=float(np.hypot(frequency_hz.std(ddof=1), np.mean([f.wander_hz or 0.0 for f in families]))),
        harmonics=best.harmonics,
        sidebands=best.sidebands,
        frequency_hz=np.array(best.harmonics) * mean_hz,
        mean_square=mean_square.mean(axis=0),
        mean_square_sd=sd,
        covariance=best.covariance,
        detected=np.any([family.detected for family in families], axis=0),
        amplitude=best.amplitude,
        power=power.mean(axis=0),
        power_sd=np.hypot(power_sd, power.std(axis=0, ddof=1) / np.sqrt(number)),
    )
