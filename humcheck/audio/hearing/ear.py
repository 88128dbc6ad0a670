"""Sounds behind the auditory filters, and how far they stand above what can be heard there.

Power is counted in units of the ear's own floor: a tone at the threshold of hearing has a power of 1 behind the filter
at its place.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from humcheck.audio.bands import band_edges_hz, third_octave_centres_hz
from humcheck.audio.hearing.listening import Field, ListeningSetting
from humcheck.audio.hearing.psychoacoustics import (
    HIGHEST_HZ,
    LOWEST_HZ,
    NOISE_IN_NOISE_DB,
    filter_centres_hz,
    filter_weights,
    threshold_db_spl,
    tone_in_noise_db,
)
from humcheck.audio.hearing.room import third_octave_levels_db_spl
from humcheck.audio.levels import Floats

#: Pieces that a third octave is cut into, each far narrower than any filter.
_PIECES = 48
#: Stands for no sound at all; in dB far below anything that matters.
_NOTHING = 1e-30


@dataclass(frozen=True, slots=True, eq=False)
class Ear:
    """The auditory filters for one kind of sound field.

    Attributes
    ----------
    field : str
        ``"free"`` or ``"diffuse"``.
    centre_hz : numpy.ndarray, shape (n_filters,)
        Centres of the filters.
    band_hz : numpy.ndarray, shape (n_bands,)
        Third octaves from 20 Hz to 20 kHz.
    of_band : numpy.ndarray, shape (n_filters, n_bands)
        Power behind each filter for a band of even noise with a power of 1 (0 dB SPL).
    of_tone_in_band : numpy.ndarray, shape (n_filters, n_bands)
        The most that a tone of 0 dB SPL anywhere in the band can have behind each filter.
    tone_share, noise_share : numpy.ndarray, shape (n_filters,)
        Share of a masking noise's power at which a tone, or another noise, is just heard.
    """

    field: Field
    centre_hz: Floats
    band_hz: Floats
    of_band: Floats
    of_tone_in_band: Floats
    tone_share: Floats
    noise_share: Floats

    def tones(self, frequency_hz: Floats, level_db: Floats) -> Floats:
        """Return the power of tones behind each filter, shape (n_filters,); what nobody hears counts for nothing."""
        kept = (frequency_hz >= LOWEST_HZ) & (frequency_hz <= HIGHEST_HZ)
        above = 10 ** ((level_db[kept] - threshold_db_spl(frequency_hz[kept], self.field)) / 10)
        return np.asarray(filter_weights(self.centre_hz, frequency_hz[kept]) @ above)

    def noise(self, band_hz: Floats, level_db: Floats) -> Floats:
        """Return the power of noise given in third octaves behind each filter, shape (n_filters,)."""
        columns = self._columns(band_hz)
        return np.asarray(self.of_band[:, columns] @ 10 ** (np.asarray(level_db) / 10))

    def hidden_tones(
        self, total_db: float, band_hz: Floats, level_db: Floats, between_hz: tuple[float, float]
    ) -> Floats:
        """Return the most that tones of unknown frequency can have behind each filter.

        Parameters
        ----------
        total_db : float
            Limit of their power taken together, in dB.
        band_hz, level_db : numpy.ndarray, shape (n,)
            Third octaves and all that is in them: no tone there is stronger.
        between_hz : tuple of float
            Where such tones may lie.
        """
        lower, upper = band_edges_hz(self.band_hz)
        reached = (upper > between_hz[0]) & (lower < between_hz[1])
        anywhere = self.of_tone_in_band[:, reached].max(axis=1) * 10 ** (total_db / 10)
        measured = self._columns(band_hz)
        known = np.full(len(self.band_hz), np.inf)
        known[measured] = 10 ** (np.asarray(level_db) / 10)
        limited = np.minimum(known, 10 ** (total_db / 10))
        return np.asarray(np.minimum(anywhere, self.of_tone_in_band[:, reached] @ limited[reached]))

    def _columns(self, band_hz: Floats) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
        place = np.abs(np.log(np.asarray(band_hz)[:, None] / self.band_hz[None, :]))
        return np.asarray(place.argmin(axis=1))


@lru_cache(maxsize=2)
def ear_for(field: Field) -> Ear:
    """Return the ear in a free or in a diffuse field."""
    centre_hz = filter_centres_hz()
    band_hz = third_octave_centres_hz()
    lower, upper = band_edges_hz(band_hz)
    edges = lower[:, None] * (upper / lower)[:, None] ** np.linspace(0.0, 1.0, _PIECES + 1)[None, :]
    gains = _gains(field, centre_hz, np.sqrt(edges[:, 1:] * edges[:, :-1]))
    share = np.diff(edges, axis=1) / (upper - lower)[:, None]
    return Ear(
        field=field,
        centre_hz=centre_hz,
        band_hz=band_hz,
        of_band=np.einsum("fbp,bp->fb", gains, share),
        # The edges belong to both neighbours. Between two places a tone has at most 0.017 dB more than at them.
        of_tone_in_band=1.004 * _gains(field, centre_hz, edges).max(axis=2),
        tone_share=10 ** (tone_in_noise_db(centre_hz) / 10),
        noise_share=np.full(len(centre_hz), 10 ** (NOISE_IN_NOISE_DB / 10)),
    )


def _gains(field: Field, centre_hz: Floats, frequency_hz: Floats) -> Floats:
    """Return what tones of 0 dB SPL have behind each filter, shape (n_filters, n_bands, n_places)."""
    heard = (frequency_hz >= LOWEST_HZ) & (frequency_hz <= HIGHEST_HZ)
    above = np.where(heard, 10 ** (-threshold_db_spl(frequency_hz, field) / 10), 0.0)
    weights = filter_weights(centre_hz, frequency_hz.ravel()).reshape(len(centre_hz), *frequency_hz.shape)
    return np.asarray(weights * above)


@lru_cache(maxsize=16)
def room_power(setting: ListeningSetting) -> Floats:
    """Return the power of the room's own noise behind each filter, shape (n_filters,)."""
    ear = ear_for(setting.field)
    if setting.room_nr is None:
        return np.zeros(len(ear.centre_hz))
    return ear.noise(ear.band_hz, third_octave_levels_db_spl(setting.room_nr, ear.band_hz))


def excess(
    setting: ListeningSetting,
    *,
    tones: Floats | None = None,
    noise: Floats | None = None,
    around: Floats | None = None,
    louder_db: float = 0.0,
) -> tuple[float, float]:
    """Return the largest excess of a sound over what can just be heard, in dB, and the frequency where it lies, in Hz.

    Parameters
    ----------
    setting : ListeningSetting
        What full scale stands for, and the room.
    tones, noise : numpy.ndarray, shape (n_filters,), optional
        What is to be heard: its tones and its noise, which other noise hides less well. Power behind the filters with
        full scale at 0 dB SPL.
    around : numpy.ndarray, shape (n_filters,), optional
        The same of the hiss around it, which hides it as the room does.
    louder_db : float
        Volume above that of the setting.
    """
    ear = ear_for(setting.field)
    scale = 10 ** ((setting.full_scale_db_spl + louder_db) / 10)
    hiding = room_power(setting) if around is None else scale * around + room_power(setting)
    ratio = np.zeros(len(ear.centre_hz))
    for sound, share in ((tones, ear.tone_share), (noise, ear.noise_share)):
        if sound is not None:
            ratio += scale * sound / (1.0 + share * hiding)
    best = int(np.argmax(ratio))
    return float(10 * np.log10(max(ratio[best], _NOTHING))), float(ear.centre_hz[best])
