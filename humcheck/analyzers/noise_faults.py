"""Faults that noise shows: lossy coding and noise suppression by its texture, a noise gate by its level.

What a path adds as noise does not care whether sound plays, and looks the same in every moment. The tones of the track
are long and pure, so the noise between their lines can be set beside the noise of the silent channel and of the quiet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.analyzers.noise_texture import (
    NATURAL_CREST_DB,
    NATURAL_HOLES,
    NATURAL_SPREAD_DB,
    NoiseTexture,
    noise_texture,
)
from humcheck.audio.levels import Floats
from humcheck.errors import MeasurementError
from humcheck.estimates.tones.take_tones import SETTLE_S
from humcheck.results.quantities import QUANTITIES
from humcheck.results.rows import Fault
from humcheck.takes.take import Take

#: Over natural noise. In 200 clean takes the second highest of all bands and sections went up by 1.1 dB, 1.0 dB, and
#: half of the natural share; coders that save much leave 10 dB and ten times the share.
_SPREAD_DB = NATURAL_SPREAD_DB + 1.5
_CREST_DB = NATURAL_CREST_DB + 1.5
_HOLES = 3.0 * NATURAL_HOLES
#: So many bands must show it, and hum and buzz count as touched where it shows below this.
_FEWEST_BANDS = 2
_TOUCHES_LINES_HZ = 3000.0
#: A gate closes by more than noise that really changes does (common practice, no source).
_GATE_DB = 3.0
_GATE_BANDS = 3
#: Lines of a tone, or what leaks of it, are no noise: their level hardly spreads.
_NATURAL_WITHIN_DB = 2.0
_CLEAR_OF_TONE_HZ = 2300.0
_MOST_QUIET_S = 6.0
#: By then any gate has closed.
_FROM_S = 2.0

_NOISES = tuple(name for name, entry in QUANTITIES.items() if entry.kind == "level" and name != "tone_level")
_LINES = ("hum_level", "hum_level_a", "buzz_level", "buzz_level_a", "hum_and_buzz_level")
_RANGES = ("dynamic_range", "dynamic_range_a")
_SPECTRA = ("noise_spectrum", "hiss_spectrum")
_DISTORTIONS = ("thd", "thd_n", "imd_smpte", "imd_difference")


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Noise of one section; `idle` is the channel in which nothing plays meanwhile, None where there is none."""

    name: str
    idle: int | None
    texture: NoiseTexture
    start_s: float
    end_s: float


def noise_faults(take: Take) -> list[Fault]:
    """Return the faults that the noise of a take with a track shows.

    Parameters
    ----------
    take : Take
        With a recognised track.

    Returns
    -------
    list of Fault
        Codes ``lossy-coding`` and ``gate``, one of them at most.
    """
    stretches = [stretch for name in ("level", "tone-left", "tone-right") for stretch in _tone(take, name)]
    quiet = _quiet(take)
    lossy = _lossy([*stretches, *quiet])
    if lossy is not None:
        return [lossy]
    gate = _gate(stretches, quiet)
    return [] if gate is None else [gate]


def _tone(take: Take, name: str) -> list[_Stretch]:
    if take.layout is None or not take.layout.has_section(name):
        return []
    section = take.layout.section(name)
    inside_s = section.fade_in_s + SETTLE_S
    return _read(take, name, inside_s, section.fade_out_s + 0.02)


def _quiet(take: Take) -> list[_Stretch]:
    if take.layout is None or not take.layout.has_section("quiet"):
        return []
    section = take.layout.section("quiet")
    end_s = min([section.end_s, *(shown.end_s for shown in take.layout.pictures if shown.end_s > section.start_s)])
    stop_s = min(end_s, section.start_s + _MOST_QUIET_S)
    return _read(take, "quiet", _FROM_S, section.end_s - stop_s + 0.02)


