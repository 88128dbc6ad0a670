"""All tone sections of one take, measured once and kept."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from humcheck.audio.spectra import full_spectrum
from humcheck.audio.weighting import a_weighting_db
from humcheck.errors import MeasurementError
from humcheck.estimates.tones.blocks import Floats
from humcheck.estimates.tones.distortion import (
    BAND_HZ,
    PairDistortion,
    ToneDistortion,
    difference_distortion,
    smpte_distortion,
    tone_distortion,
)
from humcheck.estimates.tones.fit import ToneFit, fit_tones
from humcheck.estimates.tones.residual import density_beside, density_between
from humcheck.estimates.tones.steps import Steps, measure_steps
from humcheck.results.rows import Channel

if TYPE_CHECKING:
    from humcheck.takes.take import SectionAudio, Take
    from humcheck.tracks.sections import Section

#: Left out after a section's soft start: what coupling capacitors do when a tone begins is over by then.
SETTLE_S = 0.1
_STEP_SETTLE_S = 0.05
_END_S = 0.01
#: Length of silence that is read to see whether the noise goes away with the sound.
_SILENCE_S = 1.5
_HISS_HZ = (2000.0, 10000.0)
TONE_HZ = 997.0

Result = TypeVar("Result")


@dataclass(frozen=True, slots=True, kw_only=True)
class Silence:
    """Noise of a silent section, to see whether something mutes or opens up.

    Attributes
    ----------
    a_weighted, sd : numpy.ndarray, shape (n_channels,)
        A-weighted mean square, 20 Hz-20 kHz, and its standard uncertainty.
    density : numpy.ndarray, shape (n_channels,)
        Noise density beside 997 Hz, mean square per Hz.
    hiss_density : numpy.ndarray, shape (n_channels,)
        Median of the noise density from 2 to 10 kHz, mean square per Hz: lines of hum and picture do not count.
    """

    a_weighted: Floats
    sd: Floats
    density: Floats
    hiss_density: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeTones:
    """The tones of one take. What is missing is None, with a sentence in `reasons` under the section's name.

    Attributes
    ----------
    channels : tuple of str
        Names of the channels, as in all arrays.
    polarity : dict
        1 or -1 by channel, as the markers show it.
    level : ToneFit or None
        The level tone, both channels driven.
    level_nominal_dbfs, alone_nominal_dbfs : float or None
        Levels of the level section and of the channel tones in the track.
    alone : dict
        The tone in one channel with only that one driven, by channel; one column each. In a mono take the channel tone
        that is heard.
    full_scale, minus_60 : ToneDistortion or None
        The tone near full scale and at -60 dBFS.
    smpte, difference : PairDistortion or None
        The two pairs of tones.
    steps : Steps or None
        The level steps.
    quiet, zero : Silence or None
        Noise while the track is silent: dithered, and true zero.
    reasons : dict
        Why something is missing, by section.
    """

    channels: tuple[Channel, ...]
    polarity: dict[str, int] = field(default_factory=dict)
    level: ToneFit | None = None
    level_nominal_dbfs: float | None = None
    alone: dict[Channel, ToneFit] = field(default_factory=dict)
    alone_nominal_dbfs: float | None = None
    full_scale: ToneDistortion | None = None
    minus_60: ToneDistortion | None = None
    smpte: PairDistortion | None = None
    difference: PairDistortion | None = None
    steps: Steps | None = None
    quiet: Silence | None = None
    zero: Silence | None = None
    reasons: dict[str, str] = field(default_factory=dict)

    @property
    def full_scale_dbfs(self) -> dict[str, float]:
        """Level at which the track's full scale arrives, in dBFS, by channel: the reference of dBr."""
        if self.level is None or self.level_nominal_dbfs is None:
            return {}
        levels = self.level.level_dbfs[0] - self.level_nominal_dbfs
        heard = self.level.heard[0]
        received: dict[str, float] = {
            name: float(levels[index]) for index, name in enumerate(self.channels) if heard[index]
        }
        if len(received) == 2:
            powers = [10.0 ** (level / 10.0) for level in received.values()]
            received["both"] = float(10.0 * np.log10(np.mean(powers)))
        return received


