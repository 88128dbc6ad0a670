"""Listening settings: what sound pressure full scale stands for, and how quiet the room is.

No standard says how loud people listen. The numbers are this project's own convention and can be set; what they rest on
is said beside each. A full-scale sine is the reference: music, its mean 12 to 20 dB lower, plays that much softer.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import Literal

from humcheck.errors import UnusableCall

Kind = Literal["headphones", "loudspeakers"]
Field = Literal["free", "diffuse"]

#: Sound pressure levels that full scale may stand for: below, nothing is heard at all; above, ears are harmed at once.
LOWEST_DB_SPL, HIGHEST_DB_SPL = 40.0, 130.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ListeningSetting:
    """One way of listening.

    Attributes
    ----------
    name : str
        As in the key of results: ``"headphones"``, or ``"headphones=105"`` where the user set the sound pressure.
    words : str
        Place in a sentence, such as ``"on headphones"``.
    kind : str
        ``"headphones"`` (each ear hears its own channel) or ``"loudspeakers"`` (both channels add at the listener).
    full_scale_db_spl : float
        Sound pressure level of a full-scale sine in one channel at the listener, in dB re 20 uPa.
    uncertainty_db : float
        Half-width of the 95 % interval of `full_scale_db_spl`.
    field : str
        Whether thresholds for ``"free"`` (from the front) or ``"diffuse"`` (from all sides) sound are used.
    room_nr : float or None
        Noise rating number of the room's own noise; None for silence.
    """

    name: str
    words: str
    kind: Kind
    full_scale_db_spl: float
    uncertainty_db: float
    field: Field
    room_nr: float | None = None

    @property
    def statement(self) -> str:
        """The setting in one line, as results and report state it; its name comes first."""
        room = "no room noise" if self.room_nr is None else f"room noise NR {self.room_nr:g}"
        return (
            f"{self.name}: full scale {self.full_scale_db_spl:g} dB SPL, uncertain by {self.uncertainty_db:g} dB; "
            f"{room}; threshold of hearing for {self.field}-field sound"
        )


#: Loud listening: music with its mean 15 dB below full scale then plays at about 85 dB(A), which safe-listening rules
#: take as loud (common practice, no source). Uncertain by 6 dB for the headphones' own response and fit and by 5 dB for
#: the volume control, together 8 dB. Headphones are judged by the diffuse field; no room noise: the hardest case.
_HEADPHONES = ListeningSetting(
    name="headphones",
    words="on headphones",
    kind="headphones",
    full_scale_db_spl=100.0,
    uncertainty_db=8.0,
    field="diffuse",
)
#: A film or a game turned up at home: 15 dB below the cinema's 105 dB for full scale of one channel (common practice,
#: from memory). NR 15 comes to 30 dB(A), a quiet living room in the evening (common practice, no source).
_LIVING_ROOM = ListeningSetting(
    name="living-room",
    words="over loudspeakers in a living room",
    kind="loudspeakers",
    full_scale_db_spl=90.0,
    uncertainty_db=6.0,
    field="free",
    room_nr=15.0,
)

PRESETS = (_HEADPHONES, _LIVING_ROOM)

_STATEMENT = re.compile(
    r"(?P<name>[^:]+): full scale (?P<level>[\d.]+) dB SPL, uncertain by (?P<uncertainty>[\d.]+) dB; "
    r"(?:no room noise|room noise NR (?P<rating>[\d.]+)); threshold of hearing for (?P<field>free|diffuse)-field sound"
)


def listening_settings(texts: list[str] | None) -> tuple[ListeningSetting, ...]:
    """Return the settings that a user asked for, each ``NAME`` or ``NAME=SPL``; all presets where none were named.

    Raises
    ------
    UnusableCall
        If a name is unknown, or the sound pressure no sensible number.
    """
    if not texts:
        return PRESETS
    chosen = {setting.name: setting for setting in map(_parsed, texts)}
    return tuple(chosen.values())


def stated_setting(statement: str) -> ListeningSetting | None:
    """Return the setting that results state in words; None where it is none that this version can read."""
    found = _STATEMENT.fullmatch(statement)
    if found is None:
        return None
    preset = next((setting for setting in PRESETS if setting.name == found["name"].partition("=")[0]), None)
    try:
        level, uncertainty = float(found["level"]), float(found["uncertainty"])
        rating = None if found["rating"] is None else float(found["rating"])
    except ValueError:  # 1.2.3
        return None
    if (
        preset is None
        or not LOWEST_DB_SPL <= level <= HIGHEST_DB_SPL
        or max(uncertainty, rating or 0.0) > HIGHEST_DB_SPL
    ):
        return None
    return replace(
        preset,
        name=found["name"],
        words=words_of(found["name"]),
        full_scale_db_spl=level,
        uncertainty_db=uncertainty,
        room_nr=rating,
        field="diffuse" if found["field"] == "diffuse" else "free",
    )


def words_of(name: str) -> str:
    """Return the words of a setting by its name in results; of an unknown one its name."""
    base, _, level = name.partition("=")
    known = next((setting.words for setting in PRESETS if setting.name == base), f"with {name!r}")
    return f"{known} at {level} dB" if level and not known.startswith("with") else known


def _parsed(text: str) -> ListeningSetting:
    name, equals, level_text = text.partition("=")
    preset = next((setting for setting in PRESETS if setting.name == name.strip()), None)
    if preset is None:
        known = ", ".join(setting.name for setting in PRESETS)
        raise UnusableCall(f"{name!r} is no listening setting", where="--listening", remedy=f"choose one of: {known}")
    if not equals:
        return preset
    try:
        level = float(level_text)
    except ValueError:
        level = math.nan
    if not LOWEST_DB_SPL <= level <= HIGHEST_DB_SPL:
        raise UnusableCall(
            f"{level_text!r} is no sound pressure level that full scale may stand for",
            where="--listening",
            remedy=f"give a number from {LOWEST_DB_SPL:g} to {HIGHEST_DB_SPL:g} dB, such as {preset.name}=105",
        )
    # What the user measured or knows leaves the response and fit, not the volume control.
    uncertainty_db = min(preset.uncertainty_db, 6.0)
    return replace(preset, name=f"{preset.name}={level:g}", full_scale_db_spl=level, uncertainty_db=uncertainty_db)