def _read(take: Take, name: str, skip_start_s: float, skip_end_s: float) -> list[_Stretch]:
    try:
        audio = take.section(name, before_s=-skip_start_s, after_s=-skip_end_s)
    except MeasurementError:
        return []
    texture = noise_texture(audio.samples, float(audio.rate_hz))
    if texture is None:
        return []
    start_s = audio.start_index / audio.rate_hz
    idle = {"tone-left": 1, "tone-right": 0}.get(name) if len(audio.channels) == 2 else None
    return [_Stretch(name, idle, texture, start_s, start_s + len(audio.samples) / audio.rate_hz)]


def _lossy(stretches: list[_Stretch]) -> Fault | None:
    """Return the fault of noise that is full of holes."""
    hit: list[tuple[_Stretch, float]] = []
    for stretch in stretches:
        texture = stretch.texture
        sparse = (texture.spread_db > _SPREAD_DB) | (texture.holes > _HOLES) | (texture.crest_db > _CREST_DB)
        hit += [(stretch, float(texture.centre_hz[band])) for band in np.flatnonzero(sparse.any(axis=1))]
    if len(hit) < _FEWEST_BANDS:
        return None
    lowest_hz = min(centre_hz for _, centre_hz in hit)
    spoils = [*_NOISES, *_SPECTRA, *_RANGES, *_DISTORTIONS]
    if lowest_hz > _TOUCHES_LINES_HZ:
        spoils = [name for name in spoils if name not in _LINES]
    first = min((stretch for stretch, _ in hit), key=lambda stretch: stretch.start_s)
    return Fault(
        code="lossy-coding",
        start_s=first.start_s,
        end_s=max(stretch.end_s for stretch, _ in hit),
        sentence=f"From {_kilohertz(lowest_hz)} up the noise of this take is full of holes, as lossy coding (MP3 and "
        "its like, a wireless link, a call) or noise suppression leaves them: soft sound is no longer what the device "
        "made. Record uncompressed (WAV or FLAC), switch sound enhancements off, and record again.",
        spoils=spoils,
    )


def _gate(tones: list[_Stretch], quiet: list[_Stretch]) -> Fault | None:
    """Return the fault of noise that is softer in the quiet than beside a tone, alike in all bands."""
    if not tones or not quiet:
        return None
    fall_db = max(_fall_db(tone, quiet[0].texture) for tone in tones)
    if fall_db < _GATE_DB:
        return None
    return Fault(
        code="gate",
        start_s=quiet[0].start_s,
        end_s=quiet[0].end_s,
        sentence=f"Where the track is silent the noise falls by {fall_db:.1f} dB below what it is while a tone plays: "
        "a noise gate or a muting circuit hides hum and hiss. Switch it off and record again.",
        spoils=[*_NOISES, *_SPECTRA, *_RANGES],
    )


def _fall_db(tone: _Stretch, quiet: NoiseTexture) -> float:
    """Return by how much the noise falls, nearly the least of the bands that hold no sound of the tone.

    In the channel that is idle these are all well above the tone; where the tone plays, those of natural noise.
    """
    texture = tone.texture
    falls = [0.0]
    for channel in range(texture.density.shape[1]):
        if tone.idle == channel:
            chosen = texture.centre_hz > _CLEAR_OF_TONE_HZ
        else:
            chosen = np.abs(texture.spread_db[:, channel] - NATURAL_SPREAD_DB) < _NATURAL_WITHIN_DB
        if chosen.sum() >= _GATE_BANDS:
            fall_db = _decibels(texture.density[chosen, channel]) - _decibels(quiet.density[chosen, channel])
            falls.append(float(np.quantile(fall_db, 0.25)))
    return max(falls)


def _decibels(power: Floats) -> Floats:
    decibels: Floats = 10.0 * np.log10(np.maximum(power, 1e-30))
    return decibels


def _kilohertz(frequency_hz: float) -> str:
    return f"about {frequency_hz / 1000.0:.1f} kHz"
