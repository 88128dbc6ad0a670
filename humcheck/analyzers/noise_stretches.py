"""Stretches of a take in which noise can be looked at: beside its long pure tones, and in the quiet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.analyzers.noise_texture import NoiseTexture, noise_texture
from humcheck.audio.levels import Floats
from humcheck.errors import MeasurementError
from humcheck.estimates.tones.take_tones import SETTLE_S
from humcheck.takes.section_audio import SectionAudio
from humcheck.takes.take import Take

_MOST_QUIET_S = 6.0
#: By then any gate has closed.
_FROM_S = 2.0
_END_S = 0.02
#: Where the sound breaks off or jumps, a tone splashes over the noise beside it.
_BREAKS = ("repeated-buffer", "lost-samples", "inserted-samples", "dropout")
_FINEST_BITS = 24
_COARSEST_BITS = 7
#: Of a recorder of 24 bits; triangular dither and rounding together make noise of a quarter of a squared step.
_FINEST_STEP = 2.0**-23
_DITHERED = 0.25

Flags = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]


@dataclass(frozen=True, slots=True)
class NoiseStretch:
    """Noise of one section.

    Attributes
    ----------
    name : str
        The section.
    idle : int or None
        Index of the channel in which nothing plays meanwhile, None where there is none.
    texture : NoiseTexture
        Of all channels.
    start_s, end_s : float
        Place in the take.
    step : float or None
        Distance of two neighbouring values of the samples, where all lie on a grid of whole bits: ``2**-15`` of a
        recorder that rounds to 16 bits.
    still : numpy.ndarray, shape (n_channels,)
        Share of samples that equal the one before.
    rms : numpy.ndarray, shape (n_channels,)
        Root mean square of the samples, their mean taken off.
    """

    name: str
    idle: int | None
    texture: NoiseTexture
    start_s: float
    end_s: float
    step: float | None
    still: Floats
    rms: Floats

    @property
    def is_quiet(self) -> bool:
        """Whether nothing plays in any channel."""
        return self.name == "quiet"

    def silent_channels(self) -> list[int]:
        """Return the channels in which the track plays nothing."""
        if self.is_quiet:
            return list(range(self.texture.density.shape[1]))
        return [] if self.idle is None else [self.idle]


def noise_stretches(take: Take) -> list[NoiseStretch]:
    """Return the stretches that a take has, beside its tones first, the quiet last; none in which the sound breaks."""
    if take.layout is None:
        return []
    tones = [stretch for name in ("level", "tone-left", "tone-right") for stretch in _tone(take, name)]
    return [stretch for stretch in (*tones, *_quiet(take)) if not _is_broken(take, stretch)]


def least_density(stretch: NoiseStretch, step: float | None = None) -> float:
    """Return the density of the noise of a dithered recorder, as `NoiseTexture.density` gives it.

    Parameters
    ----------
    stretch : NoiseStretch
        What it recorded.
    step : float, optional
        Its step, by default that of 24 bits.
    """
    return float(_DITHERED * (step or _FINEST_STEP) ** 2 / stretch.texture.n_bins)


def _is_broken(take: Take, stretch: NoiseStretch) -> bool:
    return any(
        fault.start_s < stretch.end_s and fault.end_s > stretch.start_s
        for fault in take.faults
        if fault.code in _BREAKS and fault.start_s is not None and fault.end_s is not None
    )


def _tone(take: Take, name: str) -> list[NoiseStretch]:
    if take.layout is None or not take.layout.has_section(name):
        return []
    section = take.layout.section(name)
    return _read(take, name, section.fade_in_s + SETTLE_S, section.fade_out_s + _END_S)


def _quiet(take: Take) -> list[NoiseStretch]:
    if take.layout is None or not take.layout.has_section("quiet"):
        return []
    section = take.layout.section("quiet")
    end_s = min([section.end_s, *(shown.end_s for shown in take.layout.pictures if shown.end_s > section.start_s)])
    stop_s = min(end_s, section.start_s + _MOST_QUIET_S)
    return _read(take, "quiet", _FROM_S, section.end_s - stop_s + _END_S)


def _read(take: Take, name: str, skip_start_s: float, skip_end_s: float) -> list[NoiseStretch]:
    try:
        audio = take.section(name, before_s=-skip_start_s, after_s=-skip_end_s)
    except MeasurementError:
        return []
    texture = noise_texture(audio.samples, float(audio.rate_hz))
    if texture is None:
        return []
    return [_stretch(audio, name, texture)]


def _stretch(audio: SectionAudio, name: str, texture: NoiseTexture) -> NoiseStretch:
    start_s = audio.start_index / audio.rate_hz
    idle = {"tone-left": 1, "tone-right": 0}.get(name) if len(audio.channels) == 2 else None
    return NoiseStretch(
        name=name,
        idle=idle,
        texture=texture,
        start_s=start_s,
        end_s=start_s + len(audio.samples) / audio.rate_hz,
        step=_step(audio.samples),
        still=np.mean(audio.samples[1:] == audio.samples[:-1], axis=0),
        rms=np.std(audio.samples, axis=0),
    )


def _step(samples: Floats) -> float | None:
    """Return the coarsest step of whole bits on whose multiples all samples lie, None where there is none."""
    bits = _COARSEST_BITS
    # A part at a time: most takes have far finer steps than the first of their samples show.
    for part in (samples[:256], samples):
        while bits < _FINEST_BITS and np.any(np.remainder(part * 2.0**bits, 1.0)):
            bits += 1
    return 2.0**-bits if bits < _FINEST_BITS - 1 else None
