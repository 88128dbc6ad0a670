"""What the audibility figure shows: tones and hiss at the ear, against what can just be heard there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.bands import band_edges_hz
from humcheck.audio.levels import Floats
from humcheck.findings.audibility import ListeningSetting, stated_setting
from humcheck.findings.audibility.ear import ear_for, room_power
from humcheck.findings.audibility.hearing import HIGHEST_HZ, LOWEST_HZ, erb_hz, threshold_db_spl
from humcheck.findings.audibility.levels import Levels, Readings
from humcheck.findings.audibility.room import third_octave_levels_db_spl
from humcheck.report.catalogue import Catalogue, Setup, worst
from humcheck.results import Key, Measure
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
    levels = Levels(catalogue.results)
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
        made = [_panel(catalogue, levels, _key(chosen), control and _key(control), setting) for setting in settings]
        panels += [panel for panel in made if panel is not None]
    return panels, left_out


def _subjects(catalogue: Catalogue) -> list[tuple[Role, str]]:
    under_test: list[tuple[Role, str]] = [("through", name) for name in catalogue.devices]
    under_test += [("single", name) for name in catalogue.singles]
    return (under_test or [("direct", "direct")])[:MOST_SUBJECTS]


def _key(margin: Measure) -> Key:
    """Return whose margin it is, without the way of listening: lines and curves know none."""
    return Key(**margin.fields(quantity="", listening=None))


def _panel(
    catalogue: Catalogue, levels: Levels, key: Key, control: Key | None, setting: ListeningSetting
) -> HeardPanel | None:
    ear, room = ear_for(setting.field), room_power(setting)
    bands = _hiss(levels, key, setting)
    if bands is None:
        return None
    threshold = threshold_db_spl(ear.centre_hz, setting.field)
    hiss = ear.noise(bands.frequency_hz, bands.value)
    limit = threshold + 10 * np.log10(1.0 + ear.tone_share * (hiss + room))
    direct_bands = None if control is None else _hiss(levels, control, setting)
    places = ear.centre_hz[::_EVERY]

    def tones(row: Key | None) -> list[Tone]:
        return [] if row is None else _tones(catalogue, levels, row, setting, (ear.centre_hz, limit))

    return HeardPanel(
        subject="Direct" if key.role == "direct" else catalogue.title(key.subject),
        where=catalogue.where(key),
        channel="" if key.channel == "mono" else key.channel,
        setting=setting,
        through=tones(key),
        direct=tones(control),
        frequency_hz=places,
        hiss=_in_the_ears_bands(bands.frequency_hz, bands.value, places),
        direct_hiss=None
        if direct_bands is None
        else _in_the_ears_bands(direct_bands.frequency_hz, direct_bands.value, places),
        room=None
        if setting.room_nr is None
        else _in_the_ears_bands(ear.band_hz, third_octave_levels_db_spl(setting.room_nr, ear.band_hz), places),
        threshold=threshold[::_EVERY],
        limit=limit[::_EVERY],
    )


def _hiss(levels: Levels, key: Key, setting: ListeningSetting) -> Readings | None:
    """Return the hiss in third octaves, in dB SPL."""
    bands = levels.bands(key, "hiss_spectrum")
    return None if bands is None else bands.raised(setting.full_scale_db_spl)


def _in_the_ears_bands(band_hz: Floats, level_db: Floats, frequency_hz: Floats) -> Floats:
    """Return levels of noise given in third octaves in bands as wide as the ear's; NaN where nothing is known."""
    lower, upper = band_edges_hz(band_hz)
    density = level_db - 10 * np.log10(upper - lower)
    between = np.interp(np.log(frequency_hz), np.log(band_hz), density, left=np.nan, right=np.nan)
    return np.asarray(between + 10 * np.log10(erb_hz(frequency_hz)))


def _tones(
    catalogue: Catalogue, levels: Levels, key: Key, setting: ListeningSetting, limit: tuple[Floats, Floats]
) -> list[Tone]:
    to_db_spl = (levels.shift_db(key) or 0.0) + setting.full_scale_db_spl
    tones = []
    for line in catalogue.results.lines:
        mine = line.bound is None and line.role == key.role and line.channel == key.channel
        if not mine or Setup.of(line) != Setup.of(key) or not LOWEST_HZ <= line.frequency_hz <= HIGHEST_HZ:
            continue
        level = line.level_dbfs + to_db_spl
        least = float(np.interp(np.log(line.frequency_hz), np.log(limit[0]), limit[1]))
        tones.append(
            Tone(family=line.family, frequency_hz=line.frequency_hz, level_db_spl=level, above_db=level - least)
        )
    return tones
