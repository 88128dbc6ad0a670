"""What the audibility figure shows: tones and hiss at the ear, against what can just be heard there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from humcheck.audio.bands import band_edges_hz
from humcheck.audio.hearing.ear import ear_for, room_power
from humcheck.audio.hearing.listening import ListeningSetting, stated_setting
from humcheck.audio.hearing.psychoacoustics import HIGHEST_HZ, LOWEST_HZ, erb_hz, threshold_db_spl
from humcheck.audio.hearing.room import third_octave_levels_db_spl
from humcheck.audio.levels import Floats
from humcheck.report.catalogue import Catalogue, Setup, worst
from humcheck.report.order import FAMILY_WORDS
from humcheck.results import Measure
from humcheck.results.rows import Family, Role

MOST_SUBJECTS = 6
#: Every so many of the ear's filters a curve has a point.
_EVERY = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """One steady tone at the ear.

    Attributes
    ----------
    family : str
        Family of the line.
    frequency_hz, level_db_spl : float
        Frequency, and sound pressure level.
    above_db : float
        How far it stands above what can just be heard there; negative below.
    """

    family: Family
    frequency_hz: float
    level_db_spl: float
    above_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardPanel:
    """One use of a device in one way of listening.

    Attributes
    ----------
    subject, where, channel : str
        What is heard.
    setting : ListeningSetting
        How.
    through, direct : list of Tone
        Tones through the device and without it.
    frequency_hz : numpy.ndarray, shape (n,)
        Places of the curves.
    hiss, direct_hiss, room : numpy.ndarray or None, shape (n,)
        Levels in bands as wide as the ear's, in dB SPL; NaN where nothing is known.
    threshold, limit : numpy.ndarray, shape (n,)
        Threshold of hearing in silence; what tones must exceed in this room and hiss.
    """

    subject: str
    where: str
    channel: str
    setting: ListeningSetting
    through: list[Tone]
    direct: list[Tone]
    frequency_hz: Floats
    hiss: Floats
    direct_hiss: Floats | None
    room: Floats | None
    threshold: Floats
    limit: Floats

    @property
    def name_parts(self) -> tuple[str, ...]:
        """Parts of the panel's name, from the widest to the narrowest."""
        return self.subject, self.where, self.channel, self.setting.words


def heard_panels(catalogue: Catalogue) -> tuple[list[HeardPanel], int]:
    """Return the panels, and how many uses are not drawn: of each device the one that is heard most is."""
    settings = [setting for text in catalogue.results.settings.listening if (setting := stated_setting(text))]
    if not settings:
        return [], 0
    panels: list[HeardPanel] = []
    left_out = 0
    for role, subject in _subjects(catalogue):
        margins = catalogue.measures("audible_margin", role, subject)
        first = [row for row in margins if row.channel != "both" and row.listening == settings[0].name]
        chosen = worst(first)
        if not isinstance(chosen, Measure):
            continue
        left_out += len({Setup.of(row) for row in first}) - 1
        directs = [row for row in catalogue.measures("audible_margin", "direct") if role == "through"]
        control = catalogue.control(chosen, directs)
        made = [_panel(catalogue, chosen, control, setting) for setting in settings]
        panels += [panel for panel in made if panel is not None]
    return panels, left_out


def _subjects(catalogue: Catalogue) -> list[tuple[Role, str]]:
    under_test: list[tuple[Role, str]] = [("through", name) for name in catalogue.devices]
    under_test += [("single", name) for name in catalogue.singles]
    return (under_test or [("direct", "direct")])[:MOST_SUBJECTS]


def _panel(
    catalogue: Catalogue, chosen: Measure, control: Measure | None, setting: ListeningSetting
) -> HeardPanel | None:
    ear, room = ear_for(setting.field), room_power(setting)
    bands = _hiss(catalogue, chosen, setting)
    if bands is None:
        return None
    threshold = threshold_db_spl(ear.centre_hz, setting.field)
    limit = threshold + 10 * np.log10(1.0 + ear.tone_share * (ear.noise(*bands) + room))
    direct_bands = None if control is None else _hiss(catalogue, control, setting)
    places = ear.centre_hz[::_EVERY]
    thirds = None if setting.room_nr is None else third_octave_levels_db_spl(setting.room_nr, ear.band_hz)

    def tones(margin: Measure | None) -> list[Tone]:
        return [] if margin is None else _tones(catalogue, margin, setting, (ear.centre_hz, limit))

    return HeardPanel(
        subject="Direct" if chosen.role == "direct" else catalogue.title(chosen.subject),
        where=catalogue.where(_setup(chosen)),
        channel="" if chosen.channel == "mono" else chosen.channel,
        setting=setting,
        through=tones(chosen),
        direct=tones(control),
        frequency_hz=places,
        hiss=_in_the_ears_bands(*bands, places),
        direct_hiss=None if direct_bands is None else _in_the_ears_bands(*direct_bands, places),
        room=None if thirds is None else _in_the_ears_bands(ear.band_hz, thirds, places),
        threshold=threshold[::_EVERY],
        limit=limit[::_EVERY],
    )


def _setup(margin: Measure) -> Setup:
    """Return the set-up of a margin without its listening, which lines and curves do not know."""
    return replace(Setup.of(margin), listening=None)


def _to_db_spl(margin: Measure, setting: ListeningSetting) -> float:
    """Return what turns dBFS into sound pressure levels, for the takes that a margin rests on."""
    return setting.full_scale_db_spl - margin.detail.get("full_scale_dbfs", 0.0)


def _hiss(catalogue: Catalogue, margin: Measure, setting: ListeningSetting) -> tuple[Floats, Floats] | None:
    """Return the hiss in third octaves: their frequencies, and their levels in dB SPL."""
    for curve in catalogue.curves("hiss_spectrum", margin.role, margin.subject):
        if curve.channel == margin.channel and Setup.of(curve) == _setup(margin):
            return np.array(curve.frequency_hz), np.array(curve.value) + _to_db_spl(margin, setting)
    return None


def _in_the_ears_bands(band_hz: Floats, level_db: Floats, frequency_hz: Floats) -> Floats:
    """Return levels of noise given in third octaves in bands as wide as the ear's; NaN where nothing is known."""
    lower, upper = band_edges_hz(band_hz)
    density = level_db - 10 * np.log10(upper - lower)
    between = np.interp(np.log(frequency_hz), np.log(band_hz), density, left=np.nan, right=np.nan)
    return np.asarray(between + 10 * np.log10(erb_hz(frequency_hz)))


def _tones(
    catalogue: Catalogue, margin: Measure, setting: ListeningSetting, limit: tuple[Floats, Floats]
) -> list[Tone]:
    tones = []
    for line in catalogue.lines(margin.role, tuple(FAMILY_WORDS), margin.subject):
        mine = line.bound is None and line.channel == margin.channel and Setup.of(line) == _setup(margin)
        if not mine or not LOWEST_HZ <= line.frequency_hz <= HIGHEST_HZ:
            continue
        level = line.level_dbfs + _to_db_spl(margin, setting)
        least = float(np.interp(np.log(line.frequency_hz), np.log(limit[0]), limit[1]))
        tones.append(
            Tone(family=line.family, frequency_hz=line.frequency_hz, level_db_spl=level, above_db=level - least)
        )
    return tones