def measure_tones(take: Take) -> TakeTones:
    """Measure every tone section that a take holds.

    Parameters
    ----------
    take : Take
        With a recognised track; of a take without one everything is missing, with the reason.
    """
    reasons: dict[str, str] = {}

    def attempt(name: str, measure: Callable[[Take, str], Result]) -> Result | None:
        try:
            return measure(take, name)
        except MeasurementError as error:
            reasons[name] = error.reason
            return None

    alone = {name: attempt(f"tone-{name}", _channel_tone) for name in ("left", "right")}
    return TakeTones(
        channels=take.channels,
        polarity={} if take.alignment is None else {str(name): sign for name, sign in take.alignment.polarity.items()},
        level=attempt("level", _level_tone),
        level_nominal_dbfs=_nominal_dbfs(take, "level"),
        alone=_by_channel(take, alone),
        alone_nominal_dbfs=_nominal_dbfs(take, "tone-left"),
        full_scale=attempt("full-scale", _distortion),
        minus_60=attempt("minus-60", _distortion),
        smpte=attempt("imd-smpte", _smpte),
        difference=attempt("imd-difference", _difference),
        steps=attempt("steps", _steps),
        quiet=attempt("quiet", _silence),
        zero=attempt("zero", _silence),
        reasons=reasons,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Inside:
    """The steady part of a section."""

    samples: Floats
    rate_hz: float
    audio: SectionAudio

    def track_time(self, index: Floats) -> Floats:
        """Return the time since the section's start at sample indices of the steady part."""
        clock = self.audio.clock
        return np.asarray(clock.track_time_s(index + self.audio.start_index) - self.audio.section.start_s)


def _inside(take: Take, name: str) -> _Inside:
    section = _section_of(take, name)
    before_s = SETTLE_S if section is None else section.fade_in_s + SETTLE_S
    after_s = _END_S if section is None else section.fade_out_s + _END_S
    audio = take.section(name, before_s=-before_s, after_s=-after_s)
    return _Inside(samples=audio.samples, rate_hz=float(audio.rate_hz), audio=audio)


def _middle(take: Take, name: str, seconds: float) -> Floats:
    """Return the middle of a section, at most so long: a long silence is not read whole."""
    section = _section_of(take, name)
    if section is None or take.layout is None:
        return take.section(name).samples
    start_s, end_s = section.start_s, section.end_s
    if take.layout.pictures:
        # What a clip shows first in its silence it shows everywhere else, too: other pictures add noise of their own.
        first = next(shown for shown in take.layout.pictures if shown.end_s > start_s)
        end_s = min(end_s, first.end_s)
    spare_s = max(0.5 * (end_s - start_s - seconds), 0.0)
    after_s = section.end_s - end_s + spare_s
    return take.section(name, before_s=-spare_s, after_s=-after_s).samples


def _section_of(take: Take, name: str) -> Section | None:
    return take.layout.section(name) if take.layout is not None and take.layout.has_section(name) else None


def _nominal_dbfs(take: Take, name: str) -> float | None:
    section = _section_of(take, name)
    return None if section is None else section.level_dbfs


def _level_tone(take: Take, name: str) -> ToneFit:
    inside = _inside(take, name)
    tone = fit_tones(inside.samples, inside.rate_hz, TONE_HZ, track_time=inside.track_time)
    return _require_heard(tone, name)


def _channel_tone(take: Take, name: str) -> ToneFit:
    inside = _inside(take, name)
    samples = inside.samples
    if samples.shape[1] > 1:
        column = 0 if name == "tone-left" else 1
        samples = samples[:, column : column + 1]
    return _require_heard(fit_tones(samples, inside.rate_hz, TONE_HZ, track_time=inside.track_time), name)


def _require_heard(tone: ToneFit, name: str) -> ToneFit:
    if not tone.heard.any():
        raise MeasurementError(f"The tone of the section {name} is not heard in this take.")
    return tone


def _by_channel(take: Take, alone: dict[str, ToneFit | None]) -> dict[Channel, ToneFit]:
    heard = {name: tone for name, tone in alone.items() if tone is not None}
    if len(take.channels) == 1:
        loudest = max(heard.values(), key=lambda tone: float(tone.power[0, 0]), default=None)
        return {} if loudest is None else {"mono": loudest}
    return {name: heard[name] for name in take.channels if name in heard}


def _distortion(take: Take, name: str) -> ToneDistortion:
    inside = _inside(take, name)
    measured = tone_distortion(inside.samples, inside.rate_hz, TONE_HZ, track_time=inside.track_time)
    _require_heard(measured.tone, name)
    return measured


def _smpte(take: Take, name: str) -> PairDistortion:
    inside = _inside(take, name)
    low_hz, high_hz = inside.audio.section.frequencies_hz
    measured = smpte_distortion(inside.samples, inside.rate_hz, (low_hz, high_hz), track_time=inside.track_time)
    _require_heard(measured.tones, name)
    return measured


def _difference(take: Take, name: str) -> PairDistortion:
    inside = _inside(take, name)
    low_hz, high_hz = inside.audio.section.frequencies_hz
    samples, background = inside.samples, None
    if take.has_section("quiet"):
        # As long and silent: lines that the bench itself has at 1, 18 and 21 kHz show there.
        background = _middle(take, "quiet", len(samples) / inside.rate_hz)
        common = min(len(samples), len(background))
        samples, background = samples[:common], background[:common]
    measured = difference_distortion(
        samples, inside.rate_hz, (low_hz, high_hz), track_time=inside.track_time, background=background
    )
    _require_heard(measured.tones, name)
    return measured


def _steps(take: Take, name: str) -> Steps:
    audio = take.section(name)
    whole = _Inside(samples=audio.samples, rate_hz=float(audio.rate_hz), audio=audio)
    section = audio.section
    starts_s = section.start_s + section.step_s * np.arange(len(section.step_levels_dbfs))
    first = audio.clock.take_index(starts_s + section.fade_in_s + _STEP_SETTLE_S) - audio.start_index
    last = audio.clock.take_index(starts_s + section.step_s - section.fade_out_s - _END_S) - audio.start_index
    windows = [(int(np.ceil(start)), int(stop)) for start, stop in zip(first, last, strict=True)]
    return measure_steps(
        whole.samples, whole.rate_hz, TONE_HZ, section.step_levels_dbfs, windows, track_time=whole.track_time
    )


def _silence(take: Take, name: str) -> Silence:
    samples, rate_hz = _middle(take, name, _SILENCE_S), float(take.rate_hz)
    spectrum = full_spectrum(samples, rate_hz)
    reading = spectrum.reading(BAND_HZ[0], min(BAND_HZ[1], 0.5 * rate_hz), a_weighting_db)
    density = density_beside(spectrum, np.array([TONE_HZ]))[0]
    hiss = density_between(spectrum, *_HISS_HZ)
    return Silence(a_weighted=reading.power, sd=reading.sd, density=density, hiss_density=hiss)
