"""Faults that noise shows: lossy coding and noise suppression by its texture, a noise gate by its level.

What a path adds as noise does not care whether sound plays, and looks the same in every moment. The tones of the track
are long and pure, so the noise between their lines can be set beside the noise of the silent channel and of the quiet.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from humcheck.analyzers.coarse_steps import undithered_fault
from humcheck.analyzers.noise_holes import hole_fault
from humcheck.analyzers.noise_stretches import NoiseStretch, least_density, noise_stretches
from humcheck.analyzers.noise_texture import NATURAL_SPREAD_DB, NoiseTexture
from humcheck.audio.levels import Floats
from humcheck.results.quantities import QUANTITIES
from humcheck.results.rows import Fault
from humcheck.takes.take import Take

#: A gate closes by more than noise that really changes does (common practice, no source).
_GATE_DB = 3.0
_GATE_BANDS = 3
#: Lines of a tone, or what leaks of it, are no noise: their level hardly spreads.
_NATURAL_WITHIN_DB = 2.0
_CLEAR_OF_TONE_HZ = 2300.0
_GATE_SPOILS = (
    *(name for name, entry in QUANTITIES.items() if entry.kind == "level" and name != "tone_level"),
    *("noise_spectrum", "hiss_spectrum", "dynamic_range", "dynamic_range_a"),
)


def noise_faults(take: Take) -> list[Fault]:
    """Return the faults that the noise of a take with a track shows.

    Parameters
    ----------
    take : Take
        With a recognised track.

    Returns
    -------
    list of Fault
        Codes ``undithered``, ``noise-suppression``, ``lossy-coding`` and ``gate``, one of them at most.
    """
    stretches = noise_stretches(take)
    # Rounding without dither makes holes, and closes like a gate.
    found = undithered_fault(stretches, take.channels) or hole_fault(stretches) or _gate(stretches)
    return [] if found is None else [found]


def _gate(stretches: Sequence[NoiseStretch]) -> Fault | None:
    """Return the fault of noise that is softer in the quiet than beside a tone, alike in all bands."""
    tones = [stretch for stretch in stretches if not stretch.is_quiet]
    quiet = next((stretch for stretch in stretches if stretch.is_quiet), None)
    if not tones or quiet is None:
        return None
    fall_db = max(_fall_db(tone, quiet.texture) for tone in tones)
    if fall_db < _GATE_DB:
        return None
    return Fault(
        code="gate",
        start_s=quiet.start_s,
        end_s=quiet.end_s,
        sentence=f"Where the track is silent the noise falls by {fall_db:.1f} dB below what it is while a tone plays: "
        "a noise gate, a muting circuit or noise suppression hides hum and hiss. Switch it off and record again.",
        spoils=list(_GATE_SPOILS),
    )


def _fall_db(tone: NoiseStretch, quiet: NoiseTexture) -> float:
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
        # Softer than any recorder's noise is the rounding of decoded sound, under the tone alone.
        chosen &= texture.density[:, channel] > least_density(tone)
        if chosen.sum() >= _GATE_BANDS:
            fall_db = _decibels(texture.density[chosen, channel]) - _decibels(quiet.density[chosen, channel])
            falls.append(float(np.quantile(fall_db, 0.25)))
    return max(falls)


def _decibels(power: Floats) -> Floats:
    decibels: Floats = 10.0 * np.log10(np.maximum(power, 1e-30))
    return decibels
